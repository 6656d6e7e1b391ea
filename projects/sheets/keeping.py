"""Sheets as text, so that what was read once can be understood again without the file."""

from __future__ import annotations

import math
from datetime import date
from typing import Any, Final

import orjson

from projects.sheets.tables import Cell, Row, Sheet, Value

_TEXT, _NUMBER, _DAY = "t", "n", "d"
_KINDS: Final = {str: _TEXT, float: _NUMBER, date: _DAY}


def kept_text(sheets: list[Sheet]) -> str:
    """Return the filled cells of all sheets as JSON."""
    return orjson.dumps(
        [
            {
                "name": sheet.name,
                "hidden": sheet.hidden,
                "counts_from_1904": sheet.counts_from_1904,
                "notes": sheet.notes,
                "rows": [[row.number, [_packed(cell) for cell in row.cells]] for row in sheet.rows],
            }
            for sheet in sheets
        ]
    ).decode()


def read_kept(text: str) -> list[Sheet]:
    """Return the sheets that a text of `kept_text` holds."""
    return [
        Sheet(
            name=said["name"],
            hidden=said["hidden"],
            counts_from_1904=said["counts_from_1904"],
            notes=tuple(said["notes"]),
            rows=tuple(Row(number, tuple(_unpacked(number, cell) for cell in cells)) for number, cells in said["rows"]),
        )
        for said in orjson.loads(text)
    ]


def _packed(cell: Cell) -> list[Any]:
    value: Value = cell.value
    if isinstance(value, float) and not math.isfinite(value):
        value = str(value)
    # a half of a pair of letters cannot be kept, and nobody wrote it on purpose
    if isinstance(value, str):
        value = value.encode("utf-8", "replace").decode().replace("\x00", " ")
    kind = next(word for known, word in _KINDS.items() if isinstance(value, known))
    packed: list[Any] = [cell.column, kind, value.isoformat() if isinstance(value, date) else value]
    if cell.problem or cell.joined:
        packed += [cell.problem, cell.joined]
    return packed


def _unpacked(row: int, packed: list[Any]) -> Cell:
    column, kind, said, *more = packed
    value: Value = date.fromisoformat(said) if kind == _DAY else float(said) if kind == _NUMBER else said
    return Cell(row, column, value, *more)
