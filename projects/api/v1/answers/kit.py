"""The lending pool."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from projects.api.v1.answers.base import Answer, Named, NounAnswer, named, named_if_any, noun
from projects.models import KitBooking, KitFault, KitHandOver, KitItem, KitShowing
from projects.rules.kit import HALVES, Span
from projects.selectors.calendar import CalendarLine
from projects.selectors.kit import KitAnswer

CM_PER_M = 100
MINUTES_PER_HOUR = 60


class Caution(Answer):
    """Something to be careful of; local rules, licensed practice and the maker's book come first."""

    label: str
    text: str


class KitItemAnswer(NounAnswer):
    """Something that a network lends."""

    network: Named
    name: str
    kind: str
    width_m: float | None
    shown_first: str
    """What somebody must have been shown before it is lent; empty for nothing."""
    village: Named | None
    """Where it is kept, told no more precisely."""
    insured_by: str
    towed_by: str
    gap_half_days: int
    agreed_at_once: bool
    service_due_on: date | None
    meter_hours: float
    service_due_hours: float | None
    note: str
    retired: bool
    cautions: list[Caution]


def item_answer(row: KitItem, cautions: list[tuple[str, str]]) -> dict[str, Any]:
    due = row.service_due_minutes
    found = KitItemAnswer(
        **noun(row),
        network=named(row.network),
        name=row.name,
        kind=row.kind,
        width_m=None if row.width_cm is None else row.width_cm / CM_PER_M,
        shown_first=row.shown_first,
        village=named_if_any(row.village),
        insured_by=row.insured_by,
        towed_by=row.towed_by,
        gap_half_days=row.gap_half_days,
        agreed_at_once=row.agreed_at_once,
        service_due_on=row.service_due_on,
        meter_hours=row.meter_minutes / MINUTES_PER_HOUR,
        service_due_hours=None if due is None else due / MINUTES_PER_HOUR,
        note=row.note,
        retired=row.retired_at is not None,
        cautions=[Caution(label=label, text=text) for label, text in cautions],
    )
    return found.model_dump(mode="json")


class Stretch(Answer):
    """From one half-day to another, both counted in."""

    first_on: date
    first_half: str
    last_on: date
    last_half: str


def stretch(span: Span) -> Stretch:
    """Return half-days in a row."""
    return Stretch(
        first_on=span.first.on,
        first_half=HALVES[span.first.half],
        last_on=span.last.on,
        last_half=HALVES[span.last.half],
    )


class KitDaysAnswer(Answer):
    """Whether it can be had then, what is free instead, and who shows it."""

    sentence: str
    asked: Stretch
    free: bool
    taken: Stretch | None
    taken_by: str | None
    """The group that has it then."""
    out_of_use_from: date | None
    next_free: list[Stretch]
    shown: bool
    """Whether somebody of the caller's groups was shown it, or nothing need be shown."""
    who_shows: list[str]


def days_answer(found: KitAnswer) -> dict[str, Any]:
    return KitDaysAnswer(
        sentence=found.sentence,
        asked=stretch(found.asked),
        free=found.free,
        taken=stretch(found.taken.span) if found.taken else None,
        taken_by=found.taken.group if found.taken else None,
        out_of_use_from=found.fault.out_of_use_from if found.fault else None,
        next_free=[stretch(span) for span in found.next_free],
        shown=found.shown,
        who_shows=list(found.who_shows),
    ).model_dump(mode="json")


class KitTakenAnswer(Stretch):
    """A stretch in which an item is taken. What for is told to its group only."""

    group: Named
    state: str


class KitTaken(Answer):
    """Who has an item when."""

    results: list[KitTakenAnswer]


def taken_answer(rows: list[tuple[KitBooking, Span]]) -> dict[str, Any]:
    found = [
        KitTakenAnswer(**stretch(span).model_dump(), group=named(row.group), state=row.state) for row, span in rows
    ]
    return KitTaken(results=found).model_dump(mode="json")


class KitHandOverAnswer(Answer):
    """An item changed hands."""

    way: str
    at: datetime
    condition: str
    meter_hours: float | None
    note: str


class KitBookingAnswer(NounAnswer):
    """An item for a project."""

    item: Named
    group: Named
    project: Named
    first_on: date
    first_half: str
    last_on: date
    last_half: str
    state: str
    to_be_shown: bool
    note: str
    because: str
    hand_overs: list[KitHandOverAnswer]


def _hand_over(row: KitHandOver) -> KitHandOverAnswer:
    hours = None if row.meter_minutes is None else row.meter_minutes / MINUTES_PER_HOUR
    return KitHandOverAnswer(way=row.way, at=row.at, condition=row.condition, meter_hours=hours, note=row.note)


def booking_answer(row: KitBooking) -> dict[str, Any]:
    found = KitBookingAnswer(
        **noun(row),
        item=named(row.item),
        group=named(row.group),
        project=named(row.project),
        first_on=row.first_on,
        first_half=HALVES[row.first_half],
        last_on=row.last_on,
        last_half=HALVES[row.last_half],
        state=row.state,
        to_be_shown=row.to_be_shown,
        note=row.note,
        because=row.because,
        hand_overs=[_hand_over(one) for one in row.hand_overs.all()],
    )
    return found.model_dump(mode="json")


class KitShowingAnswer(NounAnswer):
    """Somebody was shown how to use an item."""

    person: Named
    shown_on: date
    may_show: bool


def showing_answer(row: KitShowing) -> dict[str, Any]:
    found = KitShowingAnswer(**noun(row), person=named(row.user), shown_on=row.shown_on, may_show=row.may_show)
    return found.model_dump(mode="json")


class KitFaultAnswer(NounAnswer):
    """What is wrong with an item."""

    what: str
    found_on: date
    out_of_use_from: date | None
    mended_on: date | None
    touched: list[Stretch]
    """Bookings that cannot be kept because of it."""


def fault_answer(row: KitFault, touched: list[Span]) -> dict[str, Any]:
    found = KitFaultAnswer(
        **noun(row),
        what=row.what,
        found_on=row.found_on,
        out_of_use_from=row.out_of_use_from,
        mended_on=row.mended_on,
        touched=[stretch(span) for span in touched],
    )
    return found.model_dump(mode="json")


class CalendarLineAnswer(Answer):
    """Something with a day."""

    on: date
    until: date | None
    kind: str
    """plan, kit, plugs or green_hay."""
    text: str
    every_year: bool
    id: UUID | None
    """Of what is booked; None for what the plan says."""
    state: str


class CalendarAnswer(Answer):
    """What the plan of a project says and what is booked for it, by day."""

    results: list[CalendarLineAnswer]


def calendar_answer(lines: list[CalendarLine]) -> dict[str, Any]:
    found = [
        CalendarLineAnswer(
            on=line.on, until=line.until, kind=line.kind, text=line.text, every_year=line.every_year, id=line.id,
            state=line.state,
        )
        for line in lines
    ]  # fmt: skip
    return CalendarAnswer(results=found).model_dump(mode="json")
