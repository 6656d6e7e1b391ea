"""Donor meadows: where seed is taken, what grows there, and what was agreed with whoever owns the ground."""

from __future__ import annotations

from typing import Any

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from projects import choices
from projects.models.base import Noun, known
from projects.models.networks import Network, Village
from projects.models.people import User
from projects.models.sites import Site

#: a day of any year, such as 07-15; the order of these texts is that of the days
DAY_OF_YEAR = 5


class DonorMeadow(Noun):
    """Ground that seed is taken from: a site of the network, or a place that nobody in it owns."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="donors")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, null=True, blank=True, related_name="donors")
    name = models.CharField(max_length=120)
    #: all that is told of where it lies, apart from a site of the network
    village = models.ForeignKey(Village, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    habitat = models.CharField(max_length=20, choices=choices.DonorHabitat)
    area_dm2 = models.PositiveBigIntegerField()
    #: weeds seen there, as people wrote them
    weeds: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)
    note = models.CharField(max_length=500, blank=True)
    #: who owns it and how they are reached: for the coordinators alone
    owner = models.CharField(max_length=120, blank=True)
    owner_contact = models.CharField(max_length=300, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["name", "id"]
        verbose_name = "donor meadow"
        constraints = [
            models.UniqueConstraint(F("network"), Lower("name"), name="donor_name_once_per_network"),
            models.CheckConstraint(condition=Q(area_dm2__gt=0), name="donor_area_positive"),
            known("habitat", choices.DonorHabitat, "donor_habitat_known"),
        ]
        indexes = [models.Index(fields=["network", "created_at", "public_id"], name="donor_by_network")]

    def __str__(self) -> str:
        return self.name


class DonorPlant(models.Model):
    """One kind that grows on a donor meadow, and how much of it."""

    donor = models.ForeignKey(DonorMeadow, on_delete=models.CASCADE, related_name="plants")
    #: key of the model's plant list
    taxon = models.CharField(max_length=80)
    #: of the ground, at flowering
    cover_percent = models.FloatField()

    class Meta:
        ordering = ["-cover_percent", "taxon"]
        constraints = [
            models.UniqueConstraint(fields=["donor", "taxon"], name="donor_plant_once"),
            models.CheckConstraint(condition=Q(cover_percent__gt=0, cover_percent__lte=100), name="donor_cover_share"),
        ]

    def __str__(self) -> str:
        return self.taxon


class DonorAgreement(Noun):
    """What was agreed in writing: when, where and how seed may be taken, and what the owner wants back."""

    donor = models.ForeignKey(DonorMeadow, on_delete=models.PROTECT, related_name="agreements")
    signed_on = models.DateField()
    starts_on = models.DateField()
    ends_on = models.DateField()
    #: each year from and until, as 07-01
    window_opens = models.CharField(max_length=DAY_OF_YEAR)
    window_closes = models.CharField(max_length=DAY_OF_YEAR)
    part = models.CharField(max_length=300, blank=True)
    #: that may be harvested in a year
    area_dm2 = models.PositiveBigIntegerField()
    #: words of `choices.HarvestMethod`
    methods: models.JSONField[Any, Any] = models.JSONField(default=list)
    wants_back = models.CharField(max_length=300, blank=True)
    #: each year by when the hay has to be cut all the same, as 08-15; empty for no such day
    cut_by = models.CharField(max_length=DAY_OF_YEAR, blank=True)
    #: what else had to be agreed, and by which office
    consents: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)
    #: whether the network's groups may know that this meadow gave their seed
    name_told = models.BooleanField(default=False)
    ended_on = models.DateField(null=True, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["-starts_on", "-id"]
        verbose_name = "agreement"
        constraints = [
            models.CheckConstraint(condition=Q(ends_on__gte=F("starts_on")), name="agreement_ends_after_it_begins"),
            models.CheckConstraint(
                condition=Q(window_closes__gte=F("window_opens")), name="agreement_window_closes_after_it_opens"
            ),
            models.CheckConstraint(condition=Q(area_dm2__gt=0), name="agreement_area_positive"),
        ]

    def __str__(self) -> str:
        return f"agreement of {self.signed_on}"
