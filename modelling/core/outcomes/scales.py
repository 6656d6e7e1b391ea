"""Scales that amounts are written on: each class a range of cover with a middle, or a share of stops.

A class is never averaged as a number: its middle is. A plant that is present has no cover, and a frequency says
nothing of cover.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from modelling.core.parameters import Number, ParameterSet

COVER_SCALES: Final = ("domin", "braun_blanquet", "dafor_cover")
PERCENT: Final = "percent"
TABLE: Final = "cover_scales"
_WHOLE_PERCENT: Final = "%"


@dataclass(frozen=True, slots=True)
class Cover:
    """Cover as a share of the ground: the ends of its class and the middle."""

    low: float
    middle: float
    high: float


def share_from_percent(percent: float) -> float:
    """A share from 0 to 1 of a percentage."""
    return percent / HUNDRED


#: per cent in the whole
HUNDRED: Final = 100.0


def cover_of(parameters: ParameterSet, scale: str, code: str) -> Cover | None:
    """Cover that a code stands for; None for a scale without cover.

    Raises
    ------
    ValueError
        If the code is none of the scale's; the message says which it has.
    """
    code = code.strip().casefold()
    if scale == PERCENT:
        return _percent(code)
    if scale not in COVER_SCALES:
        return None
    row = parameters.find(TABLE, scale, code)
    if row is None or row.low is None or row.high is None:
        raise ValueError(f"{code!r} is not on this scale; it has {', '.join(codes(parameters, scale))}")
    return Cover(row.low, row.middle, row.high)


def _percent(code: str) -> Cover:
    try:
        share = share_from_percent(float(code.removesuffix(_WHOLE_PERCENT)))
    except ValueError:
        share = math.nan
    if not 0 <= share <= 1:
        raise ValueError(f"{code!r} is no percentage from 0 to {HUNDRED:.0f}")
    return Cover(share, share, share)


def codes(parameters: ParameterSet, scale: str) -> list[str]:
    """Codes of a scale, in the order of its table."""
    return [row.quantity for row in parameters.rows(TABLE) if row.subject == scale]


def frequency_class(parameters: ParameterSet, scale: str, share: float) -> str:
    """Class of a share of stops by a scale of frequency: the highest whose low end is reached; "" where none is.

    DAFOR by stops also asks for cover before a plant is dominant, so its highest class is never given here.
    """
    found, lowest = "", -1.0
    for row in parameters.rows(TABLE):
        if row.subject == scale and _reached(row, share) and _end(row) > lowest:
            found, lowest = row.quantity, _end(row)
    return found


def at_least(parameters: ParameterSet, scale: str, code: str, share: float) -> bool:
    """Whether a share of stops reaches a class of a scale of frequency."""
    return _reached(parameters.number(TABLE, scale, code), share)


def _end(row: Number) -> float:
    return -math.inf if row.low is None else row.low


def _reached(row: Number, share: float) -> bool:
    return share > _end(row) if row.extra["low_end"] == "above" else share >= _end(row)
