"""Requests about grant rounds: what is offered, to whom, by which rules, and who reads the bids."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, Final, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema

from modelling.contracts.appraisal import Category
from projects.contracts.base import Day, Identifier, LongNote, LongText, Name, Note, Pounds, Strict, Words, refused

MOST_CRITERIA: Final = 20
MOST_RATES: Final = 20
MOST_PINS: Final = 200
Proof = Literal["constitution", "accounts", "two_signatories", "insurance", "safeguarding"]
Skill = Literal["unskilled", "skilled", "professional"]
Percent = Annotated[int, Field(ge=0, le=100)]


def _moment(value: object) -> object:
    if isinstance(value, datetime) and value.tzinfo is not None:
        return value
    if isinstance(value, str):
        try:
            found = datetime.fromisoformat(value)
            if found.tzinfo is not None and 1990 <= found.year <= 2100:
                return found.astimezone(UTC)
        except (ValueError, OverflowError):
            pass
    example = "2026-10-01T12:00:00+01:00"
    raise refused("bad_moment", f"Read {str(value)[:40]!r}; a moment with its zone is needed, such as {example}.",
                  "a date and time with its zone")  # fmt: skip


Moment = Annotated[datetime, BeforeValidator(_moment), WithJsonSchema({"type": "string", "format": "date-time"})]
Pot = Annotated[Pounds, Field(gt=0)]


class Rate(Strict):
    """What an hour given in kind counts for."""

    skill: Skill
    gbp_per_hour: Annotated[Pounds, Field(le=1_000)]
    from_day: Day
    until_day: Day | None = None


class CriterionNew(Strict):
    """One thing that bids are scored on."""

    name: Name
    about: LongNote = ""
    weight: Annotated[int, Field(ge=1, le=100)] = 1
    most: Annotated[int, Field(ge=1, le=100)] = 5
    """Best score; the worst is 0."""


class RoundFields(Strict):
    """What can be said of a round."""

    about: LongText = ""
    district_id: Identifier | None = None
    """Only groups of this district may bid; null for the whole county."""
    funder_org_id: Annotated[Words, Field(max_length=60, pattern=r"^[A-Za-z0-9-]*$")] = ""
    """Identifier of the funding organisation for open data, such as GB-CHC-0000000."""
    grant_prefix: Annotated[Words, Field(max_length=40, pattern=r"^[A-Za-z0-9-]*$")] = ""
    """What the identifiers of published awards begin with."""
    who_may_bid: LongText = ""
    must_show: Annotated[tuple[Proof, ...], Field(max_length=5, strict=False)] = ()
    """Safeguarding is asked of groups only where children come."""
    group_limit_gbp: Pot | None = None
    district_limit_gbp: Pot | None = None
    match_percent: Annotated[int, Field(ge=0, le=90)] = 0
    """Share of a bid's whole cost that must come from elsewhere or in kind."""
    volunteer_match_percent: Percent = 100
    """Share of that match that volunteers' time may make up."""
    categories: Annotated[tuple[Category, ...], Field(max_length=18, strict=False)] = ()
    """What the pot pays for; empty for everything."""
    aftercare_years_least: Annotated[int, Field(ge=0, le=30)] = 0
    accept_days: Annotated[int, Field(ge=1, le=365)] = 30
    report_days: Annotated[int, Field(ge=1, le=365)] = 60
    rates: Annotated[tuple[Rate, ...], Field(max_length=MOST_RATES, strict=False)] = ()
    criteria: Annotated[tuple[CriterionNew, ...], Field(max_length=MOST_CRITERIA, strict=False)] = ()


class RoundNew(RoundFields):
    """A pot of money for bids."""

    network_id: Identifier
    name: Name
    funder: Name
    pot_gbp: Pot
    opens_at: Moment
    closes_at: Moment
    starts_earliest_on: Day
    longest_months: Annotated[int, Field(ge=1, le=120)] = 24


class RoundChange(RoundFields):
    """What is to be changed. Once announced, only the name, the text, the pot (not below what is committed), a later
    closing and the days to accept and to report."""

    name: Name = ""
    funder: Name = ""
    pot_gbp: Pot = 1.0
    opens_at: Moment | None = None
    closes_at: Moment | None = None
    starts_earliest_on: Day | None = None
    longest_months: Annotated[int, Field(ge=1, le=120)] = 24


class RoundMove(Strict):
    """What becomes of a round."""

    to: Literal["announced", "panel", "settled"]


class Appointment(Strict):
    """Who reads the bids of a round, or no longer does."""

    user_id: Identifier
    appointed: bool = True


class InterestNew(Strict):
    """Somebody is near to a group: its bids in the round do not exist for them from now on."""

    group_id: Identifier
    reason: Note = ""


class SeedThere(Strict):
    """Scarce seed that there is for all bids together."""

    item: Annotated[Words, Field(min_length=1, max_length=80)]
    """Key of a seed item of the forecasts, such as a mix."""
    kg: Annotated[float, Field(ge=0, le=1_000_000)]


class MachineThere(Strict):
    """A lent machine, and the half-days it can be had for all bids together."""

    machine: Annotated[Words, Field(min_length=1, max_length=80)]
    """Key of a machine of the forecasts."""
    half_days: Annotated[int, Field(ge=0, le=10_000)]


class PartOfBid(Strict):
    """A bid counted as if a part of what it asks were awarded."""

    bid_id: Identifier
    amount_gbp: Pot


class ChoiceNew(Strict):
    """What the pot could buy."""

    pot_gbp: Pot | None = None
    """Left out, the round's own."""
    group_limit_gbp: Pot | None = None
    """Left out, the round's own."""
    district_limit_gbp: Pot | None = None
    """Left out, the round's own."""
    seed: Annotated[tuple[SeedThere, ...], Field(max_length=MOST_RATES, strict=False)] = ()
    """Seed that does not reach for everybody; each bid draws what its forecasts name, whoever pays for it."""
    machine: MachineThere | None = None
    """A bid takes the hours that its forecasts have for setting up, in half-days of its own sessions, rounded up."""
    parts: Annotated[tuple[PartOfBid, ...], Field(max_length=MOST_PINS, strict=False)] = ()
    """Its outcome is counted in proportion to the money, which may flatter or wrong it."""
    pins: Annotated[tuple[Identifier, ...], Field(max_length=MOST_PINS, strict=False)] = ()
    """Bids that are in whatever it costs."""
    exclusions: Annotated[tuple[Identifier, ...], Field(max_length=MOST_PINS, strict=False)] = ()
    objective: Literal["expected_outcome", "score", "cautious"] = "expected_outcome"
    """Hectares expected to be species-rich as groups usually manage; the assessors' raw mean scores; or the mean of the
    worst fifth of what may happen."""
