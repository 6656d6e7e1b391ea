"""Small files made for a test: sheets as people write them."""

import io
import zipfile
from collections.abc import Iterable, Sequence
from typing import Any

from openpyxl import Workbook

from projects.sheets import ForYear, Understood, read_table, understand

YEAR = 2026


def workbook(**sheets: Iterable[Sequence[Any]]) -> bytes:
    """A workbook with one sheet for each name."""
    book = Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
    return saved(book)


def saved(book: Workbook) -> bytes:
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def repacked(data: bytes, change: dict[str, bytes | None]) -> bytes:
    """A packed file with some parts put in another's place, added, or (None) left out."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            if name not in change:
                new.writestr(name, old.read(name))
        for name, content in change.items():
            if content is not None:
                new.writestr(name, content)
    return out.getvalue()


def part(data: bytes, name: str) -> bytes:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return archive.read(name)


def understood(source: bytes | str, *, year: int = YEAR, **asked: Any) -> Understood:
    data = source.encode() if isinstance(source, str) else source
    return understand(read_table(data, "walk.csv"), ForYear(year, **asked))


def quadrats(found: Understood) -> dict[str, dict[str, tuple[str, str]]]:
    """Quadrat -> plant -> scale and value; a plant that is not settled by the name that was written."""
    out: dict[str, dict[str, tuple[str, str]]] = {}
    for visit in found.survey["visits"]:
        for quadrat in visit["quadrats"]:
            assert quadrat["label"] not in out
            out[quadrat["label"]] = {r["taxon"] or r["name"]: (r["scale"], r["value"]) for r in quadrat["records"]}
    return out


def whole_site(found: Understood) -> dict[str, tuple[str, str]]:
    return {
        r["taxon"] or r["name"]: (r["scale"], r["value"])
        for visit in found.survey["visits"]
        for r in visit["whole_site"]
    }


def codes(found: Understood) -> list[str]:
    return [question.code for question in found.questions]


def refused(found: Understood) -> dict[int, list[str]]:
    """Number of each refused row -> codes of its reasons."""
    return {row.number: [reason.code for reason in row.reasons] for row in found.of_state("refused")}


def states(found: Understood) -> dict[int, str]:
    return {row.number: row.state for row in found.rows}
