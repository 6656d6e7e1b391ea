"""Handing over: what whoever comes next has to know, written down once and never changed."""

from __future__ import annotations

from datetime import datetime
from typing import Final
from uuid import UUID, uuid4

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from projects.choices import NetworkRole
from projects.contracts.handovers import HandoverNew
from projects.models import Group, Handover, MeadowProject
from projects.rules.access import Actor, demand, visible_projects
from projects.services.audit import record
from projects.services.base import found, save_new

TEXTS: Final = ("things", "way_in", "promised", "fixed_spots", "went_wrong")


def group_hand_over(*, actor: Actor, group_id: UUID, asked: HandoverNew, now: datetime) -> tuple[Handover, bool]:
    """Write down a handover of a group as a whole; with the same submission id again, give the one there is.

    Returns
    -------
    tuple
        The handover, and whether it is new.
    """
    with transaction.atomic():
        group = found(Group, Q(closed_at__isnull=True), group_id, "group", hold=True)
        return _written(actor, group, None, asked, now)


def project_hand_over(*, actor: Actor, project_id: UUID, asked: HandoverNew, now: datetime) -> tuple[Handover, bool]:
    """Write down a handover of one project; like `group_hand_over`."""
    with transaction.atomic():
        project = found(MeadowProject, visible_projects(actor), project_id, "project", hold=True, with_=("group",))
        return _written(actor, project.group, project, asked, now)


def _written(
    actor: Actor, group: Group, project: MeadowProject | None, asked: HandoverNew, now: datetime
) -> tuple[Handover, bool]:
    demand(actor, "handover.write", group_id=group.pk, network_id=group.network_id)
    if asked.submission_id is not None:
        there = Handover.objects.filter(group=group, submission_id=asked.submission_id).first()
        if there is not None:
            return there, False
    row = save_new(
        Handover(
            network_id=group.network_id,
            group=group,
            project=project,
            submission_id=asked.submission_id or uuid4(),
            written_on=timezone.localdate(now),
            by_role=actor.groups.get(group.pk, NetworkRole.COORDINATOR),
            dates=[entry.model_dump(mode="json") for entry in asked.dates],
            created_by_id=actor.user_id,
            created_at=now,
            updated_at=now,
            **{name: getattr(asked, name) for name in TEXTS},
        )
    )
    # no words of it: they may name somebody
    told = [name for name in (*TEXTS, "dates") if getattr(row, name)]
    record(
        actor, now, "hand_over", "handover", row.public_id, network=group.network_id, group=group,
        after={"project": str(project.public_id) if project else None, "by_role": row.by_role, "told": told},
    )  # fmt: skip
    return row, True
