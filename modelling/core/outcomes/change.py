"""One survey against another: difference of means with Welch's interval."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from modelling.core.distributions import Array
from modelling.core.outcomes.intervals import t_value


@dataclass(frozen=True, slots=True)
class Change:
    """Difference of two means, later less earlier; the interval is None where either has fewer than two quadrats."""

    difference: float
    low: float | None
    high: float | None


def welch(later: Array, earlier: Array, confidence: float) -> Change | None:
    """Difference of means with Welch's interval; None where either has no quadrat."""
    if len(later) == 0 or len(earlier) == 0:
        return None
    a, b = np.sort(later), np.sort(earlier)
    difference = float(a.mean() - b.mean())
    if len(a) < 2 or len(b) < 2:
        return Change(difference, None, None)
    va, vb = float(a.var(ddof=1)) / len(a), float(b.var(ddof=1)) / len(b)
    if va + vb == 0:
        return Change(difference, difference, difference)
    df = (va + vb) ** 2 / (va * va / (len(a) - 1) + vb * vb / (len(b) - 1))
    half = t_value(confidence, df) * math.sqrt(va + vb)
    return Change(difference, difference - half, difference + half)
