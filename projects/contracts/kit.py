"""Requests about the lending pool."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import Field, model_validator

from projects.contracts.base import Day, Hours, Identifier, LongNote, Name, Note, Phrase, Strict, Words, refused

Kind = Literal[
    "scarifier", "harrow", "brush_harvester", "brushcutter", "mower", "spreader", "trailer", "cleaning", "hand_tools",
    "other",
]  # fmt: skip
Half = Literal["morning", "afternoon"]
#: half-days of a week
MOST_GAP: Final = 14
#: a combine is six metres wide; nothing that is lent is wider than ten
WIDEST_M: Final = 10.0
Office = Annotated[Words, Field(max_length=120)]
Gap = Annotated[int, Field(ge=0, le=MOST_GAP)]
Width = Annotated[float, Field(gt=0, le=WIDEST_M)]


class KitItemNew(Strict):
    """Something that a network lends."""

    name: Name
    kind: Kind
    width_m: Width | None = None
    """Of its work, or its own where it has to pass a gate."""
    shown_first: Annotated[Words, Field(max_length=200)] = ""
    """What somebody must have been shown before it is lent; empty for nothing."""
    village_id: Identifier | None = None
    """Where it is kept, by the village."""
    insured_by: Office = ""
    """An office or a role, no person."""
    towed_by: Office = ""
    gap_half_days: Gap = 0
    """Half-days kept free after a booking: to travel, to dry, to be looked over."""
    agreed_at_once: bool = False
    """Whether a booking is agreed by being made."""
    service_due_on: Day | None = None
    meter_hours: Hours = 0.0
    service_due_hours: Hours | None = None
    """Reading of its meter at which it is serviced next."""
    note: LongNote = ""


class KitItemChange(Strict):
    """What is to be changed of an item."""

    name: Name = ""
    kind: Kind = "other"
    width_m: Width | None = None
    shown_first: Annotated[Words, Field(max_length=200)] = ""
    village_id: Identifier | None = None
    insured_by: Office = ""
    towed_by: Office = ""
    gap_half_days: Gap = 0
    agreed_at_once: bool = False
    service_due_on: Day | None = None
    service_due_hours: Hours | None = None
    note: LongNote = ""
    retired: bool = False
    """No longer lent."""


class KitShowingNew(Strict):
    """Somebody was shown how to use an item."""

    user_id: Identifier
    shown_on: Day
    may_show: bool = False
    """Knows it well enough to show others."""


class KitBookingNew(Strict):
    """An item for a project, from one half-day to another, both counted in."""

    item_id: Identifier
    first_on: Day
    first_half: Half = "morning"
    last_on: Day | None = None
    """Left out, the first day."""
    last_half: Half = "afternoon"
    to_be_shown: bool = False
    """Nobody of the group has been shown it yet; somebody shows them when it is handed out."""
    note: Note = ""
    submission_id: Identifier | None = None
    """Made by whoever asks, so that asking again changes nothing."""


class KitBookingMove(Strict):
    """What becomes of a booking: agreed or not, cancelled, handed out, brought back."""

    to: Literal["agreed", "refused", "cancelled", "out", "back"]
    because: Annotated[Words, Field(max_length=200)] = ""
    """For refusing and cancelling."""
    condition: Literal["good", "worn", "faulty"] | None = None
    """For handing out and back."""
    meter_hours: Hours | None = None
    note: Note = ""
    shown: Annotated[tuple[Identifier, ...], Field(max_length=10, strict=False)] = ()
    """For handing out: people of the group who were shown it now; noted by a coordinator."""
    fault: Annotated[Words, Field(max_length=300)] = ""
    """For bringing back: what is wrong with it."""
    out_of_use_from: Day | None = None
    """From when it cannot be used for that."""

    @model_validator(mode="after")
    def _together(self) -> KitBookingMove:
        if self.to == "refused" and not self.because:
            raise refused("missing", "Say why; the group reads it.", "a reason in because")
        if self.to in {"out", "back"} and self.condition is None:
            raise refused("missing", "Say how it is as it changes hands.", "good, worn or faulty in condition")
        if self.condition == "faulty" and not self.fault:
            raise refused("missing", "Say what is wrong with it.", "some words in fault")
        if self.out_of_use_from is not None and not self.fault:
            raise refused("missing", "Say what keeps it from being used.", "some words in fault")
        return self


class KitFaultNew(Strict):
    """Something is wrong with an item."""

    what: Annotated[Phrase, Field(max_length=300)]
    found_on: Day
    out_of_use_from: Day | None = None
    """From when it cannot be used; left out, it can go on."""


class KitMended(Strict):
    """A fault is put right."""

    mended_on: Day
