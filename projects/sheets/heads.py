"""How the headings of a file were understood."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from projects.sheets.layouts import find_layout, text_of
from projects.sheets.tables import Sheet
from projects.sheets.understanding import MARK_SHEET, blocks_of


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading and what its column was taken for."""

    sheet: str
    address: str
    text: str
    role: str
    """`quadrat_here` a quadrat's column, `plant` a plant's, else what the column holds; empty where it is not used."""


def headings_read(sheets: list[Sheet]) -> Iterator[Heading]:
    """Yield the headings of every table, left to right."""
    for sheet in [block for whole in sheets for block in blocks_of(whole)]:
        layout = None if sheet.hidden or sheet.name == MARK_SHEET else find_layout(sheet)
        if layout is None:
            continue
        for row in sheet.rows:
            if not layout.first_heading <= row.number <= layout.last_heading or not layout.heading:
                continue
            for cell in row.cells:
                if cell.joined:
                    continue
                known = layout.roles.get(cell.column, "")
                role = (
                    "quadrat_here"
                    if cell.column in layout.labels
                    else "plant"
                    if cell.column in layout.plants
                    else known
                )
                yield Heading(sheet.name, cell.address, text_of(cell)[:60], role)
