"""The record of who did what."""

from datetime import datetime
from typing import Any
from uuid import UUID

from projects.api.v1.answers.base import Answer, Named, named_if_any
from projects.models import AuditEntry


class AuditAnswer(Answer):
    """One act."""

    at: datetime
    by: str
    """Empty for the server itself; a person who has left is told by a number."""
    via: str
    act: str
    noun: str
    object_id: UUID
    group: Named | None
    before: dict[str, Any] | None
    """What stood there, of what changed."""
    after: dict[str, Any] | None


def audit_answer(row: AuditEntry) -> dict[str, Any]:
    found = AuditAnswer(
        at=row.at,
        by=str(row.actor) if row.actor else "",
        via=row.via,
        act=row.act,
        noun=row.noun,
        object_id=row.object_id,
        group=named_if_any(row.group),
        before=row.before,
        after=row.after,
    )
    return found.model_dump(mode="json")
