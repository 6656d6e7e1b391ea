"""Files handed out in pieces (RFC 9110, section 14), so that a long one can go on where a line broke."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from django.http import StreamingHttpResponse
from rest_framework.request import Request

from projects.api.errors import Problem
from projects.api.files import kind_of

#: bytes read at once
_PIECE: Final = 1 << 16
#: figures of a position; a longer number is past any file's end
_RANGE: Final = re.compile(r"bytes=(?P<first>[0-9]{0,18})-(?P<last>[0-9]{0,18})")


def in_pieces(request: Request, path: Path, sha256: str, media_type: str, name: str) -> StreamingHttpResponse:
    """A file, or the piece of it that the Range header asks for: 206 with Content-Range, 416 past its end.

    The ETag is the file's own checksum, so strong; with If-Range a piece is given only of the very same file, else all
    of it. Several pieces at once, and other units than bytes, are answered with all of it, as the standard allows.
    """
    size, tag = path.stat().st_size, f'"{sha256}"'
    asked = _asked(request, size, tag)
    first, last = asked or (0, size - 1)
    status = 200 if asked is None else 206
    response = StreamingHttpResponse(_piece(path, first, last), status=status, content_type=kind_of(media_type))
    response.headers["Content-Length"] = str(last - first + 1)
    if asked is not None:
        response.headers["Content-Range"] = f"bytes {first}-{last}/{size}"
    response.headers["Accept-Ranges"] = "bytes"
    response.headers["ETag"] = tag
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def _asked(request: Request, size: int, tag: str) -> tuple[int, int] | None:
    """First and last byte of the piece that is asked for; None for all of it."""
    found = _RANGE.fullmatch(request.headers.get("Range", "").strip().lower())
    if found is None or request.method != "GET" or not (found["first"] or found["last"]):
        return None
    condition = request.headers.get("If-Range")
    if condition is not None and condition.strip() != tag:
        return None
    if found["first"]:
        first = int(found["first"])
        last = min(int(found["last"]), size - 1) if found["last"] else size - 1
        if found["last"] and int(found["last"]) < first:
            # no range at all, by the standard's grammar
            return None
    else:
        first, last = max(size - int(found["last"]), 0), size - 1
        if not int(found["last"]):
            raise _past_the_end(size)
    if first >= size:
        raise _past_the_end(size)
    return first, last


def _past_the_end(size: int) -> Problem:
    detail = f"The file has {size:,} bytes; the piece asked for lies past its end."
    return Problem("range_not_satisfiable", detail, headers={"Content-Range": f"bytes */{size}"})


def _piece(path: Path, first: int, last: int) -> Iterator[bytes]:
    with path.open("rb") as file:
        file.seek(first)
        left = last - first + 1
        while left > 0:
            read = file.read(min(_PIECE, left))
            if not read:
                return
            left -= len(read)
            yield read
