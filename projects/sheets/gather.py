"""What was seen, row by row, put together as a survey."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any, Final

from modelling.contracts.outcomes import MOST_QUADRATS, MOST_RECORDS
from projects.sheets.desk import ATTRIBUTE_WORDS, LIMITS, WHOLE_SITE, Desk, Measured, Seen
from projects.sheets.layouts import text_of
from projects.sheets.results import SourceRow, State

#: each round refuses every row that the one before made wrong; more rounds than this no file needs
_ROUNDS: Final = 20
Place = tuple[date | None, str]


def gather(desk: Desk) -> dict[str, Any]:
    """The survey of all rows that were not refused."""
    _ask_for_day(desk)
    for _ in range(_ROUNDS):
        if not _refuse_what_does_not_fit(desk):
            break
    kept = _kept(desk, ask=True)
    visits: dict[date | None, dict[str, Any]] = {}
    quadrats: dict[Place, dict[str, Any]] = {}
    for told, day, label in desk.looked.values():
        if not told.refused:
            _home(desk, (day or desk.day, label), visits, quadrats)
    for (day, label, _), seen in kept.items():
        # Asking may have refused a row: there is an end to what can be asked.
        if seen.told.refused:
            continue
        home = _home(desk, (day, label), visits, quadrats)
        record = {"name": seen.name, "taxon": seen.taxon, "scale": seen.scale, "value": seen.value}
        home["whole_site" if label == WHOLE_SITE else "records"].append(record)
    for each in desk.measured:
        if not each.told.refused:
            _home(desk, _place(desk, each), visits, quadrats)[each.what] = each.value
    ordered = sorted(visits.items(), key=lambda pair: (pair[0] is None, pair[0] or date.min))
    done = {str(sorted(line.items())): line for told, line in desk.done if not told.refused}
    return {
        "year": desk.asked.year,
        "grade": desk.facts.get("grade"),
        "layout": desk.facts.get("layout"),
        "visits": [visit for _, visit in ordered],
        "work": sorted(done.values(), key=lambda line: (line["on"] or "", line["what"])),
        "notes": desk.notes,
    }


def source_rows(desk: Desk) -> Iterator[SourceRow]:
    """Every row and what became of it."""
    plants: dict[int, dict[str, None]] = {}
    for seen in desk.seen:
        plants.setdefault(id(seen.told), {})[seen.taxon or seen.name] = None
    for told in desk.rows:
        state: State = "refused" if told.refused else "taken"
        if not told.refused and told.asks & desk.questions.keys():
            state = "question"
        cells = tuple((cell.address, text_of(cell)[:500]) for cell in told.row.cells if not cell.joined)
        found = () if told.refused else tuple(plants.get(id(told), ()))
        yield SourceRow(told.sheet, told.row.number, told.role, state, cells, tuple(told.reasons), found)


def _place(desk: Desk, each: Seen | Measured) -> Place:
    return each.day or desk.day, each.label


def _ask_for_day(desk: Desk) -> None:
    """Ask for the day of the walk where no row and no line tells it."""
    everything: list[Seen | Measured] = [*desk.seen, *desk.measured]
    needs = [each for each in everything if each.day is None and not each.told.refused]
    open_days = {"day_ambiguous", "day_missing", "other_year"}
    waiting = any(asked.question.code in open_days for asked in desk.questions.values())
    if not needs or desk.day is not None or waiting:
        return
    text = f"On which day of {desk.asked.year} was the walk?"
    answer = desk.ask(None, "day:walk", "day_of_walk", text, free="day")
    if answer is not None:
        desk.day = date.fromisoformat(answer)
        return
    for each in needs:
        desk.wait(each.told, "day:walk")


def _kept(desk: Desk, *, ask: bool = False) -> dict[tuple[date | None, str, str], Seen]:
    """Plants by place; one that stands twice in a place is asked about, and the first holds meanwhile."""
    kept: dict[tuple[date | None, str, str], Seen] = {}
    for seen in desk.seen:
        if seen.told.refused:
            continue
        place = (*_place(desk, seen), seen.key)
        first = kept.setdefault(place, seen)
        if first is seen or not ask:
            continue
        where = f"in {seen.label}" if seen.label != WHOLE_SITE else "in the list"
        answer = desk.ask(
            seen.told,
            f"twice:{seen.told.sheet}:{seen.told.row.number}:{first.told.row.number}",
            "plant_twice",
            f"{seen.name!r} stands twice {where}, at {first.cell.address} and {seen.cell.address}. Which holds?",
            [
                ("first", f"The first: {text_of(first.cell)[:20]}"),
                ("second", f"The second: {text_of(seen.cell)[:20]}"),
            ],
            cell=seen.cell,
        )
        if answer == "second":
            kept[place] = seen
    return kept


def _refuse_what_does_not_fit(desk: Desk) -> bool:
    """Refuse rows with a second figure for one quadrat, and those beyond what a survey holds; say whether any was."""
    again = False
    figures: dict[tuple[date | None, str, str], Any] = {}
    quadrats: set[Place] = set()
    counts: dict[Place, int] = {}
    for each in desk.measured:
        if each.told.refused:
            continue
        place = _place(desk, each)
        if figures.setdefault((*place, each.what), each.value) != each.value:
            words = ATTRIBUTE_WORDS.get(each.what, each.what)
            text = f"{each.cell.address}: {each.label} has two figures for {words}."
            desk.refuse(each.told, "two_figures", text, each.cell, "one figure for each quadrat")
            again = True
    everything: list[Seen | Measured] = [*_kept(desk).values(), *desk.measured]
    for seen in everything:
        if seen.told.refused:
            continue
        place = _place(desk, seen)
        if place[1] != WHOLE_SITE and place not in quadrats:
            if len(quadrats) >= MOST_QUADRATS:
                text = f"{seen.cell.address}: more than {MOST_QUADRATS} quadrats."
                desk.refuse(seen.told, "too_many", text, seen.cell, f"at most {MOST_QUADRATS} quadrats")
                again = True
                continue
            quadrats.add(place)
        if isinstance(seen, Seen):
            counts[place] = counts.get(place, 0) + 1
            if counts[place] > MOST_RECORDS:
                text = f"{seen.cell.address}: more than {MOST_RECORDS} plants in one place."
                desk.refuse(seen.told, "too_many", text, seen.cell, f"at most {MOST_RECORDS} plants")
                again = True
    return again


def _home(
    desk: Desk, place: Place, visits: dict[date | None, dict[str, Any]], quadrats: dict[Place, dict[str, Any]]
) -> dict[str, Any]:
    """The quadrat, or for the whole site the visit, that something belongs to."""
    day, label = place
    new: dict[str, Any] = {"on": day.isoformat() if day else None, "quadrats": [], "whole_site": []}
    visit = visits.setdefault(day, new)
    if label == WHOLE_SITE:
        return visit
    if place not in quadrats:
        quadrats[place] = {
            "label": label,
            "part": "sown",
            "area_m2": desk.facts.get("area_m2", 1.0),
            "records": [],
            **dict.fromkeys(LIMITS),
        }
        visit["quadrats"].append(quadrats[place])
    return quadrats[place]
