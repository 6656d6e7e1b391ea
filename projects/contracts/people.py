"""Requests about accounts."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from projects.contracts.base import Name, Strict

Scope = Literal["read", "write", "exact_places"]
MOST_DAYS = 365


class TokenNew(Strict):
    """A token for a program."""

    name: Annotated[Name, Field(max_length=80)]
    """What it is for."""
    scopes: Annotated[tuple[Scope, ...], Field(min_length=1, strict=False)] = ("read",)
    days: Annotated[int, Field(ge=1, le=MOST_DAYS)] = 90
    """Days until it ends."""
