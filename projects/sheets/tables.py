"""Bytes of a spreadsheet into plain rows, or a refusal in words. Trusts nothing that it is sent."""

from __future__ import annotations

import csv
import io
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any, Final

from openpyxl import load_workbook
from openpyxl.utils import get_column_letter, range_boundaries
from openpyxl.utils.datetime import CALENDAR_MAC_1904

MOST_BYTES: Final = 10 * 2**20
MOST_UNZIPPED: Final = 100 * 2**20
#: any part that is not the cells of a sheet
MOST_PART: Final = 20 * 2**20
MOST_STYLES: Final = 4 * 2**20
MOST_PARTS: Final = 2_000
MOST_SHEETS: Final = 40
MOST_ROWS: Final = 50_000
MOST_COLUMNS: Final = 300
#: filled cells of a whole file: a survey of 500 quadrats with 300 kinds in each
MOST_CELLS: Final = 160_000
#: cells that joined cells may be spread over
MOST_JOINED: Final = 5_000
MOST_LETTERS: Final = 2_000

SAVE_AS: Final = "an XLSX file (in the spreadsheet: Save as, Excel workbook, .xlsx) or a CSV file"

Value = str | float | date


class SheetRefused(Exception):
    """A file that cannot be read as a sheet. `code` is stable; the rest is for people."""

    def __init__(self, code: str, detail: str, expected: str = SAVE_AS) -> None:
        super().__init__(detail)
        self.code = code
        self.detail = detail
        self.expected = expected


@dataclass(frozen=True, slots=True)
class Cell:
    """One filled cell."""

    row: int
    column: int
    value: Value
    problem: str = ""
    """error_value, formula_without_value or too_long: why the value cannot be used."""
    joined: bool = False
    """Part of joined cells, and not the first: the value is the first one's."""

    @property
    def address(self) -> str:
        return f"{get_column_letter(self.column)}{self.row}"


