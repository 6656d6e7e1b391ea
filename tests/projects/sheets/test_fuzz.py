"""Files that were good once: bytes turned, cells turned, parts cut out. A refusal in words, or an answer; never more.

FORBCAST_FUZZ says how many files are tried; each file is made from its number, so that a bad one can be made again.
"""

import io
import os
import resource
import time
import zipfile
import zlib
from collections.abc import Iterator

from projects.sheets import ForYear, SheetRefused, refused_rows_csv, understand
from projects.sheets.tables import read_table
from tests.projects.sheets.made import repacked, saved
from tests.projects.sheets.test_template import filled
from tests.projects.sheets.test_understanding import LONG, TRANSPOSED, WIDE

FILES = int(os.environ.get("FORBCAST_FUZZ", "300"))
#: a file of some kilobytes may not take longer, even on a busy machine, nor more memory
SECONDS = 5.0
MEGABYTES = 250
ODD_CELLS = (
    "", "=1+1", "-", "1e309", "99999999999999999999", "31/11/26", "7/14/26", "NaN", "#REF!", "x", "%", "0", "-0", "Q1",
    "Species", "Total", "Date: soon", "yarrow?", "??", "\u202e", "名", "a" * 3_000, '"', ",", "'=", "½", "5–10", "+",
    "r", "TRUE", "2026-02-30", "Bare ground", "Quadrat", "cut", "١٢", "²", "1/0/0",
)  # fmt: skip
TAGS = (b"<c ", b"<row ", b"<v>", b"</v>", b't="s"', b'r="', b"<sheetData>", b"<f>", b"</c>", b'count="', b"<si>")


class Dice:
    """Whole numbers that follow from a seed: the same on every machine."""

    def __init__(self, seed: int) -> None:
        self.state = zlib.crc32(str(seed).encode())

    def below(self, most: int) -> int:
        self.state = (self.state * 1_103_515_245 + 12_345) % 2**31
        return (self.state >> 8) % max(most, 1)


def turned_bytes(data: bytes, dice: Dice) -> bytes:
    out = bytearray(data)
    for _ in range(1 + dice.below(8)):
        if not out:
            break
        at = dice.below(len(out))
        how = dice.below(4)
        if how == 0:
            out[at] = dice.below(256)
        elif how == 1:
            del out[at : at + 1 + dice.below(20)]
        elif how == 2:
            out[at:at] = out[dice.below(len(out)) :][: dice.below(60)]
        else:
            out = out[: max(1, at)] if dice.below(4) == 0 else out
    return bytes(out)


def turned_cells(text: str, dice: Dice) -> bytes:
    sign = ";" if ";" in text else ","
    grid = [line.split(sign) for line in text.splitlines()]
    for _ in range(1 + dice.below(6)):
        row = grid[dice.below(len(grid))]
        how = dice.below(5)
        if how < 3:
            row[dice.below(len(row))] = ODD_CELLS[dice.below(len(ODD_CELLS))]
        elif how == 3:
            grid.insert(dice.below(len(grid)), list(grid[dice.below(len(grid))]))
        else:
            row.insert(dice.below(len(row)), ODD_CELLS[dice.below(len(ODD_CELLS))])
    codec = ("utf-8", "utf-8-sig", "utf-16", "cp1252")[dice.below(4)]
    return "\r\n".join(sign.join(row) for row in grid).encode(codec, errors="replace")


def turned_parts(data: bytes, dice: Dice) -> bytes:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        names = archive.namelist()
        name = names[dice.below(len(names))] if dice.below(3) else "xl/worksheets/sheet1.xml"
        content = archive.read(name)
    how = dice.below(4)
    if how == 0:
        return repacked(data, {name: None})
    if how == 1:
        return repacked(data, {name: turned_bytes(content, dice)})
    tag = TAGS[dice.below(len(TAGS))]
    other = TAGS[dice.below(len(TAGS))] if dice.below(2) else str(dice.below(2**31)).encode()
    if how == 2:
        return repacked(data, {name: content.replace(tag, other, 1 + dice.below(5))})
    at = content.find(tag) + len(tag)
    figures = str((dice.below(2**31)) * (1 if dice.below(2) else -1)).encode()
    return repacked(data, {name: content[:at] + figures + content[at + dice.below(4) :]})


def turned_workbook(dice: Dice) -> bytes:
    book = filled()
    for _ in range(1 + dice.below(6)):
        sheet = book.worksheets[dice.below(3)]
        value = ODD_CELLS[dice.below(len(ODD_CELLS))]
        sheet.cell(1 + dice.below(40), 1 + dice.below(14)).value = value if dice.below(3) else dice.below(200) - 50
    return saved(book)


def files() -> Iterator[tuple[int, bytes]]:
    good = saved(filled())
    for number in range(FILES):
        dice = Dice(number)
        text = (LONG, WIDE, TRANSPOSED)[dice.below(3)]
        kind = number % 6
        if kind == 0:
            yield number, turned_bytes(good, dice)
        elif kind == 1:
            yield number, turned_bytes(text.encode(), dice)
        elif kind in {2, 3}:
            yield number, turned_cells(text, dice)
        elif kind == 4:
            yield number, turned_parts(good, dice)
        else:
            yield number, turned_workbook(dice) if number % 12 == 5 else turned_parts(good, dice)


def test_no_file_does_more_than_be_read_or_be_refused() -> None:
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    read = refused = silent = 0
    slowest = 0.0
    for number, data in files():
        start = time.process_time()
        try:
            sheets = read_table(data, f"{number}.xlsx")
        except SheetRefused as error:
            silent += not (error.code and error.detail and error.expected)
            refused += 1
            continue
        found = understand(sheets, ForYear(2026))
        places = {(row.sheet, row.number) for row in found.rows}
        assert len(places) == len(found.rows) == sum(len(sheet.rows) for sheet in sheets), number
        refused_rows_csv(found)
        slowest = max(slowest, time.process_time() - start)
        read += 1
    assert silent == 0
    assert slowest < SECONDS
    assert (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024 < MEGABYTES
    assert read > FILES / 4
    assert refused > FILES / 20
