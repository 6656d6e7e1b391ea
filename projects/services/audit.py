"""The audit: one entry for each act, written in the act's own transaction."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Final
from uuid import UUID

from django.db import models

from projects.models import AuditEntry, Group, Network
from projects.rules.access import Actor

#: what no entry repeats: keys and counters, what tells who somebody is, and where a site lies: what is shown today may
#: be private tomorrow, and an entry stays
_LEFT_OUT: Final = frozenset(
    {"id", "public_id", "version", "created_at", "updated_at", "email", "name_of_person", "password", "digest"}
    | {"shown_easting_m", "shown_northing_m", "shown_degrees", "village"}
)
_PERSONAL: Final = {
    "User": frozenset({"name", "last_login"}),
    "ApiToken": frozenset({"name", "begins"}),
    # how strangers reach a group is an address or a number of one of its people
    "Group": frozenset({"contact"}),
}
LONGEST: Final = 400


def snapshot(row: models.Model) -> dict[str, Any]:
    """A row's fields as plain values, without what an audit must not hold."""
    personal = _PERSONAL.get(type(row).__name__, frozenset())
    return {
        field.attname: _plain(getattr(row, field.attname))
        for field in row._meta.concrete_fields
        if field.attname not in _LEFT_OUT | personal
    }


def _plain(value: Any) -> Any:
    if isinstance(value, bool | int | float) or value is None:
        return value
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value][:40]
    return str(value)[:LONGEST]


def record(
    actor: Actor,
    now: datetime,
    act: str,
    noun: str,
    object_id: UUID,
    *,
    network: Network | int | None = None,
    group: Group | int | None = None,
    before: dict[str, Any] | None = None,
    after: dict[str, Any] | None = None,
) -> None:
    """Add the entry of an act; of what stood before and after, only what differs is kept."""
    if before is not None and after is not None:
        changed = {key for key in before.keys() | after.keys() if before.get(key) != after.get(key)}
        before = {key: before[key] for key in sorted(changed & before.keys())}
        after = {key: after[key] for key in sorted(changed & after.keys())}
    AuditEntry(
        at=now,
        actor_id=actor.user_id,
        via=actor.via,
        act=act,
        noun=noun,
        object_id=object_id,
        network_id=network.pk if isinstance(network, Network) else network,
        group_id=group.pk if isinstance(group, Group) else group,
        before=before,
        after=after,
    ).save()
