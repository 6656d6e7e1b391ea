"""Reads of jobs."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from uuid import UUID

from django.db.models import Case, Count, Q, QuerySet, When

from projects.errors import NotFound
from projects.models import Job
from projects.rules import jobs as rules
from projects.rules.access import Actor, visible_jobs


def job_list(actor: Actor) -> QuerySet[Job]:
    """Jobs the actor may see, without their payloads."""
    return Job.objects.defer("payload").filter(visible_jobs(actor)).select_related("network")


def jobs_by_need(actor: Actor) -> QuerySet[Job]:
    """The same without what came of them: what stopped before its end first, then the latest."""
    stopped_first = Case(When(state=Job.State.FAILED, then=0), default=1)
    return job_list(actor).defer("payload", "result").order_by(stopped_first, "-created_at", "-pk")


def jobs_open(actor: Actor) -> tuple[int, int]:
    """How many of them stopped before their end, and how many wait or go on."""
    of_state = {
        name: Count("pk", filter=Q(state__in=states))
        for name, states in (("failed", [Job.State.FAILED]), ("open", [Job.State.WAITING, Job.State.RUNNING]))
    }
    found = Job.objects.filter(visible_jobs(actor)).aggregate(**of_state)
    return found["failed"], found["open"]


def job_get(actor: Actor, public_id: UUID) -> Job:
    """One job without its payload; raises NotFound."""
    job = job_list(actor).filter(public_id=public_id).first()
    if job is None:
        raise NotFound(f"There is no job {public_id}, or none that you may see.")
    return job


def jobs_claimable(*, now: datetime, queues: Collection[str], kinds: Collection[str], limit: int) -> list[int]:
    """Keys of the jobs to take up next, the one that has been due longest first."""
    found = Job.objects.filter(rules.claimable(now), queue__in=queues, kind__in=kinds)
    return list(found.order_by("run_after", "id").values_list("pk", flat=True)[:limit])
