"""Cover of wildflowers as one of three classes, by the limits of the published rules."""

from __future__ import annotations

from modelling.core.outcomes.classes import DIGITS
from modelling.core.parameters import ParameterSet

TABLE = "survey_values"
SUBJECT = "forb_cover"


def cover_class(parameters: ParameterSet, share: float) -> str:
    """Under 10 %, 10 to 30 % with both ends, or over 30 %."""
    middle = parameters.number(TABLE, SUBJECT, "from_10_to_30")
    value = round(share, DIGITS)
    if middle.low is not None and value < middle.low:
        return "under_10"
    if middle.high is not None and value > middle.high:
        return "over_30"
    return "from_10_to_30"
