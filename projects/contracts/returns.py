"""Requests about yearly returns: what was seen and done on a meadow in one year."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import Field, model_validator

from modelling.contracts.outcomes import MOST_RECORDS, Grade, Layout, Quadrat, Record
from projects.contracts.base import Day, Hours, Identifier, LongText, Name, Note, Pounds, Strict, refused

MOST_VISITS: Final = 12
MOST_QUADRATS_IN_ALL: Final = 500
MOST_CHOSEN: Final = 300
Year = Annotated[int, Field(ge=2000, le=2100)]
Answered = Literal["surveyed", "nothing_done", "failed"]
Done = Literal[
    "cut", "collected", "grazed", "weeded", "sown", "planted", "watered", "fenced", "prepared", "seed_gathered", "other"
]


class Visit(Strict):
    """One walk of the meadow."""

    on: Day
    quadrats: Annotated[tuple[Quadrat, ...], Field(max_length=MOST_QUADRATS_IN_ALL, strict=False)] = ()
    whole_site: Annotated[tuple[Record, ...], Field(max_length=MOST_RECORDS, strict=False)] = ()
    """What was seen anywhere on the site, outside the quadrats too."""


class WorkDone(Strict):
    """Care of the meadow in the year."""

    what: Done
    on: Day | None = None
    where_to: Note = ""
    """Where cuttings went."""
    note: Note = ""


class Gathering(Strict):
    """An event, by its kind and how many came."""

    kind: Annotated[Name, Field(max_length=80)]
    heads: Annotated[int, Field(ge=0, le=100_000)] = 0
    on: Day | None = None


class Insect(Strict):
    """Insects, where they were counted."""

    name: Name
    count: Annotated[int, Field(ge=0, le=1_000_000)] = 1


class ReturnNew(Strict):
    """One year of one meadow. A list of plants and the day of the cut is enough; so is that nothing was done."""

    year: Year
    answered: Answered = "surveyed"
    """`nothing_done` and `failed` are answers like any other; nobody is blamed."""
    submission_id: Identifier | None = None
    """Made by the sender, so that sending the same return again changes nothing."""
    grade: Grade = "knows_common"
    """How well the surveyor knows plants."""
    layout: Layout = "not_said"
    """How the quadrats were placed."""
    visits: Annotated[tuple[Visit, ...], Field(max_length=MOST_VISITS, strict=False)] = ()
    work: Annotated[tuple[WorkDone, ...], Field(max_length=60, strict=False)] = ()
    missed: LongText = ""
    """What could not be done this year."""
    heads: Annotated[int, Field(ge=0, le=100_000)] | None = None
    person_hours: Hours | None = None
    machine_hours: Hours | None = None
    cash_gbp: Pounds | None = None
    gatherings: Annotated[tuple[Gathering, ...], Field(max_length=60, strict=False)] = ()
    insects: Annotated[tuple[Insect, ...], Field(max_length=200, strict=False)] = ()
    flowering: LongText = ""
    """What was in flower, and when."""
    narrative: LongText = ""

    @model_validator(mode="after")
    def _something(self) -> ReturnNew:
        if self.answered == "surveyed" and not any(v.quadrats or v.whole_site for v in self.visits) and not self.work:
            raise refused(
                "missing",
                "Send a list of plants, quadrats, or what was done; if there was none, say nothing_done or failed.",
                "a visit with plants, or work",
            )
        return self


class ReturnQuestionAnswer(Strict):
    """A group's answer to a question about its return."""

    answer: Annotated[LongText, Field(min_length=1)]


class NameSettled(Strict):
    """What a written name stands for."""

    name: Annotated[str, Field(min_length=1, max_length=120)]
    """As it was written in the return."""
    taxon: Annotated[str, Field(min_length=1, max_length=80)] | None
    """Key of the plant; null to leave the name as it was written."""
    remember: bool = True
    """Whether the group's later returns read it alike."""


class NamesSettled(Strict):
    """What several written names stand for."""

    names: Annotated[tuple[NameSettled, ...], Field(min_length=1, max_length=MOST_CHOSEN, strict=False)]


class ReturnMove(Strict):
    """What the network does with a return."""

    to: Literal["checking", "sent_back", "agreed"]
    comment: LongText = ""
    """Needed where it is sent back."""
