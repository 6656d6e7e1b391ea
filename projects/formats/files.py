"""Writers of tables: CSV, Parquet and GeoJSON. Each is given rows one by one and keeps at most a batch of them."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import IO, Any, ClassVar, Final, Protocol

import orjson
import pyarrow as pa
import pyarrow.parquet as pq

from projects.formats.columns import GEOMETRY, Column, Row

#: rows of one row group of Parquet, and of one piece of a streamed text
BATCH: Final = 5_000
#: a spreadsheet takes a text that begins so for a formula
_RISKY: Final = ("=", "+", "-", "@", "\t", "\r")


def guarded(text: str) -> str:
    """A text that no spreadsheet works out: what begins like a formula is led by an apostrophe.

    A single sign is no formula, and is the code of a scale: Domin and Braun-Blanquet write + for a few plants.
    """
    return f"'{text}" if len(text) > 1 and text.startswith(_RISKY) else text


class Writer(Protocol):
    """What writes a table into a file."""

    media_type: ClassVar[str]
    ending: ClassVar[str]

    def write(self, file: IO[bytes], rows: Iterable[Row]) -> int:
        """Write the rows and return how many there were."""


class CSV:
    """Comma-separated text (RFC 4180): UTF-8, CRLF, a heading; nothing in it is a formula."""

    media_type: ClassVar[str] = "text/csv"
    ending: ClassVar[str] = "csv"

    def __init__(self, columns: Sequence[Column]) -> None:
        self.columns = columns
        self.rows = 0

    def pieces(self, rows: Iterable[Row]) -> Iterator[bytes]:
        """Yield the file in pieces of at most a batch of rows."""
        out = io.StringIO(newline="")
        lines = csv.writer(out, lineterminator="\r\n")
        lines.writerow(column.name for column in self.columns)
        for row in rows:
            lines.writerow([_cell(row.get(column.name)) for column in self.columns])
            self.rows += 1
            if self.rows % BATCH == 0:
                yield out.getvalue().encode()
                out.seek(0)
                out.truncate()
        yield out.getvalue().encode()

    def write(self, file: IO[bytes], rows: Iterable[Row]) -> int:
        """Write the rows and return how many there were."""
        for piece in self.pieces(rows):
            file.write(piece)
        return self.rows


def _cell(value: Any) -> str:
    match value:
        case None:
            return ""
        case str():
            return guarded(value)
        case float() if value.is_integer():
            return str(int(value))
        case date():
            return value.isoformat()
    return str(value)


class Parquet:
    """Apache Parquet, compressed with Zstandard; each column carries its unit and meaning."""

    media_type: ClassVar[str] = "application/vnd.apache.parquet"
    ending: ClassVar[str] = "parquet"
    _TYPES: ClassVar = {"text": pa.string(), "integer": pa.int64(), "number": pa.float64(), "date": pa.date32()}

    def __init__(self, columns: Sequence[Column], about: dict[str, str]) -> None:
        self.columns = columns
        fields = [
            pa.field(
                column.name, self._TYPES[column.kind], metadata={"meaning": column.meaning, "unit": column.unit}
            )
            for column in columns
        ]  # fmt: skip
        self.schema = pa.schema(fields, metadata=about)

    def write(self, file: IO[bytes], rows: Iterable[Row]) -> int:
        """Write the rows, a row group for each batch, and return how many there were."""
        count = 0
        with pq.ParquetWriter(file, self.schema, compression="zstd") as writer:
            for batch in batches(rows):
                held = {column.name: [row.get(column.name) for row in batch] for column in self.columns}
                writer.write_table(pa.Table.from_pydict(held, schema=self.schema))
                count += len(batch)
        return count


class GeoJson:
    """GeoJSON (RFC 7946): WGS84, longitude before latitude, outer rings counter-clockwise; no member crs."""

    media_type: ClassVar[str] = "application/geo+json"
    ending: ClassVar[str] = "geojson"

    def __init__(self, columns: Sequence[Column], about: dict[str, str], key: str) -> None:
        self.columns, self.about, self.key = columns, about, key

    def write(self, file: IO[bytes], rows: Iterable[Row]) -> int:
        """Write the rows as features and return how many there were; a row without a place has a null geometry."""
        count = 0
        # foreign members (section 6.1) say whose it is and how it may be used
        head = orjson.dumps({"type": "FeatureCollection", **self.about})
        file.write(head[:-1] + b',"features":[')
        for row in rows:
            feature = {
                "type": "Feature",
                "id": row[self.key],
                "geometry": row.get(GEOMETRY),
                "properties": {column.name: row.get(column.name) for column in self.columns},
            }
            file.write((b",\n" if count else b"\n") + orjson.dumps(feature))
            count += 1
        file.write(b"\n]}\n")
        return count


def batches(rows: Iterable[Row], size: int = BATCH) -> Iterator[list[Row]]:
    """Yield rows in lists of at most a size."""
    held: list[Row] = []
    for row in rows:
        held.append(row)
        if len(held) == size:
            yield held
            held = []
    if held:
        yield held
