"""Kinds of text, money and time that requests are made of."""

from __future__ import annotations

import unicodedata
import uuid
from datetime import date
from typing import Annotated, Any, Final, TypeVar

from pydantic import AfterValidator, BeforeValidator, Field, WithJsonSchema
from pydantic_core import PydanticCustomError

from modelling.contracts import Strict
from modelling.reading import read_as

__all__ = [
    "Day", "Email", "Hours", "Identifier", "LongNote", "LongText", "Name", "Note", "Phrase", "Pounds", "Strict",
    "Words", "pence", "read_as",
]  # fmt: skip

FIRST_DAY: Final = date(1990, 1, 1)
LAST_DAY: Final = date(2100, 12, 31)
MOST_POUNDS: Final = 100_000_000
T = TypeVar("T", bound=Strict)


def refused(code: str, detail: str, expected: str) -> PydanticCustomError:
    """Return the refusal of one value, in our own words."""
    return PydanticCustomError(code, detail.replace("{", "{{").replace("}", "}}"), {"own": expected})


def _plain(text: str, *, lines: bool) -> str:
    for letter in text:
        if letter == "\n" and lines:
            continue
        if unicodedata.category(letter) in {"Cc", "Cs", "Co", "Cn"}:
            raise refused(
                "control_character",
                f"This text holds a character that cannot be shown (U+{ord(letter):04X}); leave it out.",
                "text without control characters",
            )
    return text.strip()


def _one_line(text: str) -> str:
    return _plain(text, lines=False)


def several_lines(text: str) -> str:
    return _plain(text.replace("\r\n", "\n"), lines=True)


def _said(text: str) -> str:
    if not text:
        raise refused("too_few", "This is empty; write at least one letter.", "at least one letter")
    return text


def _email(text: str) -> str:
    found = text.strip().lower()
    name, at, domain = found.partition("@")
    if not (name and at and "." in domain.strip(".") and " " not in found and "@" not in domain) or domain[0] in ".-":
        raise refused(
            "bad_email", f"{text[:80]!r} is no e-mail address; one looks like wenna@example.org.", "an e-mail address"
        )
    return found


def _day(value: object) -> object:
    if isinstance(value, date):
        return value
    example = "YYYY-MM-DD"
    if isinstance(value, str) and len(value) == len(example) and value[4] == value[7] == "-":
        try:
            return date.fromisoformat(value)
        except ValueError:
            pass
    raise refused("bad_date", f"Read {str(value)[:40]!r}; a date that exists is needed, written {example}.", example)


def _in_reach(value: date) -> date:
    if not FIRST_DAY <= value <= LAST_DAY:
        raise refused(
            "out_of_range",
            f"Read {value.isoformat()}; it must be from {FIRST_DAY.isoformat()} to {LAST_DAY.isoformat()}.",
            f"{FIRST_DAY.isoformat()} to {LAST_DAY.isoformat()}",
        )
    return value


def _identifier(value: object) -> object:
    if isinstance(value, uuid.UUID):
        return value
    if isinstance(value, str):
        try:
            return uuid.UUID(value)
        except ValueError:
            pass
    raise refused("bad_id", f"Read {str(value)[:40]!r}; an id has 32 hexadecimal digits.", "an id (UUID)")


def _whole_pence(value: float) -> float:
    if abs(value * 100 - round(value * 100)) > 1e-6 * max(1.0, abs(value)):
        raise refused("not_whole_pence", f"Read {value!r}; money has at most two decimals.", "pounds with two decimals")
    return value


def pence(pounds: float) -> int:
    """Return an amount of money as the database keeps it."""
    return round(pounds * 100)


Words = Annotated[str, AfterValidator(_one_line)]
Name = Annotated[str, Field(max_length=120), AfterValidator(_one_line), AfterValidator(_said)]
Note = Annotated[str, Field(max_length=300), AfterValidator(_one_line)]
LongNote = Annotated[str, Field(max_length=500), AfterValidator(_one_line)]
Phrase = Annotated[str, Field(max_length=200), AfterValidator(_one_line), AfterValidator(_said)]
LongText = Annotated[str, Field(max_length=4000), AfterValidator(several_lines)]
Email = Annotated[str, Field(max_length=254), AfterValidator(_one_line), AfterValidator(_email)]
Day = Annotated[
    date, BeforeValidator(_day), AfterValidator(_in_reach), WithJsonSchema({"type": "string", "format": "date"})
]
Identifier = Annotated[uuid.UUID, BeforeValidator(_identifier), WithJsonSchema({"type": "string", "format": "uuid"})]
Pounds = Annotated[float, Field(ge=0, le=MOST_POUNDS), AfterValidator(_whole_pence)]
Hours = Annotated[float, Field(ge=0, le=100_000)]


def given(asked: Strict) -> dict[str, Any]:
    """Return what a change says, and nothing it leaves out."""
    return {name: getattr(asked, name) for name in asked.model_fields_set}
