"""One survey against another: difference of means, of quadrats placed anew or of the same spots walked twice."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from modelling.core.distributions import Array
from modelling.core.outcomes.intervals import t_value


@dataclass(frozen=True, slots=True)
class Change:
    """Difference of two means, later less earlier; error and interval are None where there are under two quadrats."""

    difference: float
    se: float | None
    low: float | None
    high: float | None


def welch(later: Array, earlier: Array, confidence: float, *, least_sd: float = 0.0) -> Change | None:
    """Difference of means with Welch's interval; None where either has no quadrat.

    No survey's spread is taken for less than `least_sd`.
    """
    if len(later) == 0 or len(earlier) == 0:
        return None
    a, b = np.sort(later), np.sort(earlier)
    difference = float(a.mean() - b.mean())
    if len(a) < 2 or len(b) < 2:
        return Change(difference, None, None, None)
    va, vb = (max(float(x.var(ddof=1)), least_sd**2) / len(x) for x in (a, b))
    if va + vb == 0:
        return Change(difference, 0.0, difference, difference)
    df = (va + vb) ** 2 / (va * va / (len(a) - 1) + vb * vb / (len(b) - 1))
    return _change(difference, math.sqrt(va + vb), t_value(confidence, df))


def paired(later: Array, earlier: Array, confidence: float, *, least_sd: float = 0.0) -> Change | None:
    """Mean difference of the same spots, one of each survey at one place of the arrays; None for no spot."""
    if len(later) == 0:
        return None
    differences = np.sort(later - earlier)
    difference, n = float(differences.mean()), len(differences)
    if n < 2:
        return Change(difference, None, None, None)
    se = max(float(differences.std(ddof=1)), least_sd) / math.sqrt(n)
    return _change(difference, se, t_value(confidence, n - 1))


def _change(difference: float, se: float, t: float) -> Change:
    return Change(difference, se, difference - t * se, difference + t * se)
