"""The workbook that a group fills in on a summer's walk, and rows given back to be mended."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from openpyxl import Workbook
from openpyxl.cell.cell import Cell as OpenCell
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

from modelling.selectors import parameters
from projects.choices import Work
from projects.sheets.headings import GRADES, LAYOUTS
from projects.sheets.results import Understood
from projects.sheets.understanding import MARK_SHEET
from projects.sheets.values import SCALE_WORDS

TEMPLATE_VERSION: Final = "1"
BLANK_ROWS: Final = 20
WORK_ROWS: Final = 12
MOST_QUADRATS: Final = 50
_RISKY: Final = ("=", "+", "-", "@", "\t", "\r")
_UNSHOWN: Final = re.compile(r"[\x00-\x1f\x7f\ud800-\udfff\ufffe\uffff]")
_MEASURES: Final = (
    "Bare ground, %",
    "Litter, %",
    "Wildflower cover, %",
    "Height of the sward, cm",
    "Yellow rattle plants, number",
)
_HELP: Final = (
    "Fill in the sheet “Walk” as you go, and the sheet “Year” at home. Then send the file as it is.",
    "A plant: write how much of it there is under the quadrat it stands in. Leave the rest empty.",
    "Say on the sheet “Walk” how the amounts are written: per cent, Domin, ticks. One way for the whole sheet.",
    "Plants that are not listed go into the empty lines, by English or Latin name. Not sure? Put a ? behind it.",
    "A plant seen beside the quadrats: put an x under “Elsewhere in the meadow”.",
    "You know ten plants? Count those ten, and say on the sheet “Year” how well you know plants. That is a good walk.",
    "Days are written like 14 July 2026 or 14/7/2026.",
    "What cannot be read comes back to you with the reason; nothing you wrote is lost.",
)


@dataclass(frozen=True, slots=True)
class TemplateFor:
    """Whom a template is made for."""

    public_id: str
    name: str
    year: int
    submission_id: str
    species: tuple[str, ...] = ()
    """Keys of the plants of the plan."""
    quadrats: int = 10


def guarded(text: str) -> str:
    """A text as a cell may hold it: nothing that cannot be shown, and nothing that a spreadsheet would work out."""
    shown = _UNSHOWN.sub(" ", text)
    return f"'{shown}" if shown.startswith(_RISKY) or text.startswith(_RISKY) else shown


def _put(sheet: Worksheet, row: int, column: int, text: str, *, bold: bool = False, wrap: bool = False) -> OpenCell:
    """Write a text as a text, even one that looks like a formula."""
    cell: Any = sheet.cell(row, column)
    cell.value = _UNSHOWN.sub(" ", text)
    cell.data_type = "s"
    if text.startswith(_RISKY):
        cell.quotePrefix = True
    if bold:
        cell.font = Font(bold=True)
    if wrap:
        cell.alignment = Alignment(wrap_text=True, vertical="top")
    found: OpenCell = cell
    return found


def _offer(sheet: Worksheet, where: str, words: Iterable[str]) -> None:
    """Let a cell choose from a list."""
    listed = ",".join(word.replace(",", "") for word in words)
    choice = DataValidation(type="list", formula1=f'"{listed}"', allow_blank=True, showErrorMessage=False)
    sheet.add_data_validation(choice)
    choice.add(where)


def _walk(sheet: Worksheet, asked: TemplateFor) -> None:
    quadrats = max(1, min(asked.quadrats, MOST_QUADRATS))
    _put(sheet, 1, 1, f"Summer walk {asked.year}: {asked.name}"[:200], bold=True)
    _put(sheet, 2, 1, "Amounts are written as")
    _put(sheet, 2, 2, SCALE_WORDS["percent"].replace(",", ""))
    _offer(sheet, "B2", SCALE_WORDS.values())
    _put(sheet, 3, 1, "Size of the quadrats")
    _put(sheet, 3, 2, "1 m x 1 m")
    heads = ["Plant", "Latin name", *(f"Q{number}" for number in range(1, quadrats + 1)), "Elsewhere in the meadow"]
    for column, head in enumerate(heads, start=1):
        _put(sheet, 5, column, head, bold=True)
    row = 6
    taxa = parameters().nouns["taxa"]
    for key in dict.fromkeys(asked.species):
        words = taxa.get(key)
        if words is None:
            continue
        _put(sheet, row, 1, words["english_name"])
        _put(sheet, row, 2, words["scientific_name"]).font = Font(italic=True)
        row += 1
    row += BLANK_ROWS
    for measure in _MEASURES:
        _put(sheet, row, 1, measure, bold=True)
        row += 1
    sheet.column_dimensions["A"].width = 30
    sheet.column_dimensions["B"].width = 28
    for column in range(3, 3 + quadrats):
        sheet.column_dimensions[get_column_letter(column)].width = 7
    sheet.column_dimensions[get_column_letter(3 + quadrats)].width = 24
    sheet.freeze_panes = "C6"
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToWidth = 1
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    sheet.print_title_rows = "5:5"


def _year(sheet: Worksheet, asked: TemplateFor) -> None:
    _put(sheet, 1, 1, f"The year {asked.year}: {asked.name}"[:200], bold=True)
    _put(sheet, 2, 1, "Day of the walk")
    _put(sheet, 3, 1, "How well the surveyor knows plants")
    _offer(sheet, "B3", GRADES.values())
    _put(sheet, 4, 1, "How the quadrats were placed")
    _offer(sheet, "B4", LAYOUTS.values())
    heads = ("What was done", "Date", "Hours, all together", "Heads", "Money, £", "Note")
    for column, head in enumerate(heads, start=1):
        _put(sheet, 6, column, head, bold=True)
    usual = (Work.CUT, Work.RAKE, Work.GRAZE, Work.WEED, Work.SURVEY)
    for index, work in enumerate(usual):
        _put(sheet, 7 + index, 1, str(work.label))
    last = 6 + WORK_ROWS
    _offer(sheet, f"A7:A{last}", [str(work.label) for work in Work])
    for letter, width in zip("ABCDEF", (36, 28, 18, 10, 12, 40), strict=True):
        sheet.column_dimensions[letter].width = width


def template(project: TemplateFor) -> bytes:
    """Return the workbook for one meadow and one summer."""
    book = Workbook()
    walk: Any = book.active
    walk.title = "Walk"
    _walk(walk, project)
    _year(book.create_sheet("Year"), project)
    guide = book.create_sheet("How")
    for row, text in enumerate(_HELP, start=1):
        _put(guide, row, 1, text, wrap=True)
    guide.column_dimensions["A"].width = 90
    mark = book.create_sheet(MARK_SHEET)
    mark.sheet_state = "hidden"
    said = (
        ("made by", MARK_SHEET),
        ("template", TEMPLATE_VERSION),
        ("project", project.public_id),
        ("year", str(project.year)),
        ("submission", project.submission_id),
    )
    for row, (label, value) in enumerate(said, start=1):
        _put(mark, row, 1, label)
        _put(mark, row, 2, value)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def template_csv(project: TemplateFor) -> str:
    """Return the walk's table for one meadow and one summer as a CSV file, for programs that read nothing else."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    quadrats = [f"Q{number}" for number in range(1, max(1, min(project.quadrats, MOST_QUADRATS)) + 1)]
    writer.writerow([guarded(f"Summer walk {project.year}: {project.name}"[:200])])
    writer.writerow(["Day of the walk", ""])
    writer.writerow(["Amounts are written as", SCALE_WORDS["percent"]])
    writer.writerow(["Size of the quadrats", "1 m x 1 m"])
    writer.writerow(["Plant", "Latin name", *quadrats, "Elsewhere in the meadow"])
    taxa = parameters().nouns["taxa"]
    for key in dict.fromkeys(project.species):
        if key in taxa:
            writer.writerow([guarded(taxa[key]["english_name"]), guarded(taxa[key]["scientific_name"])])
    for measure in _MEASURES:
        writer.writerow([measure])
    return out.getvalue()


