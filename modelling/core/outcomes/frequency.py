"""How often each kind was met: share of quadrats with Wilson's interval, and what a class of frequency is worth."""

from __future__ import annotations

from scipy import special

from modelling.core.outcomes.diversity import Counts
from modelling.core.outcomes.intervals import Interval, wilson


def frequencies(in_quadrats: Counts, quadrats: int, confidence: float) -> list[Interval]:
    """Share of quadrats that hold each kind, with Wilson's interval."""
    found = (wilson(int(k), quadrats, confidence) for k in in_quadrats)
    return [interval for interval in found if interval is not None]


def chance_of_class(stops: int, stops_needed: int, share: float) -> float:
    """Chance that a plant at this share of spots is met at so many stops or more."""
    if stops_needed <= 0:
        return 1.0
    return 0.0 if stops_needed > stops else float(special.betainc(stops_needed, stops - stops_needed + 1, share))
