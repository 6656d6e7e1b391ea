"""What is due on a site or a project, and whose move it is. Nothing here asks a database or a clock."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum
from typing import Any, Final

from projects.choices import KitState, Need, PermissionState, ReturnState, Stage, Work
from projects.rules.meadows import GROWING
from projects.rules.permissions import SOON
from projects.rules.returns import LATE_AFTER, expected, late

#: work of the calendar is told so long beforehand; common practice
AHEAD: Final = timedelta(days=60)
#: a cut counts for the yearly one if it was made at most so long before its day, or at any time after
EARLY: Final = timedelta(days=45)
#: an authority is reminded once it has had a permission for so long; common practice
SLOW: Final = timedelta(days=56)
#: entries of the calendar that are work on the ground before there is seed in it
PREPARING: Final = frozenset({"preparation"})
SOWING: Final = frozenset({"sowing", "planting"})
#: shutting up the meadow stands among the cuts in the calendar and is none
SHUTTING: Final = "Shut up"


class Whose(StrEnum):
    """Whose move it is."""

    GROUP = "group"
    AUTHORITY = "authority"
    NETWORK = "network"


@dataclass(frozen=True)
class Due:
    """One thing to be done, by a day if there is one."""

    code: str
    #: a sentence
    text: str
    whose: Whose = Whose.GROUP
    by: date | None = None
    late: bool = False
    #: it would help; nothing waits for it
    advice: bool = False


@dataclass(frozen=True)
class PermissionFact:
    """What matters of one permission."""

    label: str
    need: str
    state: str
    asked_on: date | None = None
    expires_on: date | None = None


@dataclass(frozen=True)
class Entry:
    """An entry of a forecast's calendar."""

    on: date
    label: str
    kind: str
    every_year: bool = False


@dataclass(frozen=True)
class ReturnFact:
    """What matters of one yearly return."""

    year: int
    state: str
    #: questions that nobody has answered
    unanswered: int = 0
    names: int = 0


@dataclass(frozen=True)
class KitFact:
    """What matters of one booking of kit."""

    item: str
    state: str
    #: when, in words
    when: str
    first_on: date
    last_on: date
    to_be_shown: bool = False


@dataclass(frozen=True)
class ProjectFact:
    """What matters of one project."""

    stage: str
    stage_since: date
    has_forecast: bool
    has_baseline: bool
    #: of the forecast it is held against, else of the latest of its plan
    calendar: Sequence[Entry] = ()
    #: days of this year's diary lines that count, by what was done
    done: Mapping[str, Sequence[date]] = field(default_factory=dict)
    sown_on: date | None = None
    #: of this year and the last
    returns: Sequence[ReturnFact] = ()
    #: bookings that hold half-days
    kit: Sequence[KitFact] = ()


def entries_of(calendar: Iterable[Mapping[str, Any]]) -> list[Entry]:
    """Return the calendar of an answer as entries."""
    return [
        Entry(date.fromisoformat(str(row["on"])), str(row["label"]), str(row["kind"]), bool(row["every_year"]))
        for row in calendar
    ]


def in_order(dues: Iterable[Due]) -> list[Due]:
    """Return what is due by day: late first, then what has a day, then what has none, advice last."""
    return sorted(dues, key=lambda due: (due.advice, due.by is None, due.by or date.max, due.text))


# ------------------------------------------------------------------ the ground


def due_on_site(
    permissions: Iterable[PermissionFact], *, has_soil_test: bool, under_way: bool, today: date
) -> list[Due]:
    """Return what is due on a site; permissions matter while a project is under way on it."""
    found: list[Due] = []
    if under_way:
        held = list(permissions)
        found += _not_asked(held)
        found += [due for one in held for due in _permission(one, today)]
    if under_way and not has_soil_test:
        found.append(
            Due(
                "soil_test",
                "No soil test is on record. One costs little and narrows the forecast more than anything else.",
                advice=True,
            )
        )
    return in_order(found)


def _not_asked(permissions: Iterable[PermissionFact]) -> Iterator[Due]:
    """What nobody has asked for yet: one entry for all to ask for, one for all to look into."""
    waiting = [held for held in permissions if held.state == PermissionState.NOT_ASKED]
    for need, what in ((Need.NEEDED, "Ask for"), (Need.UNKNOWN, "Find out what is needed of these")):
        labels = [held.label for held in waiting if held.need == need]
        if labels:
            colon = ":" if len(labels) > 1 or need == Need.UNKNOWN else ""
            told = "; ".join(labels) if colon else f"{labels[0][:1].lower()}{labels[0][1:]}"
            yield Due("permission_not_asked", f"{what}{colon} {told}.")


