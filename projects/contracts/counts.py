"""Requests about counting a lot's seed and testing it."""

from __future__ import annotations

import csv
import io
from typing import Annotated, Any, Final

from pydantic import Field, model_validator

from modelling.contracts.requests import Key
from modelling.contracts.sacks import MOST_SAMPLES, MOST_TAXA, Drawn, SubSample
from modelling.errors import FieldError, RequestRefused
from projects.contracts.base import Day, Identifier, Strict, refused

GRAMS: Final = "grams"


class CountNew(Strict):
    """Sub-samples of a lot, with the filled seeds of each kind counted in them."""

    samples: Annotated[tuple[SubSample, ...], Field(min_length=1, max_length=MOST_SAMPLES, strict=False)]
    counted_on: Day | None = None
    """Today if left out."""
    drawn: Drawn = "not_said"
    """How the sub-samples were taken: spread over the depth, divided from a mixed heap, or from the top."""
    adds_to_last: bool = False
    """Whether these are further sub-samples beside those of the last count, to be judged together."""
    submission_id: Identifier | None = None
    """Made by the sender, so that sending it again changes nothing."""


class GerminationNew(Strict):
    """Seeds of one kind set to germinate."""

    taxon: Key
    germinated: Annotated[int, Field(ge=0, le=100_000)]
    tested: Annotated[int, Field(ge=1, le=100_000)]
    on: Day
    """The day on which they were looked at last."""
    submission_id: Identifier | None = None

    @model_validator(mode="after")
    def _fits(self) -> GerminationNew:
        if self.germinated > self.tested:
            raise refused(
                "contradiction", f"{self.germinated} of {self.tested} seeds cannot germinate.", "at most those tested"
            )
        return self


def samples_of_csv(text: str) -> list[dict[str, Any]]:
    """Read a table of sub-samples: a column `grams`, then one for each kind, headed by its key; a row a sub-sample.

    Raises
    ------
    RequestRefused
        With the line and column of each value that is no number, or where the table cannot be told.
    """
    rows = [row for row in csv.reader(io.StringIO(text.removeprefix("﻿"))) if any(cell.strip() for cell in row)]
    if not rows or len(rows) > MOST_SAMPLES + 1 or any(len(row) > MOST_TAXA + 1 for row in rows):
        told = f"The table needs a line of headings and 1 to {MOST_SAMPLES} sub-samples of up to {MOST_TAXA} kinds."
        raise RequestRefused([FieldError("", "bad_table", told, None, "a table of sub-samples")])
    head = [cell.strip().lower().replace(" ", "_") for cell in rows[0]]
    if GRAMS not in head or len(set(head)) < len(head):
        told = f"Read the headings {', '.join(head)[:200]}; one is grams, the others keys of plants, each once."
        raise RequestRefused([FieldError("", "bad_table", told, None, "grams and keys of plants")])
    faults: list[FieldError] = []
    samples = []
    for line, row in enumerate(rows[1:]):
        sample: dict[str, Any] = {"grams": None, "counts": {}}
        for column, name in enumerate(head):
            text = row[column].strip() if column < len(row) else ""
            if name == GRAMS:
                sample["grams"] = _number(text, f"/samples/{line}/grams", faults)
            elif text:
                sample["counts"][name] = _whole(text, f"/samples/{line}/counts/{name}", faults)
        samples.append(sample)
    if faults:
        raise RequestRefused(faults)
    return samples


def _number(text: str, at: str, faults: list[FieldError]) -> float | None:
    try:
        return float(text)
    except ValueError:
        faults.append(FieldError(at, "wrong_type", f"Read {text[:40]!r}; grams are a number.", text[:40], "a number"))
        return None


def _whole(text: str, at: str, faults: list[FieldError]) -> int | None:
    if text.isascii() and text.lstrip("-").isdigit() and len(text) < len("10000000000"):
        return int(text)
    told = f"Read {text[:40]!r}; seeds are counted in whole numbers."
    faults.append(FieldError(at, "wrong_type", told, text[:40], "a whole number"))
    return None
