"""What the tests of the core share. Nothing here may need more than NumPy, SciPy, pytest and Hypothesis."""

import csv
from datetime import date
from functools import cache
from pathlib import Path

import pytest

from modelling.core.parameters import Number, ParameterSet, load

ROOT = Path(__file__).parents[2]
REFERENCE = ROOT / "modelling" / "reference"
WORKED_EXAMPLES = ROOT / "fixtures" / "worked_examples"


@cache
def shipped() -> ParameterSet:
    """The reference tables as shipped; for properties, which would print a fixture with every failing example."""
    return load(REFERENCE)


@pytest.fixture(scope="session")
def parameters() -> ParameterSet:
    """The reference tables as shipped."""
    return shipped()


def worked_examples(name: str) -> list[dict[str, str]]:
    """Rows of one table of published examples, each with its source."""
    with (WORKED_EXAMPLES / f"{name}.csv").open(encoding="utf-8", newline="") as table:
        return list(csv.DictReader(table))


def made(
    *, low: float | None = None, mode: float | None = None, high: float | None = None, shape: str, unit: str
) -> Number:
    """A row that stands in no table."""
    return Number(
        table="made_up", subject="thing", quantity="amount", low=low, mode=mode, high=high, shape=shape, unit=unit,
        valid_from=date(2026, 1, 1), source_id="", locator="", condition="", confidence="from memory", note="",
    )  # fmt: skip
