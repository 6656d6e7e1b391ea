"""Days and amounts as people type them: read, doubted or refused, never guessed."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from typing import Final, Literal

from projects.sheets.tables import Cell, Value

Scale = Literal["presence", "percent", "domin", "braun_blanquet", "dafor_cover", "dafor_frequency", "abundance"]

SCALE_WORDS: Final[dict[Scale, str]] = {
    "percent": "Per cent cover",
    "domin": "Domin, 1 to 10",
    "braun_blanquet": "Braun-Blanquet, + and 1 to 5",
    "dafor_cover": "DAFOR letters for cover",
    "dafor_frequency": "DAFOR letters for how often",
    "presence": "Ticks: seen or not",
    "abundance": "Counts of plants",
}


@dataclass(frozen=True, slots=True)
class Fault:
    """Why a value cannot be used: what was read and what would be right."""

    code: str
    text: str
    expected: str


@dataclass(frozen=True, slots=True)
class Doubt:
    """A value with more than one reading."""

    code: str
    text: str
    readings: tuple[date, ...] = ()


# ------------------------------------------------------------------------------------------------------------ days

_MONTHS: Final = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
    "december",
)  # fmt: skip
_DAY_EXPECTED: Final = "a day such as 14 July 2026 or 14/7/2026"
_WEEKDAY: Final = re.compile(r"^(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*\.?,?\s+")
_ORDINAL: Final = re.compile(r"(?<=\d)(?:st|nd|rd|th)\b")
_NUMBERS: Final = re.compile(r"(\d{1,4})\s*[-/.\s]\s*(\d{1,2})(?:\s*[-/.\s]\s*(\d{2}(?:\d{2})?))?\.?")
_NAMED: Final = re.compile(
    r"(?:(?P<day>\d{1,2})\s*(?:of\s+)?[-/.\s]*(?P<month>[a-z]{3,9})|(?P<month2>[a-z]{3,9})\.?[-/\s]*(?P<day2>\d{1,2}))"
    r"(?:\.?,?[-/\s]*'?(?P<year>\d{4}|\d{2}))?"
)
_CLOCK: Final = re.compile(r"[ t]\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?:\s*[ap]m)?z?$")
#: day numbers of 1955 to 2119, as spreadsheets count from 1900
_SERIALS: Final = range(20_000, 80_000)


def _month(word: str) -> int | None:
    if word == "sept":
        return 9
    found = [i for i, name in enumerate(_MONTHS, start=1) if name.startswith(word)]
    return found[0] if len(found) == 1 and len(word) >= 3 else None


def _year(text: str | None, year: int) -> int:
    if not text:
        return year
    return int(text) if len(text) == 4 else year // 100 * 100 + int(text)


def _days(*parts: tuple[int, int, int]) -> list[date]:
    found: dict[date, None] = {}
    for y, m, d in parts:
        try:
            found[date(y, m, d)] = None
        except (ValueError, OverflowError):
            continue
    return list(found)


@lru_cache(maxsize=20_000, typed=True)
def read_day(value: object, year: int, *, from_1904: bool = False) -> date | Doubt | Fault:
    """Read a day. Day before month; a day without its year is of `year`."""
    if isinstance(value, date):
        return value
    if isinstance(value, float | int):
        start = date(1904, 1, 1) if from_1904 else date(1899, 12, 30)
        if value not in (float("inf"), float("-inf")) and value == value and int(value) in _SERIALS:
            return start + timedelta(days=int(value))
        return Fault("not_a_day", f"Read {value:g}, which is no day.", _DAY_EXPECTED)
    shown = " ".join(str(value).split())[:40]
    text = _WEEKDAY.sub("", " ".join(str(value).casefold().split())[:60])
    text = _ORDINAL.sub("", _CLOCK.sub("", text)).strip(" ,.")
    if re.fullmatch(r"\d{5}", text):
        return read_day(int(text), year, from_1904=from_1904)
    if found := re.fullmatch(r"(\d{4})\s*[-/.]\s*(\d{1,2})\s*[-/.]\s*(\d{1,2})", text):
        days = _days((int(found[1]), int(found[2]), int(found[3])))
        return days[0] if days else _no_such_day(shown)
    if (found := re.fullmatch(r"([a-z]+)\.?,?\s*(?:\d{4})?", text)) and _month(found[1]) is not None:
        return Doubt("day_missing", f"Read {shown!r}: which day of the month?")
    if found := _NAMED.fullmatch(text):
        month = _month(found["month"] or found["month2"])
        if month is not None:
            day = int(found["day"] or found["day2"])
            days = _days((_year(found["year"], year), month, day))
            if found["day2"] and found["year"] is None and day == year % 100:
                return Doubt("day_ambiguous", f"Read {shown!r}: a day of the month, or the year?", tuple(days))
            return days[0] if days else _no_such_day(shown)
    if found := _NUMBERS.fullmatch(text):
        return _in_numbers(shown, found[1], found[2], found[3], year)
    return Fault("not_a_day", f"Read {shown!r}, which is no day.", _DAY_EXPECTED)


def _no_such_day(shown: str) -> Fault:
    return Fault("no_such_day", f"Read {shown!r}; there is no such day.", f"{_DAY_EXPECTED}, the day before the month")


def _in_numbers(shown: str, first: str, second: str, third: str | None, year: int) -> date | Doubt | Fault:
    if len(first) > 2:
        return Fault("not_a_day", f"Read {shown!r}, which is no day.", _DAY_EXPECTED)
    a, b = int(first), int(second)
    if third is None:
        usual, others = _days((year, b, a)), _days((year, a, b))
        if usual:
            return usual[0]
        if b == year % 100 and 1 <= a <= 12:
            return Doubt("day_missing", f"Read {shown!r}: which day of the month?")
    else:
        usual = _days((_year(third, year), b, a))
        others = _days((_year(third, year), a, b))
        if len(third) == 2:
            others += _days((_year(first, year), b, int(third)))
        others = [day for day in others if abs(day.year - year) <= 1]
        if usual and (usual[0].year == year or not any(day.year == year for day in others)):
            return usual[0]
        if usual:
            readings = (usual[0], *(day for day in others if day.year == year))
            return Doubt("day_ambiguous", f"Read {shown!r}, which may be more than one day.", readings)
    if others:
        return Doubt("day_ambiguous", f"Read {shown!r}; the day comes before the month.", tuple(dict.fromkeys(others)))
    return _no_such_day(shown)


# --------------------------------------------------------------------------------------------------------- amounts

_NUMBER: Final = re.compile(r"[-+]?(?:\d{1,9}(?:[.,]\d{1,6})?|[.,]\d{1,6})")
_TICKS: Final = frozenset({"x", "✓", "✔", "√", "☑", "•", "*", "y", "yes", "p", "present", "tick", "true", "seen", "ü"})
_ABSENT: Final = frozenset(
    {"", "-", "–", "—", ".", "0", "n", "no", "absent", "false", "n/a", "na", "nil", "none", "0%"}
)
_TRACE: Final = re.compile(r"<\s*1\s*%?|tr|trace")
_LETTERS: Final = frozenset("dafor")
MOST_VALUE: Final = 20


@dataclass(frozen=True, slots=True)
class Amount:
    """A cell that may be an amount, before its scale is known."""

    text: str
    """In small letters without blanks and the per cent sign."""
    number: float | None = None
    percent: bool = False
    """Written with a per cent sign."""
    kind: Literal["absent", "tick", "plus", "letter", "number", "trace", "other"] = "other"


def number_of(value: object) -> float | None:
    """A number, typed or kept as one; None where it is none."""
    if isinstance(value, bool | date):
        return None
    if isinstance(value, float | int):
        number = float(value)
        return number if number == number and abs(number) < 1e12 else None
    text = str(value).strip().replace("−", "-").replace(" ", "")
    return float(text.replace(",", ".")) if _NUMBER.fullmatch(text) else None


def shown(number: float) -> str:
    """A number as short as it can be written."""
    return f"{number:.6g}" if abs(number) < 1e6 else f"{number:.0f}"


def amount_of(cell: Cell) -> Amount:
    """Look at a cell as an amount."""
    return _amount(cell.value)


@lru_cache(maxsize=20_000, typed=True)
def _amount(value: Value) -> Amount:
    if isinstance(value, date):
        return Amount(value.isoformat(), kind="other")
    if isinstance(value, float):
        number = number_of(value)
        if number is None:
            return Amount(str(value))
        return Amount(shown(number), number, kind="absent" if number == 0 else "number")
    text = " ".join(str(value).casefold().split())
    bare = text.removesuffix("%").strip()
    percent = text.endswith(("%", "per cent", "percent"))
    bare = re.sub(r"\s*per\s?cent$", "", bare)
    if text in _ABSENT:
        return Amount(text, kind="absent")
    if text in _TICKS:
        return Amount(text, kind="tick")
    if re.fullmatch(r"\++", text):
        return Amount(text, kind="plus")
    if _TRACE.fullmatch(text):
        return Amount(text, 0.5, percent="%" in text, kind="trace")
    number = number_of(bare)
    if number is not None:
        return Amount(shown(number), number, percent, kind="absent" if number == 0 else "number")
    letter = bare.removeprefix("l") if len(bare) == 2 else bare
    if letter in _LETTERS:
        return Amount(letter, kind="letter")
    return Amount(bare)


def likely_scales(amounts: list[Amount]) -> tuple[Scale, ...]:
    """Return the scales that a column's amounts may be on; more than one is a question, none a mixture."""
    seen = [amount for amount in amounts if amount.kind != "absent"]
    kinds = {amount.kind for amount in seen}
    numbers = [amount.number for amount in seen if amount.kind == "number" and amount.number is not None]
    if not seen or kinds <= {"tick"} or (kinds <= {"tick", "plus"} and "number" not in kinds):
        return ("presence",)
    if kinds <= {"letter", "tick"}:
        return ("dafor_cover", "dafor_frequency")
    if any(amount.percent for amount in seen) or "trace" in kinds:
        return ("percent",)
    if not numbers:
        return ("presence",)
    if all(number == 1 for number in numbers) and kinds <= {"number", "tick"}:
        return ("presence",)
    whole = all(float(number).is_integer() for number in numbers)
    if not whole or max(numbers) > 10 or min(numbers) < 0:
        return ("percent",)
    letters = {amount.text for amount in seen if amount.kind == "letter"}
    if letters == {"r"} and max(numbers) <= 5:
        return ("braun_blanquet",)
    if max(numbers) <= 5:
        figures: tuple[Scale, ...] = ("domin", "braun_blanquet")
    else:
        figures = ("domin",)
    return figures if "plus" in kinds else (*figures, "percent", "abundance")


