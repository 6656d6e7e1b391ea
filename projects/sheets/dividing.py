"""A sheet whose rows name their meadow or their year, divided into one survey for each meadow and year."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import lru_cache
from typing import Final

from rapidfuzz import fuzz, process

from projects.sheets.desk import Whole
from projects.sheets.layouts import Layout, find_layout, text_of
from projects.sheets.results import Choice, Question, Reason, SourceRow, State
from projects.sheets.tables import Cell, Row, Sheet
from projects.sheets.understanding import MARK_SHEET, blocks_of
from projects.sheets.values import Scale, amount_of, likely_scales, number_of, read_day

#: an answer to the question which meadow is meant: none of them
LEAVE_OUT: Final = "leave_out"
#: likeness of names, 0 to 100, from which one is worth showing
ALIKE: Final = 60
MOST_ALIKE: Final = 5
FIRST_YEAR: Final = 2000


@dataclass(frozen=True, slots=True)
class Place:
    """A meadow that rows may name."""

    key: str
    """Its public id."""
    names: tuple[str, ...]
    """Its own name, and that of its site."""


@dataclass(frozen=True, slots=True)
class Part:
    """The rows of one meadow and one year."""

    place: Place
    year: int
    sheets: tuple[Sheet, ...]


@dataclass(frozen=True, slots=True)
class Divided:
    """A file in parts, and the rows of which it is not known whose they are."""

    parts: tuple[Part, ...]
    loose: tuple[SourceRow, ...]
    questions: tuple[Question, ...]
    whole: Whole
    headings: Mapping[str, int] = field(default_factory=dict)


@lru_cache(maxsize=20_000)
def plain(text: str) -> str:
    """A name in small letters and figures alone."""
    return "".join(sign for sign in text.casefold() if sign.isalnum())


class _Sorter:
    """Rows put where they belong."""

    def __init__(self, places: tuple[Place, ...], year: int, today: date, answers: Mapping[str, str]) -> None:
        self.places, self.year, self.today, self.answers = places, year, today, answers
        self.by_key = {place.key.replace("-", ""): place for place in places}
        self.by_name: dict[str, list[Place]] = {}
        for place in places:
            for name in dict.fromkeys(plain(name) for name in place.names):
                self.by_name.setdefault(name, []).append(place)
        self.only = places[0] if len(places) == 1 else None
        self.questions: dict[str, Question] = {}
        self.waiting: dict[str, list[tuple[str, int]]] = {}
        self.loose: list[SourceRow] = []

    def place_of(self, sheet: Sheet, row: Row, named: str) -> Place | None:
        """The meadow that a row names; None, and the row kept loose, where it is not plain."""
        found = [self.by_key[plain(named)]] if plain(named) in self.by_key else self.by_name.get(plain(named), [])
        if len(found) == 1:
            return found[0]
        key = f"meadow:{plain(named)[:80]}"
        said = self.answers.get(key)
        chosen = next((place for place in self.places if place.key == said), None)
        if chosen is not None:
            return chosen
        if said == LEAVE_OUT:
            self._loose(sheet, row, "left_out", f"The rows of {named[:60]!r} are left out.", refused=True)
            return None
        if key not in self.questions:
            near = found or self._alike(named)
            text = (
                f"Rows name the meadow {named[:60]!r}. Are they of {self.only.names[0]}?"
                if self.only is not None
                else f"Which meadow is {named[:60]!r}?"
            )
            choices = [Choice(place.key, self._label(place)) for place in near]
            choices.append(Choice(LEAVE_OUT, "Leave these rows out"))
            self.questions[key] = Question(key, "meadow", text, tuple(choices), "", sheet.name, "", named[:80])
        self.waiting.setdefault(key, []).append((sheet.name, row.number))
        self._loose(sheet, row, "meadow", f"It is not known which meadow {named[:60]!r} is.")
        return None

    def _label(self, place: Place) -> str:
        return place.names[0] if place.names[0] == place.names[-1] else f"{place.names[0]}, on {place.names[-1]}"

    def _alike(self, named: str) -> list[Place]:
        if self.only is not None:
            return [self.only]
        names = list(self.by_name)
        hits = process.extract(plain(named), names, scorer=fuzz.ratio, limit=MOST_ALIKE, score_cutoff=ALIKE)
        near: dict[str, Place] = {place.key: place for name, _, _ in hits for place in self.by_name[name]}
        return list(near.values())[:MOST_ALIKE]

    def _loose(
        self, sheet: Sheet, row: Row, code: str, text: str, expected: str = "", *, refused: bool = False
    ) -> None:
        cells = tuple((cell.address, text_of(cell)[:500]) for cell in row.cells if not cell.joined)
        state: State = "refused" if refused else "question"
        self.loose.append(
            SourceRow(sheet.name, row.number, "data", state, cells, (Reason(code, text, "", "", expected),))
        )

    def year_of(self, sheet: Sheet, row: Row, layout: Layout) -> int | None:
        """The year that a row is of, by its own column or by its day; None, and the row refused, where it cannot be."""
        column = layout.column("year")
        cell = row.at(column) if column is not None else None
        if cell is not None and text_of(cell) and not cell.problem:
            year = cell.value.year if isinstance(cell.value, date) else number_of(text_of(cell))
            if year is None or not FIRST_YEAR <= year <= self.today.year or int(year) != year:
                text = f"{cell.address}: read {text_of(cell)[:20]!r}, which is no year of a return."
                expected = f"a year from {FIRST_YEAR} to {self.today.year}"
                self._loose(sheet, row, "bad_year", text, expected, refused=True)
                return None
            return int(year)
        return None

    def sorted_rows(self, sheet: Sheet, layout: Layout, *, many: bool) -> Iterator[tuple[Place, int, Row]]:
        """Each row below the headings with its meadow and its year."""
        column, dated = layout.column("meadow"), layout.column("date")
        named = ""
        years = layout.column("year") is not None
        # one day of another year in the sheet of one meadow is asked about; it may be a slip
        days = many and dated is not None and layout.kind != "work"
        for row in sheet.rows:
            if row.number <= layout.last_heading:
                continue
            cell = row.at(column) if column is not None else None
            named = text_of(cell) if cell is not None and not cell.problem and text_of(cell) else named
            if column is not None and named:
                place = self.place_of(sheet, row, named)
            elif self.only is not None and not many:
                place = self.only
            else:
                self._loose(
                    sheet, row, "no_meadow", "No meadow is named here or above.", "the meadow's name", refused=True
                )
                continue
            if place is None:
                continue
            year: int | None = self.year
            before = len(self.loose)
            if years:
                year = self.year_of(sheet, row, layout) or (self.year if len(self.loose) == before else None)
            elif days and dated is not None and (day_cell := row.at(dated)) is not None and not day_cell.problem:
                day = read_day(day_cell.value, self.year, from_1904=sheet.counts_from_1904)
                if isinstance(day, date) and FIRST_YEAR <= day.year <= self.today.year:
                    year = day.year
            if year is not None:
                yield place, year, row


def divide(
    sheets: list[Sheet],
    places: tuple[Place, ...],
    year: int,
    today: date,
    answers: Mapping[str, str],
    *,
    many: bool,
) -> Divided:
    """Put every row to its meadow and year.

    Parameters
    ----------
    places
        Meadows that rows may name.
    year
        Of rows that tell none.
    many
        Whether rows must name their meadow; else those that name none are of the one there is.
    """
    sorter = _Sorter(places, year, today, answers)
    layouts: dict[str, Layout | None] = {}
    likely: dict[str, tuple[Scale, ...]] = {}
    headings: dict[str, int] = {}
    parts: dict[tuple[str, int], dict[str, tuple[Sheet, list[Row]]]] = {}
    shared: list[Sheet] = []
    for sheet in [block for whole in sheets for block in blocks_of(whole)]:
        layout = None if sheet.hidden or sheet.name == MARK_SHEET else find_layout(sheet)
        tells = layout is not None and (layout.column("meadow") is not None or layout.column("year") is not None)
        if layout is None or not tells:
            if many and not sheet.hidden:
                for row in sheet.rows:
                    text = "No column of this sheet says of which meadow its rows are."
                    sorter._loose(sheet, row, "no_meadow", text, "a column headed Meadow", refused=True)
            else:
                shared.append(sheet)
            continue
        layouts[sheet.name] = layout
        headings[sheet.name] = layout.heading
        cells = _amounts(sheet, layout)
        if cells:
            likely[sheet.name] = likely_scales([amount_of(cell) for cell in cells if not cell.problem])
        for place, of_year, row in sorter.sorted_rows(sheet, layout, many=many):
            part = parts.setdefault((place.key, of_year), {})
            part.setdefault(sheet.name, (sheet, []))[1].append(row)
    by_key = {place.key: place for place in places}
    if shared and sorter.only is not None:
        parts.setdefault((sorter.only.key, year), {})
    found = []
    for (key, of_year), own in parts.items():
        cut = [replace(sheet, rows=(*_top(sheet, layouts[name]), *rows)) for name, (sheet, rows) in own.items()]
        beside = shared if sorter.only is not None and of_year == year else []
        found.append(Part(by_key[key], of_year, (*beside, *cut)))
    questions = tuple(
        replace(question, rows=tuple(sorter.waiting.get(key, ()))) for key, question in sorter.questions.items()
    )
    return Divided(tuple(found), tuple(sorter.loose), questions, Whole(layouts, likely), headings)


def _top(sheet: Sheet, layout: Layout | None) -> list[Row]:
    return [row for row in sheet.rows if layout is not None and row.number <= layout.last_heading]


def _amounts(sheet: Sheet, layout: Layout) -> list[Cell]:
    value = layout.column("value")
    columns = {value} if value is not None else {*layout.labels, *layout.plants}
    return [
        cell for row in sheet.rows if row.number > layout.last_heading for cell in row.cells if cell.column in columns
    ]
