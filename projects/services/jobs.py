"""Jobs: made in the act's own transaction, claimed by one worker at a time, ended once.

The row holds the truth. A message only says "look at this job"; one that is lost is made good by the sweep, one that
comes twice finds nothing left to do.
"""

from __future__ import annotations

import logging
import threading
import uuid
from collections.abc import Callable, Collection
from datetime import datetime
from functools import partial
from types import TracebackType
from typing import Any, Final

import celery
from django.conf import settings
from django.db import Error, connection, transaction
from django.db.models import F
from django.utils.module_loading import import_string
from kombu.exceptions import OperationalError

from projects.errors import WrongState
from projects.models import Job, Network
from projects.rules import jobs as rules
from projects.rules.access import Actor, demand
from projects.rules.jobs import HandBack, JobRefused, LeaseLost
from projects.selectors.jobs import job_get, jobs_claimable
from projects.services.audit import record

logger = logging.getLogger(__name__)

Clock = Callable[[], datetime]
QUEUES: Final = tuple(Job.Queue.values)
RUN_JOB: Final = "projects.run_job"
#: rivals that want the same job each look at so many before they ask again
_CANDIDATES: Final = 10
#: set when a job is there for the worker thread of this very process
wake: Final = threading.Event()
#: set once this very process has been told to stop: jobs that can be taken up again are given back at the next step
stopping: Final = threading.Event()

# ------------------------------------------------------------------ asking for work


def job_create(
    *,
    kind: str,
    payload: Any,
    actor_label: str,
    now: datetime,
    actor_id: int | None = None,
    network: Network | None = None,
    max_attempts: int = rules.MAX_ATTEMPTS,
) -> Job:
    """Add a job in the caller's transaction; workers hear of it once that is committed.

    Raises
    ------
    JobRefused
        If there is no such kind, or the kind cannot work with the payload.
    """
    if kind not in rules.KINDS:
        raise JobRefused(f"{kind!r} is not a kind of job; known are {', '.join(rules.KINDS)}.")
    total = import_string(rules.KINDS[kind].check)(payload)
    job = Job(
        kind=kind,
        queue=rules.KINDS[kind].queue,
        payload=payload,
        actor_label=actor_label,
        actor_id=actor_id,
        network=network,
        max_attempts=max_attempts,
        run_after=now,
        created_at=now,
        progress_total=total,
    )
    # constraints are the database's to check, once
    job.full_clean(validate_unique=False, validate_constraints=False)
    job.save(force_insert=True)
    transaction.on_commit(partial(nudge, job.public_id, job.queue))
    return job


def job_restart(*, actor: Actor, public_id: uuid.UUID, now: datetime) -> Job:
    """Let a failed job be tried again from the first attempt; raises WrongState if it has not failed."""
    with transaction.atomic():
        job = job_get(actor, public_id)
        demand(actor, "job.restart", network_id=job.network_id, owner_id=job.actor_id)
        changed = Job.objects.filter(pk=job.pk, state=Job.State.FAILED).update(
            state=Job.State.WAITING, attempts=0, run_after=now, finished_at=None
        )
        if not changed:
            raise WrongState(f"Only a failed job can be started again; this one is {job.get_state_display().lower()}.")
        record(actor, now, "job_restart", "job", job.public_id, network=job.network_id)
        transaction.on_commit(partial(nudge, job.public_id, job.queue))
    return job_get(actor, public_id)


def nudge(public_id: uuid.UUID, queue: str) -> None:
    """Tell the workers of a queue to look at a job. If they cannot be told, the sweep finds it."""
    if not settings.CELERY_BROKER_URL:
        wake.set()
        return
    try:
        celery.current_app.send_task(RUN_JOB, args=[str(public_id)], queue=queue, retry=False)
    except OperationalError as error:
        logger.warning("Job %s waits for the next sweep, since the broker is out of reach: %s", public_id, error)


# ------------------------------------------------------------------ doing it


def job_claim(*, now: datetime, queues: Collection[str] = QUEUES, public_id: uuid.UUID | None = None) -> Job | None:
    """Take up one job, the named one or the one longest due; None if there is none to be had.

    Kinds that this release does not know are left to one that does.
    """
    while True:
        if public_id is None:
            candidates = jobs_claimable(now=now, queues=queues, kinds=rules.KINDS, limit=_CANDIDATES)
        else:
            candidates = list(
                Job.objects.filter(public_id=public_id, kind__in=rules.KINDS).values_list("pk", flat=True)
            )
        for pk in candidates:
            token = uuid.uuid4()
            changed = Job.objects.filter(rules.claimable(now), pk=pk).update(
                state=Job.State.RUNNING,
                attempts=F("attempts") + 1,
                lease_token=token,
                lease_until=now + rules.LEASE,
            )
            if changed:
                return Job.objects.filter(pk=pk, lease_token=token).first()
        if public_id is not None or len(candidates) < _CANDIDATES:
            return None


def jobs_close_used_up(*, now: datetime) -> int:
    """Fail the jobs whose worker died in the last attempt allowed; how many."""
    return Job.objects.filter(rules.used_up(now)).update(
        state=Job.State.FAILED,
        lease_token=None,
        lease_until=None,
        finished_at=now,
        last_error="The worker stopped in the middle of the last attempt allowed.",
    )


