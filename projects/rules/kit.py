"""Lending: half-days, what keeps a booking from being made, and what to be careful of. No database, no clock."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final

from modelling.errors import FieldError
from projects.choices import KitKind, KitState

MORNING: Final = 0
AFTERNOON: Final = 1
HALVES: Final = ("morning", "afternoon")
#: half-days of two weeks: more at a time is left to a word with the coordinator
LONGEST: Final = 28
#: days: nobody knows further ahead who will need what
FURTHEST: Final = timedelta(days=550)
#: how many free stretches are told, and how far they are looked for
TOLD: Final = 3
LOOKED: Final = timedelta(days=120)
#: bookings that hold their half-days
HOLDING: Final = (KitState.ASKED, KitState.AGREED, KitState.OUT)
MOVES: Final[Mapping[str, frozenset[str]]] = {
    KitState.ASKED: frozenset({KitState.AGREED, KitState.REFUSED, KitState.CANCELLED}),
    KitState.AGREED: frozenset({KitState.OUT, KitState.CANCELLED}),
    KitState.OUT: frozenset({KitState.BACK}),
}
#: keys of the reference table of cautions that go with a kind
CAUTIONS: Final[Mapping[str, tuple[str, ...]]] = {
    KitKind.SCARIFIER: ("machine_training", "vibration", "noise", "children_tools", "lone_working"),
    KitKind.BRUSHCUTTER: (
        "machine_training", "strimmer_distance", "vibration", "noise", "children_tools", "lone_working"
    ),
    KitKind.MOWER: ("machine_training", "vibration", "noise", "children_tools", "lone_working"),
    KitKind.HARROW: ("machine_training", "tractor_site", "children_tools", "lone_working"),
    KitKind.BRUSH_HARVESTER: ("machine_training", "tractor_site", "noise", "children_tools", "lone_working"),
    KitKind.SPREADER: ("machine_training", "children_tools"),
    KitKind.TRAILER: ("manual_handling",),
    KitKind.CLEANING: ("manual_handling",),
    KitKind.HAND_TOOLS: ("manual_handling", "children_tools"),
    KitKind.OTHER: ("machine_training", "lone_working"),
}  # fmt: skip
GUARDS: Final = (
    "Guards and stops",
    "All guards on, stop control tried before work begins. Engine off, and moving parts at rest, before anybody "
    "clears, adjusts or lifts it. Eyes, ears, hands and feet covered as the maker’s book says.",
)
SHAFT: Final = (
    "Drive shaft",
    "Where it is driven by a tractor’s shaft: the shaft guarded over its whole length, nobody near it while it turns, "
    "no loose clothing, and the tractor stopped with its key out before anybody goes to it.",
)
TOWING: Final = (
    "Towing",
    "Look before the road: that the driver’s licence and insurance cover the load, that car, coupling and trailer may "
    "carry it, breakaway cable, lights, plate, tyres and straps. What a licence covers differs by its date and nation.",
)
DEFERRING: Final = (
    "These are general. Local rules, licensed practice and the maker’s book come first; whoever has not been shown the "
    "item does not run it."
)
_HAY: Final = ("tractor_site", "injurious_weeds", "poisonous_hay", "nesting_birds", "manual_handling", "children_tools")
_GUARDED: Final = frozenset({
    KitKind.SCARIFIER, KitKind.BRUSHCUTTER, KitKind.MOWER, KitKind.HARROW, KitKind.BRUSH_HARVESTER, KitKind.SPREADER,
    KitKind.OTHER,
})  # fmt: skip
_SHAFTS: Final = frozenset({KitKind.HARROW, KitKind.BRUSH_HARVESTER, KitKind.SPREADER})
#: what does not go in the back of a car
_TOWED: Final = frozenset({KitKind.TRAILER, KitKind.BRUSH_HARVESTER, KitKind.HARROW})


@dataclass(frozen=True, order=True)
class Half:
    """A half-day."""

    on: date
    half: int = MORNING

    def plus(self, count: int) -> Half:
        """The half-day so many later."""
        days, half = divmod(self.half + count, 2)
        return Half(self.on + timedelta(days=days), half)

    def __str__(self) -> str:
        return f"{_day(self.on)}, {HALVES[self.half]}"


@dataclass(frozen=True)
class Span:
    """Half-days in a row, the first and the last counted in."""

    first: Half
    last: Half

    @property
    def count(self) -> int:
        return (self.last.on - self.first.on).days * 2 + self.last.half - self.first.half + 1

    def halves(self) -> list[Half]:
        return [self.first.plus(step) for step in range(self.count)]

    def __str__(self) -> str:
        if self.first == self.last:
            return f"in the {HALVES[self.first.half]} of {_day(self.first.on)}"
        if self.first.on == self.last.on:
            return f"on {_day(self.first.on)}"
        if self.first.half == MORNING and self.last.half == AFTERNOON:
            return f"from {_day(self.first.on)} to {_day(self.last.on)}"
        return f"from {self.first} to {self.last}"


@dataclass(frozen=True)
class Taken:
    """A stretch in which an item is not free, and who has it."""

    span: Span
    group: str
    #: with the half-days kept free after it
    until: Half


def gap_after(span: Span, gap: int) -> list[Half]:
    """Half-days kept free after a booking."""
    return [span.last.plus(step + 1) for step in range(gap)]


def next_free(taken: Collection[Half], start: Half, count: int, gap: int, last: date) -> list[Span]:
    """Return the next stretches of so many half-days that are free with the gap after them, one for each first day."""
    held = set(taken)
    found: list[Span] = []
    at = start
    while at.on <= last and len(found) < TOLD:
        if all(at.plus(step) not in held for step in range(count + gap)):
            found.append(Span(at, at.plus(count - 1)))
            at = Half(at.on + timedelta(days=1), start.half)
        else:
            at = at.plus(1)
    return found


def when_free(found: Sequence[Span]) -> str:
    """Tell free stretches in words."""
    if not found:
        return f"It is not free for as long in the next {LOOKED.days} days."
    said = [str(span).removeprefix("on ") for span in found]
    return f"Free for as long: {'; '.join(said)}."


def clash(item: str, found: Taken, free: Sequence[Span], first: Half) -> FieldError:
    """The refusal of a booking that meets another: when, whose, and what is free instead."""
    kept = f" and is kept free until {found.until} to travel and dry" if found.until > found.span.last else ""
    text = f"{item} is with {found.group} {found.span}{kept}. {when_free(free)}"
    expected = str(free[0]) if free else "another item or another time"
    return FieldError("/first_on", "taken", text, first.on.isoformat(), expected)


def answer_words(
    item: str,
    asked: Span,
    *,
    taken: Taken | None,
    broken: str,
    past: bool,
    free: Sequence[Span],
    to_show: str,
    shown: bool,
    who: Sequence[str],
) -> str:
    """Say in one sentence whether an item can be had and who shows it."""
    showing = ""
    if to_show:
        showing = "somebody of you was shown it" if shown else f"you are shown it first ({to_show}), by {listed(who)}"
    if past:
        return f"{_day(asked.first.on)} has gone by; {lowered(when_free(free))}"
    if broken:
        return f"No: {item} is out of use ({broken.rstrip('.')}); {lowered(when_free(free))}"
    if taken is not None:
        kept = f" and kept free until {taken.until}" if taken.until > taken.span.last else ""
        tail = f" And {showing}." if showing and not shown else ""
        return f"No: {item} is with {taken.group} {taken.span}{kept}; {lowered(when_free(free))}{tail}"
    return f"Yes: {item} is free {asked}{', and ' + showing if showing else ''}."


def listed(names: Sequence[str]) -> str:
    """Return names in a row: "a, b or c"."""
    return " or ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else "".join(names)


def lowered(text: str) -> str:
    """Return a sentence to stand after a semicolon."""
    return text[:1].lower() + text[1:]


def faults_of_span(span: Span, today: date) -> list[FieldError]:
    """What is wrong with a stretch whatever else is booked."""
    first, last = span.first.on.isoformat(), span.last.on.isoformat()
    if span.last < span.first:
        text = f"It would end on {span.last} and begin on {span.first}; the end comes after the beginning."
        return [FieldError("/last_on", "out_of_range", text, last, f"{first} or later")]
    found = []
    if span.first.on < today:
        text = f"{_day(span.first.on)} has gone by; a booking begins today or later."
        found.append(FieldError("/first_on", "in_past", text, first, f"{today.isoformat()} or later"))
    if span.count > LONGEST:
        text = f"That is {span.count} half-days; more than {LONGEST} at a time is to be talked over with a coordinator."
        found.append(FieldError("/last_on", "out_of_range", text, last, f"at most {LONGEST} half-days"))
    if span.first.on - today > FURTHEST:
        text = f"{_day(span.first.on)} is too far ahead; bookings are taken until {_day(today + FURTHEST)}."
        found.append(FieldError("/first_on", "out_of_range", text, first, f"up to {(today + FURTHEST).isoformat()}"))
    return found


def cautions_of(kind: str, table: Iterable[Mapping[str, Any]]) -> list[tuple[str, str]]:
    """Cautions of a kind, as label and text: from the reference table, then guards, shafts and towing."""
    rows = {str(row["key"]): row for row in table}
    found = [(str(rows[key]["label"]), str(rows[key]["text"])) for key in CAUTIONS[kind] if key in rows]
    found += [GUARDS] if kind in _GUARDED else []
    found += [SHAFT] if kind in _SHAFTS else []
    found += [TOWING] if kind in _TOWED else []
    return found


def hay_cautions(table: Iterable[Mapping[str, Any]]) -> list[tuple[str, str]]:
    """Cautions of a day of green hay: mower, trailer, weeds in what is carried."""
    rows = {str(row["key"]): row for row in table}
    found = [(str(rows[key]["label"]), str(rows[key]["text"])) for key in _HAY if key in rows]
    return [*found, GUARDS, SHAFT, TOWING]


def _day(on: date) -> str:
    return f"{on:%-d %B %Y}"
