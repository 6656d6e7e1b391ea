"""Groups and who belongs to them."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower
from django.utils import timezone

from projects import choices
from projects.models.base import Noun, known
from projects.models.networks import District, Network
from projects.models.people import User


class Group(Noun):
    """Neighbours who make meadows together."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="groups")
    district = models.ForeignKey(District, on_delete=models.PROTECT, null=True, blank=True, related_name="groups")
    name = models.CharField(max_length=120)
    about = models.TextField(max_length=4000, blank=True)
    #: how strangers reach the group, in its own words; shown to everybody
    contact = models.CharField(max_length=200, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            models.UniqueConstraint(F("network"), Lower("name"), name="group_name_once_per_network"),
        ]

    def __str__(self) -> str:
        return self.name


class Membership(Noun):
    """What somebody is in a group, and since when. Nobody holds two roles at once."""

    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="memberships")
    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="memberships")
    role = models.CharField(max_length=20, choices=choices.GroupRole)
    since = models.DateTimeField(default=timezone.now)
    until = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["group", "user"], condition=Q(until__isnull=True), name="membership_once_at_a_time"
            ),
            known("role", choices.GroupRole, "membership_role_known"),
        ]

    def __str__(self) -> str:
        return f"{self.user} in {self.group}"
