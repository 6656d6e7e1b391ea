"""Requests about accounts."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from projects.contracts.base import Name, Strict, refused

Scope = Literal["read", "write", "exact_places"]
MOST_DAYS = 365


def _reads(scopes: tuple[str, ...]) -> tuple[str, ...]:
    """An act answers with what it made: without reading, what was done would be answered as not there."""
    if "read" not in scopes:
        raise refused(
            "contradiction", "Without reading, a token is of no use for the rest: add “read”.", "read among them"
        )
    return scopes


Scopes = Annotated[tuple[Scope, ...], Field(min_length=1, strict=False), AfterValidator(_reads)]


class TokenNew(Strict):
    """A token for a program."""

    name: Annotated[Name, Field(max_length=80)]
    """What it is for."""
    scopes: Scopes = ("read",)
    days: Annotated[int, Field(ge=1, le=MOST_DAYS)] = 90
    """Days until it ends."""
