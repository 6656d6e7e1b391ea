"""The record of who did what."""

from __future__ import annotations

from django.db.models import Q, QuerySet

from projects.choices import GroupRole, NetworkRole
from projects.models import AuditEntry
from projects.rules.access import Actor


def audit_list(actor: Actor) -> QuerySet[AuditEntry]:
    """Acts in the groups the actor leads and the networks they coordinate."""
    leads = [group for group, role in actor.groups.items() if role == GroupRole.LEAD]
    networks = actor.networks_as(NetworkRole.COORDINATOR)
    if "read" not in actor.scopes:
        return AuditEntry.objects.none()
    return AuditEntry.objects.filter(Q(group__in=leads) | Q(network__in=networks)).select_related("actor", "group")
