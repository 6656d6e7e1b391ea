"""How sure a survey is: intervals, quadrats needed, and the smallest change that could have been seen."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import special

from modelling.core.distributions import Array
from modelling.core.sampling import stream

#: spread that counting in whole kinds alone gives: of a rounding to 1, even over its width. Quadrats that all hold the
#: same number have no spread of their own, which does not make their mean exact
COUNT_SD: Final = 1 / math.sqrt(12)


@dataclass(frozen=True, slots=True)
class Interval:
    """An estimate with the ends of its interval."""

    middle: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Mean:
    """A mean of quadrats: spread, standard error and t interval are None for fewer than two of them."""

    n: int
    mean: float | None
    sd: float | None
    se: float | None
    low: float | None
    high: float | None


def z_value(confidence: float) -> float:
    """Two-sided normal point: 1.96 for 0.95."""
    return float(special.ndtri((1 + confidence) / 2))


def t_value(confidence: float, df: float) -> float:
    """Two-sided point of Student's t: 2.262 for 0.95 and 9 degrees of freedom."""
    return float(special.stdtrit(df, (1 + confidence) / 2))


def finite_factor(n: int, possible: float | None) -> float:
    """Square root of the share not looked at: what a standard error shrinks to in a finite meadow; at least 0."""
    return 1.0 if possible is None else math.sqrt(max(1 - n / possible, 0.0)) if possible > 0 else 0.0


def mean_interval(values: Array, confidence: float, possible: float | None = None, *, least_sd: float = 0.0) -> Mean:
    """Mean with its t interval.

    `possible` is how many such quadrats the meadow holds, where that matters. The standard error is never taken from a
    spread under `least_sd`; the spread itself is told as it is.
    """
    n = len(values)
    if n == 0:
        return Mean(0, None, None, None, None, None)
    rising = np.sort(values)
    mean = float(rising.mean())
    if n == 1:
        return Mean(1, mean, None, None, None, None)
    sd = float(rising.std(ddof=1))
    se = max(sd, least_sd) / math.sqrt(n) * finite_factor(n, possible)
    half = t_value(confidence, n - 1) * se
    return Mean(n, mean, sd, se, mean - half, mean + half)


def bootstrap_mean(values: Array, confidence: float, resamples: int, seed: int, key: str = "") -> Interval | None:
    """Percentile bootstrap of the mean over quadrats; None for fewer than two. The order of quadrats is nothing."""
    if len(values) < 2:
        return None
    return _percentiles(float(np.sort(values).mean()), _resampled(values, resamples, seed, key), confidence)


def bootstrap_difference(
    later: Array, earlier: Array, confidence: float, resamples: int, seed: int, key: str = ""
) -> Interval | None:
    """Percentile bootstrap of a difference of means, each survey resampled; None where one has under two."""
    if len(later) < 2 or len(earlier) < 2:
        return None
    difference = float(np.sort(later).mean() - np.sort(earlier).mean())
    later_means = _resampled(later, resamples, seed, f"{key} later")
    return _percentiles(difference, later_means - _resampled(earlier, resamples, seed, f"{key} earlier"), confidence)


def _resampled(values: Array, resamples: int, seed: int, key: str) -> Array:
    """Means of quadrats drawn again with replacement."""
    n, rising = len(values), np.sort(values)
    picked = np.floor(stream(seed, "quadrat_bootstrap", key).random((resamples, n)) * n).astype(np.int64)
    means: Array = rising[picked].mean(axis=1)
    return means


def _percentiles(middle: float, drawn: Array, confidence: float) -> Interval:
    low, high = np.quantile(drawn, [(1 - confidence) / 2, (1 + confidence) / 2])
    # a skewed bootstrap may leave its own middle outside; the interval is widened to hold it
    return Interval(middle, min(float(low), middle), max(float(high), middle))


def wilson(successes: int, n: int, confidence: float) -> Interval | None:
    """A share with Wilson's 1927 interval; None for nothing looked at."""
    if n == 0:
        return None
    z = z_value(confidence)
    share, weight = successes / n, z * z / n
    centre = (share + weight / 2) / (1 + weight)
    half = z / (1 + weight) * math.sqrt(share * (1 - share) / n + weight / (2 * (n + n)))
    # rounding must not put the share outside its own interval, nor an end outside 0 to 1
    return Interval(share, min(max(centre - half, 0.0), share), max(min(centre + half, 1.0), share))


def quadrats_for_half_width(sd: float, half_width: float, confidence: float, possible: float | None = None) -> int:
    """Quadrats for an interval of this half width, (z s / d)^2, fewer where the meadow is finite; at least two."""
    wanted = (z_value(confidence) * sd / half_width) ** 2
    return max(_whole(finite_number(wanted, possible)), 2)


def quadrats_by_t(sd: float, half_width: float, confidence: float) -> int:
    """As `quadrats_for_half_width`, with Student's t of that many quadrats: the least that suffices."""
    n = quadrats_for_half_width(sd, half_width, confidence)
    while t_value(confidence, n - 1) * sd / math.sqrt(n) > half_width:
        n += 1
    return n


def finite_number(wanted: float, possible: float | None) -> float:
    """n0 / (1 + (n0 - 1) / N): quadrats needed where the meadow holds N of them (Cochran 1977)."""
    return wanted if possible is None else wanted / (1 + max(wanted - 1, 0.0) / possible)


def _whole(x: float) -> int:
    """Up to the next whole number, not counting what rounding added."""
    return math.ceil(round(x, _DIGITS))


#: decimal places below which a number of quadrats is rounding error
_DIGITS = 9


def _both_errors(confidence: float, power: float) -> float:
    return z_value(confidence) + float(special.ndtri(power))


def quadrats_for_change(sd: float, change: float, confidence: float, power: float, *, paired: bool) -> int:
    """Quadrats in each survey to see a change of this size with this power, by the normal approximation.

    `sd` is of quadrats, or of the differences where the same spots are visited again.
    """
    one = (_both_errors(confidence, power) * sd / change) ** 2
    return max(_whole(one if paired else 2 * one), 2)


def smallest_change(sd: float, n: int, confidence: float, power: float, *, paired: bool) -> float | None:
    """The smallest change that two surveys of n quadrats would see with this power; None below two quadrats."""
    if n < 2:
        return None
    return smallest_by_error(sd * math.sqrt((1 if paired else 2) / n), confidence, power)


def smallest_by_error(se: float, confidence: float, power: float) -> float:
    """The smallest difference that would be seen with this power, where the difference has this standard error."""
    return _both_errors(confidence, power) * se
