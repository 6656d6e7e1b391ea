"""The record of who did what."""

from __future__ import annotations

from django.db.models import Q, QuerySet

from projects.choices import GroupRole, NetworkRole
from projects.models import AuditEntry, Bid
from projects.rules.access import Actor, near


def audit_list(actor: Actor) -> QuerySet[AuditEntry]:
    """Acts in the groups the actor leads and the networks they coordinate."""
    leads = [group for group, role in actor.groups.items() if role == GroupRole.LEAD]
    networks = actor.networks_as(NetworkRole.COORDINATOR)
    if "read" not in actor.scopes:
        return AuditEntry.objects.none()
    # a bid that somebody is near to does not exist for them, nor does what was done about it
    hidden = Bid.objects.filter(near(actor), network__in=networks).values("public_id")
    own = Q(group__in=leads) | (Q(network__in=networks) & ~Q(object_id__in=hidden))
    return AuditEntry.objects.filter(own).select_related("actor", "group")
