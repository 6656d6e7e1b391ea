"""Requests about handing over."""

from __future__ import annotations

import re
from typing import Annotated, Final

from pydantic import AfterValidator, Field, model_validator

from projects.contracts.base import Day, Identifier, Name, Strict, refused, several_lines

MOST_DATES: Final = 6
#: together a printed side
MOST_LETTERS: Final = 600
MOST_LINES: Final = 6
#: ten digits or more that begin with 0 or +, however they are set apart, but no grid reference
_TELEPHONE: Final = re.compile(r"(?:\+|(?<![0-9])(?<![A-Z]{2})(?<![A-Z]{2} )0)(?:[ ()/-]?[0-9]){9,}")
_ADDRESS: Final = re.compile(r"[^\s@]+@[^\s@]+\.[^\s@]+")


def _on_a_side(text: str) -> str:
    lines = text.count("\n") + 1
    if lines > MOST_LINES:
        raise refused(
            "too_many_lines",
            f"This has {lines} lines; on a printed side there is room for {MOST_LINES}.",
            f"at most {MOST_LINES} lines",
        )
    return text


def _of_nobody(text: str) -> str:
    found = _TELEPHONE.search(text) or _ADDRESS.search(text)
    if found is not None:
        raise refused(
            "personal",
            f"{found[0][:40].strip()!r} reaches one person, who may leave too. Name the office or the role instead, "
            "such as the churchwarden or the clerk to the council.",
            "a role or an office",
        )
    return text


HandoverText = Annotated[
    str,
    Field(max_length=MOST_LETTERS),
    AfterValidator(several_lines),
    AfterValidator(_on_a_side),
    AfterValidator(_of_nobody),
]


class HandoverDate(Strict):
    """Something to look after, and when."""

    what: Annotated[Name, AfterValidator(_of_nobody)]
    on: Day | None = None


class HandoverNew(Strict):
    """What whoever comes next has to know. Roles and offices, no person's name or number."""

    submission_id: Identifier | None = None
    """Made by the sender, so that sending it again changes nothing."""
    things: HandoverText = ""
    """Where seed, tools and papers are."""
    way_in: HandoverText = ""
    """Who lets you in: the role."""
    promised: HandoverText = ""
    """What was promised, to whom."""
    dates: Annotated[tuple[HandoverDate, ...], Field(max_length=MOST_DATES, strict=False)] = ()
    """What to look after next year."""
    fixed_spots: HandoverText = ""
    """Where the fixed photo point and the quadrats are."""
    went_wrong: HandoverText = ""
    """What went wrong, so that it need not again."""

    @model_validator(mode="after")
    def _something(self) -> HandoverNew:
        if not any((self.things, self.way_in, self.promised, self.dates, self.fixed_spots, self.went_wrong)):
            raise refused(
                "missing", "Nothing is written yet; one answer is enough to begin with.", "any of the answers"
            )
        return self
