"""Makings of jobs in tests: real kinds, small requests, a clock that is told."""

import json
from datetime import UTC, datetime, timedelta

from projects.services.jobs import job_create

NOON = datetime(2026, 5, 1, 12, tzinfo=UTC)


class Clock:
    """A clock that stands still until it is told to go on."""

    def __init__(self, now=NOON):
        self.now = now

    def __call__(self):
        return self.now

    def pass_by(self, seconds):
        self.now += timedelta(seconds=seconds)


def texts(count, first=1, draws=500):
    """Requests that all differ, each worked out in a few hundredths of a second."""
    return [
        json.dumps({"site": {"area_m2": 10 * n}, "draws": draws, "horizon_years": 3})
        for n in range(first, first + count)
    ]


def batch(count=1, *, first=1, now=NOON, draws=500, **others):
    """Add a job that estimates so many sites."""
    return job_create(
        kind="estimate_batch", payload=texts(count, first, draws), actor_label="a test", now=now, **others
    )