def _permission(held: PermissionFact, today: date) -> Iterator[Due]:
    if held.need == Need.NOT_NEEDED or held.state == PermissionState.NOT_ASKED:
        return
    if held.state == PermissionState.ASKED:
        waiting = held.asked_on is not None and today - held.asked_on > SLOW
        said = f" since {_day(held.asked_on)}" if held.asked_on else ""
        yield Due("permission_waiting", f"{held.label}: asked{said}, no answer yet.", Whose.AUTHORITY)
        if waiting:
            yield Due("permission_slow", f"{held.label}: asked more than eight weeks ago; remind them.")
    elif held.state == PermissionState.REFUSED:
        yield Due("permission_refused", f"{held.label}: refused. Change the plan, or ask what would be allowed.")
    elif held.expires_on is not None and held.expires_on < today:
        text = f"{held.label}: ran out on {_day(held.expires_on)}; ask again."
        yield Due("permission_ended", text, by=held.expires_on, late=True)
    elif held.expires_on is not None and held.expires_on - today <= SOON:
        text = f"{held.label}: ends on {_day(held.expires_on)}; ask for the next one now."
        yield Due("permission_ends", text, by=held.expires_on)


# ------------------------------------------------------------------ the project


def due_in_project(project: ProjectFact, today: date) -> list[Due]:
    """Return what is due in a project."""
    return in_order(_in_project(project, today))


def _in_project(project: ProjectFact, today: date) -> Iterator[Due]:
    match project.stage:
        case Stage.IDEA:
            yield Due("plan", "Write the plan.")
        case Stage.PLANNED | Stage.READY if not project.has_forecast:
            yield Due("forecast", "Make the forecast of the plan: what it costs, and what will grow.")
        case Stage.FAILED | Stage.LAPSED:
            yield Due("again", "Decide whether to plan or sow again, or to hand it over.", advice=True)
    if project.stage in GROWING and not project.has_baseline:
        text = "It was sown without a forecast, so nothing can be held against what grows. The network can tell why."
        yield Due("baseline", text, Whose.NETWORK)
    if project.stage in {Stage.PLANNED, Stage.READY}:
        yield from _work(project, PREPARING, "prepare", "Prepare the ground", today)
    if project.stage in {Stage.PLANNED, Stage.READY, Stage.PREPARED}:
        yield from _work(project, SOWING, "sow", "Sow or plant", today)
    if project.stage in GROWING:
        yield from _first_cuts(project, today)
        yield from _yearly(project, today)
    yield from _returns(project, today)
    for booking in project.kit:
        yield from _kit(booking, today)


def _work(project: ProjectFact, kinds: frozenset[str], code: str, what: str, today: date) -> Iterator[Due]:
    """The first day the plan has for some work, told beforehand and after it has gone by."""
    days = [entry.on for entry in project.calendar if entry.kind in kinds and not entry.every_year]
    if not days:
        return
    on = min(days)
    if on < today:
        text = f"{what}: the plan’s day, {_day(on)}, has gone by. Note that it was done, or plan it anew."
        yield Due(code, text, by=on, late=True)
    elif on - today <= AHEAD:
        yield Due(code, f"{what}: {_day(on)} by the plan.", by=on)


def _first_cuts(project: ProjectFact, today: date) -> Iterator[Due]:
    """Cuts of the first summer: one due at a time, as many gone by as lines of cutting are wanted."""
    days = sorted(entry.on for entry in project.calendar if entry.kind == "first_year" and entry.on.year == today.year)
    cuts = len(project.done.get(Work.CUT, ()))
    if cuts >= len(days):
        return
    on = days[cuts]
    number = f"cut {cuts + 1} of {len(days)}" if len(days) > 1 else "the cut"
    if on < today:
        text = f"First summer: {number} was due on {_day(on)} and is not in the diary."
        yield Due("first_year_cut", text, by=on, late=True)
    elif on - today <= AHEAD:
        yield Due("first_year_cut", f"First summer: {number} is due on {_day(on)}.", by=on)


def _yearly(project: ProjectFact, today: date) -> Iterator[Due]:
    if project.stage == Stage.RESOWN and today.year <= project.stage_since.year + 1:
        return  # its first summer again
    for entry in project.calendar:
        if not entry.every_year or entry.on.year > today.year:
            continue
        on = _this_year(entry.on, today.year)
        if entry.kind == "yearly_cut" and not entry.label.startswith(SHUTTING):
            if _was_done(project.done.get(Work.CUT, ()), on):
                continue
            if on < today:
                text = f"The yearly cut was due on {_day(on)} and is not in this year’s diary."
                yield Due("yearly_cut", text, by=on, late=True)
            elif on - today <= AHEAD:
                yield Due("yearly_cut", f"The yearly cut is due on {_day(on)}.", by=on)
        elif entry.kind == "yearly_cut" and timedelta(0) <= on - today <= AHEAD:
            yield Due("shut_up", f"{entry.label}, from {_day(on)}.", by=on)
        elif (
            entry.kind == "survey"
            and timedelta(0) <= on - today <= AHEAD
            and not _was_done(project.done.get(Work.SURVEY, ()), on)
        ):
            yield Due("summer_walk", f"{entry.label}, about {_day(on)}.", by=on)


