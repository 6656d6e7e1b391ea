"""Harvests: one day of taking seed from a donor meadow."""

from __future__ import annotations

import uuid
from typing import Any

from django.db import models
from django.db.models import Q

from projects import choices
from projects.models.base import Noun, known
from projects.models.donors import DonorAgreement, DonorMeadow
from projects.models.groups import Group
from projects.models.networks import Network
from projects.models.people import User


class Harvest(Noun):
    """What was taken on one day, as it was weighed fresh. It makes one lot."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="harvests")
    donor = models.ForeignKey(DonorMeadow, on_delete=models.PROTECT, related_name="harvests")
    agreement = models.ForeignKey(
        DonorAgreement, on_delete=models.PROTECT, null=True, blank=True, related_name="harvests"
    )
    #: who went out; empty for the network itself
    group = models.ForeignKey(Group, on_delete=models.PROTECT, null=True, blank=True, related_name="harvests")
    #: made by whoever sends it, so that sending it again changes nothing
    submission_id = models.UUIDField(default=uuid.uuid4)
    on = models.DateField()
    method = models.CharField(max_length=20, choices=choices.HarvestMethod)
    area_dm2 = models.PositiveBigIntegerField()
    #: hours of people and of the machine
    person_minutes = models.PositiveIntegerField(default=0)
    machine_minutes = models.PositiveIntegerField(default=0)
    fresh_mg = models.PositiveBigIntegerField()
    weather = models.CharField(max_length=200, blank=True)
    note = models.CharField(max_length=500, blank=True)
    #: codes of what spoke against it on the day
    cautions: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)
    #: why it was done all the same
    reason = models.CharField(max_length=300, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["-on", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["donor", "submission_id"], name="harvest_sent_once"),
            models.CheckConstraint(condition=Q(area_dm2__gt=0, fresh_mg__gt=0), name="harvest_took_something"),
            known("method", choices.HarvestMethod, "harvest_method_known"),
        ]
        indexes = [
            models.Index(fields=["network", "created_at", "public_id"], name="harvest_by_network"),
            models.Index(fields=["donor", "on"], name="harvest_by_donor"),
        ]

    def __str__(self) -> str:
        return f"harvest of {self.on}"
