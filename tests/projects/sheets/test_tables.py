"""Files into plain rows: every way to write one, every limit, and everything that is no sheet."""

import io
import struct
import tracemalloc
import zipfile
from datetime import date, datetime, time

import pytest
from openpyxl import Workbook
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from projects.sheets import tables
from projects.sheets.tables import MOST_BYTES, MOST_COLUMNS, MOST_ROWS, Sheet, SheetRefused, read_table
from tests.projects.sheets.made import part, repacked, saved, workbook

SHEET = "xl/worksheets/sheet1.xml"
MEGABYTE = 2**20


def grid(sheet: Sheet) -> list[list[object]]:
    """Rows of the sheet with None for the empty cells."""
    wide = max(cell.column for row in sheet.rows for cell in row.cells)
    return [[(cell.value if (cell := row.at(c)) else None) for c in range(1, wide + 1)] for row in sheet.rows]


def refusal(data: bytes, filename: str = "walk.xlsx") -> SheetRefused:
    with pytest.raises(SheetRefused) as refused:
        read_table(data, filename)
    assert refused.value.detail
    assert refused.value.expected
    return refused.value


# ------------------------------------------------------------------------------------------------------------- CSV


@pytest.mark.parametrize(
    "data",
    [
        b"Species,Q1\nyarrow,5\n",
        b"Species;Q1\nyarrow;5\n",
        b"Species\tQ1\nyarrow\t5\n",
        b"Species,Q1\r\nyarrow,5\r\n",
        b"Species,Q1\ryarrow,5\r",
        b'"Species","Q1"\n"yarrow","5"\n',
        b"\xef\xbb\xbfSpecies,Q1\nyarrow,5\n",
        b"sep=;\nSpecies;Q1\nyarrow;5\n",
        "Species,Q1\nyarrow,5\n".encode("utf-16"),
        "Species\tQ1\nyarrow\t5\n".encode("utf-16-le"),
        "Species\tQ1\nyarrow\t5\n".encode("utf-16-be"),
    ],
)
def test_a_csv_in_any_dress_is_the_same_rows(data: bytes) -> None:
    (sheet,) = read_table(data, "walk.csv")
    assert grid(sheet) == [["Species", "Q1"], ["yarrow", "5"]]


def test_letters_of_the_old_windows_set_are_read() -> None:
    (sheet,) = read_table("Espèce,Q1\nLady’s bedstraw,5\n".encode("cp1252"), "walk.csv")
    assert grid(sheet) == [["Espèce", "Q1"], ["Lady’s bedstraw", "5"]]


def test_a_quoted_line_end_stays_in_its_cell_and_addresses_count_rows() -> None:
    (sheet,) = read_table(b'Species,Notes\nyarrow,"by the\ngate, left"\ndock,x\n', "C:\\walks\\July walk.csv")
    assert sheet.name == "July walk.csv"
    assert grid(sheet) == [["Species", "Notes"], ["yarrow", "by the\ngate, left"], ["dock", "x"]]
    assert [cell.address for row in sheet.rows for cell in row.cells] == ["A1", "B1", "A2", "B2", "A3", "B3"]


def test_a_decimal_comma_does_not_divide_cells_where_semicolons_do() -> None:
    (sheet,) = read_table(b"Species;Q1;Q2\nyarrow;12,5;3,5\ndock;1,5;2,5\n", "walk.csv")
    assert grid(sheet)[1] == ["yarrow", "12,5", "3,5"]


def test_a_cell_longer_than_is_read_says_so() -> None:
    (sheet,) = read_table(b"Species,Q1\n" + b"y" * 3_000 + b",5\n", "walk.csv")
    assert (sheet.rows[1].cells[0].problem, len(str(sheet.rows[1].cells[0].value))) == ("too_long", 2_000)


