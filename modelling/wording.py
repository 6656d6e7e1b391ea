"""Plain sentences for answers: sensible digits, chances in ordinary words, no percentages of percentages."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from math import floor, log10
from typing import Final

_CHANCES: Final = (
    (1 / 20, "1 in 20"), (1 / 10, "1 in 10"), (1 / 5, "1 in 5"), (1 / 4, "1 in 4"), (1 / 3, "1 in 3"),
    (2 / 5, "2 in 5"), (1 / 2, "1 in 2"), (3 / 5, "3 in 5"), (2 / 3, "2 in 3"), (3 / 4, "3 in 4"),
    (4 / 5, "4 in 5"), (9 / 10, "9 in 10"), (19 / 20, "19 in 20"),
)  # fmt: skip
_RARE: Final = 1 / 40
_SURE: Final = 39 / 40
_PENNIES_BELOW: Final = 10
_PENCE_IN_POUND: Final = 100
_NUMBERS: Final = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
)  # fmt: skip
_ORDINALS: Final = ("", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")


def chance(share: float) -> str:
    """A chance in ordinary words: "about a 4 in 5 chance"."""
    if share < _RARE:
        return "almost no chance"
    if share > _SURE:
        return "a near certainty"
    return f"about a {min(_CHANCES, key=lambda c: abs(c[0] - share))[1]} chance"


def significant(value: float, digits: int = 2) -> float:
    """`value` to so many significant digits."""
    if value == 0:
        return 0.0
    return round(value, digits - 1 - floor(log10(abs(value))))


def figure(value: float, digits: int = 2) -> str:
    """A number to two significant digits with thousands set apart by a comma."""
    rounded = significant(value, digits)
    if abs(rounded) >= 10:
        return f"{rounded:,.0f}"
    return f"{rounded:g}"


def between(low: float, high: float, unit: str = "", digits: int = 2) -> str:
    """A range: "1.2 to 1.8 kg"; one figure where both ends look alike."""
    a, b = figure(low, digits), figure(high, digits)
    tail = f" {unit}" if unit else ""
    return f"{a}{tail}" if a == b else f"{a} to {b}{tail}"


def weight(kg_low: float, kg_high: float) -> str:
    """A range of weights in grams below a kilogram."""
    return between(kg_low, kg_high, "kg") if kg_high >= 1 else between(kg_low * 1000, kg_high * 1000, "g")


def pounds(low: float, high: float) -> str:
    """A range of money: "£190 to £310"; to ten pence below £10."""
    a, b = (f"{round(x, 1):.2f}" if x < _PENNIES_BELOW else figure(x) for x in (low, high))
    return f"£{a}" if a == b else f"£{a} to £{b}"


def pence(amount: int) -> str:
    """An exact amount of whole pence: "£1,234.50", and "£1,234" where the pence are none."""
    whole, rest = divmod(amount, _PENCE_IN_POUND)
    return f"£{whole:,}.{rest:02d}" if rest else f"£{whole:,}"


def count(number: int) -> str:
    """Small whole numbers as words."""
    return _NUMBERS[number] if 0 <= number < len(_NUMBERS) else f"{number:,}"


def ordinal(number: int) -> str:
    """First to tenth."""
    return _ORDINALS[number]


def day(on: date) -> str:
    """20 September 2026."""
    return f"{on.day} {on:%B %Y}"


def month_day(month: int, number: int) -> str:
    """20 August."""
    return f"{number} {date(2000, month, 1):%B}"


def sessions(low: int, high: int) -> str:
    """Half-day sessions in words: one morning, or two to three mornings."""
    if low == high:
        return f"{count(low)} morning" + ("" if low == 1 else "s")
    return f"{count(low)} to {count(high)} mornings"


def joined(parts: Sequence[str]) -> str:
    """a, b and c."""
    parts = list(parts)
    if len(parts) < 2:
        return "".join(parts)
    return ", ".join(parts[:-1]) + " and " + parts[-1]


def area(m2: float) -> str:
    """Square metres, or hectares from one hectare up."""
    return f"{figure(m2 / 10_000, 3)} ha" if m2 >= 10_000 else f"{figure(m2, 3)} m²"


def percent(share: float) -> str:
    """A share in whole per cent: "38 %"."""
    return f"{100 * share:.0f} %"


def years(number: int) -> str:
    """A number of years: "one year", "ten years"."""
    return f"{count(number)} year{'' if number == 1 else 's'}"
