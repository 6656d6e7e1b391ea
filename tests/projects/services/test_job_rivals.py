"""Workers side by side, dead in the middle, without a broker and with one: each job ends once."""

import os
import signal
import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pytest
import redis
from django.conf import settings
from django.db import connection, transaction
from django.utils import timezone

from modelling.models import ModelRun
from projects import tasks, worker
from projects.models import Job
from projects.rules import jobs as rules
from projects.rules.access import SERVER
from projects.selectors.jobs import job_get
from projects.services import jobs
from tests.children import child
from tests.projects.jobs import NOON, Clock, batch

pytestmark = pytest.mark.django_db(transaction=True)
REPEATS = 5


def side_by_side(rivals, act):
    """Start all at the same moment, each in a thread with a connection of its own; what each returned."""
    start = threading.Barrier(rivals)

    def run(_):
        try:
            start.wait()
            return act()
        finally:
            connection.close()

    with ThreadPoolExecutor(rivals) as pool:
        return list(pool.map(run, range(rivals)))


def wait_until(seen, process=None, seconds=60):
    """Return as soon as it is seen."""
    end = time.monotonic() + seconds
    while not seen():
        assert process is None or process.poll() is None, process.stderr.read()
        assert time.monotonic() < end, f"not seen in {seconds} s"
        time.sleep(0.02)


def test_of_eight_workers_one_gets_the_job():
    for _ in range(REPEATS):
        job = batch()
        won = [found for found in side_by_side(8, lambda: jobs.job_claim(now=NOON)) if found is not None]
        assert [found.pk for found in won] == [job.pk]
        assert Job.objects.get(pk=job.pk).lease_token == won[0].lease_token
        assert Job.objects.get(pk=job.pk).attempts == 1


def test_two_workers_share_50_jobs_and_do_each_once():
    for number in range(50):
        batch(first=number + 1)
    made = side_by_side(2, lambda: jobs.jobs_run_due(clock=Clock()))
    assert sum(made) == 50
    assert min(made) > 0
    assert set(Job.objects.values_list("state", "attempts")) == {("done", 1)}
    assert ModelRun.objects.count() == 50
    assert {run for job in Job.objects.all() for run in job.result["runs"]} == {
        str(run) for run in ModelRun.objects.values_list("public_id", flat=True)
    }


def test_a_job_left_lying_is_taken_over_by_one():
    batch()
    assert jobs.job_claim(now=NOON) is not None
    later = NOON + rules.LEASE
    won = [found for found in side_by_side(8, lambda: jobs.job_claim(now=later)) if found is not None]
    assert len(won) == 1
    assert Job.objects.get().attempts == 2


def test_of_the_old_holder_and_the_new_one_writes_its_result():
    def finish(lease):
        try:
            lease.finish(str(lease.job.lease_token))
        except rules.LeaseLost:
            return None
        return str(lease.job.lease_token)

    for _ in range(REPEATS):
        job, clock = batch(), Clock()
        old = jobs.Lease(jobs.job_claim(now=clock()), clock)
        clock.pass_by(rules.LEASE.total_seconds())
        new = jobs.Lease(jobs.job_claim(now=clock()), clock)
        leases = [old, new]
        wrote = side_by_side(2, lambda leases=leases: finish(leases.pop()))
        assert set(wrote) == {None, str(new.job.lease_token)}
        assert job_get(SERVER, job.public_id).result == str(new.job.lease_token)


def test_a_batch_whose_worker_is_killed_in_the_middle_is_taken_up_where_it_stopped():
    job = batch(20, draws=2000, now=timezone.now())
    with child("manage.py", "work_jobs", "--once") as process:
        wait_until(lambda: ModelRun.objects.count() >= 3, process)
        process.send_signal(signal.SIGKILL)
        process.wait()
    before = set(ModelRun.objects.values_list("public_id", flat=True))
    assert 3 <= len(before) < 20
    left = job_get(SERVER, job.public_id)
    assert (left.state, left.attempts) == ("running", 1)
    assert 0 < left.progress_done <= len(before)
    # while the lease lasts nobody touches it; afterwards it is done once
    assert jobs.jobs_run_due(clock=timezone.now) == 0
    clock = Clock(left.lease_until)
    made = side_by_side(2, lambda: jobs.jobs_run_due(clock=clock))
    assert sorted(made) == [0, 1]
    done = job_get(SERVER, job.public_id)
    assert (done.state, done.attempts, done.progress_done) == ("done", 2, 20)
    assert ModelRun.objects.count() == len(set(done.result["runs"])) == 20
    assert before <= set(ModelRun.objects.values_list("public_id", flat=True))
    assert jobs.jobs_run_due(clock=clock) == 0


CREATE = """
import django; django.setup()
from django.db import transaction
from django.utils import timezone
from projects.services.jobs import job_create
with transaction.atomic():
    job_create(kind="estimate_batch", payload=['{"site": {"area_m2": 10}, "draws": 500}'], actor_label="a test",
               now=timezone.now())
"""


def test_with_the_broker_away_the_act_succeeds_and_the_sweep_does_the_job():
    with child("-c", CREATE, REDIS_URL="redis://127.0.0.1:1/0") as process:
        _, log = process.communicate(timeout=60)
    assert process.returncode == 0, log
    job = Job.objects.get()
    assert f"Job {job.public_id} waits for the next sweep, since the broker is out of reach" in log
    assert "Traceback" not in log
    assert job.state == "waiting"
    tasks.sweep_jobs("interactive")
    assert job_get(SERVER, job.public_id).state == "waiting"
    tasks.sweep_jobs("model")
    assert job_get(SERVER, job.public_id).state == "done"


