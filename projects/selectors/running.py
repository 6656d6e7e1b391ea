"""How the service itself is doing: what it needs and can reach, and how much work waits. No rows, no people."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime

from django.core.cache import cache
from django.db import Error as DatabaseError
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.db.models import Count, Min
from redis.exceptions import RedisError

from projects.models import Job
from projects.rules import jobs as rules

#: set once all migrations of this release were seen in the database; a process runs one release
_migrated: set[str] = set()


def database_answers() -> bool:
    """Whether the database can be asked anything."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            found: bool = cursor.fetchone() == (1,)
    except DatabaseError:
        return False
    return found


def migrations_missing() -> int:
    """How many migrations of this release the database has not had; raises the database's errors."""
    executor = MigrationExecutor(connection)
    return len(executor.migration_plan(executor.loader.graph.leaf_nodes()))


def is_migrated() -> bool:
    """Whether the database is as this release needs it."""
    if _migrated:
        return True
    try:
        if migrations_missing():
            return False
    except DatabaseError:
        return False
    _migrated.add("yes")
    return True


def cache_answers() -> bool:
    """Whether the shared cache keeps what it is told."""
    try:
        cache.set("health", "well", timeout=60)
        found: bool = cache.get("health") == "well"
    except RedisError:
        return False
    return found


@dataclass(frozen=True)
class JobFigures:
    """Jobs by queue and state, and how long the one that has been due longest waits, by queue."""

    counts: dict[tuple[str, str], int]
    longest_wait_seconds: dict[str, float]
    #: running without a sign of life from their worker
    left_lying: int


def job_figures(now: datetime) -> JobFigures:
    """Figures of all jobs; three queries."""
    counts: Counter[tuple[str, str]] = Counter()
    for row in Job.objects.order_by().values("queue", "state").annotate(number=Count("pk")):
        counts[row["queue"], row["state"]] = row["number"]
    every = {(queue, state): counts[queue, state] for queue in Job.Queue.values for state in Job.State.values}
    due = Job.objects.order_by().filter(state=Job.State.WAITING, run_after__lte=now).values("queue")
    waits = dict.fromkeys(Job.Queue.values, 0.0)
    for oldest in due.annotate(since=Min("run_after")):
        waits[oldest["queue"]] = (now - oldest["since"]).total_seconds()
    lying = Job.objects.filter(rules.claimable(now) | rules.used_up(now), state=Job.State.RUNNING).count()
    return JobFigures(every, waits, lying)