def read_amount(amount: Amount, scale: Scale) -> tuple[Scale, str] | Fault | None:
    """An amount on a scale: scale and value, None where the plant is not there, or what is wrong."""
    if amount.kind == "absent":
        return None
    if amount.kind == "tick":
        return "presence", ""
    number = amount.number
    if amount.percent and scale != "percent":
        scale = "percent"
    if number is not None and number < 0:
        return Fault("negative", f"Read {amount.text}; an amount is never below 0.", _expected(scale))
    if scale == "presence":
        return "presence", ""
    if scale == "percent" and number is not None:
        if number > 100:
            return Fault("over_100", f"Read {amount.text} %; one kind covers at most 100 %.", _expected(scale))
        return "percent", shown(number)
    if scale == "percent" and amount.kind == "plus":
        return "presence", ""
    if scale == "abundance" and number is not None and float(number).is_integer():
        return "abundance", shown(number)
    if scale in {"domin", "braun_blanquet"}:
        most = 10 if scale == "domin" else 5
        if amount.text == "+" or (scale == "braun_blanquet" and amount.text == "r"):
            return scale, amount.text
        if scale == "braun_blanquet" and amount.text in {"2a", "2b", "2m"}:
            return scale, "2"
        if number is not None and amount.kind == "number" and float(number).is_integer() and 1 <= number <= most:
            return scale, shown(number)
    if scale in {"dafor_cover", "dafor_frequency"} and amount.kind == "letter":
        return scale, amount.text
    return Fault(
        "not_on_scale", f"Read {amount.text[:40]!r}, which is not on the scale: {SCALE_WORDS[scale]}.", _expected(scale)
    )


