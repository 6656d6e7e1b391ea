"""Sheets into a survey that a person can accept, with what must be asked and what was refused.

Every row of the file is told of. A row gives all that it says or nothing: one wrong cell refuses it, so that a mended
row can be sent again without what was right in it coming twice.
"""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType
from typing import Final

from projects.sheets.desk import Whole
from projects.sheets.gather import gather, source_rows
from projects.sheets.layouts import text_of
from projects.sheets.readers import Reader
from projects.sheets.results import ForYear, Shape, TemplateMark, Understood
from projects.sheets.tables import Sheet

#: name of the hidden sheet of our template
MARK_SHEET: Final = "forbcast"
NOTHING_MORE: Final = Whole()


def mark_of(sheet: Sheet) -> TemplateMark | None:
    said = {text_of(row.at(1)): text_of(row.at(2)) for row in sheet.rows[:20]}
    if said.get("made by") != MARK_SHEET:
        return None
    return TemplateMark(
        said.get("template", "")[:20],
        said.get("project", "")[:60],
        said.get("year", "")[:10],
        said.get("submission", "")[:60],
    )


def blocks_of(sheet: Sheet) -> list[Sheet]:
    """A file of refused rows has a heading for each sheet they came from; each such block is a sheet of its own."""
    heads = [
        index
        for index, row in enumerate(sheet.rows)
        if [text_of(cell) for cell in row.cells[:3]] == ["Sheet", "Row", "What is wrong"]
    ]
    if len(heads) < 2:
        return [sheet]
    starts = [0]
    for head in heads[1:]:
        start = head
        while start > starts[-1] + 1 and sheet.rows[start - 1].number == sheet.rows[start].number - 1:
            start -= 1
        starts.append(start)
    ends = [*starts[1:], len(sheet.rows)]
    return [
        replace(sheet, name=f"{sheet.name} ({number})", rows=sheet.rows[start:end])
        for number, (start, end) in enumerate(zip(starts, ends, strict=True), start=1)
    ]


def understand(sheets: list[Sheet], project: ForYear, whole: Whole = NOTHING_MORE) -> Understood:
    """Read sheets as one summer's survey of one meadow; `whole` tells of sheets of which these are some rows."""
    reader = Reader(project, whole)
    shapes: list[tuple[str, Shape]] = []
    starts: dict[str, int] = {}
    mark: TemplateMark | None = None
    notes = list(dict.fromkeys(note for sheet in sheets for note in sheet.notes))
    blocks = [block for whole in sheets for block in blocks_of(whole)]
    for sheet in blocks:
        if sheet.hidden or not sheet.rows:
            own = mark_of(sheet) if sheet.name == MARK_SHEET else None
            mark = mark or own
            if own is None and sheet.rows:
                notes.append(f"The hidden sheet {sheet.name!r} was not read.")
            for row in sheet.rows:
                reader.remark(reader.tell(sheet, row, "note"), "hidden", "A hidden sheet; it was not read.")
            continue
        if (
            mark is None
            and any(other.name == MARK_SHEET and mark_of(other) for other in sheets)
            and sheet.name == "How"
        ):
            for row in sheet.rows:
                reader.remark(reader.tell(sheet, row, "note"), "help", "The help of the template.")
            shapes.append((sheet.name, "page"))
            continue
        shape, heading = reader.read_sheet(sheet)
        shapes.append((sheet.name, shape))
        starts[sheet.name] = heading
    if mark is not None:
        _ask_about_mark(reader, mark)
        shapes = [(name, "template" if shape == "wide" else shape) for name, shape in shapes]
    survey = gather(reader)
    questions = [replace(asked.question, rows=tuple(asked.rows)) for asked in reader.questions.values()]
    return Understood(
        shapes=tuple(shapes),
        rows=tuple(source_rows(reader)),
        questions=tuple(questions),
        survey=survey,
        template=mark,
        notes=tuple(notes),
        headings=MappingProxyType(starts),
    )


def _ask_about_mark(reader: Reader, mark: TemplateMark) -> None:
    asked = reader.asked
    yes = [("here", "Yes, take it here"), ("stop", "No, it was sent to the wrong place")]
    if asked.public_id and mark.public_id and mark.public_id != asked.public_id:
        reader.ask(
            None, "template:project", "other_project", "This sheet was made for another meadow. Is it right?", yes
        )
    if mark.year and mark.year != str(asked.year):
        text = f"This sheet was made for {mark.year[:10]}; the return is for {asked.year}. Is it right?"
        reader.ask(None, "template:year", "other_year", text, yes)
