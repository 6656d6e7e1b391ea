"""The life of a job, step by step with a clock that is told; rivals and dead workers are in test_job_rivals."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction

from modelling.models import ModelRun
from projects.errors import WrongState
from projects.models import Job
from projects.rules import jobs as rules
from projects.rules.access import SERVER
from projects.rules.jobs import HandBack, JobRefused, LeaseLost
from projects.selectors.jobs import job_get
from projects.services.jobs import (
    Lease,
    job_claim,
    job_create,
    job_restart,
    job_run,
    job_run_named,
    jobs_close_used_up,
    jobs_run_due,
)
from tests.projects.jobs import NOON, Clock, batch

pytestmark = pytest.mark.django_db
LEASE = rules.LEASE.total_seconds()


def broken(**others):
    """A row that no door would write: its work fails in every attempt."""
    return Job.objects.create(
        kind="estimate_batch", queue="model", payload=5, actor_label="a test", run_after=NOON, max_attempts=2, **others
    )


def test_a_new_job_waits_with_nothing_done():
    job = job_get(SERVER, batch(4).public_id)
    assert (job.state, job.queue, job.attempts, job.max_attempts) == ("waiting", "model", 0, 3)
    assert (job.progress_done, job.progress_total) == (0, 4)
    assert (job.lease_token, job.lease_until, job.finished_at, job.result) == (None, None, None, None)
    assert (job.created_at, job.run_after, job.actor_label) == (NOON, NOON, "a test")


@pytest.mark.parametrize(
    ("kind", "payload", "words"),
    [
        ("estimate_bach", ["{}"], "'estimate_bach' is not a kind of job; known are estimate_batch"),
        ("estimate_batch", {"requests": []}, "is a list of requests, each as JSON text"),
        ("estimate_batch", [{}], "is a list of requests, each as JSON text"),
        ("estimate_batch", [], "holds 1 to 5,000 requests; read 0"),
        ("estimate_batch", ["{}"] * 5001, "holds 1 to 5,000 requests; read 5,001"),
        ("estimate_batch", ["{}", "\0"], "Request 2 holds a NUL"),
        ("estimate_batch", ["\ud800"], "Request 1 holds a NUL or half a character"),
    ],
)
def test_a_job_that_cannot_be_done_is_refused(kind, payload, words):
    with pytest.raises(JobRefused, match=words):
        job_create(kind=kind, payload=payload, actor_label="a test", now=NOON)
    assert Job.objects.count() == 0


def test_a_job_goes_with_the_transaction_that_made_it():
    def act():
        batch()
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError), transaction.atomic():
        act()
    assert Job.objects.count() == 0


def test_a_claim_is_a_lease_of_a_minute(django_assert_num_queries):
    made = batch()
    with django_assert_num_queries(3):
        job = job_claim(now=NOON)
    assert job.pk == made.pk
    assert (job.state, job.attempts, job.lease_until) == ("running", 1, NOON + timedelta(minutes=1))
    assert job.lease_token is not None
    assert job_claim(now=NOON + timedelta(seconds=59)) is None
    assert job_claim(now=NOON, public_id=made.public_id) is None


def test_a_claim_costs_the_same_however_long_the_queue_is(django_assert_num_queries):
    for _ in range(30):
        batch()
    with django_assert_num_queries(3):
        assert job_claim(now=NOON) is not None


def test_the_job_that_has_been_due_longest_is_next_and_no_other_queue_is_touched():
    later, sooner = batch(now=NOON), batch(now=NOON - timedelta(hours=1))
    batch(now=NOON + timedelta(seconds=1))
    assert job_claim(now=NOON, queues=["interactive", "export"]) is None
    assert [job_claim(now=NOON).pk for _ in range(2)] == [sooner.pk, later.pk]
    assert job_claim(now=NOON) is None


def test_a_kind_that_this_release_does_not_know_is_left_to_another():
    job = Job.objects.create(
        kind="of_tomorrow", queue="model", payload=[], actor_label="a test", run_after=NOON, max_attempts=3
    )
    assert job_claim(now=NOON) is None
    assert job_claim(now=NOON, public_id=job.public_id) is None


def test_done_means_a_result_and_no_lease():
    job, clock = batch(2), Clock()
    assert jobs_run_due(clock=clock) == 1
    job = job_get(SERVER, job.public_id)
    assert (job.state, job.attempts, job.progress_done, job.finished_at) == ("done", 1, 2, NOON)
    assert (job.lease_token, job.lease_until, job.last_error) == (None, None, "")
    assert job.result == {
        "runs": [str(run) for run in ModelRun.objects.order_by("id").values_list("public_id", flat=True)],
        "refused": [],
    }


def test_run_twice_it_does_nothing_twice(django_assert_num_queries):
    job, clock = batch(2), Clock()
    assert job_run_named(public_id=job.public_id, clock=clock) is True
    before = Job.objects.values().get()
    clock.pass_by(3600)
    with django_assert_num_queries(2):
        assert job_run_named(public_id=job.public_id, clock=clock) is False
    assert jobs_run_due(clock=clock) == 0
    assert Job.objects.values().get() == before
    assert job_run_named(public_id=uuid4(), clock=clock) is False


def test_without_the_lease_nothing_is_written():
    batch()
    clock = Clock()
    first = Lease(job_claim(now=clock()), clock)
    clock.pass_by(LEASE)
    second = Lease(job_claim(now=clock()), clock)
    before = Job.objects.values().get()
    for write in (
        first.beat,
        first.hand_back,
        lambda: first.progress(1),
        lambda: first.finish({"runs": ["stale"]}),
        lambda: first.fail("stale"),
    ):
        with pytest.raises(LeaseLost, match="no longer held by this worker"):
            write()
    assert Job.objects.values().get() == before
    second.finish({"runs": ["fresh"]})
    assert Job.objects.get().result == {"runs": ["fresh"]}
    with pytest.raises(LeaseLost):
        second.finish({"runs": ["again"]})


def test_a_lease_that_ran_out_is_lost_even_before_somebody_else_has_it():
    batch()
    clock = Clock()
    lease = Lease(job_claim(now=clock()), clock)
    clock.pass_by(LEASE - 1)
    lease.beat()
    clock.pass_by(LEASE - 1)
    lease.progress(1)
    clock.pass_by(LEASE)
    with pytest.raises(LeaseLost):
        lease.finish({})


def test_a_worker_that_lost_its_lease_drops_what_it_found(caplog):
    clock = Clock()
    batch()
    job = job_claim(now=clock())
    clock.pass_by(LEASE)
    other = job_claim(now=clock())
    job_run(job, clock=clock)
    assert Job.objects.get().lease_token == other.lease_token
    assert Job.objects.get().state == "running"
    assert "is no longer held by this worker. What it found is dropped." in caplog.text


def test_what_fails_is_tried_again_after_a_pause_and_has_failed_after_the_last_attempt(caplog):
    job, clock = broken(), Clock()
    assert jobs_run_due(clock=clock) == 1
    job.refresh_from_db()
    assert (job.state, job.attempts, job.finished_at) == ("waiting", 1, None)
    assert job.last_error == "TypeError: 'int' object is not iterable"
    clock.pass_by(9)
    assert jobs_run_due(clock=clock) == 0
    clock.pass_by(1)
    assert jobs_run_due(clock=clock) == 1
    job.refresh_from_db()
    assert (job.state, job.attempts, job.finished_at) == ("failed", 2, clock())
    assert job.last_error == "TypeError: 'int' object is not iterable"
    clock.pass_by(3600)
    assert jobs_run_due(clock=clock) == 0
    # the whole trace goes to the log
    assert caplog.text.count("Traceback") == 2
    assert "failed in attempt 2" in caplog.text


def test_one_that_fails_does_not_keep_the_others_waiting():
    broken()
    job = batch()
    assert jobs_run_due(clock=Clock()) == 2
    assert job_get(SERVER, job.public_id).state == "done"


def test_a_failed_job_can_be_started_again_and_no_other():
    job, clock = broken(), Clock()
    for _ in range(2):
        jobs_run_due(clock=clock)
        clock.pass_by(60)
    assert job_get(SERVER, job.public_id).state == "failed"
    Job.objects.filter(pk=job.pk).update(payload=['{"site": {"area_m2": 10}, "draws": 500}'], progress_total=1)
    again = job_restart(actor=SERVER, public_id=job.public_id, now=clock())
    assert (again.state, again.attempts, again.finished_at) == ("waiting", 0, None)
    with pytest.raises(WrongState, match="this one is waiting"):
        job_restart(actor=SERVER, public_id=job.public_id, now=clock())
    assert jobs_run_due(clock=clock) == 1
    job = job_get(SERVER, job.public_id)
    assert (job.state, job.attempts, job.last_error) == ("done", 1, "")
    with pytest.raises(WrongState, match="this one is done"):
        job_restart(actor=SERVER, public_id=job.public_id, now=clock())


def test_a_worker_that_dies_in_the_last_attempt_leaves_a_failed_job():
    job, clock = batch(max_attempts=2), Clock()
    for _ in range(2):
        assert job_claim(now=clock()) is not None
        clock.pass_by(LEASE)
    assert job_claim(now=clock()) is None
    assert jobs_close_used_up(now=clock()) == 1
    job = job_get(SERVER, job.public_id)
    assert (job.state, job.finished_at, job.lease_token) == ("failed", clock(), None)
    assert "stopped in the middle of the last attempt" in job.last_error
    assert jobs_run_due(clock=clock) == 0


def test_a_long_job_goes_to_the_end_of_the_queue_without_counting_the_attempt():
    long, short, clock = batch(3), batch(first=10), Clock()

    class Slow(Clock):
        """Each look at it takes eight seconds."""

        def __call__(self):
            clock.pass_by(8)
            return clock.now

    job_run(job_claim(now=clock()), clock=Slow())
    waiting = job_get(SERVER, long.public_id)
    assert (waiting.state, waiting.attempts) == ("waiting", 0)
    assert waiting.run_after > NOON + rules.SLICE
    assert 0 < waiting.progress_done < 3
    assert job_claim(now=clock.now).pk == short.pk
    assert jobs_run_due(clock=clock) == 1
    assert job_get(SERVER, long.public_id).state == "done"


def test_a_worker_told_to_stop_gives_the_job_back_at_once():
    job, clock = batch(3), Clock()

    class Stopped(Clock):
        """Ctrl-C comes at the fifth look at it."""

        looks = 0

        def __call__(self):
            self.looks += 1
            if self.looks == 5:
                raise KeyboardInterrupt
            return self.now

    with pytest.raises(KeyboardInterrupt):
        job_run(job_claim(now=clock()), clock=Stopped())
    assert (job_get(SERVER, job.public_id).state, job_get(SERVER, job.public_id).attempts) == ("waiting", 0)
    assert jobs_run_due(clock=clock) == 1
    assert job_get(SERVER, job.public_id).state == "done"


def test_a_slice_lasts_a_minute():
    batch()
    clock = Clock()
    lease = Lease(job_claim(now=clock()), clock)
    clock.pass_by(59)
    lease.hand_back_when_time_is_up()
    clock.pass_by(1)
    with pytest.raises(HandBack):
        lease.hand_back_when_time_is_up()


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"state": "asleep", "finished_at": NOON}, "job_state_known|job_finished_at_its_end"),
        ({"queue": "slow"}, "job_queue_known"),
        ({"state": "running"}, "job_leased_while_running"),
        ({"lease_until": NOON}, "job_leased_while_running"),
        ({"lease_token": uuid4(), "lease_until": NOON}, "job_leased_while_running"),
        ({"state": "done"}, "job_finished_at_its_end"),
        ({"finished_at": NOON}, "job_finished_at_its_end"),
        ({"attempts": 4}, "job_attempts_within_limit"),
        ({"max_attempts": 0}, "job_attempts_within_limit"),
        ({"progress_done": 2}, "job_progress_within_total"),
    ],
)
def test_the_database_refuses_a_row_that_cannot_be(change, name):
    job = batch()
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        Job.objects.filter(pk=job.pk).update(**change)
