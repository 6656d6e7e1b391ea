"""The ground: what it is, what was measured there, and how precisely it may be shown."""

from __future__ import annotations

from typing import Any

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from projects import choices
from projects.models.base import Noun, known
from projects.models.groups import Group
from projects.models.networks import District, Network

_WORD = 30


class Site(Noun):
    """One piece of ground of one group. Where exactly it lies stands in SitePlace; here is only what may be shown."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="sites")
    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="sites")
    district = models.ForeignKey(District, on_delete=models.PROTECT, null=True, blank=True, related_name="sites")
    name = models.CharField(max_length=120)
    village = models.CharField(max_length=120, blank=True)
    kind = models.CharField(max_length=_WORD)
    #: square decimetres
    area_dm2 = models.PositiveBigIntegerField()
    net_area_dm2 = models.PositiveBigIntegerField(null=True, blank=True)
    gate_width_cm = models.PositiveIntegerField(null=True, blank=True)
    access_note = models.CharField(max_length=300, blank=True)
    slope_degrees = models.FloatField(null=True, blank=True)
    wetness = models.CharField(max_length=_WORD, blank=True)
    shade = models.CharField(max_length=_WORD, blank=True)
    sward = models.CharField(max_length=_WORD, blank=True)
    last_use = models.CharField(max_length=_WORD, blank=True)
    resident_species_per_m2 = models.FloatField(null=True, blank=True)
    standing_crop_g_per_m2 = models.FloatField(null=True, blank=True)
    #: words of the vocabulary of the model
    existing_interest: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)
    #: names as people wrote them
    resident_species: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)
    #: as stated by the group; where it is not, the nearest known to the network is looked for
    distance_to_flower_rich_m = models.PositiveIntegerField(null=True, blank=True)
    publicity = models.CharField(max_length=20, choices=choices.Publicity)
    #: the square that may be shown, by its south-west corner and side; none for a private site
    shown_easting_m = models.PositiveIntegerField(null=True, blank=True)
    shown_northing_m = models.PositiveIntegerField(null=True, blank=True)
    shown_side_m = models.PositiveIntegerField(null=True, blank=True)
    #: the same square as `geography.in_degrees` has it
    shown_degrees: models.JSONField[Any, Any] = models.JSONField(null=True, blank=True)

    class Meta:
        ordering = ["created_at", "public_id"]
        constraints = [
            models.UniqueConstraint(F("group"), Lower("name"), name="site_name_once_per_group"),
            models.CheckConstraint(condition=Q(area_dm2__gt=0), name="site_area_positive"),
            models.CheckConstraint(
                condition=Q(net_area_dm2__isnull=True) | Q(net_area_dm2__gt=0, net_area_dm2__lte=F("area_dm2")),
                name="site_net_area_within_area",
            ),
            known("publicity", choices.Publicity, "site_publicity_known"),
            models.CheckConstraint(
                condition=Q(
                    publicity="private",
                    shown_easting_m__isnull=True,
                    shown_northing_m__isnull=True,
                    shown_side_m__isnull=True,
                    shown_degrees__isnull=True,
                )
                | (
                    ~Q(publicity="private")
                    & Q(
                        shown_easting_m__isnull=False,
                        shown_northing_m__isnull=False,
                        shown_side_m__isnull=False,
                        shown_degrees__isnull=False,
                    )
                ),
                name="site_shown_unless_private",
            ),
        ]
        indexes = [
            models.Index(fields=["network", "created_at", "public_id"], name="site_by_network"),
            models.Index(fields=["created_at", "public_id"], name="site_by_age"),
        ]

    def __str__(self) -> str:
        return self.name


class SiteZone(models.Model):
    """A part of a site that is treated as one."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="zones")
    name = models.CharField(max_length=40)
    area_dm2 = models.PositiveBigIntegerField()
    sward = models.CharField(max_length=_WORD, blank=True)
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(F("site"), Lower("name"), name="zone_name_once_per_site"),
            models.CheckConstraint(condition=Q(area_dm2__gt=0), name="zone_area_positive"),
        ]

    def __str__(self) -> str:
        return self.name


class SoilTest(Noun):
    """What a laboratory or a kit found in a site's soil."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="soil_tests")
    taken_on = models.DateField()
    olsen_p_mg_per_l = models.FloatField(null=True, blank=True)
    soil_p_index = models.PositiveSmallIntegerField(null=True, blank=True)
    soil_ph = models.FloatField(null=True, blank=True)
    laboratory = models.CharField(max_length=120, blank=True)
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-taken_on", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(olsen_p_mg_per_l__isnull=False) | Q(soil_p_index__isnull=False) | Q(soil_ph__isnull=False),
                name="soil_test_found_something",
            ),
        ]

    def __str__(self) -> str:
        return f"soil test of {self.taken_on}"


class OtherFunding(Noun):
    """Money from elsewhere for the same ground."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="other_funding")
    funder = models.CharField(max_length=120)
    what_for = models.CharField(max_length=300)
    amount_pence = models.PositiveBigIntegerField(null=True, blank=True)
    starts_on = models.DateField(null=True, blank=True)
    ends_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(starts_on__isnull=True) | Q(ends_on__isnull=True) | Q(ends_on__gte=F("starts_on")),
                name="other_funding_ends_after_start",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.funder}: {self.what_for}"