def _expected(scale: Scale) -> str:
    return {
        "percent": "a number from 0 to 100",
        "domin": "+ or a whole number from 1 to 10",
        "braun_blanquet": "r, + or a whole number from 1 to 5",
        "dafor_cover": "one of the letters D, A, F, O, R",
        "dafor_frequency": "one of the letters D, A, F, O, R",
        "presence": "x, a tick or 1 where the plant was seen, nothing where not",
        "abundance": "a whole number of plants",
    }[scale]


def scale_named(words: str) -> Iterator[Scale]:
    """Scales that a heading or a title names."""
    text = words.casefold()
    if "domin" in re.sub(r"domina\w*|predomin\w*", "", text):
        yield "domin"
    if re.search(r"braun|blanquet|\bb-?b\b", text):
        yield "braun_blanquet"
    often = re.search(r"freq|how often|constancy", text)
    if re.search(r"\bda?c?for\b|dafor|acfor", text):
        if often:
            yield "dafor_frequency"
        if "cover" in text:
            yield "dafor_cover"
    elif re.search(r"%|per\s?cent|\bcover\b", text) and not re.search(r"domin|braun|blanquet", text):
        yield "percent"
    if re.search(r"\b(?:count|counts|number of plants|no\.? of plants|plants counted|individuals|how many)\b", text):
        yield "abundance"
    if re.search(r"\b(?:present|presence|tick|ticks|seen|p/a)\b", text):
        yield "presence"
