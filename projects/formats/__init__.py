"""Open formats that tables go out in; rows come in one by one, so that memory does not grow with them."""

from projects.formats.columns import TABLES, Column, Row, columns_of
from projects.formats.darwin import DarwinCore, DataSet
from projects.formats.files import CSV, GeoJson, Parquet, Writer, guarded

__all__ = [
    "CSV", "TABLES", "Column", "DarwinCore", "DataSet", "GeoJson", "Parquet", "Row", "Writer", "columns_of",
    "guarded",
]  # fmt: skip
