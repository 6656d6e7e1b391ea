"""Requests about decisions, awards, payments and changes."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from projects.contracts.base import Day, Identifier, LongText, Note, Pounds, Strict, Words, refused

Kind = Literal["full", "part", "conditional", "deferred", "refused"]
Some = Annotated[Pounds, Field(gt=0)]


class DecisionNew(Strict):
    """A decision being written. Its letter is drafted from it and can be changed until it is published."""

    kind: Kind
    amount_gbp: Some | None = None
    """For a part; left out, what the bid asks for."""
    conditions: LongText = ""
    reason: LongText = ""
    """Goes to the group; needed where nothing is awarded."""
    choice_id: Identifier | None = None
    """What the pot could buy, from which a refused group is told which limit bound; left out, the latest."""


class DecisionChange(Strict):
    """What is to be changed of a decision before it is published."""

    kind: Kind = "refused"
    amount_gbp: Some | None = None
    conditions: LongText = ""
    reason: LongText = ""
    letter: Annotated[LongText, Field(max_length=8000)] = ""
    """Left out, it follows what else is changed, until somebody has written in it."""


class AwardMove(Strict):
    """What becomes of an award."""

    to: Literal["accepted", "declined", "conditions_met", "withdrawn", "finished"]
    accounting_year: Annotated[Words, Field(max_length=20)] = ""
    """For accepting: the group's accounting year in which the money is first shown, such as 2026-27."""
    comment: LongText = ""
    """For withdrawing: why."""


class PaymentNew(Strict):
    """Money asked for at the end of a stage."""

    stage: Annotated[int, Field(ge=1, le=100)]
    """Number of the stage in the bid."""
    amount_gbp: Some
    evidence: Annotated[LongText, Field(min_length=1)]


class PaymentMove(Strict):
    """What becomes of a payment request."""

    to: Literal["paid", "refused"]
    on: Day | None = None
    comment: LongText = ""

    @model_validator(mode="after")
    def _said(self) -> PaymentMove:
        if self.to == "refused" and not self.comment:
            raise refused("missing", "Say why it is not paid.", "a sentence in comment")
        return self


class ChangeNew(Strict):
    """Something that the group wants to do otherwise."""

    kind: Literal["date", "budget", "seed", "site"]
    why: Annotated[LongText, Field(min_length=1)]
    starts_on: Day | None = None
    ends_on: Day | None = None
    stages: Annotated[tuple[Annotated[Pounds, Field()], ...], Field(max_length=20, strict=False)] = ()
    """For a budget: amounts of all stages in their order; their sum stays."""
    before: Note = ""
    """For seed or ground: what the bid said."""
    after: Note = ""
    """For seed or ground: what is to be done instead."""

    @model_validator(mode="after")
    def _complete(self) -> ChangeNew:
        wanted = {
            "date": self.starts_on is not None or self.ends_on is not None,
            "budget": bool(self.stages),
            "seed": bool(self.before and self.after),
            "site": bool(self.before and self.after),
        }
        if not wanted[self.kind]:
            raise refused(
                "missing", "Say what is to be different.", "dates, amounts of the stages, or before and after"
            )
        return self


class ChangeMove(Strict):
    """What becomes of a request to change."""

    to: Literal["agreed", "refused"]
    comment: LongText = ""

    @model_validator(mode="after")
    def _said(self) -> ChangeMove:
        if self.to == "refused" and not self.comment:
            raise refused("missing", "Say why it is not agreed.", "a sentence in comment")
        return self


class MoneyBack(Strict):
    """Money that came back."""

    amount_gbp: Some
    on: Day
    why: Note = ""


class VisitNew(Strict):
    """Somebody went to see what an award pays for."""

    on: Day
    seen: Annotated[LongText, Field(min_length=1)]
    next: Annotated[LongText, Field(max_length=2000)] = ""
    """What is to be done next, by whom."""


class EndReport(Strict):
    """What became of the award, told by the group."""

    report: Annotated[LongText, Field(min_length=1, max_length=8000)]
