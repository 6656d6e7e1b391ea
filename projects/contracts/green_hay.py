"""Requests about green hay."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import Field, model_validator

from projects.contracts.base import Day, Identifier, LongNote, Strict, Words, refused

#: ten hectares
MOST_M2: Final = 100_000.0
Area = Annotated[float, Field(ge=1, le=MOST_M2)]
#: a week
Hours = Annotated[float, Field(gt=0, le=168)]


class GreenHayNew(Strict):
    """A strip of a donor meadow, cut one day and spread on a project's ground."""

    donor_id: Identifier
    project_id: Identifier
    donor_area_m2: Area
    """Of the strip that is cut."""
    receptor_area_m2: Area
    """Of the bare ground it is spread on."""
    cut_on: Day
    spread_on: Day | None = None
    """Left out, the day of the cut."""
    hours_to_spread: Hours
    """From the cut to the last forkful spread."""
    trailers: Annotated[int, Field(ge=0, le=50)] = 0
    people: Annotated[int, Field(ge=0, le=500)] = 0
    note: LongNote = ""


class GreenHayEnd(Strict):
    """The day is done, or called off."""

    to: Literal["done", "called_off"]
    because: Annotated[Words, Field(max_length=200)] = ""
    """Why it was called off."""
    hours_to_spread: Hours | None = None
    """As it was; left out, as planned."""

    @model_validator(mode="after")
    def _why(self) -> GreenHayEnd:
        if self.to == "called_off" and not self.because:
            raise refused("missing", "Say why it is called off; others learn from it.", "a reason in because")
        return self
