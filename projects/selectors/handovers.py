"""Reads of handovers."""

from __future__ import annotations

from uuid import UUID

from django.db.models import QuerySet

from projects.choices import GroupRole
from projects.errors import NotFound
from projects.models import Group, Handover, MeadowProject, User
from projects.rules.access import Actor, demand, visible_inner


def handover_list(actor: Actor) -> QuerySet[Handover]:
    """Handovers the actor may read."""
    return Handover.objects.filter(visible_inner(actor)).select_related("group__network", "project")


def handover_get(actor: Actor, public_id: UUID) -> Handover:
    """One handover; raises NotFound."""
    row = handover_list(actor).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no handover {public_id}, or none that you may see.")
    return row


def handovers_of(actor: Actor, group: Group) -> QuerySet[Handover]:
    """Handovers of a group and of its projects, the latest first; raises NotAllowed for strangers."""
    demand(actor, "handover.read", group_id=group.pk, network_id=group.network_id)
    return handover_list(actor).filter(group=group).order_by("-written_on", "-pk")


def handovers_of_project(actor: Actor, project: MeadowProject) -> QuerySet[Handover]:
    """Handovers of one project, the latest first; raises NotAllowed for strangers."""
    demand(actor, "handover.read", group_id=project.group_id, network_id=project.network_id)
    return handover_list(actor).filter(project=project).order_by("-written_on", "-pk")


def unwritten_of(user: User) -> list[Group]:
    """Groups that somebody leads without having written down a handover since they joined."""
    held = user.memberships.filter(role=GroupRole.LEAD, until__isnull=True, group__closed_at__isnull=True)
    return [
        row.group
        for row in held.select_related("group").order_by("group__name")
        if not row.group.handovers.filter(created_by=user, created_at__gte=row.since).exists()
    ]
