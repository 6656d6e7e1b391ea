"""Jobs: which kinds there are, who may take one up, and what follows an attempt."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from django.db.models import F, Q

#: how long a worker holds a job without a sign of life, and how often it gives one
LEASE: Final = timedelta(seconds=60)
HEARTBEAT: Final = timedelta(seconds=20)
#: after so long a job with more to do goes back to the end of the queue, well within Celery's time limit
SLICE: Final = timedelta(seconds=60)
#: after so long without end a worker gives no more signs of life for a job; it hangs
LONGEST_ATTEMPT: Final = timedelta(seconds=300)
FIRST_PAUSE: Final = timedelta(seconds=10)
LONGEST_PAUSE: Final = timedelta(minutes=10)
MAX_ATTEMPTS: Final = 3
LONGEST_ERROR: Final = 2000


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of job: its queue, and by dotted name what checks a payload and what does the work."""

    queue: str
    check: str
    function: str


KINDS: Final = {
    "estimate_batch": Kind(
        queue="model",
        check="projects.services.estimates.check_batch",
        function="projects.services.estimates.estimate_batch",
    ),
    "forecasts": Kind(
        queue="model",
        check="projects.services.meadows.check_forecasts",
        function="projects.services.meadows.forecasts",
    ),
    "export": Kind(
        queue="export",
        check="projects.services.exports.check_export",
        function="projects.services.exports.export_make",
    ),
    "snapshot": Kind(
        queue="export",
        check="projects.services.snapshots.check_snapshot",
        function="projects.services.snapshots.snapshot_make",
    ),
    "bid_appraisals": Kind(
        queue="model",
        check="projects.services.appraisals.check_appraisals",
        function="projects.services.appraisals.appraisals",
    ),
    "bid_choice": Kind(
        queue="model",
        check="projects.services.appraisals.check_choice",
        function="projects.services.appraisals.choice",
    ),
    "seed_share_out": Kind(
        queue="model",
        check="projects.services.share_outs.check_share_out",
        function="projects.services.share_outs.shared",
    ),
}


class JobRefused(Exception):
    """The job cannot be made or changed as asked."""


class LeaseLost(Exception):
    """The worker no longer holds the job: somebody else has it, or its time is up. Nothing may be written."""


class HandBack(Exception):
    """The job's time slice is over and there is more to do."""


def claimable(now: datetime) -> Q:
    """Jobs that a worker may take up: due ones, and those whose worker has given no sign of life."""
    due = Q(state="waiting", run_after__lte=now)
    left_lying = Q(state="running", lease_until__lte=now)
    return (due | left_lying) & Q(attempts__lt=F("max_attempts"))


def used_up(now: datetime) -> Q:
    """Jobs whose worker has given no sign of life in the last attempt allowed."""
    return Q(state="running", lease_until__lte=now, attempts__gte=F("max_attempts"))


def held(token: object, now: datetime) -> Q:
    """Jobs that the worker with this token may write to."""
    return Q(state="running", lease_token=token, lease_until__gt=now)


def pause_after(attempts: int) -> timedelta:
    """Pause before the next attempt: doubles with each."""
    return min(FIRST_PAUSE * 2 ** (attempts - 1), LONGEST_PAUSE)


def is_last(attempts: int, max_attempts: int) -> bool:
    """Whether no attempt is left after this many."""
    return attempts >= max_attempts
