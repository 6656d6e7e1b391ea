"""`manage.py work_jobs`: a worker without Celery."""

import signal
from io import StringIO

import pytest
from django.core.management import call_command
from django.utils import timezone

from modelling.models import ModelRun
from projects.rules.access import SERVER
from projects.selectors.jobs import job_get
from projects.services import jobs
from tests.children import child
from tests.projects.jobs import batch
from tests.projects.services.test_job_rivals import wait_until


@pytest.mark.django_db
def test_once_does_what_is_due_and_stops():
    now = timezone.now()
    made = [batch(first=n, now=now) for n in (1, 2)]
    out = StringIO()
    call_command("work_jobs", once=True, stdout=out)
    assert out.getvalue() == "2 attempts made; nothing more is due.\n"
    assert {job_get(SERVER, job.public_id).state for job in made} == {"done"}


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_told_to_stop_it_gives_back_what_it_is_at(number):
    job = batch(60, draws=2000, now=timezone.now())
    with child("manage.py", "work_jobs") as process:
        wait_until(lambda: job_get(SERVER, job.public_id).progress_done >= 1, process)
        process.send_signal(number)
        assert process.wait(timeout=30) == 0
    left = job_get(SERVER, job.public_id)
    assert (left.state, left.attempts, left.lease_until) == ("waiting", 0, None)
    assert 1 <= left.progress_done < 60
    # the next worker takes it up at once, where it stopped, without waiting for a lease to end
    made = ModelRun.objects.count()
    assert jobs.job_claim(now=timezone.now()).pk == job.pk
    assert made >= left.progress_done
