"""Refusals of the services, ready for any door to show."""

from __future__ import annotations

from collections.abc import Sequence

from modelling.errors import FieldError


class Refused(Exception):
    """The act was understood and cannot be done. `code` is stable."""

    code = "refused"

    def __init__(self, detail: str, errors: Sequence[FieldError] = ()) -> None:
        super().__init__(detail)
        self.detail = detail
        self.errors = list(errors)


class NotFound(Refused):
    """There is no such thing, or none that this actor may see."""

    code = "not_found"


class NotAllowed(Refused):
    """The actor sees the thing and may not do this to it."""

    code = "forbidden"


class Stale(Refused):
    """Somebody else has changed the thing since it was read."""

    code = "stale"


class RuleBroken(Refused):
    """What was asked breaks a rule; `errors` says which fields and what would be right."""

    code = "invalid_request"


class WrongState(Refused):
    """The thing stands where this act cannot be done."""

    code = "wrong_state"


class Gone(Refused):
    """What was handed out is used up, withdrawn or too old."""

    code = "gone"


class TooOften(Refused):
    """Too many tries in a short time."""

    code = "too_many_tries"

    def __init__(self, detail: str, wait_seconds: int) -> None:
        super().__init__(detail)
        self.wait_seconds = wait_seconds


def broken(pointer: str, code: str, detail: str, value: object = None, expected: str = "") -> RuleBroken:
    """Return the refusal of one field."""
    return RuleBroken(detail, [FieldError(pointer, code, detail, value, expected)])
