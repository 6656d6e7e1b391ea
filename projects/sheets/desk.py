"""A reading in progress: its rows, questions, and what was seen so far."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache
from typing import Any, Final

from modelling.names import Match, match, members
from modelling.selectors import parameters
from projects.sheets.layouts import Layout, text_of
from projects.sheets.results import AS_WRITTEN, Choice, ForYear, Question, Reason, Role
from projects.sheets.tables import Cell, Row, Sheet
from projects.sheets.values import (
    SCALE_WORDS,
    Doubt,
    Fault,
    Scale,
    amount_of,
    likely_scales,
    number_of,
    read_amount,
    read_day,
    scale_named,
)

LONGEST_NAME: Final = 120
LONGEST_LABEL: Final = 40
MOST_NOTES: Final = 500
MOST_REASONS: Final = 12
MOST_QUESTIONS: Final = 500
#: attribute of a quadrat -> (smallest, largest, whole, what would be right)
LIMITS: Final = {
    "bare_ground_percent": (0.0, 100.0, False, "a number from 0 to 100"),
    "litter_percent": (0.0, 100.0, False, "a number from 0 to 100"),
    "forb_cover_percent": (0.0, 100.0, False, "a number from 0 to 100"),
    "sward_height_cm": (0.0, 300.0, False, "a height in cm from 0 to 300"),
    "rattle_plants": (0.0, 100_000.0, True, "a whole number of plants"),
}
ATTRIBUTE_WORDS: Final = {
    "bare_ground_percent": "bare ground",
    "litter_percent": "litter",
    "forb_cover_percent": "cover of wildflowers",
    "sward_height_cm": "height of the sward",
    "rattle_plants": "plants of yellow rattle",
}
PROBLEMS: Final = {
    "error_value": "a spreadsheet error",
    "formula_without_value": "a formula whose value was never worked out",
    "too_long": "a text longer than is read",
}
WHOLE_SITE: Final = ""


@dataclass(frozen=True, slots=True)
class Whole:
    """What is known of sheets as a whole, where only some of their rows are read here."""

    layouts: Mapping[str, Layout | None] = field(default_factory=dict)
    """Name of a sheet -> how its table is laid out."""
    likely: Mapping[str, tuple[Scale, ...]] = field(default_factory=dict)
    """Name of a sheet -> the scales that all its amounts may be on."""


@dataclass(slots=True)
class Told:
    """What is known of a row so far."""

    row: Row
    sheet: str
    role: Role = "data"
    reasons: list[Reason] = field(default_factory=list)
    refused: bool = False
    asks: set[str] = field(default_factory=set)


@dataclass(slots=True)
class Asked:
    question: Question
    rows: dict[tuple[str, int], None] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Seen:
    """One plant somewhere, read and waiting for its row to be found good."""

    told: Told
    day: date | None
    label: str
    name: str
    taxon: str | None
    key: str
    scale: Scale
    value: str
    cell: Cell


@dataclass(frozen=True, slots=True)
class Measured:
    """One figure about a quadrat."""

    told: Told
    day: date | None
    label: str
    what: str
    value: Any
    cell: Cell


class Desk:
    """One reading of a file."""

    def __init__(self, asked: ForYear, whole: Whole) -> None:
        self.asked = asked
        self.whole = whole
        self.rows: list[Told] = []
        self.questions: dict[str, Asked] = {}
        self.seen: list[Seen] = []
        self.measured: list[Measured] = []
        self.done: list[tuple[Told, dict[str, Any]]] = []
        self.notes: list[dict[str, str]] = []
        #: quadrats that were surely looked at, for a nothing was written
        self.looked: dict[tuple[int, date | None, str], tuple[Told, date | None, str]] = {}
        self.facts: dict[str, Any] = {}
        self.day: date | None = None

    # ------------------------------------------------------------------------------------------------ small tools

    def tell(self, sheet: Sheet, row: Row, role: Role = "data") -> Told:
        told = Told(row, sheet.name, role)
        self.rows.append(told)
        return told

    def remark(self, told: Told, code: str, text: str, cell: Cell | None = None, expected: str = "") -> None:
        if len(told.reasons) < MOST_REASONS:
            address = cell.address if cell is not None else ""
            told.reasons.append(Reason(code, text, address, text_of(cell)[:80], expected))

    def refuse(self, told: Told, code: str, text: str, cell: Cell | None = None, expected: str = "") -> None:
        told.refused = True
        if len(told.reasons) >= MOST_REASONS:
            told.reasons.pop()
        self.remark(told, code, text, cell, expected)

    def unusable(self, told: Told, cell: Cell | None) -> bool:
        """Refuse a row for a cell that holds no value, and say so."""
        if cell is None or not cell.problem:
            return False
        self.refuse(
            told, cell.problem, f"{cell.address} holds {PROBLEMS[cell.problem]}.", cell, "the value itself, typed in"
        )
        return True

    def ask(
        self,
        told: Told | None,
        key: str,
        code: str,
        text: str,
        choices: Iterable[tuple[str, str]] = (),
        *,
        free: Any = "",
        cell: Cell | None = None,
        sheet: str = "",
    ) -> str | None:
        """The answer given to a question; None, and the question kept, where there is none yet."""
        options = tuple(Choice(value, label) for value, label in choices)
        answer = self.asked.answers.get(key)
        if answer is not None and (any(option.value == answer for option in options) or fits(free, answer)):
            return answer
        if key not in self.questions and told is not None and len(self.questions) >= MOST_QUESTIONS:
            text = f"More than {MOST_QUESTIONS} things would have to be asked; this row comes after them."
            self.refuse(told, "too_many_questions", text, cell, "the file mended as far as it can be, and sent again")
            return None
        if key not in self.questions:
            address, read = (cell.address, text_of(cell)[:80]) if cell is not None else ("", "")
            place = told.sheet if told is not None else sheet
            question = Question(key, code, text, options, free, place, address, read)
            self.questions[key] = Asked(question)
        if told is not None:
            self.wait(told, key)
        return None

    def wait(self, told: Told, key: str) -> None:
        """A row waits for the answer to a question, where it is still open."""
        if key in self.questions:
            told.asks.add(key)
            self.questions[key].rows[told.sheet, told.row.number] = None

    def note(self, sheet: str, cell: Cell) -> None:
        if len(self.notes) < MOST_NOTES:
            self.notes.append({"sheet": sheet, "address": cell.address, "text": text_of(cell)[:500]})

    # --------------------------------------------------------------------------------------------------------- days

    def read_day(self, told: Told, cell: Cell, sheet: Sheet, *, of_walk: bool = True) -> date | None:
        """A day in a cell; asked about or refused where it is not plain."""
        if self.unusable(told, cell):
            return None
        found = read_day(cell.value, self.asked.year, from_1904=sheet.counts_from_1904)
        key = f"day:{sheet.name}:{cell.address}"
        if isinstance(found, Fault):
            self.refuse(told, found.code, f"{cell.address}: {found.text}", cell, found.expected)
            return None
        if isinstance(found, Doubt):
            choices = [(day.isoformat(), _day_words(day)) for day in found.readings]
            answer = self.ask(told, key, found.code, found.text, choices, free="day", cell=cell)
            return date.fromisoformat(answer) if answer else None
        wrong = found.year != self.asked.year if of_walk else abs(found.year - self.asked.year) > 1
        if wrong:
            try:
                moved = found.replace(year=self.asked.year)
            except ValueError:
                moved = None
            choices = [(found.isoformat(), f"{_day_words(found)}, as written")]
            choices += [(moved.isoformat(), _day_words(moved))] if moved else []
            text = f"Read {text_of(cell)[:40]!r}; the return is for {self.asked.year}. Which day is right?"
            answer = self.ask(told, key, "other_year", text, choices, free="day", cell=cell)
            return date.fromisoformat(answer) if answer else None
        return found

    # -------------------------------------------------------------------------------------------------------- names

    def read_name(self, told: Told, cells: list[Cell]) -> tuple[str, str | None, str] | None:
        """What is written, the plant it is (None where open), and what tells it from others."""
        cells = [cell for cell in cells if text_of(cell)]
        if any(self.unusable(told, cell) for cell in cells) or not cells:
            return None
        written = text_of(cells[0])
        if len(written) > LONGEST_NAME:
            self.refuse(
                told, "too_long", f"{cells[0].address}: this is longer than a name.", cells[0], "a plant's name"
            )
            return None
        # once no more can be asked, what a name is like is not looked for
        alike = len(self.questions) < MOST_QUESTIONS
        found = [match(text_of(cell)[:LONGEST_NAME], remembered=self.asked.remembered, alike=alike) for cell in cells]
        first = next((each for each in found if each.settled), None) or found[0]
        others = {each.taxon for each in found if each.settled}
        key = found[0].folded
        if not key:
            self.refuse(told, "no_name", f"{cells[0].address}: this is no name.", cells[0], "a plant's name")
            return None
        if any(each.rank == "not a plant" for each in found):
            told.role = "note"
            self.note(told.sheet, cells[0])
            self.remark(told, "not_a_plant", f"{written!r} is no plant; it is kept among the notes.", cells[0])
            return None
        if first.settled and len(others) == 1:
            return written, first.taxon, first.taxon or key
        text = f"Which plant is {written!r}?"
        if len(others) > 1:
            text = (
                f"The names {' and '.join(repr(text_of(cell)) for cell in cells)} are of different plants. Which is it?"
            )
        elif first.doubt:
            text = f"{written!r} was written with a doubt. Which plant is it?"
        choices = _choices(found)
        code = "name_doubted" if first.doubt and first.taxon else "name"
        answer = self.ask(told, f"name:{key}", code, text, choices, free="taxon", cell=cells[0])
        if answer is None or answer == AS_WRITTEN:
            return written, None, key
        return written, answer, answer

    # ------------------------------------------------------------------------------------------------------ amounts

    def scale_of(self, sheet: Sheet, where: str, hint: str, cells: list[Cell]) -> Scale | None:
        """The scale that amounts are on: named, plain from the amounts, or asked; None while it is not known."""
        amounts = [amount_of(cell) for cell in cells if not cell.problem]
        likely = self.whole.likely.get(sheet.name) or likely_scales(amounts)
        named = list(dict.fromkeys(scale_named(hint)))
        letters = any(amount.kind == "letter" and amount.text != "r" for amount in amounts)
        if letters and named == ["percent"] and "cover" in hint.casefold() and "%" not in hint:
            named = ["dafor_cover"]
        if letters and not named and "freq" in hint.casefold():
            named = ["dafor_frequency"]
        if len(named) == 1:
            return named[0]
        if len(named) > 1:
            both = [scale for scale in named if scale in likely]
            if len(both) == 1:
                return both[0]
            likely = tuple(both) or tuple(named)
        if len(likely) == 1:
            return likely[0]
        code = "scale_letters" if "dafor_cover" in likely else "scale_figures"
        text = (
            "The letters D, A, F, O, R: do they tell how much each plant covers, or how often it is met?"
            if code == "scale_letters"
            else f"The figures on the sheet {sheet.name!r} could be on more than one scale. Which is it?"
        )
        first = cells[0] if cells else None
        answer = self.ask(
            None,
            f"scale:{where}",
            code,
            text,
            [(scale, SCALE_WORDS[scale]) for scale in likely],
            cell=first,
            sheet=sheet.name,
        )
        return next((scale for scale in likely if scale == answer), None)

    def put(
        self,
        told: Told,
        day: date | None,
        label: str,
        named: tuple[str, str | None, str],
        cell: Cell,
        scale: Scale | None,
        scale_key: str,
    ) -> None:
        """One amount of one plant in one quadrat."""
        if self.unusable(told, cell):
            return
        written, taxon, key = named
        amount = amount_of(cell)
        if scale is None:
            # Seen is all that is sure until the scale is known; what is wrong on every scale is told now.
            self.wait(told, scale_key)
            wrong = amount.kind == "number" and amount.number is not None and not 0 <= amount.number <= 100
            found = read_amount(amount, "percent" if wrong else "presence")
        else:
            found = read_amount(amount, scale)
        if found is None:
            if label != WHOLE_SITE:
                self.looked[id(told), day, label] = (told, day, label)
            return
        if isinstance(found, Fault):
            self.refuse(told, found.code, f"{cell.address}: {found.text}", cell, found.expected)
            return
        if cell.joined:
            self.refuse(
                told, "joined", f"{cell.address} is joined with its neighbours.", cell, "an amount for each quadrat"
            )
            return
        if amount.kind == "trace":
            self.remark(told, "trace", f"{cell.address}: {text_of(cell)!r} was taken as 0.5 %.", cell)
        own, value = found
        if own in {"dafor_cover", "dafor_frequency", "braun_blanquet"} and value != text_of(cell).casefold():
            self.remark(told, "taken_as", f"{cell.address}: {text_of(cell)[:10]!r} was taken as {value!r}.", cell)
        self.seen.append(Seen(told, day, label, written, taxon, key, own, value, cell))

    def measure(self, told: Told, day: date | None, label: str, what: str, cell: Cell, unit: str) -> None:
        """One figure about a quadrat."""
        if self.unusable(told, cell):
            return
        text = text_of(cell).casefold().replace("%", "").removesuffix("cm").removesuffix("mm").strip()
        if text in {"", "-", "–", "—", "n/a", "na"}:
            return
        number = number_of(text)
        low, high, whole, expected = LIMITS[what]
        if what == "sward_height_cm" and number is not None and (unit == "mm" or "mm" in text_of(cell).casefold()):
            number = number / 10
        if number is None or not low <= number <= high or (whole and not float(number).is_integer()):
            words = ATTRIBUTE_WORDS[what]
            self.refuse(told, "bad_figure", f"{cell.address}: read {text_of(cell)[:40]!r} for {words}.", cell, expected)
            return
        self.measured.append(Measured(told, day, label, what, int(number) if whole else round(number, 2), cell))


def fits(free: str, answer: str) -> bool:
    """Whether an answer beyond the choices is one: a day, or the key of a plant."""
    if free == "day":
        try:
            return date.fromisoformat(answer) is not None
        except ValueError:
            return False
    return free == "taxon" and answer in parameters().nouns["taxa"]


def _day_words(day: date) -> str:
    return f"{day.day} {day:%B %Y}"


@lru_cache(maxsize=1)
def _groups() -> dict[str, list[str]]:
    """Plant -> the genera of the table that it may be told as."""
    out: dict[str, list[str]] = {}
    for group in parameters().nouns["taxa"]:
        for key in members(group) if group.endswith("_sp") else ():
            out.setdefault(key, []).append(group)
    return out


def _choices(found: list[Match]) -> list[tuple[str, str]]:
    out: dict[str, str] = {}
    for each in found:
        for candidate in each.candidates:
            out.setdefault(candidate.taxon, candidate.name)
    # A doubted kind may at least be surely of its group.
    for key in list(out):
        for group in _groups().get(key, ()):
            row = parameters().nouns["taxa"][group]
            out.setdefault(group, f"{row['english_name']} ({row['scientific_name']})")
    return [*out.items(), (AS_WRITTEN, "Leave it as it was written")]
