"""Refusals of the modelling app, ready for any door to show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from modelling.core.errors import InputError


@dataclass(frozen=True, slots=True)
class FieldError:
    """One thing wrong with a request: where (JSON Pointer), what, and what would be right."""

    pointer: str
    code: str
    detail: str
    value: object = None
    expected: str = ""
    suggestions: list[str] = field(default_factory=list)


class RequestRefused(Exception):
    """The request was read and cannot be answered; carries every fault found."""

    def __init__(self, errors: Sequence[FieldError]) -> None:
        super().__init__("; ".join(error.detail for error in errors))
        self.errors = list(errors)


def pointer_of(path: Sequence[str | int]) -> str:
    """JSON Pointer (RFC 6901) of a path."""
    return "".join("/" + str(part).replace("~", "~0").replace("/", "~1") for part in path)


class refusing:
    """Turn the core's refusals into ours; `before` is the path to where the core's own path begins."""

    def __init__(self, *before: str | int) -> None:
        self.before = before

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        if isinstance(error, InputError):
            detail = error.detail[:1].upper() + error.detail[1:]
            pointer = pointer_of((*self.before, *error.field))
            found = FieldError(pointer, error.code, detail, error.value, error.expected, list(error.suggestions))
            raise RequestRefused([found]) from error
