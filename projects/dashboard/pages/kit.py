"""Kit in words, and months as tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from projects.dashboard import words
from projects.models import KitBooking, KitItem
from projects.rules.kit import AFTERNOON, MORNING, Half
from projects.selectors.kit import ItemMonth, span_of

CM_PER_M: Final = 100
MINUTES_PER_HOUR: Final = 60
WEEK: Final = 7
#: days before a service is due on which it is told
SOON: Final = timedelta(days=30)


class KitLine:
    """An item in a list or on its page."""

    def __init__(self, row: KitItem, today: date) -> None:
        self.row, self.today = row, today

    @property
    def facts(self) -> list[tuple[str, str]]:
        """What is said of it."""
        row = self.row
        due = [words.day(row.service_due_on)] if row.service_due_on else []
        if row.service_due_minutes is not None:
            due.append(f"{words.figure(row.service_due_minutes / MINUTES_PER_HOUR, 4)} hours on its meter")
        gap = row.gap_half_days
        found = [
            ("What it is", row.get_kind_display()),
            ("Width", f"{words.figure(row.width_cm / CM_PER_M, 3)} m" if row.width_cm else ""),
            ("To be shown first", row.shown_first),
            ("Kept in", str(row.village) if row.village else ""),
            ("Insured by", row.insured_by),
            ("Towed by", row.towed_by),
            ("Kept free after a booking", f"{words.counted(gap)} half-{words.plural(gap, 'day')}" if gap else ""),
            ("Agreed", "at once, once somebody was shown" if row.agreed_at_once else "by a coordinator"),
            ("Meter", f"{words.figure(row.meter_minutes / MINUTES_PER_HOUR, 5)} hours" if row.meter_minutes else ""),
            ("Service due", " or at ".join(due)),
            ("Note", row.note),
        ]
        return [(label, text) for label, text in found if text]

    @property
    def service_due(self) -> bool:
        """Whether it is to be serviced soon."""
        on, minutes = self.row.service_due_on, self.row.service_due_minutes
        return (on is not None and on - self.today <= SOON) or (
            minutes is not None and self.row.meter_minutes >= minutes
        )

    @property
    def standing(self) -> str:
        """How it stands, in one sentence."""
        stopped = [row for row in getattr(self.row, "open_faults", ()) if row.out_of_use_from is not None]
        if stopped:
            first = min(stopped, key=lambda row: row.out_of_use_from)
            return words.sentence(f"Out of use from {words.day(first.out_of_use_from)}: {words.lowered(first.what)}")
        return "Its service is due." if self.service_due else ""


class BookingLine:
    """A booking in a list or on its page."""

    def __init__(self, row: KitBooking) -> None:
        self.row = row

    @property
    def when(self) -> str:
        return str(span_of(self.row))

    @property
    def sentence(self) -> str:
        """How it stands."""
        item, when = self.row.item.name, self.when
        match self.row.state:
            case "asked":
                return f"{item} is asked for {when}; a coordinator has still to agree."
            case "agreed":
                return f"{item} is agreed {when}."
            case "out":
                return f"{item} is with {self.row.group} until {Half(self.row.last_on, self.row.last_half)}."
            case "back":
                return f"{item} was with {self.row.group} {when} and is back."
            case "refused":
                return f"{item} was not agreed {when}."
        return f"{item} was booked {when} and cancelled."


def kit_sentence(lines: Sequence[KitLine], waiting: int) -> str:
    """What a network lends, first."""
    if not lines:
        return "Nothing is lent yet."
    count = len(lines)
    out = sum(line.standing.startswith("Out of use") for line in lines)
    text = f"{words.opened(words.counted(count))} {words.plural(count, 'thing is', 'things are')} lent"
    text += f"; {words.counted(out)} {words.plural(out, 'is', 'are')} out of use" if out else ""
    asked = f", and {words.counted(waiting)} {words.plural(waiting, 'booking waits', 'bookings wait')} for you"
    return f"{text}{asked if waiting else ''}."


# ------------------------------------------------------------------ months


@dataclass(frozen=True)
class DayCell:
    """A day of an item's month."""

    on: date
    #: "all day", "a.m." or "p.m.", and "kept free" where nobody uses it
    told: str = ""
    inside: bool = True


@dataclass(frozen=True)
class Month:
    """An item's month, by weeks."""

    name: str
    weeks: list[list[DayCell]]


@dataclass(frozen=True)
class DayRow:
    """A day on which something is taken: who has what in its morning and its afternoon."""

    on: date
    morning: list[str]
    afternoon: list[str]


def month_name(first: date) -> str:
    """Return a month's name."""
    return f"{words.MONTHS[first.month - 1]} {first.year}"


def month_after(first: date) -> date:
    """Return the first day of the next month."""
    return (first.replace(day=28) + timedelta(days=4)).replace(day=1)


def month_of_item(taken: dict[Half, str], first: date) -> Month:
    """An item's month as a table of weeks that begin on Monday."""
    start = first - timedelta(days=first.weekday())
    after = month_after(first)
    weeks = []
    while start < after:
        days = [start + timedelta(days=step) for step in range(WEEK)]
        weeks.append([DayCell(on, _told(taken, on), on.month == first.month) for on in days])
        start += timedelta(days=WEEK)
    return Month(month_name(first), weeks)


def _told(taken: dict[Half, str], on: date) -> str:
    halves = [half for half in (MORNING, AFTERNOON) if Half(on, half) in taken]
    if not halves:
        return ""
    when = "all day" if len(halves) > 1 else ("p.m." if halves[0] else "a.m.")
    used = any(taken[Half(on, half)] for half in halves)
    return when if used else f"{when} kept"


def days_of_month(items: Iterable[ItemMonth], first: date) -> list[DayRow]:
    """Days of a month on which something is taken."""
    found: dict[date, tuple[list[str], list[str]]] = {}
    for item in items:
        for half, group in item.taken.items():
            if (half.on.year, half.on.month) != (first.year, first.month):
                continue
            row = found.setdefault(half.on, ([], []))
            row[half.half].append(f"{item.item.name}, {group or 'kept free'}")
    return [DayRow(on, sorted(found[on][MORNING]), sorted(found[on][AFTERNOON])) for on in sorted(found)]
