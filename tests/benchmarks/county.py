"""How long the invented county takes, by hand: ``.venv/bin/python -m tests.benchmarks.county``.

Migrations and loading into a new SQLite database, beside one estimate in the same process for comparison. The budget
is 30 s on two slow cores.
"""

import os
import tempfile

_folder = tempfile.TemporaryDirectory(prefix="forbcast-county-")
os.environ["FORBCAST_DATA_DIR"] = _folder.name
os.environ.pop("DATABASE_URL", None)
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.base")
for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(threads, "1")

import sys  # noqa: E402 - the folder is named before Django reads it
import time  # noqa: E402
from collections.abc import Callable  # noqa: E402
from datetime import date  # noqa: E402

import django  # noqa: E402

django.setup()

from django.core.management import call_command  # noqa: E402

from modelling import services  # noqa: E402
from projects.services import demo  # noqa: E402


def timed(what: str, act: Callable[[], object]) -> float:
    """Do it, and say how long it took by the clock and of the processor."""
    clock, processor = time.perf_counter(), time.process_time()
    act()
    taken = time.perf_counter() - clock
    sys.stdout.write(f"{what}: {taken:.1f} s, of the processor {time.process_time() - processor:.1f} s\n")
    return taken


def main() -> None:
    day = date(2026, 7, 1)
    request = services.read_estimate({"site": {"area_m2": 180}})
    services.estimate_now(request, today=day)
    timed("ten estimates", lambda: [services.estimate_now(request, today=day) for _ in range(10)])
    whole = timed("migrations", lambda: call_command("migrate", verbosity=0))
    whole += timed("the county", demo.county_load)
    sys.stdout.write(f"together: {whole:.1f} s of 30\n")


if __name__ == "__main__":
    main()
