"""Who did what, when: written in the act's own transaction, never changed."""

from __future__ import annotations

from typing import Any

from django.db import models
from django.utils import timezone

from modelling.models import Fixed
from projects import choices
from projects.models.groups import Group
from projects.models.networks import Network
from projects.models.people import User


class AuditEntry(Fixed):
    """One act. Holds no exact place, no address and no name of a person: those are looked up, and can be erased."""

    at = models.DateTimeField(default=timezone.now)
    actor = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="+")
    via = models.CharField(max_length=10, choices=choices.Via)
    #: name of the service, such as site_change
    act = models.CharField(max_length=60)
    noun = models.CharField(max_length=40)
    object_id = models.UUIDField()
    network = models.ForeignKey(Network, on_delete=models.PROTECT, null=True, related_name="+")
    group = models.ForeignKey(Group, on_delete=models.PROTECT, null=True, related_name="+")
    before: models.JSONField[Any, Any] = models.JSONField(null=True)
    after: models.JSONField[Any, Any] = models.JSONField(null=True)

    class Meta:
        ordering = ["-id"]
        verbose_name = "audit entry"
        indexes = [
            models.Index(fields=["group", "-id"], name="audit_by_group"),
            models.Index(fields=["object_id", "-id"], name="audit_by_object"),
        ]

    def __str__(self) -> str:
        return f"{self.act} {self.object_id}"
