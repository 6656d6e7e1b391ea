"""How figures are said on the pages: forecasts to two significant digits, with units, as ranges in words."""

from collections.abc import Iterable, Mapping
from datetime import date
from decimal import Decimal
from typing import Any

NARROW_SPACE = "\u00a0"
MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
# Shares that people say, as (numerator, denominator): the same as in the answers' own sentences.
_RARE, _SURE = 1 / 40, 39 / 40
_SAID = (
    *((1, bottom) for bottom in (20, 10, 5, 4, 3)),
    (2, 5),
    (1, 2),
    (3, 5),
    (2, 3),
    (3, 4),
    (4, 5),
    (9, 10),
    (19, 20),
)
_COUNTED = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def figure(value: float, digits: int = 2) -> str:
    """Return a number to so many significant digits, written out: 1234.5 is "1,200"."""
    rounded = Decimal(f"{value:.{digits}g}")
    text = f"{rounded:,f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def whole(value: float) -> str:
    """Return a number without decimals: 7.6 is "8"."""
    return f"{Decimal(value).quantize(Decimal(1)):,f}"


def counted(number: int) -> str:
    """Return a small count in words: 3 is "three", 12 is "12"."""
    return _COUNTED[number] if 0 <= number < len(_COUNTED) else f"{number:,}"


def plural(number: float, one: str, many: str = "") -> str:
    """Return the word that goes with a number."""
    return one if number == 1 else many or one + "s"


def between(low: str, high: str, unit: str = "") -> str:
    """Return two written numbers as a range; alike ends become "about"."""
    tail = f"{NARROW_SPACE}{unit}" if unit else ""
    return f"about {low}{tail}" if low == high else f"{low} to {high}{tail}"


def span(found: Mapping[str, float], unit: str = "", digits: int = 2) -> str:
    """Return the 10 % to 90 % range to two significant digits: "12 to 18 kg"."""
    return between(figure(found["p10"], digits), figure(found["p90"], digits), unit)


def work_span(found: Mapping[str, float]) -> str:
    """Return a range of person-hours, in minutes if all of it is below an hour."""
    if found["p90"] < 1:
        return between(figure(found["p10"] * 60), figure(found["p90"] * 60), "person-minutes")
    return span(found, "person-hours")


def whole_span(found: Mapping[str, float], one: str = "", many: str = "") -> str:
    """Return a range of things that are counted: "6 to 11 species"."""
    low, high = whole(found["p10"]), whole(found["p90"])
    if low != high:
        return between(low, high, many or one)
    unit = one if low == "1" else many or one
    return f"{counted(int(low.replace(',', '')))}{NARROW_SPACE}{unit}" if unit else low


def weight(kg: float, digits: int = 2) -> str:
    """Return a weight, in grams below 1 kg."""
    if kg < 1:
        return f"{figure(kg * 1000, digits)}{NARROW_SPACE}g"
    return f"{figure(kg, digits)}{NARROW_SPACE}kg"


def weight_span(low_kg: float, high_kg: float) -> str:
    """Return a range of weights, in grams if all of it is below 1 kg."""
    if high_kg < 1:
        return between(figure(low_kg * 1000), figure(high_kg * 1000), "g")
    return between(figure(low_kg), figure(high_kg), "kg")


def area(m2: float) -> str:
    """Return an area, in hectares from 1 ha: an area is known, so it keeps four digits."""
    if m2 >= 10_000:
        return f"{figure(m2 / 10_000, 4)}{NARROW_SPACE}ha"
    return f"{figure(m2, 4)}{NARROW_SPACE}m²"


def pounds(gbp: float) -> str:
    """Return a forecast sum to two significant digits, without pence above £10."""
    if 0 < abs(gbp) < 9.95:
        return f"£{float(f'{gbp:.2g}'):.2f}"
    return f"£{figure(gbp)}"


def pounds_exact(gbp: float) -> str:
    """Return a sum that has to add up with others: whole pounds, pence below £10."""
    if 0 < abs(gbp) < 10:
        return f"£{gbp:.2f}"
    return f"£{whole(gbp)}"


def pounds_between(low: float, high: float) -> str:
    """Return a range of sums: "£190 to £310"; pence only where all of it is below £10."""
    if high >= 10 > low:
        return between(f"£{figure(low, 1)}", pounds(high))
    return between(pounds(low), pounds(high))


def money_span(found: Mapping[str, float]) -> str:
    """Return a money range of an answer: "£190 to £310"."""
    if found["p90_gbp"] == 0:
        return "nothing"
    return pounds_between(found["p10_gbp"], found["p90_gbp"])


def chance(share: float) -> str:
    """Return a chance as people say it: 0.81 is "about 4 in 5"."""
    said = odds(share)
    return f"about {said}" if said[0].isdigit() else said


def odds(share: float) -> str:
    """Return a chance for a table: 0.81 is "4 in 5"."""
    if share < _RARE:
        return "almost none"
    if share > _SURE:
        return "nearly certain"
    top, bottom = min(_SAID, key=lambda said: abs(said[0] / said[1] - share))
    return f"{top}{NARROW_SPACE}in{NARROW_SPACE}{bottom}"


def day(value: date | str) -> str:
    """Return a date: "20 September 2026"."""
    value = as_date(value)
    return f"{value.day}{NARROW_SPACE}{MONTHS[value.month - 1]} {value.year}"


def day_of_year(value: date | str) -> str:
    """Return a day that comes every year: "20 July". Reads a date or "07-20"."""
    if isinstance(value, str) and len(value) == len("07-20"):
        value = f"2000-{value}"
    value = as_date(value)
    return f"{value.day}{NARROW_SPACE}{MONTHS[value.month - 1]}"


def days(first: date | str, last: date | str | None, *, every_year: bool) -> str:
    """Return a stretch of days: "20 September to 30 November 2026"."""
    write = day_of_year if every_year else day
    if last is None or as_date(last) == as_date(first):
        return write(first)
    first, last = as_date(first), as_date(last)
    if every_year or first.year == last.year:
        return f"{day_of_year(first)} to {write(last)}"
    return f"{day(first)} to {day(last)}"


def as_date(value: date | str) -> date:
    """Return a date of an answer, where it is text."""
    return value if isinstance(value, date) else date.fromisoformat(value)


def listed(items: Iterable[Any], last: str = "and") -> str:
    """Return things in a row: "a, b and c"."""
    words = [str(item) for item in items]
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


def opened(text: str) -> str:
    """Return a text that begins with a capital letter; the rest as it is."""
    return text[:1].upper() + text[1:]


def sentence(text: str) -> str:
    """Return a text as a sentence: with a capital letter and a full stop."""
    text = opened(text.strip())
    return text if not text or text.endswith((".", "?")) else f"{text}."


def lowered(text: str) -> str:
    """Return a label to stand inside a sentence."""
    return text[:1].lower() + text[1:]
