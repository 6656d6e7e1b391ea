"""What the benchmarks share: a clock, the machine in words, and a database of their own that is gone afterwards.

Needs no Django, since the database must be named before Django reads the environment.
"""

import os
import platform
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlsplit

import psycopg
from psycopg import sql

#: tells a benchmark that the database named in the environment is its own
INSIDE: Final = "--inside"
ROOT: Final = Path(__file__).parents[2]


def say(line: str) -> None:
    """Print one line at once."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def median_ms(act: Callable[[], Any], runs: int) -> tuple[float, float, float]:
    """Median, least and most milliseconds of `runs` runs after one that is not counted."""
    act()
    taken = []
    for _ in range(runs):
        start = time.perf_counter()
        act()
        taken.append((time.perf_counter() - start) * 1000)
    return statistics.median(taken), min(taken), max(taken)


def machine() -> str:
    """The day, Python and the machine, with how busy it is."""
    model = platform.machine()
    if Path("/proc/cpuinfo").exists():
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
        model = next((line.partition(":")[2].strip() for line in lines if line.startswith("model name")), model)
    day = time.strftime("%Y-%m-%d")
    load = os.getloadavg()[0]
    return f"{day}, Python {platform.python_version()}, {os.cpu_count()} cores ({model}), load average {load:.2f}"


def tidy_when_stopped() -> None:
    """Let SIGTERM end this process as Ctrl-C does, so that what was made for the run is taken away."""
    signal.signal(signal.SIGTERM, lambda number, frame: sys.exit(128 + number))


@contextmanager
def stopped_with_us(*running: subprocess.Popen[Any]) -> Iterator[None]:
    """Stop these processes, and wait for them, if the block does not end by itself."""
    try:
        yield
    except BaseException:
        for process in running:
            process.terminate()
        for process in running:
            process.wait()
        raise


@contextmanager
def _sqlite() -> Iterator[str]:
    with tempfile.TemporaryDirectory(prefix="forbcast-bench-") as folder:
        yield f"sqlite:///{folder}/bench.sqlite3"


@contextmanager
def _postgresql(server: str) -> Iterator[str]:
    """A new database on the server that an address names; what the address itself names is left alone."""
    name = f"forbcast_bench_{os.getpid()}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        try:
            yield urlsplit(server)._replace(path=f"/{name}").geturl()
        finally:
            connection.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))


def run_inside(module: str, *, every: bool) -> None:
    """Run a benchmark in a new database: PostgreSQL if DATABASE_URL names one, else, or with `every` also, SQLite."""
    tidy_when_stopped()
    server = os.environ.get("DATABASE_URL", "")
    on_server = [_postgresql(server)] if server.startswith("postgres") else []
    for made in [_sqlite(), *on_server] if every or not on_server else on_server:
        with made as address, tempfile.TemporaryDirectory(prefix="forbcast-bench-") as folder:
            own = {
                # the tests' settings keep to a prefix of their own in Redis, and hold nobody back
                "DJANGO_SETTINGS_MODULE": "config.settings.test",
                "DATABASE_URL": address,
                "FORBCAST_DATA_DIR": folder,
                "FORBCAST_TEST_PREFIX": f"forbcast-bench-{os.getpid()}",
                "FORBCAST_LOG_LEVEL": "WARNING",
            } | dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
            words = [sys.executable, "-m", module, INSIDE, *sys.argv[1:]]
            with subprocess.Popen(words, cwd=ROOT, env=os.environ | own) as process, stopped_with_us(process):
                code = process.wait()
        if code:
            raise SystemExit(code)
