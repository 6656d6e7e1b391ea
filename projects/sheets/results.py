"""What understanding a file gives back: its rows, what must be asked, and a survey that a person can accept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Literal

State = Literal["taken", "question", "refused"]
Role = Literal["data", "heading", "title", "total", "note"]
Shape = Literal["template", "wide", "long", "transposed", "list", "work", "page", "none"]

#: an answer to a question about a name: leave it as it was written, without a plant
AS_WRITTEN: Final = "as_written"


@dataclass(frozen=True, slots=True)
class ForYear:
    """The return that a file is sent for."""

    year: int
    public_id: str = ""
    """Of the project; a template made for another one is asked about."""
    remembered: Mapping[str, str] = field(default_factory=dict)
    """Names settled before: folded key -> key of the table of plants."""
    answers: Mapping[str, str] = field(default_factory=dict)
    """Answers to questions of an earlier reading: key of the question -> value of the choice."""


@dataclass(frozen=True, slots=True)
class Reason:
    """Something worth saying about a row: what was read there, and what would be right."""

    code: str
    text: str
    address: str = ""
    read: str = ""
    expected: str = ""


@dataclass(frozen=True, slots=True)
class SourceRow:
    """One row of the file and what became of it. A refused row has given nothing to the survey."""

    sheet: str
    number: int
    role: Role
    state: State
    cells: tuple[tuple[str, str], ...]
    """Address and text of each filled cell."""
    reasons: tuple[Reason, ...] = ()
    plants: tuple[str, ...] = ()
    """What it was read as: keys of the table of plants, or names as written where they are open."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer to a question."""

    value: str
    label: str


@dataclass(frozen=True, slots=True)
class Question:
    """Something only a person can say. `key` is what its answer is given under."""

    key: str
    code: str
    text: str
    choices: tuple[Choice, ...] = ()
    free: Literal["", "day", "taxon"] = ""
    """What may be answered beyond the choices: a day as YYYY-MM-DD, a key of the table of plants."""
    sheet: str = ""
    address: str = ""
    read: str = ""
    rows: tuple[tuple[str, int], ...] = ()
    """Sheet and number of the rows that wait for the answer."""


@dataclass(frozen=True, slots=True)
class TemplateMark:
    """What the hidden sheet of our own template says."""

    version: str
    public_id: str
    year: str
    submission_id: str


@dataclass(frozen=True, slots=True)
class Understood:
    """A file as it was understood."""

    shapes: tuple[tuple[str, Shape], ...]
    """Name of each sheet and how it was read."""
    rows: tuple[SourceRow, ...]
    questions: tuple[Question, ...]
    survey: dict[str, Any]
    template: TemplateMark | None = None
    notes: tuple[str, ...] = ()
    headings: Mapping[str, int] = field(default_factory=dict)
    """Sheet -> number of its heading row."""

    def of_state(self, state: State) -> tuple[SourceRow, ...]:
        return tuple(row for row in self.rows if row.state == state)
