"""Timings, run by hand: ``.venv/bin/python -m tests.benchmarks``. A test runs it with ``--small``, to see that it runs.

1. One estimate (4,000 draws, 40 species, 10 years, both forecasts) against drawing as many normals, uniforms and
   exponentials as it draws. 2. 100, 250 and 500 sites in one process: seconds and peak memory. 3. POST of an estimate
   through the whole of Django against the index of the API, in this process, one after the other.
"""

import os

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.base")
os.environ.setdefault("FORBCAST_THROTTLE", "0")
os.environ.setdefault("FORBCAST_ALLOWED_HOSTS", "testserver")
for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(threads, "1")

import json  # noqa: E402 - the threads are set before NumPy is read
import platform  # noqa: E402
import resource  # noqa: E402
import sys  # noqa: E402
import time  # noqa: E402
from collections import Counter  # noqa: E402
from collections.abc import Callable  # noqa: E402
from datetime import date  # noqa: E402
from typing import Any  # noqa: E402

import django  # noqa: E402
import numpy as np  # noqa: E402

django.setup()

from modelling.core import draws, sampling, stand  # noqa: E402
from modelling.core.estimate import estimate  # noqa: E402
from modelling.core.plan import Plan, Question, SeedItem, Site  # noqa: E402
from modelling.selectors import parameters  # noqa: E402
from tests.benchmarks.shared import median_ms, say  # noqa: E402

SMALL = "--small" in sys.argv
RUNS = 1 if SMALL else 15
DRAWS = 200 if SMALL else 4000
SITES = (2, 3) if SMALL else (100, 250, 500)
DAY = date(2026, 7, 1)


def question(area_m2: float, seed: int, draws_: int, species: int = 0) -> Question:
    """A site; with `species`, so many plants sown at 50 mg/m2 each."""
    keys = [key for key, row in parameters().nouns["taxa"].items() if row["role"] == "meadow"]
    sown = tuple(SeedItem(kg=area_m2 * 0.00005, taxon=key) for key in keys[:species]) if species else None
    return Question(Site(area_m2, kind="field"), Plan(seed=sown), DAY, 1.0, 10, draws_, seed, 1)


class Counted:
    """A generator that counts what is drawn from it."""

    def __init__(self, generator: np.random.Generator, counts: Counter[str]) -> None:
        self.generator, self.counts = generator, counts

    def __getattr__(self, name: str) -> Callable[..., Any]:
        law = getattr(self.generator, name)

        def drawn(*args: Any, **kwargs: Any) -> Any:
            out = law(*args, **kwargs)
            self.counts[name] += out.size
            return out

        return drawn


def counted_draws(asked: Question) -> Counter[str]:
    """How many numbers of each law one estimate draws."""
    counts: Counter[str] = Counter()
    plain = sampling.stream
    holders = [module for module in (sampling, draws, stand) if hasattr(module, "stream")]
    for module in holders:
        module.stream = lambda *args: Counted(plain(*args), counts)  # type: ignore[attr-defined]
    try:
        estimate(parameters(), asked)
    finally:
        for module in holders:
            module.stream = plain  # type: ignore[attr-defined]
    return counts


def one_estimate() -> None:
    """Part 1."""
    asked = question(5000.0, 1, DRAWS, 40)
    counts = counted_draws(asked)
    width = 5000
    buffer = np.empty(width)

    def bare() -> None:
        generator = sampling.stream(1, "benchmark")
        for law, number in counts.items():
            for _ in range(-(-number // width)):
                getattr(generator, law)(out=buffer)

    base = median_ms(bare, RUNS)
    full = median_ms(lambda: estimate(parameters(), asked), RUNS)
    lean = median_ms(lambda: estimate(parameters(), asked, detailed=False), RUNS)
    say(f"numbers drawn: {dict(counts)}")
    say(f"drawing them alone: {base[0]:.1f} ms ({base[1]:.1f} to {base[2]:.1f})")
    for name, taken in (("with timelines and drivers", full), ("without", lean)):
        say(f"estimate {name}: {taken[0]:.1f} ms ({taken[1]:.1f} to {taken[2]:.1f}), {taken[0] / base[0]:.1f} x")


def many_sites() -> None:
    """Part 2."""
    for number in SITES:
        start = time.perf_counter()
        for seed in range(number):
            estimate(parameters(), question(200.0 + seed, seed, 500), detailed=False)
        taken = time.perf_counter() - start
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        each = 1000 * taken / number
        say(f"{number} sites at 500 draws: {taken:.1f} s, {each:.1f} ms each, peak {peak:.0f} MB so far")


def over_http() -> None:
    """Part 3."""
    from django.test import Client

    client = Client()
    site = {"area_m2": 180, "kind": "churchyard", "sward": "rank_grass"}
    body = json.dumps({"site": site, "draws": DRAWS, "as_of": DAY.isoformat()})

    def ask() -> None:
        answer = client.post("/api/v1/estimates/", body, content_type="application/json")
        if answer.status_code != 200:
            raise SystemExit(f"POST /api/v1/estimates/ answered {answer.status_code}")

    post, index = median_ms(ask, RUNS), median_ms(lambda: client.get("/api/v1/"), RUNS)
    for name, taken in (("POST /api/v1/estimates/", post), ("GET /api/v1/", index)):
        say(f"{name}: p50 {taken[0]:.2f} ms ({taken[1]:.2f} to {taken[2]:.2f}), {1000 / taken[0]:.1f} a second")
    say(f"an estimate takes {post[0] / index[0]:.0f} x the index")


def main() -> None:
    """All parts."""
    day = time.strftime("%Y-%m-%d")
    say(f"{day}, Python {platform.python_version()}, NumPy {np.__version__}, {os.cpu_count()} cores")
    for part in (one_estimate, many_sites, over_http):
        say(f"\n{part.__name__.replace('_', ' ')}")
        part()


if __name__ == "__main__":
    main()
