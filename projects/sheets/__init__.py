"""Sheets that people send: read into plain rows, understood as a survey, and made for them to fill in.

Bytes in, plain rows out; nothing here knows of rows in a database, of people or of pages.
"""

from projects.sheets.desk import fits
from projects.sheets.dividing import LEAVE_OUT, Divided, Part, Place, divide
from projects.sheets.heads import Heading, headings_read
from projects.sheets.keeping import kept_text, read_kept
from projects.sheets.people import without_people
from projects.sheets.results import (
    AS_WRITTEN,
    Choice,
    ForYear,
    Question,
    Reason,
    SourceRow,
    TemplateMark,
    Understood,
)
from projects.sheets.tables import Cell, Row, Sheet, SheetRefused, read_table
from projects.sheets.template import TEMPLATE_VERSION, TemplateFor, refused_rows_csv, template, template_csv
from projects.sheets.understanding import understand

__all__ = [
    "AS_WRITTEN", "LEAVE_OUT", "TEMPLATE_VERSION", "Cell", "Choice", "Divided", "ForYear", "Heading", "Part", "Place",
    "Question", "Reason", "Row", "Sheet", "SheetRefused", "SourceRow", "TemplateFor", "TemplateMark", "Understood",
    "divide", "fits", "headings_read", "kept_text", "read_kept", "read_table", "refused_rows_csv", "template",
    "template_csv", "understand", "without_people",
]  # fmt: skip