class Lease:
    """A worker's hold on a job, and all it may write to it; every write raises LeaseLost once the hold is gone."""

    def __init__(self, job: Job, clock: Clock) -> None:
        self.job, self.clock = job, clock
        self.started_at = clock()

    def _write(self, **values: Any) -> None:
        now = self.clock()
        if not Job.objects.filter(rules.held(self.job.lease_token, now), pk=self.job.pk).update(**values):
            raise LeaseLost(f"{self.job} is no longer held by this worker.")

    def beat(self) -> None:
        """Give a sign of life."""
        self._write(lease_until=self.clock() + rules.LEASE)

    def progress(self, done: int) -> None:
        """Say how much of the total is done; also a sign of life."""
        self._write(progress_done=done, lease_until=self.clock() + rules.LEASE)

    def hand_back_when_time_is_up(self) -> None:
        """Raise HandBack once the slice is over, or the worker is to stop; for work that goes on where it stopped."""
        if stopping.is_set() or self.clock() - self.started_at >= rules.SLICE:
            raise HandBack

    def finish(self, result: Any) -> None:
        """Write the result; the job is done."""
        self._write(
            state=Job.State.DONE,
            result=result,
            progress_done=F("progress_total"),
            lease_token=None,
            lease_until=None,
            finished_at=self.clock(),
            last_error="",
        )

    def hand_back(self) -> None:
        """Put the job at the end of the queue without counting the attempt."""
        self._write(
            state=Job.State.WAITING,
            attempts=F("attempts") - 1,
            lease_token=None,
            lease_until=None,
            run_after=self.clock(),
        )
        nudge(self.job.public_id, self.job.queue)

    def fail(self, error: str) -> None:
        """Note what went wrong; the job waits for its next attempt, or has failed."""
        now = self.clock()
        last = rules.is_last(self.job.attempts, self.job.max_attempts)
        self._write(
            state=Job.State.FAILED if last else Job.State.WAITING,
            lease_token=None,
            lease_until=None,
            run_after=now if last else now + rules.pause_after(self.job.attempts),
            finished_at=now if last else None,
            last_error=error[: rules.LONGEST_ERROR],
        )


class _Attempt:
    """Ends an attempt in the row, whatever happened in it. Only what stops the process itself goes on upwards."""

    def __init__(self, lease: Lease) -> None:
        self.lease = lease

    def __enter__(self) -> None:
        return None

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> bool:
        job = self.lease.job
        try:
            if isinstance(error, LeaseLost):
                raise error
            if isinstance(error, HandBack) or (error is not None and not isinstance(error, Exception)):
                self.lease.hand_back()
            elif error is not None:
                logger.error("Job %s failed in attempt %d.", job, job.attempts, exc_info=error)
                self.lease.fail(f"{type(error).__name__}: {error}".replace("\0", ""))
        except LeaseLost as lost:
            logger.warning("%s What it found is dropped.", lost)
        return error is None or isinstance(error, Exception)


class _Heartbeat:
    """Signs of life from a thread of its own while work goes on, until it takes so long that it must hang."""

    def __init__(self, lease: Lease) -> None:
        self.lease = lease
        self.over = threading.Event()
        self.thread = threading.Thread(target=self.beat, name="job heartbeat", daemon=True)

    def __enter__(self) -> None:
        self.thread.start()

    def __exit__(self, *error: object) -> None:
        self.over.set()
        self.thread.join()

    def beat(self) -> None:
        while not self.over.wait(rules.HEARTBEAT.total_seconds()):
            if self.lease.clock() - self.lease.started_at >= rules.LONGEST_ATTEMPT:
                return
            try:
                self.lease.beat()
            except LeaseLost:
                return
            except Error as error:
                logger.warning("No sign of life could be written for job %s: %s", self.lease.job, error)
            finally:
                connection.close()


def job_run(job: Job, *, clock: Clock) -> None:
    """Do the work of a claimed job and write what came of it."""
    lease = Lease(job, clock)
    with _Attempt(lease):
        with _Heartbeat(lease):
            result = import_string(rules.KINDS[job.kind].function)(job, lease)
        lease.finish(result)


def job_run_named(*, public_id: uuid.UUID, clock: Clock) -> bool:
    """Claim and do one job; False if there was nothing to do: it is done, somebody else is at it, or we are to stop."""
    job = None if stopping.is_set() else job_claim(now=clock(), public_id=public_id)
    if job is None:
        return False
    job_run(job, clock=clock)
    return True


def jobs_run_due(*, clock: Clock, queues: Collection[str] = QUEUES, enough: Callable[[], bool] = lambda: False) -> int:
    """Do jobs until none is due or it is `enough`; how many attempts were made. The loop of every worker."""
    jobs_close_used_up(now=clock())
    made = 0
    while not (enough() or stopping.is_set()):
        job = job_claim(now=clock(), queues=queues)
        if job is None:
            break
        job_run(job, clock=clock)
        made += 1
    return made
