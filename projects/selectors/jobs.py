"""Reads of jobs."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from uuid import UUID

from projects.models import Job
from projects.rules import jobs as rules


def job_get(public_id: UUID) -> Job:
    """One job without its payload; raises Job.DoesNotExist."""
    return Job.objects.defer("payload").get(public_id=public_id)


def jobs_claimable(*, now: datetime, queues: Collection[str], kinds: Collection[str], limit: int) -> list[int]:
    """Keys of the jobs to take up next, the one that has been due longest first."""
    found = Job.objects.filter(rules.claimable(now), queue__in=queues, kind__in=kinds)
    return list(found.order_by("run_after", "id").values_list("pk", flat=True)[:limit])