@pytest.mark.parametrize(
    ("data", "code", "words"),
    [
        (b"", "empty_file", "empty"),
        (b"\n\n  \n", "empty_file", "empty"),
        (b",,\n,,\n", "empty_file", "No cell"),
        (b"Species,Q1\nyar\x00row,5\n", "not_text", "Byte 15"),
        (b"a,b\n\x01\x02\x03\x04\x05\x06\x07\x0e\x0f\x10", "not_text", "no plain text"),
        (b'Species,Q1\n"yarrow' + b"y" * 200_000, "damaged", "quotation mark"),
        (b"x," * 301 + b"\n", "too_many_columns", "Cell KO1"),
        (b"x\n" * (MOST_ROWS + 1), "too_many_rows", "50,000 rows"),
        (b"x,y,z,w\n" * 45_000, "too_many_cells", "160,000 cells"),
        (b"y" * (MOST_BYTES + 1), "too_large", "10.0 MB"),
    ],
    ids=lambda value: value[:12] if isinstance(value, bytes) else None,
)
def test_a_csv_that_cannot_be_read_is_refused_in_words(data: bytes, code: str, words: str) -> None:
    refused = refusal(data, "walk.csv")
    assert refused.code == code
    assert words in refused.detail


def test_as_many_columns_and_rows_as_are_allowed_are_read() -> None:
    (wide,) = read_table(b",".join(b"x" for _ in range(MOST_COLUMNS)) + b"\n", "walk.csv")
    assert len(wide.rows[0].cells) == MOST_COLUMNS
    (long,) = read_table(b"x\n" * MOST_ROWS, "walk.csv")
    assert len(long.rows) == MOST_ROWS


# ------------------------------------------------------------------------------------------------ files of other kinds


@pytest.mark.parametrize(
    ("data", "code", "words"),
    [
        (b"\x89PNG\r\n\x1a\n" + b"\x00" * 50, "another_kind", "PNG"),
        (b"\xff\xd8\xff\xe0" + b"\x00" * 50, "another_kind", "JPEG"),
        (b"GIF89a" + b"\x00" * 50, "another_kind", "GIF"),
        (b"%PDF-1.7\n", "another_kind", "PDF"),
        (b"<!DOCTYPE html><table><tr><td>yarrow</td></tr></table>", "another_kind", "web page"),
        (b"\xef\xbb\xbf \n<html><body>", "another_kind", "web page"),
        (b"<?xml version='1.0'?><Workbook/>", "another_kind", "marked-up"),
        (b"{\\rtf1 yarrow}", "another_kind", "RTF"),
        (b"\x1f\x8b\x08\x00", "another_kind", "compressed"),
        (b"MZ\x90\x00\x03", "another_kind", "program"),
        (tables._OLE + b"\x00" * 600, "old_workbook", ".xls"),
        (tables._OLE + b"\x00" * 600 + "EncryptedPackage".encode("utf-16-le"), "locked", "password"),
        (b"PK\x03\x04 and then nothing", "damaged", "cannot be read"),
    ],
    ids=lambda value: value[:8] if isinstance(value, bytes) else None,
)
def test_a_file_of_another_kind_is_refused_whatever_its_name(data: bytes, code: str, words: str) -> None:
    for filename in ("walk.xlsx", "walk.csv"):
        refused = refusal(data, filename)
        assert refused.code == code
        assert words in refused.detail
    if code == "old_workbook":
        assert ".xlsx" in refused.expected


def test_a_text_that_begins_like_another_kind_is_still_a_text() -> None:
    (sheet,) = read_table(b"BM,Q1\nMZ,5\n", "walk.csv")
    assert grid(sheet) == [["BM", "Q1"], ["MZ", "5"]]


