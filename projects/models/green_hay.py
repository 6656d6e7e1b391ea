"""Green hay: cut on a donor meadow and spread on bare ground the same day."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from projects import choices
from projects.models.base import Noun, known
from projects.models.donors import DonorMeadow
from projects.models.groups import Group
from projects.models.meadows import MeadowProject
from projects.models.networks import Network
from projects.models.people import User


class GreenHayDay(Noun):
    """A strip of a donor meadow, cut one day, and the ground it is spread on."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="green_hay_days")
    donor = models.ForeignKey(DonorMeadow, on_delete=models.PROTECT, related_name="green_hay_days")
    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="green_hay_days")
    project = models.ForeignKey(MeadowProject, on_delete=models.PROTECT, related_name="green_hay_days")
    #: of the strip that is cut, and of the ground it is spread on
    donor_dm2 = models.PositiveBigIntegerField()
    receptor_dm2 = models.PositiveBigIntegerField()
    cut_on = models.DateField()
    spread_on = models.DateField()
    #: from the cut to the last forkful spread: as planned, and once done as it was
    minutes_to_spread = models.PositiveIntegerField()
    trailers = models.PositiveSmallIntegerField(default=0)
    people = models.PositiveSmallIntegerField(default=0)
    state = models.CharField(max_length=20, choices=choices.GreenHayState, default=choices.GreenHayState.PLANNED)
    #: why it was called off
    because = models.CharField(max_length=200, blank=True)
    note = models.CharField(max_length=500, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["created_at", "public_id"]
        verbose_name = "day of green hay"
        constraints = [
            known("state", choices.GreenHayState, "green_hay_state_known"),
            models.CheckConstraint(condition=Q(spread_on__gte=F("cut_on")), name="green_hay_spread_after_cut"),
            models.CheckConstraint(condition=Q(donor_dm2__gt=0, receptor_dm2__gt=0), name="green_hay_areas_positive"),
        ]
        indexes = [models.Index(fields=["donor", "cut_on"], name="green_hay_by_donor")]

    def __str__(self) -> str:
        return f"green hay of {self.cut_on:%d %B %Y}"
