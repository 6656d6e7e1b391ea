"""How long sharing seed out takes, by hand: ``.venv/bin/python -m tests.benchmarks.share_out``.

A made-up county: 100 lots and harvests, 200 projects that hope for more seed than there is, three habitats, 25 km of
reach, parcels, shares of donors, overlapping ripe windows. Ends with an error if the gap proven is not below half a
per cent. ``--small`` for a try.
"""

import os
import sys
import time

import numpy as np
import scipy

from modelling.core.harvest_days import stretches_of
from modelling.core.share_out import Pair, Project, Season, Sharer, Source, Stretch
from modelling.core.share_out_simple import by_gain, in_turn
from tests.benchmarks.shared import machine, say

SMALL = "--small" in sys.argv
SOURCES, PROJECTS = (12, 20) if SMALL else (100, 200)
SEEDS = (1,) if SMALL else (1, 2, 3)
#: what the search is asked for, and what is to be had after weighing out
ASKED, WANTED = 0.004, 0.005
SIDE_KM, REACH_KM = 50.0, 25.0


def made_season(seed: int) -> Season:
    """A county of 50 by 50 km; seed in grams."""
    rng = np.random.Generator(np.random.PCG64(seed))
    at = rng.random((SOURCES, 2)) * SIDE_KM, rng.random((PROJECTS, 2)) * SIDE_KM
    habitats = rng.integers(0, 3, SOURCES), rng.integers(0, 3, PROJECTS)
    sources, windows, donors = [], {}, {}
    for number in range(SOURCES):
        key = f"source-{number:03}"
        if number % 4:
            sources.append(Source(key, int(np.exp(rng.normal(np.log(6_000), 0.7)))))
            continue
        first = int(rng.integers(0, 30))
        windows[key] = (first, first + int(rng.integers(7, 15)))
        each = int(rng.integers(5_000, 20_000))
        donors[f"donor-{number}"] = int(each * 3.3)
        sources.append(Source(key, each * 4, f"donor-{number}", 4, each))
    stretches = tuple(
        Stretch(
            f"{one.first}-{one.last}",
            tuple(list(windows)[place] for place in one.harvests),
            max(1, int((one.last - one.first + 1) * 0.35)) * 2,
        )
        for one in stretches_of(list(windows.values()))
    )
    projects = []
    rates = np.array([0.5, 1.0, 2.0, 3.0, 4.0])
    for number in range(PROJECTS):
        area = float(np.exp(rng.normal(np.log(2_500), 1.2)))
        gain = area * 0.7 * (1 - np.exp(-rates / (1 + rng.random())))
        most = max(int(area * 4), 10)
        projects.append(
            Project(f"project-{number:03}", most, max(int(area / 2), 2), tuple(rates * area), tuple(gain), 3)
        )
    pairs = []
    for s in range(SOURCES):
        for p in range(PROJECTS):
            km = float(np.hypot(*(at[0][s] - at[1][p])))
            if km <= REACH_KM and abs(int(habitats[0][s]) - int(habitats[1][p])) < 2:
                parcel = min(200, projects[p].most)
                pairs.append(Pair(sources[s].id, projects[p].id, 0.5 + rng.random(), parcel, round(km, 1)))
    return Season(tuple(sources), tuple(projects), tuple(pairs), donors, stretches)


def main() -> None:
    say(f"{machine()}, SciPy {scipy.__version__}\n")
    say(f"{SOURCES} lots and harvests, {PROJECTS} projects")
    for seed in SEEDS:
        season = made_season(seed)
        sharer = Sharer(season, ASKED)
        start, cpu = time.perf_counter(), time.process_time()
        found = sharer.solve()
        taken, cpu = time.perf_counter() - start, time.process_time() - cpu
        if found is None or found.gap >= WANTED:
            raise SystemExit(f"county {seed}: not proven within {100 * WANTED} %")
        served = int((sharer.given(found.steps) > 0).sum())
        say(
            f"county {seed}, {len(season.pairs):,} pairings, {len(season.stretches)} stretches of days: {taken:.1f} s "
            f"({cpu:.1f} s of one core), {served} served, gap {100 * found.gap:.3f} %"
        )
        for name, order in (("first come", [p.id for p in season.projects]), ("most gain a kilogram", by_gain(sharer))):
            less = 1 - in_turn(sharer, order).value / found.value
            say(f"  {name}, nearest first: {100 * less:.0f} % less")
    say(f"load average {os.getloadavg()[0]:.2f} at the end")


if __name__ == "__main__":
    main()