def packed(**parts: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return out.getvalue()


def test_packed_files_that_are_no_workbook_are_told_apart() -> None:
    sheet = packed(mimetype=b"application/vnd.oasis.opendocument.spreadsheet", **{"content.xml": b"<x/>"})
    assert refusal(sheet, "walk.ods").code == "open_document"
    assert refusal(packed(**{"[Content_Types].xml": b"<x/>", "xl/workbook.bin": b"x"})).code == "binary_workbook"
    assert refusal(packed(**{"word/document.xml": b"<x/>", "[Content_Types].xml": b"<x/>"})).code == "another_kind"


# ------------------------------------------------------------------------------------------------------------ XLSX


def test_texts_numbers_days_and_ticks_come_through_with_their_addresses() -> None:
    book = Workbook()
    sheet = book.active
    sheet.title = "Walk"
    sheet.append(["Species", None, "Q1"])
    sheet.append(["yarrow", datetime(2026, 7, 14, 10, 30), 12.5])  # noqa: DTZ001 - a spreadsheet knows no zones
    sheet.append([date(2026, 7, 14), True, 0.4])
    sheet["C3"].number_format = "0%"
    sheet["B5"] = time(9, 30)
    (read,) = read_table(saved(book), "walk.xlsx")
    assert read.name == "Walk"
    assert grid(read) == [
        ["Species", None, "Q1"],
        ["yarrow", date(2026, 7, 14), 12.5],
        [date(2026, 7, 14), "TRUE", "40%"],
        [None, "09:30:00", None],
    ]
    assert [row.number for row in read.rows] == [1, 2, 3, 5]
    assert read.rows[1].cells[2].address == "C2"


def test_days_that_count_from_1904_are_the_same_days() -> None:
    book = Workbook()
    book.epoch = CALENDAR_MAC_1904
    book.active["A1"] = date(2026, 7, 14)
    book.active["A2"] = 44754
    (read,) = read_table(saved(book), "walk.xlsx")
    assert grid(read) == [[date(2026, 7, 14)], [44754.0]]
    assert read.counts_from_1904


def test_a_formula_gives_its_stored_value_and_without_one_names_its_cell() -> None:
    data = workbook(Walk=[["Species", "Q1"], ["yarrow", "=2+3"], ["dock", "=1+1"]])
    xml = (
        part(data, SHEET)
        .replace(b"<f>2+3</f><v></v>", b"<f>2+3</f><v>5</v>")
        .replace(b"<f>2+3</f><v />", b"<f>2+3</f><v>5</v>")
    )
    (read,) = read_table(repacked(data, {SHEET: xml}), "walk.xlsx")
    assert [(c.address, c.value, c.problem) for row in read.rows[1:] for c in row.cells] == [
        ("A2", "yarrow", ""), ("B2", 5.0, ""), ("A3", "dock", ""), ("B3", "=1+1", "formula_without_value"),
    ]  # fmt: skip


def test_a_spreadsheet_error_is_no_value() -> None:
    book = Workbook()
    book.active["A1"] = "#REF!"
    book.active["A1"].data_type = "e"
    (read,) = read_table(saved(book), "walk.xlsx")
    assert (read.rows[0].cells[0].value, read.rows[0].cells[0].problem) == ("#REF!", "error_value")


def test_joined_cells_hold_the_value_of_the_first() -> None:
    book = Workbook()
    book.active["A1"] = "Q1"
    book.active.merge_cells("A1:A3")
    book.active["B2"] = "yarrow"
    (read,) = read_table(saved(book), "walk.xlsx")
    assert [(c.address, c.value, c.joined) for row in read.rows for c in row.cells] == [
        ("A1", "Q1", False), ("A2", "Q1", True), ("B2", "yarrow", False), ("A3", "Q1", True),
    ]  # fmt: skip


def test_hidden_sheets_are_marked_and_macros_told_of() -> None:
    book = Workbook()
    book.active["A1"] = "x"
    book.create_sheet("lists")["A1"] = "y"
    book["lists"].sheet_state = "veryHidden"
    shown, hidden = read_table(repacked(saved(book), {"xl/vbaProject.bin": b"macro"}), "walk.xlsm")
    assert (shown.hidden, hidden.hidden) == (False, True)
    assert shown.notes == ("The workbook holds macros; they were not looked at and did not run.",)


@pytest.mark.parametrize(
    ("cell", "code"),
    [
        (f'<row r="{MOST_ROWS + 1}"><c r="A{MOST_ROWS + 1}"><v>1</v></c></row>', "too_many_rows"),
        ('<row r="1048576"><c r="A1048576"><v>1</v></c></row>', "too_many_rows"),
        ('<row r="1"><c r="KO1"><v>1</v></c></row>', "too_many_columns"),
        ('<row r="1"><c r="XFD1"><v>1</v></c></row>', "too_many_columns"),
        ('<row r="1"><c r="A1"><v>1</v></row>', "damaged"),
        ('<row r="1"><c r="A1" t="s"><v>99</v></c></row>', "damaged"),
    ],
)
def test_a_cell_out_of_reach_or_out_of_shape_refuses_the_workbook(cell: str, code: str) -> None:
    data = workbook(Walk=[["x"]])
    xml = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
    assert refusal(repacked(data, {SHEET: xml + cell.encode() + b"</sheetData></worksheet>"})).code == code


def test_empty_cells_far_out_cost_nothing() -> None:
    data = workbook(Walk=[["x"]])
    xml = (
        b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
        b'<row r="1"><c r="A1"><v>7</v></c><c r="XFD1" s="0"/></row><row r="1048576"><c r="A1048576"/></row>'
        b'<row r="2000000000"/></sheetData></worksheet>'
    )
    (read,) = read_table(repacked(data, {SHEET: xml}), "walk.xlsx")
    assert grid(read) == [[7.0]]


def test_a_text_that_unpacks_to_more_than_is_read_is_refused_before_it_is_unpacked() -> None:
    data = workbook(Walk=[["x"]])
    bomb = repacked(data, {SHEET: b"<worksheet>" + b" " * (101 * MEGABYTE) + b"</worksheet>"})
    assert len(bomb) < MEGABYTE
    tracemalloc.start()
    refused = refusal(bomb)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert refused.code == "too_large"
    assert "Unpacked" in refused.detail
    assert peak < 5 * MEGABYTE
    strings = repacked(data, {"xl/sharedStrings.xml": b"<sst>" + b" " * (21 * MEGABYTE) + b"</sst>"})
    assert refusal(strings).code == "too_large"


def test_a_part_that_says_it_is_smaller_than_it_is_is_refused() -> None:
    data = bytearray(packed(**{"[Content_Types].xml": b"<x/>", "xl/workbook.xml": b"<y>" + b" " * 100_000 + b"</y>"}))
    at = data.rindex(b"PK\x01\x02", 0, data.rindex(b"xl/workbook.xml"))
    data[at + 24 : at + 28] = struct.pack("<L", 10)
    assert refusal(bytes(data)).code == "damaged"


@pytest.mark.parametrize(
    "head",
    [
        b'<!DOCTYPE lolz [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]>',
        b'<!DOCTYPE x [<!ENTITY f SYSTEM "file:///etc/passwd">]>',
    ],
)
def test_declarations_in_a_workbook_are_refused(head: bytes) -> None:
    data = workbook(Walk=[["x"]])
    xml = b'<?xml version="1.0"?>' + head + b'<worksheet xmlns="x"><sheetData/></worksheet>'
    assert refusal(repacked(data, {SHEET: xml})).code == "damaged"
    hidden = b"\xff\xfe" + xml.decode().encode("utf-16-le")
    assert refusal(repacked(data, {SHEET: hidden})).code == "damaged"


def test_a_locked_workbook_is_refused() -> None:
    data = bytearray(workbook(Walk=[["x"]]))
    for at in [i for i in range(len(data)) if data[i : i + 4] in (b"PK\x03\x04", b"PK\x01\x02")]:
        data[at + (6 if data[at + 2] == 3 else 8)] |= 1
    assert refusal(bytes(data)).code == "locked"


def test_too_many_sheets_are_refused() -> None:
    assert refusal(workbook(**{f"s{i}": [["x"]] for i in range(41)})).code == "too_many_sheets"


def test_the_largest_file_that_is_read_takes_bounded_memory() -> None:
    """160,000 short cells; seen: 60 MB of rows with their cells."""
    data = b"Q1,yarrow,5,x\n" * 39_999
    tracemalloc.start()
    (sheet,) = read_table(data, "walk.csv")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert len(sheet.rows) == 39_999
    assert peak < 90 * MEGABYTE