def refused_rows_csv(understood: Understood) -> str:
    """Return the refused rows as they were, each with what is wrong, to be mended and sent again."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    by_place = {(row.sheet, row.number): row for row in understood.rows}
    sheet = None
    for row in understood.of_state("refused"):
        if row.sheet != sheet:
            if sheet is not None:
                writer.writerow([])
            sheet = row.sheet
            for title in understood.rows:
                if title.sheet == sheet and title.role == "title" and title.state != "refused":
                    writer.writerow([guarded(text) for _, text in title.cells])
            heading = by_place.get((sheet, understood.headings.get(sheet, 0)))
            heads = _spread(heading.cells) if heading is not None else []
            writer.writerow(["Sheet", "Row", "What is wrong", "What would be right", *map(guarded, heads)])
        wrong = " ".join(reason.text for reason in row.reasons)
        right = "; ".join(dict.fromkeys(reason.expected for reason in row.reasons if reason.expected))
        cells = [guarded(text) for text in _spread(row.cells)]
        writer.writerow([guarded(row.sheet), str(row.number), guarded(wrong), guarded(right), *cells])
    return out.getvalue()


def _spread(cells: tuple[tuple[str, str], ...]) -> list[str]:
    """Cells in their columns, with the empty ones between them."""
    out: list[str] = []
    for address, text in cells:
        column = 0
        for letter in address.rstrip("0123456789"):
            column = column * 26 + ord(letter) - 64
        out += [""] * (column - 1 - len(out))
        out.append(text)
    return out
