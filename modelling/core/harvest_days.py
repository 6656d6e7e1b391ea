"""How many days of a ripe window can be worked, and whether a set of harvests fits into them.

A day is fit for the harvester or it is not, for the whole county alike. Fit days come in runs, and some seasons have
more of them than others. Harvests are cut into half-days that may be done in any order within their window: such a
set can be done if, and only if, no stretch of days holds more half-days of harvests that lie wholly within it than
there are fit ones (Hall's condition for intervals; P. Hall, On representatives of subsets, 1935). Doing always what is
soonest over finds such an order without knowing the weather ahead, so nothing here asks for a forecast.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from modelling.core.distributions import Array
from modelling.core.sampling import uniforms

Days = NDArray[np.bool_]
Whole = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Stretch:
    """Days `first` to `last`, and the numbers of the harvests whose windows lie wholly within."""

    first: int
    last: int
    harvests: tuple[int, ...]


def fit_days(share: Array, runs: float, days: int, seed: int) -> Days:
    """Which days are fit, (worlds, days).

    Parameters
    ----------
    share
        Share of the days that are fit in each world's season, (worlds,), each between 0 and 1.
    runs
        Correlation of one day with the next, from 0 (each day by itself) to below 1.
    """
    worlds = share.size
    draws = uniforms(seed, "share_out/fit_days", worlds * days).reshape(worlds, days)
    out = np.zeros((worlds, days), dtype=np.bool_)
    before = draws[:, 0] < share if days else np.zeros(worlds, dtype=np.bool_)
    for day in range(days):
        if day:
            before = draws[:, day] < share + runs * (before - share)
        out[:, day] = before
    return out


def stretches_of(windows: Sequence[tuple[int, int]]) -> list[Stretch]:
    """Every stretch that can be too full: from the start of one window to the end of another, each set once.

    Of several stretches that hold the same harvests the shortest is kept.
    """
    found: dict[tuple[int, ...], Stretch] = {}
    for first in sorted({window[0] for window in windows}):
        for last in sorted({window[1] for window in windows}):
            inside = tuple(number for number, (a, b) in enumerate(windows) if a >= first and b <= last)
            if inside:
                tight = Stretch(
                    min(windows[number][0] for number in inside), max(windows[number][1] for number in inside), inside
                )
                found.setdefault(inside, tight)
    return sorted(found.values(), key=lambda stretch: (stretch.first, stretch.last))


def fit_in(stretch: Stretch, fit: Days) -> Whole:
    """Fit days of a stretch in each world, (worlds,)."""
    return np.asarray(fit[:, stretch.first : stretch.last + 1].sum(axis=1), dtype=np.int64)


def days_to_count_on(stretch: Stretch, fit: Days, chance: float) -> int:
    """Most fit days that a stretch has with at least this chance."""
    falling = np.sort(fit_in(stretch, fit))[::-1]
    place = int(np.ceil(chance * falling.size)) - 1
    return int(falling[max(place, 0)]) if falling.size else 0


def chance_of_doing(
    half_days: Whole, stretches: Sequence[Stretch], fit: Days, half_days_a_day: int, spare: Sequence[int] = ()
) -> float:
    """Share of the worlds in which every half-day asked finds its place.

    Parameters
    ----------
    half_days
        Half-days of each harvest, (harvests,).
    half_days_a_day
        Half-days that one fit day has, over all machines.
    spare
        Half-days of each stretch that do not hang on the weather.
    """
    held = np.ones(fit.shape[0], dtype=np.bool_)
    for number, stretch in enumerate(stretches):
        asked = int(half_days[list(stretch.harvests)].sum())
        more = spare[number] if spare else 0
        held &= asked <= fit_in(stretch, fit) * half_days_a_day + more
    return float(held.mean()) if held.size else 1.0
