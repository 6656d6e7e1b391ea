"""What answers are made of."""

from datetime import datetime
from typing import Any
from uuid import UUID

from pydantic import BaseModel, ConfigDict

from projects.models.base import Noun


class Answer(BaseModel):
    """Part of an answer."""

    model_config = ConfigDict(frozen=True, use_attribute_docstrings=True)


class Named(Answer):
    """Something with a name, told in short."""

    id: UUID
    name: str


class NounAnswer(Answer):
    """What every noun tells."""

    id: UUID
    version: int
    """Counts the changes; the ETag goes with it."""
    created_at: datetime
    updated_at: datetime


def noun(row: Noun) -> dict[str, Any]:
    """Return what every noun tells."""
    return {
        "id": row.public_id,
        "version": row.version,
        "created_at": row.created_at,
        "updated_at": row.updated_at,
    }


def named(row: Noun) -> Named:
    """Return a noun in short."""
    return Named(id=row.public_id, name=str(row))


def named_if_any(row: Noun | None) -> Named | None:
    """Return a noun in short, or None."""
    return None if row is None else named(row)
