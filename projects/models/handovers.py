"""What somebody who led writes down for whoever comes next."""

from __future__ import annotations

import uuid
from typing import Any

from django.db import models
from django.db.models import Q

from projects.choices import GroupRole, NetworkRole
from projects.models.base import Noun
from projects.models.groups import Group
from projects.models.meadows import MeadowProject
from projects.models.networks import Network
from projects.models.people import User


class Handover(Noun):
    """A dated note about a group, or about one of its projects. It is never changed: a later one stands beside it."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="handovers")
    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="handovers")
    #: empty where it is about the group as a whole
    project = models.ForeignKey(
        MeadowProject, on_delete=models.PROTECT, null=True, blank=True, related_name="handovers"
    )
    #: made by whoever sends it, so that sending it again changes nothing
    submission_id = models.UUIDField(default=uuid.uuid4)
    written_on = models.DateField()
    #: what the author was to the group on that day
    by_role = models.CharField(max_length=20)
    things = models.TextField(max_length=600, blank=True)
    way_in = models.TextField(max_length=600, blank=True)
    promised = models.TextField(max_length=600, blank=True)
    fixed_spots = models.TextField(max_length=600, blank=True)
    went_wrong = models.TextField(max_length=600, blank=True)
    #: what to look after next: a list of {"on": day or null, "what": text}
    dates: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["-written_on", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["group", "submission_id"], name="handover_sent_once"),
            models.CheckConstraint(
                condition=Q(by_role__in=[*GroupRole.values, NetworkRole.COORDINATOR]), name="handover_role_known"
            ),
        ]

    def __str__(self) -> str:
        return f"handover of {self.written_on:%d %B %Y}"
