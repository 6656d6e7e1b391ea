"""Work in hand: what stopped is told first and can be started again; nobody sees what is not theirs."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from projects.models import Job
from projects.services import jobs
from tests.projects.county import person, saltmere
from tests.projects.jobs import Clock, batch

pytestmark = pytest.mark.django_db


@pytest.fixture
def county():
    return saltmere()


def used_up(job):
    """End the job's attempts one by one, as a worker that finds an error each time."""
    clock = Clock(timezone.now())
    for _ in range(job.max_attempts):
        lease = jobs.Lease(jobs.job_claim(now=clock(), public_id=job.public_id), clock)
        lease.fail("ValueError: no such mix")
        clock.pass_by(3600)
    return job


def test_what_stopped_stands_first_and_is_started_again(client, read, county):
    client.force_login(county.coordinator)
    failed = used_up(batch(2, network=county.network, actor_id=county.lead.pk, now=timezone.now()))
    batch(3, network=county.network, now=timezone.now())
    page = read("/jobs/")
    assert "One piece of work stopped before the end; start it again below." in page.text
    assert page.text.index("Stopped at 0 of 2 after three attempts") < page.text.index("Waits to begin: 3 to do")
    # what a library says is for whoever runs the server
    assert "no such mix" not in page.text
    answer = client.post(f"/jobs/{failed.public_id}/")
    assert answer.headers["Location"] == f"/jobs/{failed.public_id}/"
    failed.refresh_from_db()
    assert (failed.state, failed.attempts) == ("waiting", 0)
    assert "Two pieces of work wait or go on; none has stopped." in read("/jobs/").text


def test_the_operator_sees_all_of_it_and_what_went_wrong(client, read, county):
    operator = person("Opal Runner", is_operator=True)
    used_up(batch(2, network=county.network, now=timezone.now()))
    client.force_login(operator)
    assert "no such mix" in read("/jobs/").text


def test_others_see_only_what_they_asked_for(client, read, county):
    batch(2, network=county.network, now=timezone.now())
    own = batch(4, actor_id=county.lead.pk, now=timezone.now())
    client.force_login(county.lead)
    page = read("/jobs/")
    assert "Waits to begin: 4 to do" in page.text
    assert "Waits to begin: 2 to do" not in page.text
    Job.objects.filter(pk=own.pk).delete()
    assert "No work has been asked for." in read("/jobs/").text


def test_thirty_are_asked_for_as_often_as_three(client, county):
    client.force_login(county.coordinator)
    asked = []
    for number in (3, 27):
        for _ in range(number):
            batch(network=county.network, now=timezone.now())
        with CaptureQueriesContext(connection) as counted:
            assert client.get("/jobs/").status_code == 200
        asked.append(len(counted))
    assert asked[0] == asked[1]
