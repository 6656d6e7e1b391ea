"""Requests about sheets that came in, and many returns in one call."""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal

from pydantic import Field

from projects.contracts.base import Identifier, Strict, Words
from projects.contracts.returns import Year

MOST_RETURNS: Final = 200
MOST_ANSWERS: Final = 500


class UploadAnswers(Strict):
    """Answers to questions about a sheet: key of the question, value of the choice (or a day, or a plant's key)."""

    answers: Annotated[
        dict[Annotated[Words, Field(max_length=300)], Annotated[Words, Field(max_length=120)]],
        Field(min_length=1, max_length=MOST_ANSWERS),
    ]


class UploadAccept(Strict):
    """Take a sheet in as it was shown."""

    preview: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    """From the answer that was looked at; another one means that accepting would do something else by now."""
    how: Literal["add", "replace"] = "add"
    """Where something was sent before: put the sheet to it, or in its place."""


class UploadAsked(Strict):
    """What a sheet is sent for."""

    year: Year
    """Of rows that tell no year."""
    filename: Annotated[Words, Field(max_length=200)] = ""
    mends: Identifier | None = None
    """The sheet whose refused rows these are, mended."""


class ReturnsBatch(Strict):
    """Many returns of many projects; each is taken or refused on its own."""

    returns: Annotated[list[dict[str, Any]], Field(min_length=1, max_length=MOST_RETURNS)]
    """Each as for one project, with `project_id` beside it."""