def test_a_task_that_comes_twice_does_its_job_once():
    job = batch(now=timezone.now())
    side_by_side(2, lambda: tasks.run_job(str(job.public_id)))
    tasks.run_job(str(job.public_id))
    done = job_get(SERVER, job.public_id)
    assert (done.state, done.attempts) == ("done", 1)
    assert ModelRun.objects.count() == 1


def test_without_redis_a_thread_of_the_same_process_hears_of_a_job_at_once(settings):
    settings.CELERY_BROKER_URL = None
    stop = threading.Event()
    thread = threading.Thread(target=worker.work, args=[stop])
    thread.start()
    try:
        # asleep until the sweep in 30 s, if nobody wakes it
        time.sleep(0.5)
        with transaction.atomic():
            job = batch(now=timezone.now())
        wait_until(lambda: job_get(SERVER, job.public_id).state == "done", seconds=worker.IDLE_SECONDS / 2)
    finally:
        stop.set()
        jobs.wake.set()
        thread.join()


def test_signs_of_life_are_given_while_the_work_takes_long(monkeypatch):
    monkeypatch.setattr(rules, "HEARTBEAT", rules.HEARTBEAT / 1000)
    monkeypatch.setattr(rules, "LEASE", rules.LEASE / 200)
    batch()
    job = jobs.job_claim(now=timezone.now())
    lease = jobs.Lease(job, timezone.now)
    with jobs._Heartbeat(lease):
        # three times as long as the lease
        time.sleep(3 * rules.LEASE.total_seconds())
        assert jobs.job_claim(now=timezone.now()) is None
    lease.finish({})
    assert Job.objects.get().state == "done"


def test_no_more_signs_of_life_are_given_for_work_that_hangs(monkeypatch):
    monkeypatch.setattr(rules, "HEARTBEAT", rules.HEARTBEAT / 1000)
    monkeypatch.setattr(rules, "LEASE", rules.LEASE / 200)
    monkeypatch.setattr(rules, "LONGEST_ATTEMPT", rules.LEASE)
    batch()
    lease = jobs.Lease(jobs.job_claim(now=timezone.now()), timezone.now)
    with jobs._Heartbeat(lease):
        time.sleep(3 * rules.LEASE.total_seconds())
        assert jobs.job_claim(now=timezone.now()) is not None
    with pytest.raises(rules.LeaseLost):
        lease.finish({})


CELERY = ("-m", "celery", "-A", "config", "worker", "--concurrency", "1", "--loglevel", "INFO")


@pytest.mark.redis
def test_a_celery_worker_does_a_job_as_soon_as_it_is_nudged():
    job = batch(3, now=timezone.now())
    with child(*CELERY, "--without-mingle", "--without-gossip") as process:
        wait_until(lambda: job_get(SERVER, job.public_id).state == "done", process)
        # from a thread too, as a server makes them
        (second,) = side_by_side(1, lambda: batch(2, first=10, now=timezone.now()))
        wait_until(lambda: job_get(SERVER, second.public_id).state == "done", process, seconds=15)
        os.killpg(process.pid, signal.SIGTERM)
        process.communicate(timeout=30)
    assert set(Job.objects.values_list("attempts", "progress_done")) == {(1, 3), (1, 2)}
    assert ModelRun.objects.count() == 5


@pytest.mark.redis
def test_a_celery_worker_told_to_stop_gives_its_job_back_and_the_next_one_ends_it():
    job = batch(60, draws=2000, now=timezone.now())
    with child(*CELERY, "--without-mingle", "--without-gossip") as process:
        wait_until(lambda: job_get(SERVER, job.public_id).progress_done >= 1, process)
        # the worker alone is told, as a container's first process is
        process.send_signal(signal.SIGTERM)
        _, log = process.communicate(timeout=30)
    left = job_get(SERVER, job.public_id)
    assert (left.state, left.attempts, left.lease_until) == ("waiting", 0, None), log
    assert 1 <= left.progress_done < 60
    runs = ModelRun.objects.count()
    with child(*CELERY, "--without-mingle", "--without-gossip") as process:
        wait_until(lambda: job_get(SERVER, job.public_id).state == "done", process)
        os.killpg(process.pid, signal.SIGTERM)
        process.communicate(timeout=30)
    done = job_get(SERVER, job.public_id)
    assert (done.attempts, done.progress_done, len(set(done.result["runs"]))) == (1, 60, 60)
    assert ModelRun.objects.count() == 60 > runs


@pytest.mark.redis
def test_a_message_that_was_lost_is_made_good_by_the_beat(tmp_path):
    job = batch(now=timezone.now())
    with redis.Redis.from_url(settings.REDIS_URL) as server:
        assert server.delete(f"{settings.TEST_PREFIX}:model") == 1
    schedule = str(tmp_path / "schedule")
    with child(*CELERY, "--without-mingle", "--without-gossip", "--beat", "--schedule", schedule) as process:
        wait_until(lambda: job_get(SERVER, job.public_id).state == "done", process, seconds=90)
    assert job_get(SERVER, job.public_id).attempts == 1
