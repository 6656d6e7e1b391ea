"""Whose word a site needs, and whether it has been given."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from projects import choices
from projects.models.base import Noun, known
from projects.models.sites import Site


class Permission(Noun):
    """One permission of one site. What it is about stands in the model's table of permissions under its key."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="permissions")
    key = models.CharField(max_length=60)
    #: where the group added one of its own; else the table has it
    label = models.CharField(max_length=200, blank=True)
    need = models.CharField(max_length=20, choices=choices.Need, default=choices.Need.UNKNOWN)
    state = models.CharField(max_length=20, choices=choices.PermissionState, default=choices.PermissionState.NOT_ASKED)
    asked_on = models.DateField(null=True, blank=True)
    answered_on = models.DateField(null=True, blank=True)
    expires_on = models.DateField(null=True, blank=True)
    #: office rather than name
    signed_by = models.CharField(max_length=120, blank=True)
    reference = models.CharField(max_length=120, blank=True)
    note = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["site", "key"], name="permission_once_per_site"),
            known("need", choices.Need, "permission_need_known"),
            known("state", choices.PermissionState, "permission_state_known"),
            models.CheckConstraint(
                condition=~Q(state__in=["given", "refused"]) | Q(answered_on__isnull=False),
                name="permission_answer_has_a_day",
            ),
            models.CheckConstraint(condition=~Q(state="given") | ~Q(signed_by=""), name="permission_given_is_signed"),
            models.CheckConstraint(
                condition=Q(expires_on__isnull=True)
                | Q(answered_on__isnull=True)
                | Q(expires_on__gte=F("answered_on")),
                name="permission_expires_after_answer",
            ),
        ]

    def __str__(self) -> str:
        return self.label or self.key
