"""How long the forecasts of a network take, by hand: ``.venv/bin/python -m tests.benchmarks.batch``.

500 projects, in a scratch PostgreSQL database if DATABASE_URL names a server, else in SQLite: first as one job in this
process; then by one worker process, and by two. A job is done by one worker at a time, by design, so the worker
processes are given two jobs, of two networks of 250 projects. They are `manage.py work_jobs --once`, whose start is
timed with an empty queue beside, or Celery workers that wait already if REDIS_URL is given. In the end every project
has one forecast, noted once in the audit, and every job has ended once, in its first attempt; otherwise this fails.
"""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import redis

from tests.benchmarks.shared import INSIDE, ROOT, machine, run_inside, say, stopped_with_us, tidy_when_stopped

SMALL = "--small" in sys.argv
PROJECTS = 2 if SMALL else 500
LONGEST_SECONDS = 900.0


def inside() -> None:
    import django

    django.setup()

    from django.conf import settings
    from django.db.models import Max
    from django.utils import timezone

    from projects.models import AuditEntry, Forecast, Job, MeadowProject
    from projects.selectors.actors import actor_of
    from projects.services import jobs, meadows
    from tests.benchmarks import rows

    def grown(slug: str, projects: int) -> tuple[object, object]:
        network, coordinator = rows.network(slug)
        rows.grow(network, projects)
        return actor_of(coordinator), network.public_id

    def ask(networks: list[tuple[object, object]]) -> list[Job]:
        now = timezone.now()
        return [meadows.network_forecast_all(actor=actor, network_id=key, now=now) for actor, key in networks]

    def settle(asked: list[Job], start: float) -> float:
        """Seconds from the start until the last of the jobs had ended; raises SystemExit unless all is as it should."""
        rows_now = Job.objects.filter(pk__in=[job.pk for job in asked])
        for job in rows_now:
            total = job.progress_total
            found = (job.state, job.attempts, job.progress_done, job.result, job.last_error)
            if found != ("done", 1, total, {"made": total, "refused": []}, ""):
                raise SystemExit(f"The job of {job.network} did not end as it should: {found}")
        named = [key for job in asked for key in job.payload["projects"]]
        projects = MeadowProject.objects.filter(public_id__in=named)
        has = sorted(Forecast.objects.filter(project__in=projects).values_list("project__pk", flat=True))
        noted = AuditEntry.objects.filter(act="forecast_create", network__in=[job.network_id for job in asked])
        if has != sorted(projects.values_list("pk", flat=True)) or noted.count() != len(named):
            raise SystemExit(f"{len(named)} projects have {len(has)} forecasts, noted {noted.count()} times.")
        return float(rows_now.aggregate(last=Max("finished_at"))["last"].timestamp()) - start

    def tell(what: str, seconds: float) -> None:
        load = os.getloadavg()[0]
        say(f"{what}: {seconds:.1f} s, {PROJECTS / seconds:.1f} projects a second, load average {load:.2f} at the end")

    def by_loop() -> float:
        asked = ask([grown("saltmere", PROJECTS)])
        start = time.time()
        jobs.jobs_run_due(clock=timezone.now)
        return settle(asked, start)

    def by_commands(number: int, networks: list[tuple[object, object]]) -> float:
        """Also the start of the processes is counted."""
        asked = ask(networks)
        start = time.time()
        _commands(number)
        return settle(asked, start)

    def by_celery(number: int, networks: list[tuple[object, object]]) -> float:
        with ExitStack() as workers:
            for _ in range(number):
                workers.enter_context(_celery_worker(Path(os.environ["FORBCAST_DATA_DIR"])))
            start = time.time()
            asked = ask(networks)
            while Job.objects.filter(pk__in=[job.pk for job in asked], finished_at__isnull=True).exists():
                if time.time() - start > LONGEST_SECONDS:
                    raise SystemExit(f"The Celery workers had not ended after {LONGEST_SECONDS:.0f} s.")
                time.sleep(0.1)
            return settle(asked, start)

    say(f"\n{rows.new_database()}, {PROJECTS} projects")
    tell("in this process, one job", by_loop())
    celery = bool(settings.REDIS_URL)
    kind = "Celery worker" if celery else "work_jobs"
    taken = []
    for number, pair in ((1, ("brackwater", "gullhaven")), (2, ("outer-banks", "inner-sands"))):
        networks = [grown(slug, PROJECTS // 2) for slug in pair]
        if not celery:
            start = time.time()
            _commands(number)
            say(f"{kind} x {number} with nothing to do: {time.time() - start:.1f} s")
        seconds = (by_celery if celery else by_commands)(number, networks)
        tell(f"{kind} x {number}, two jobs of {PROJECTS // 2}", seconds)
        taken.append(seconds)
    say(f"two workers do {taken[0] / taken[1]:.2f} x as many as one")
    say(f"{Forecast.objects.count()} projects have one forecast each; {Job.objects.count()} jobs have ended once each")


def _commands(number: int) -> None:
    """Run so many worker processes side by side until nothing is due."""
    words = [sys.executable, "manage.py", "work_jobs", "--once"]
    running = [subprocess.Popen(words, cwd=ROOT, stdout=subprocess.DEVNULL) for _ in range(number)]
    with stopped_with_us(*running):
        for process in running:
            if process.wait(LONGEST_SECONDS):
                raise SystemExit(f"A worker ended with {process.returncode}.")


@contextmanager
def _celery_worker(folder: Path) -> Iterator[None]:
    """A Celery worker of one process that waits for work, until the end of the block."""
    name = f"bench{len(list(folder.glob('*.log')))}"
    log = folder / f"{name}.log"
    words = [sys.executable, "-m", "celery", "-A", "config", "worker", "--queues", "model", "--concurrency", "1"]
    words += ["--hostname", f"{name}@localhost", "--loglevel", "INFO", "--without-mingle", "--without-gossip"]
    with log.open("w", encoding="utf-8") as out:
        process = subprocess.Popen(words, cwd=ROOT, stdout=out, stderr=out, start_new_session=True)
    try:
        end = time.time() + 60
        while " ready." not in log.read_text(encoding="utf-8"):
            if process.poll() is not None or time.time() > end:
                raise SystemExit(f"A Celery worker did not start:\n{log.read_text(encoding='utf-8')}")
            time.sleep(0.05)
        yield
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGTERM)
            process.wait(60)


@contextmanager
def _redis_left_as_found() -> Iterator[None]:
    """Take away what this run left in Redis, and nothing else."""
    try:
        yield
    finally:
        if os.environ.get("REDIS_URL"):
            with redis.Redis.from_url(os.environ["REDIS_URL"]) as server:
                for key in server.scan_iter(f"{os.environ['FORBCAST_TEST_PREFIX']}:*"):
                    server.delete(key)


def main() -> None:
    if INSIDE in sys.argv:
        tidy_when_stopped()
        with _redis_left_as_found():
            inside()
        return
    say(machine())
    run_inside("tests.benchmarks.batch", every=False)


if __name__ == "__main__":
    main()
