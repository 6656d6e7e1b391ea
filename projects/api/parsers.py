"""What is let in: JSON, bounded, finite, and without characters that no database or file should be handed."""

from typing import IO, Any

import orjson
from django.conf import settings
from rest_framework.parsers import BaseParser

from projects.api.errors import FieldProblem, Problem, pointer


class StrictJSONParser(BaseParser):
    """Reads a body of at most 64 kB with orjson, which refuses NaN, Infinity and bottomless nesting."""

    media_type = "application/json"

    @property
    def limit(self) -> int:
        """Most bytes of a body."""
        return int(settings.DATA_UPLOAD_MAX_MEMORY_SIZE)

    def parse(self, stream: IO[bytes], media_type: str | None = None, parser_context: Any = None) -> Any:
        """Return the body as Python data.

        Raises
        ------
        Problem
            413 if it is too large, 400 if it is not JSON, 422 if a text in it holds a NUL character.
        """
        raw = bounded(stream, self.limit)
        if not raw:
            raise Problem("empty_body", "The body is empty; it should be a JSON object.")
        try:
            data = orjson.loads(raw)
        except orjson.JSONDecodeError as error:
            raise Problem(
                "malformed_json",
                f"The body is not JSON: {error.msg}, at line {error.lineno}, column {error.colno}.",
            ) from error
        refuse_nul(data)
        return data


class BatchJSONParser(StrictJSONParser):
    """The same for many returns at once, which take more room."""

    @property
    def limit(self) -> int:
        return int(settings.LARGEST_BATCH)


class FileParser(BaseParser):
    """Takes a body as it is, as the bytes of a file."""

    media_type = "application/octet-stream"

    def parse(self, stream: IO[bytes], media_type: str | None = None, parser_context: Any = None) -> Any:
        """Return the bytes; raises Problem 413 if there are too many."""
        return bounded(stream, settings.LARGEST_FILE)


class CsvParser(FileParser):
    media_type = "text/csv"


class WorkbookParser(FileParser):
    media_type = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def bounded(stream: IO[bytes], limit: int) -> bytes:
    """Return what a stream holds; raises Problem 413 if that is more than a limit, without reading the rest."""
    # One byte more than allowed is enough to know.
    raw = stream.read(limit + 1)
    if len(raw) > limit:
        raise Problem("body_too_large", f"The body is larger than {limit:,} bytes.")
    return raw


def refuse_nul(data: Any) -> None:
    """Raise a 422 that points at each text or key with a NUL character in it."""
    errors = []
    waiting: list[tuple[tuple[str | int, ...], Any]] = [((), data)]
    while waiting:
        path, value = waiting.pop()
        if isinstance(value, str):
            if "\0" in value:
                errors.append(_nul_problem(path, "This text holds"))
        elif isinstance(value, dict):
            for key, item in value.items():
                if "\0" in key:
                    errors.append(_nul_problem(path, "A name in this object holds"))
                waiting.append(((*path, key), item))
        elif isinstance(value, list):
            waiting.extend(((*path, position), item) for position, item in enumerate(value))
    if errors:
        raise Problem("invalid_request", "A text holds a NUL character.", errors=errors)


def _nul_problem(path: tuple[str | int, ...], subject: str) -> FieldProblem:
    return FieldProblem(pointer(*path), "nul_character", f"{subject} a NUL character (U+0000); leave it out.")
