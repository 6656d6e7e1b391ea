"""Names of people left out of sheets before they are kept."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from projects.sheets.headings import line_of
from projects.sheets.layouts import Layout, find_layout, text_of
from projects.sheets.tables import Cell, Row, Sheet
from projects.sheets.understanding import blocks_of, mark_of

LEFT_OUT: Final = "(a name)"


def without_people(sheets: list[Sheet]) -> list[Sheet]:
    """Return sheets with the names of surveyors taken out, in their own column and in lines above a table."""
    return [
        whole if mark_of(whole) else replace(whole, rows=tuple(row for part in blocks_of(whole) for row in _rows(part)))
        for whole in sheets
    ]


def _rows(sheet: Sheet) -> list[Row]:
    layout = find_layout(sheet)
    first = layout.first_heading if layout is not None else sheet.rows[-1].number + 1 if sheet.rows else 0
    columns = {column for column, role in layout.roles.items() if role == "surveyor"} if layout is not None else set()
    out = []
    for row in sheet.rows:
        if row.number < first:
            out.append(replace(row, cells=_line(row)))
        elif columns and layout is not None and _below(row, layout):
            cells = (replace(cell, value=LEFT_OUT) if cell.column in columns else cell for cell in row.cells)
            out.append(replace(row, cells=tuple(cells)))
        else:
            out.append(row)
    return out


def _below(row: Row, layout: Layout) -> bool:
    return row.number > layout.last_heading


def _line(row: Row) -> tuple[Cell, ...]:
    """A line above a table, read as `Reader.read_lines` reads it."""
    cells = list(row.cells)
    at = 0
    while at < len(cells):
        label, colon, rest = text_of(cells[at]).partition(":")
        line = line_of(label) if not cells[at].problem else ""
        inside = bool(colon and rest.strip())
        if line == "surveyor" and inside:
            cells[at] = replace(cells[at], value=f"{label}: {LEFT_OUT}")
        elif line and not inside and at + 1 < len(cells):
            at += 1
            if line == "surveyor":
                cells[at] = replace(cells[at], value=LEFT_OUT)
        at += 1
    return tuple(cells)
