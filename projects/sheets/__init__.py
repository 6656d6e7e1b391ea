"""Sheets that people send: read into plain rows, understood as a survey, and made for them to fill in.

Bytes in, plain rows out; nothing here knows of rows in a database, of people or of pages.
"""

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
from projects.sheets.template import TEMPLATE_VERSION, TemplateFor, refused_rows_csv, template
from projects.sheets.understanding import understand

__all__ = [
    "AS_WRITTEN", "TEMPLATE_VERSION", "Cell", "Choice", "ForYear", "Question", "Reason", "Row", "Sheet", "SheetRefused",
    "SourceRow", "TemplateFor", "TemplateMark", "Understood", "read_table", "refused_rows_csv", "template",
    "understand",
]  # fmt: skip
