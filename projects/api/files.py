"""Files of records as they are handed out, by the API and by pages alike."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable
from typing import IO, Any, Final

from django.http import FileResponse, HttpResponse

from projects.choices import LICENCES, Licence
from projects.formats import CSV, DarwinCore, columns_of
from projects.formats.darwin import DataSet
from projects.selectors.records import table_rows, told

#: bytes of a file that are held in memory; what is more goes to a nameless file of the system's
_IN_MEMORY: Final = 2 * 2**20
OF_ARCHIVE: Final = frozenset({"events", "records", "facts"})


def records_csv(
    keys: list[int], table: str, name: str, licence: str, *, inside: bool = False
) -> HttpResponse | FileResponse:
    """One table of these versions as CSV."""
    writer = CSV(columns_of(table))
    return handed_out(writer, table_rows(keys, table, inside=inside), name, licence)


def darwin_core(keys: list[int], data_set: DataSet, name: str, *, inside: bool = False) -> HttpResponse | FileResponse:
    """These versions as a Darwin Core archive."""
    return handed_out(DarwinCore(data_set), told(keys, OF_ARCHIVE, inside=inside), name, data_set.licence)


def handed_out(writer: Any, rows: Iterable[Any], name: str, licence: str) -> HttpResponse | FileResponse:
    """A file that is made before the first byte of it is sent, so that a fault is told as one."""
    file: IO[bytes] = tempfile.SpooledTemporaryFile(max_size=_IN_MEMORY)  # noqa: SIM115 - the response closes it
    try:
        writer.write(file, rows)
    except BaseException:
        file.close()
        raise
    size = file.tell()
    file.seek(0)
    kind = kind_of(writer.media_type)
    response: HttpResponse | FileResponse
    if size <= _IN_MEMORY:
        with file:
            response = HttpResponse(file.read(), content_type=kind)
    else:
        response = FileResponse(file, content_type=kind)
    response.headers["Content-Length"] = str(size)
    response.headers["Content-Disposition"] = f'attachment; filename="{name}.{writer.ending}"'
    response.headers["Link"] = licence_link(licence)
    return response


def kind_of(media_type: str) -> str:
    """A media type with the letters it is written in, where it is text."""
    return f"{media_type}; charset=utf-8" if media_type.startswith("text/") else media_type


def licence_link(licence: str) -> str:
    """The Link header (RFC 8288) that tells the licence."""
    return f'<{LICENCES[Licence(licence)]}>; rel="license"'
