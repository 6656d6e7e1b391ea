"""Errors of the core. Each names the thing at fault, so that a person can mend it."""

from __future__ import annotations

from dataclasses import dataclass


class CoreError(Exception):
    """Base of everything the core raises on purpose."""


class InputError(CoreError):
    """An input that the core cannot work with.

    Parameters
    ----------
    field
        Path of the field as in the request, e.g. ``("plan", "seed", 0, "mix")``.
    code
        Stable code.
    detail
        What was read, what is wrong, what would be right.
    value
        The value as read.
    expected
        What would be right, in few words.
    suggestions
        Nearest allowed keys, if any.
    """

    def __init__(
        self,
        field: tuple[str | int, ...],
        code: str,
        detail: str,
        *,
        value: object = None,
        expected: str = "",
        suggestions: tuple[str, ...] = (),
    ) -> None:
        super().__init__(detail)
        self.field = field
        self.code = code
        self.detail = detail
        self.value = value
        self.expected = expected
        self.suggestions = suggestions


class NotFiniteError(CoreError):
    """A result came out as infinite or not a number; nothing is returned rather than something wrong."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault found in the reference data: which file, which line, which kind, and what to do."""

    file: str
    line: int
    kind: str
    message: str

    def __str__(self) -> str:
        where = f"{self.file}, line {self.line}" if self.line else self.file
        return f"{where}: {self.kind}: {self.message}"


class ParameterError(CoreError):
    """The reference data cannot be used; carries every fault found."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        super().__init__("; ".join(str(fault) for fault in faults))
        self.faults = faults
