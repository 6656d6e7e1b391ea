"""Figures for a machine that watches, as prometheus_client writes them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from django.db import Error as DatabaseError
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.core import GaugeMetricFamily, InfoMetricFamily
from prometheus_client.registry import Collector

from modelling.release import RELEASE
from projects.selectors import running


class _Figures(Collector):
    """Counts anew each time it is asked; no process keeps anything, so none has to be asked twice."""

    def __init__(self, now: datetime) -> None:
        self.now = now

    def collect(self) -> Iterator[GaugeMetricFamily | InfoMetricFamily]:
        yield InfoMetricFamily("forbcast_release", "What runs here.", {"release": RELEASE})
        answers = running.database_answers()
        yield GaugeMetricFamily("forbcast_database_up", "1 if the database answers.", float(answers))
        yield GaugeMetricFamily("forbcast_cache_up", "1 if the shared cache answers.", float(running.cache_answers()))
        if not answers:
            return
        try:
            missing = running.migrations_missing()
            yield GaugeMetricFamily("forbcast_migrations_missing", "Migrations the database has not had.", missing)
            if not missing:
                yield from self.jobs()
        except DatabaseError:
            return

    def jobs(self) -> Iterator[GaugeMetricFamily]:
        found = running.job_figures(self.now)
        jobs = GaugeMetricFamily("forbcast_jobs", "Jobs by queue and state.", labels=["queue", "state"])
        for (queue, state), number in found.counts.items():
            jobs.add_metric([queue, state], number)
        yield jobs
        waits = GaugeMetricFamily(
            "forbcast_job_longest_wait_seconds", "How long the job that is due longest has waited.", labels=["queue"]
        )
        for queue, seconds in found.longest_wait_seconds.items():
            waits.add_metric([queue], seconds)
        yield waits
        yield GaugeMetricFamily(
            "forbcast_jobs_left_lying", "Running jobs whose worker gives no sign of life.", found.left_lying
        )


def exposed(now: datetime) -> bytes:
    """The figures as text."""
    registry = CollectorRegistry(auto_describe=False)
    registry.register(_Figures(now))
    return generate_latest(registry)