@dataclass(frozen=True, slots=True)
class Row:
    """One row with at least one filled cell, left to right."""

    number: int
    cells: tuple[Cell, ...]

    def at(self, column: int) -> Cell | None:
        for cell in self.cells:
            if cell.column == column:
                return cell
        return None


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet: its filled cells, and what is worth knowing about how it was read."""

    name: str
    rows: tuple[Row, ...]
    hidden: bool = False
    counts_from_1904: bool = False
    """Day numbers count from 1904, as on old Macintoshes."""
    notes: tuple[str, ...] = ()


# ------------------------------------------------------------------------------------------------- what kind it is

_OLE: Final = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_ZIP: Final = (b"PK\x03\x04", b"PK\x05\x06", b"PK\x07\x08")
#: first bytes -> what the file is
_OTHER_KINDS: Final = (
    (b"\x89PNG", "a picture (PNG)"),
    (b"\xff\xd8\xff", "a photo (JPEG)"),
    (b"GIF8", "a picture (GIF)"),
    (b"RIFF", "a picture or a sound"),
    (b"BM", "a picture (BMP)"),
    (b"II*\x00", "a picture (TIFF)"),
    (b"MM\x00*", "a picture (TIFF)"),
    (b"%PDF", "a PDF"),
    (b"{\\rtf", "a text document (RTF)"),
    (b"\x1f\x8b", "a compressed file"),
    (b"7z\xbc\xaf", "a compressed file"),
    (b"Rar!", "a compressed file"),
    (b"\x7fELF", "a program"),
    (b"MZ", "a program"),
    (b"SQLite format 3", "a database"),
)
_HTML: Final = re.compile(rb"^[\s\xef\xbb\xbf]*<(?:!doctype|html|head|body|table|\?xml|svg|script|div)", re.IGNORECASE)


def read_table(data: bytes, filename: str) -> list[Sheet]:
    """Read an XLSX or CSV file into its sheets.

    Raises
    ------
    SheetRefused
        Where it is too large, of another kind, locked or damaged.
    """
    if len(data) > MOST_BYTES:
        raise SheetRefused(
            "too_large",
            f"The file has {len(data) / 2**20:.1f} MB; up to {MOST_BYTES // 2**20} MB are read.",
            "a file without pictures, or one sheet of it at a time",
        )
    if not data.strip(b"\x00\t\r\n \xef\xbb\xbf\xff\xfe"):
        raise SheetRefused("empty_file", "The file is empty.", "a file with at least a row of headings and one of data")
    if data.startswith(_ZIP):
        sheets = _read_workbook(data)
    else:
        _refuse_other_kinds(data)
        sheets = [_read_csv(data, filename)]
    if not any(sheet.rows for sheet in sheets):
        raise SheetRefused("empty_file", "No cell of the file holds anything.", "a row of headings and rows of data")
    return sheets


def _refuse_other_kinds(data: bytes) -> None:
    if data.startswith(_OLE):
        if "EncryptedPackage".encode("utf-16-le") in data:
            raise SheetRefused("locked", "The file is locked with a password.", "the file saved without a password")
        raise SheetRefused("old_workbook", "This is a workbook of the old kind (.xls).")
    for first, kind in _OTHER_KINDS:
        if data.startswith(first) and not (len(first) == 2 and _looks_like_text(data)):
            raise SheetRefused("another_kind", f"This is {kind}, whatever its name says.")
    if _HTML.match(data[:400]):
        raise SheetRefused(
            "another_kind", "This is a web page or another marked-up text, even if a spreadsheet program opens it."
        )


def _looks_like_text(data: bytes) -> bool:
    return not any(byte < 9 or 13 < byte < 32 for byte in data[:400])


# ------------------------------------------------------------------------------------------------------------- CSV


def _decoded(data: bytes) -> str:
    """The text of a CSV file in whatever way a spreadsheet program wrote it."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", errors="replace")
    first = data[:4_000]
    for codec, start in (("utf-16-le", 1), ("utf-16-be", 0)):
        if len(first) > 3 and first[start::2].count(0) > len(first) * 0.3 and first[1 - start :: 2].count(0) == 0:
            return data.decode(codec, errors="replace")
    if b"\x00" in data:
        at = data.index(b"\x00")
        raise SheetRefused(
            "not_text", f"Byte {at + 1} of the file is no letter: this is no plain text, or it is damaged."
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def _separator(text: str) -> str:
    """The sign between cells: the one that divides the first lines most evenly."""
    lines = [re.sub(r'"[^"]*"', "", line) for line in text[:20_000].splitlines() if line.strip()][:40]
    if lines and (found := re.fullmatch(r"sep=(.)", lines[0].strip(), re.IGNORECASE)):
        return found.group(1) if found.group(1) in ",;\t|" else ","
    best, score = ",", 0
    for sign in ("\t", ";", ",", "|"):
        counts = [line.count(sign) for line in lines]
        filled = [count for count in counts if count]
        if not filled:
            continue
        usual = max(set(filled), key=filled.count)
        mark = filled.count(usual) * 1_000 + min(sum(filled), 999)
        if mark > score:
            best, score = sign, mark
    return best


def _read_csv(data: bytes, filename: str) -> Sheet:
    text = _decoded(data)
    # A quoted line end inside a cell is kept; a lone carriage return ends a line, as old Macintoshes wrote it.
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    odd = sum(1 for sign in text[:20_000] if (ord(sign) < 32 and sign not in "\t\n") or sign == "\ufffd")
    if odd > max(2, len(text[:20_000]) // 50):
        raise SheetRefused("not_text", "The file is no plain text: too much of it is no letter.")
    separator = _separator(text)
    rows: list[Row] = []
    cells_read = 0
    lines = csv.reader(io.StringIO(text), delimiter=separator)
    try:
        for number, line in enumerate(lines, start=1):
            if number == 1 and re.fullmatch(r"sep=.?", "".join(line).strip(), re.IGNORECASE):
                continue
            if number > MOST_ROWS and any(cell.strip() for cell in line):
                raise _too_many_rows()
            cells = tuple(_text_cell(number, column, cell) for column, cell in enumerate(line, start=1) if cell.strip())
            if cells and cells[-1].column > MOST_COLUMNS:
                raise _too_many_columns(cells[-1].address)
            cells_read += len(cells)
            if cells_read > MOST_CELLS:
                raise _too_many_cells()
            if cells:
                rows.append(Row(number, cells))
    except csv.Error as error:
        raise SheetRefused(
            "damaged",
            f"Line {lines.line_num} cannot be taken apart: {error}. A quotation mark may be left open.",
            "each cell with a comma or a line end in it between two quotation marks",
        ) from error
    return Sheet(_short(filename) or "CSV", tuple(rows))


#: the sign that keeps a spreadsheet from working a text out
_GUARD: Final = re.compile(r"^'(?=[=+\-@\t\r])")


def _text_cell(row: int, column: int, text: str) -> Cell:
    if len(text) > MOST_LETTERS:
        return Cell(row, column, text[:MOST_LETTERS], "too_long")
    return Cell(row, column, _clean(_GUARD.sub("", text)))


def _clean(text: str) -> str:
    if text.isprintable():
        return text.strip()
    return "".join(" " if ord(sign) < 32 and sign not in "\t\n" else sign for sign in text).strip()


def _short(filename: str) -> str:
    return _clean(re.split(r"[/\\]", filename)[-1])[:80]


def _too_many_rows() -> SheetRefused:
    return SheetRefused(
        "too_many_rows", f"The file has more than {MOST_ROWS:,} rows.", "one meadow and one summer in a file"
    )


def _too_many_columns(address: str) -> SheetRefused:
    return SheetRefused(
        "too_many_columns",
        f"Cell {address} is filled; up to {MOST_COLUMNS} columns are read.",
        f"at most {MOST_COLUMNS} columns",
    )


def _too_many_cells() -> SheetRefused:
    return SheetRefused(
        "too_many_cells", f"More than {MOST_CELLS:,} cells are filled.", "one meadow and one summer in a file"
    )


# ------------------------------------------------------------------------------------------------------------ XLSX

_C: Final = re.compile(rb'<(?:\w+:)?c\b[^>]*?\br="([A-Z]{1,3})([0-9]{1,7})"[^>]*?(/?)>')
_JOIN: Final = re.compile(rb'<(?:\w+:)?mergeCell\b[^>]*?\bref="([A-Z]{1,3}[0-9]{1,7}:[A-Z]{1,3}[0-9]{1,7})"')
_FORMULA: Final = re.compile(rb"<(?:\w+:)?f[\s/>]")
_ENCODING: Final = re.compile(rb"""^\s*<\?xml[^>]*?encoding\s*=\s*["']([^"']*)""")


@dataclass(frozen=True, slots=True)
class _Scan:
    """What a sheet's part holds, seen before anything is built from it."""

    last_row: int
    last_column: int
    filled: int
    formulas: bool
    joins: tuple[str, ...]


def _damaged(error: object) -> SheetRefused:
    said = _clean(str(error))[:120] or type(error).__name__
    return SheetRefused(
        "damaged", f"The workbook cannot be read: {said}.", f"{SAVE_AS}, saved again from the spreadsheet program"
    )


def _read_workbook(data: bytes) -> list[Sheet]:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            notes = _check_archive(archive)
            scans = {name: _scan(archive, name) for name in archive.namelist() if name.endswith((".xml", ".rels"))}
    except (zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error) as error:
        raise _damaged(error) from error
    except (NotImplementedError, RuntimeError, OSError, EOFError, ValueError, OverflowError) as error:
        # kinds of packing that are not known, parts that end early, names and numbers that cannot be
        raise _damaged(error) from error
    if sum(scan.filled for scan in scans.values()) > MOST_CELLS:
        raise _too_many_cells()
    try:
        with warnings.catch_warnings():
            # What the library cannot keep when it writes a file is nothing to a reader.
            warnings.simplefilter("ignore")
            return list(_read_sheets(data, scans, notes))
    except SheetRefused:
        raise
    # A damaged workbook makes the library fail in many ways; each is the file's fault and none may become ours.
    except Exception as error:
        raise _damaged(error) from error


def _check_archive(archive: zipfile.ZipFile) -> tuple[str, ...]:
    parts = archive.infolist()
    names = {part.filename for part in parts}
    if len(parts) > MOST_PARTS:
        raise SheetRefused("damaged", f"The workbook has {len(parts)} parts; up to {MOST_PARTS} are read.")
    total = sum(part.file_size for part in parts)
    if total > MOST_UNZIPPED:
        raise SheetRefused(
            "too_large",
            f"Unpacked the file has {total / 2**20:.0f} MB; up to {MOST_UNZIPPED // 2**20} MB are read.",
            "a file without pictures, or one sheet of it at a time",
        )
    if any(part.flag_bits & 1 for part in parts):
        raise SheetRefused("locked", "The file is locked with a password.", "the file saved without a password")
    if "mimetype" in names and b"opendocument" in archive.read("mimetype")[:200]:
        raise SheetRefused("open_document", "This is an OpenDocument file (.ods or a text document).")
    if "xl/workbook.bin" in names:
        raise SheetRefused("binary_workbook", "This is a binary workbook (.xlsb).")
    if "[Content_Types].xml" not in names or not any(name.startswith("xl/") for name in names):
        raise SheetRefused("another_kind", "This is a packed file, and no workbook is in it.")
    for part in parts:
        cells = part.filename.startswith("xl/worksheets/")
        most = MOST_STYLES if part.filename.endswith("styles.xml") else MOST_PART
        if not cells and part.filename.endswith((".xml", ".rels")) and part.file_size > most:
            raise SheetRefused(
                "too_large",
                f"The part {part.filename[:60]} of the workbook has {part.file_size / 2**20:.0f} MB; up to "
                f"{most // 2**20} MB are read.",
                "the cells alone, copied into a new workbook",
            )
    if any(name.endswith("vbaProject.bin") for name in names):
        return ("The workbook holds macros; they were not looked at and did not run.",)
    return ()


def _pieces(archive: zipfile.ZipFile, name: str) -> Iterator[bytes]:
    """A part in pieces that end before a tag."""
    rest = b""
    first = True
    with archive.open(name) as part:
        while piece := part.read(2**20):
            if first:
                _check_part(name, piece[:400])
                first = False
            piece = rest + piece
            cut = piece.rfind(b"<")
            if cut < 0 or len(piece) - cut > 2**20:
                cut = len(piece)
            yield piece[:cut]
            rest = piece[cut:]
    yield rest


def _check_part(name: str, start: bytes) -> None:
    found = _ENCODING.match(start.removeprefix(b"\xef\xbb\xbf"))
    plain = found is None or found.group(1).lower() in {b"utf-8", b"us-ascii", b"ascii"}
    if not plain or b"\x00" in start or start.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise SheetRefused("damaged", f"The part {name[:60]} of the workbook is written in an unusual way.")


def _scan(archive: zipfile.ZipFile, name: str) -> _Scan:
    last_row = last_column = filled = 0
    formulas = False
    joins: list[str] = []
    for piece in _pieces(archive, name):
        if b"<!DOCTYPE" in piece or b"<!ENTITY" in piece:
            raise SheetRefused("damaged", "The workbook holds declarations that no spreadsheet program writes.")
        for letters, number, empty in _C.findall(piece):
            if empty:
                continue
            filled += 1
            last_row = max(last_row, int(number))
            if len(letters) > 1:
                column = 0
                for letter in letters:
                    column = column * 26 + letter - 64
                if column > MOST_COLUMNS:
                    raise _too_many_columns((letters + number).decode())
                last_column = max(last_column, column)
            else:
                last_column = max(last_column, letters[0] - 64)
        if last_row > MOST_ROWS:
            raise _too_many_rows()
        if filled > MOST_CELLS:
            raise _too_many_cells()
        formulas = formulas or bool(_FORMULA.search(piece))
        joins += [found.decode() for found in _JOIN.findall(piece)][: MOST_JOINED - len(joins)]
    return _Scan(last_row, last_column, filled, formulas, tuple(joins))


def _read_sheets(data: bytes, scans: dict[str, _Scan], notes: tuple[str, ...]) -> Iterator[Sheet]:
    book = load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)
    written = None
    try:
        if len(book.worksheets) > MOST_SHEETS:
            raise SheetRefused(
                "too_many_sheets", f"The workbook has {len(book.worksheets)} sheets; up to {MOST_SHEETS} are read."
            )
        if any(scan.formulas for scan in scans.values()):
            written = load_workbook(io.BytesIO(data), read_only=True, data_only=False, keep_links=False)
        for index, sheet in enumerate(book.worksheets):
            scan = scans.get(str(getattr(sheet, "_worksheet_path", "")).lstrip("/"))
            if scan is None:
                raise SheetRefused("damaged", f"The sheet {sheet.title[:60]!r} of the workbook is missing.")
            cells = _cells(sheet, scan)
            if scan.formulas and written is not None:
                _add_formulas(written.worksheets[index], scan, cells)
            _spread(scan.joins, cells)
            yield Sheet(
                name=_clean(sheet.title)[:80],
                rows=tuple(Row(row, tuple(cells[row][c] for c in sorted(cells[row]))) for row in sorted(cells)),
                hidden=sheet.sheet_state != "visible",
                counts_from_1904=book.epoch == CALENDAR_MAC_1904,
                notes=notes,
            )
    finally:
        book.close()
        if written is not None:
            written.close()


def _cells(sheet: Any, scan: _Scan) -> dict[int, dict[int, Cell]]:
    out: dict[int, dict[int, Cell]] = {}
    # One more than was seen, so that a cell that hides from the first look is refused instead of dropped.
    rows = sheet.iter_rows(max_row=min(scan.last_row, MOST_ROWS) + 1, max_col=min(scan.last_column, MOST_COLUMNS) + 1)
    count = 0
    for number, cells in enumerate(rows, start=1):
        for column, cell in enumerate(cells, start=1):
            if cell.value is None:
                continue
            found = _cell(number, column, cell)
            if found is None:
                continue
            count += 1
            if number > MOST_ROWS:
                raise _too_many_rows()
            if column > MOST_COLUMNS:
                raise _too_many_columns(found.address)
            if count > MOST_CELLS:
                raise _too_many_cells()
            out.setdefault(number, {})[column] = found
    return out


def _cell(row: int, column: int, cell: Any) -> Cell | None:
    value = cell.value
    if cell.data_type == "e":
        return Cell(row, column, _clean(str(value))[:40], "error_value")
    if isinstance(value, bool):
        return Cell(row, column, "TRUE" if value else "FALSE")
    if isinstance(value, int | float):
        # 40 % is kept as 0.4 and shown as 40 %: what was seen is what was meant
        shown = f"{value * 100:.10g}%" if "%" in (cell.number_format or "") else float(value)
        return Cell(row, column, shown)
    if isinstance(value, datetime):
        return Cell(row, column, value.date())
    if isinstance(value, date):
        return Cell(row, column, value)
    if isinstance(value, time | timedelta):
        return Cell(row, column, str(value)[:40])
    text = str(value)
    return _text_cell(row, column, text) if text.strip() else None


def _add_formulas(sheet: Any, scan: _Scan, cells: dict[int, dict[int, Cell]]) -> None:
    """Mark formulas whose value was never stored: the program that wrote the file did not work them out."""
    rows = sheet.iter_rows(max_row=min(scan.last_row, MOST_ROWS), max_col=min(scan.last_column, MOST_COLUMNS))
    for number, line in enumerate(rows, start=1):
        for column, cell in enumerate(line, start=1):
            if cell.data_type == "f" and column not in cells.get(number, {}):
                text = _clean(str(getattr(cell.value, "text", cell.value)))[:80]
                cells.setdefault(number, {})[column] = Cell(number, column, text, "formula_without_value")


def _spread(joins: tuple[str, ...], cells: dict[int, dict[int, Cell]]) -> None:
    """Give the value of joined cells to each of them, for a quadrat's name may be joined over its rows."""
    left = MOST_JOINED
    for join in joins:
        first_column, first_row, last_column, last_row = range_boundaries(join)
        if None in (first_column, first_row, last_column, last_row):
            continue
        first = cells.get(int(first_row or 0), {}).get(int(first_column or 0))
        rows = range(int(first_row or 0), min(int(last_row or 0), MOST_ROWS) + 1)
        columns = range(int(first_column or 0), min(int(last_column or 0), MOST_COLUMNS) + 1)
        left -= len(rows) * len(columns)
        if first is None or left < 0:
            continue
        for row in rows:
            for column in columns:
                if column not in cells.get(row, {}):
                    cells.setdefault(row, {})[column] = Cell(row, column, first.value, first.problem, joined=True)
