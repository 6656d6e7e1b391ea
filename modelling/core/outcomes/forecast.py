"""Where a finding lies in a forecast, once it is allowed for that people of a grade overlook some kinds.

The forecasts count what an experienced recorder finds: in the model only slow plants out of flower are overlooked
(`seen_without_flower_share` in `stand`). A finding by any other grade is divided by the share of those kinds that
such people find.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from modelling.core.parameters import Number


@dataclass(frozen=True, slots=True)
class Adjusted:
    """What an experienced recorder would have found: the middle, and what it may be."""

    low: float
    middle: float
    high: float


def adjusted(mean: float, low: float, high: float, detection: Number) -> Adjusted:
    """A mean with its interval, divided by the share of the kinds that people of the grade find."""
    shares = (detection.low, detection.middle, detection.high)
    least, usual, most = (detection.middle if share is None else share for share in shares)
    return Adjusted(max(low, 0.0) / most, mean / usual, high / least)


def quantile_in(value: float, shares: Sequence[float], points: Sequence[float]) -> float | None:
    """Quantile of a value in a forecast known at some points, by straight lines; None outside them.

    Where points coincide, the middle of their shares.
    """
    if not points[0] <= value <= points[-1]:
        return None
    at = [share for share, point in zip(shares, points, strict=True) if point == value]
    if at:
        return (at[0] + at[-1]) / 2
    return float(np.interp(value, points, shares))


def place_in(value: float, p10: float, p25: float | None, p75: float | None, p90: float) -> str:
    """below, in_half (the middle half), in_80 (eight in ten, not the middle half) or above."""
    if value < p10:
        return "below"
    if value > p90:
        return "above"
    if p25 is not None and p75 is not None and p25 <= value <= p75:
        return "in_half"
    return "in_80"
