"""What Celery calls: each takes an id or a queue's name, calls one service, and returns nothing."""

import time
from uuid import UUID

from celery import shared_task
from django.utils import timezone

from projects.services import chores, jobs

#: a sweep starts no further job after so many seconds; the next one is due then
SWEEP_SECONDS = 25


@shared_task(name=jobs.RUN_JOB)
def run_job(public_id: str) -> None:
    jobs.job_run_named(public_id=UUID(public_id), clock=timezone.now)


@shared_task(name="projects.sweep_jobs")
def sweep_jobs(queue: str) -> None:
    end = time.monotonic() + SWEEP_SECONDS
    jobs.jobs_run_due(clock=timezone.now, queues=[queue], enough=lambda: time.monotonic() >= end)


@shared_task(name="projects.forget")
def forget() -> None:
    chores.what_is_over_forget(now=timezone.now())