def _returns(project: ProjectFact, today: date) -> Iterator[Due]:
    """This year's return, told beforehand and once it is late; and what waits in those that were sent."""
    sent = {one.year for one in project.returns}
    if project.stage in GROWING and today.year not in sent and expected(project.sown_on, today.year):
        by = date(today.year, *LATE_AFTER)
        if late(today.year, today):
            yield Due("return", f"The return of {today.year} was due on {_day(by)}.", by=by, late=True)
        elif by - today <= AHEAD:
            yield Due("return", f"The return of {today.year} is due on {_day(by)}.", by=by)
    # an agreed one waits for nobody
    for one in (one for one in project.returns if one.state != ReturnState.AGREED):
        if one.state == ReturnState.SENT_BACK:
            yield Due("return_sent_back", f"The return of {one.year} was sent back; look at what was written to you.")
        if one.unanswered:
            what = "A question waits" if one.unanswered == 1 else f"{one.unanswered} questions wait"
            yield Due("return_questions", f"{what} for your answer in the return of {one.year}.")
        if one.names:
            what = "A name is" if one.names == 1 else f"{one.names} names are"
            yield Due("return_names", f"{what} to settle in the return of {one.year}.")


def _kit(booking: KitFact, today: date) -> Iterator[Due]:
    """Kit to be agreed, fetched and brought back."""
    gone_by = booking.last_on < today
    match booking.state:
        case KitState.ASKED if not gone_by:
            text = f"{booking.item} is asked for {booking.when}; nobody has agreed yet."
            yield Due("kit_asked", text, Whose.NETWORK, by=booking.first_on)
        case KitState.ASKED | KitState.AGREED if gone_by:
            text = f"{booking.item} was booked {booking.when} and not handed out; cancel it, or book again."
            yield Due("kit_not_fetched", text, by=booking.last_on, late=True)
        case KitState.AGREED if booking.first_on - today <= AHEAD:
            shown = " You are shown it then." if booking.to_be_shown else ""
            yield Due("kit_fetch", f"{booking.item} is yours {booking.when}.{shown}", by=booking.first_on)
        case KitState.OUT:
            text = f"Bring {booking.item} back by {_day(booking.last_on)}."
            yield Due("kit_back", text, by=booking.last_on, late=gone_by)


def _was_done(days: Iterable[date], on: date) -> bool:
    return any(day >= on - EARLY for day in days)


def _this_year(on: date, year: int) -> date:
    try:
        return on.replace(year=year)
    except ValueError:  # 29 February
        return on.replace(year=year, day=28)


def _day(on: date | None) -> str:
    return f"{on:%-d %B %Y}" if on else "some day"


# ------------------------------------------------------------------ what comes next

_NEXT: Final = {
    Stage.IDEA: "the plan is written",
    Stage.PLANNED: "everything is made ready to start",
    Stage.READY: "the ground is prepared",
    Stage.PREPARED: "it is sown",
    Stage.SOWN: "the first summer’s cuts are made, and then it goes into aftercare",
    Stage.RESOWN: "the first summer’s cuts are made, and then it goes into aftercare",
    Stage.AFTERCARE: "it is cut and counted, year by year",
    Stage.FAILED: "somebody decides whether to plan or sow again",
    Stage.LAPSED: "somebody decides whether to take it up again",
}
_MOVES: Final = {
    Whose.GROUP: "that is the group’s move",
    Whose.AUTHORITY: "that waits for others’ answers",
    Whose.NETWORK: "that is the network’s move",
}


def next_step(stage: str, obstacles: Sequence[str], dues: Iterable[Due]) -> tuple[str, Whose | None]:
    """Return what comes next and whose move it is; before a start, permissions come first."""
    if stage == Stage.HANDED_OVER:
        return "", None
    if stage in {Stage.IDEA, Stage.PLANNED} and obstacles:
        waiting = [due for due in dues if due.code.startswith("permission")]
        group = any(due.whose is Whose.GROUP for due in waiting)
        whose = Whose.GROUP if group or not waiting else Whose.AUTHORITY
        if stage == Stage.PLANNED:
            return "the permissions come to hand", whose
    return _NEXT[Stage(stage)], Whose.GROUP


def move_words(whose: Whose) -> str:
    """Return whose move it is, for a sentence."""
    return _MOVES[whose]
