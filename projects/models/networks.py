"""A county's network: its districts and villages, and who holds it together."""

from __future__ import annotations

from typing import Any

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower
from django.utils import timezone

from projects import choices
from projects.models.base import Noun, known
from projects.models.people import User


class Network(Noun):
    """The groups of one county and the charity that helps them."""

    name = models.CharField(max_length=120)
    slug = models.SlugField(max_length=60, unique=True)
    about = models.TextField(max_length=4000, blank=True)
    #: seed of what the county's sites share: weather, species, work rates
    world_seed = models.PositiveBigIntegerField(default=1)
    #: list of rings, each a list of [easting, northing] in metres; empty if there is none
    outline: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)
    #: what records of the network's meadows go out under
    licence = models.CharField(max_length=20, choices=choices.Licence, default=choices.Licence.CC_BY)

    class Meta:
        ordering = ["name", "id"]
        constraints = [known("licence", choices.Licence, "network_licence_known")]

    def __str__(self) -> str:
        return self.name


class ShieldedTaxon(Noun):
    """A plant whose places a network tells by a coarser square only, lest it be dug up or trampled."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="shielded_taxa")
    #: key of the plant
    taxon = models.CharField(max_length=80)
    side_m = models.PositiveIntegerField(choices=choices.ShieldSide)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["network", "taxon"], name="shielded_once_a_network"),
            models.CheckConstraint(
                condition=Q(side_m__in=choices.ShieldSide.values), name="shielded_by_a_known_square"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.taxon} by squares of {self.side_m} m"


class District(Noun):
    """A part of a county."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="districts")
    name = models.CharField(max_length=120)
    #: as a network's
    outline: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            models.UniqueConstraint(F("network"), Lower("name"), name="district_name_once_per_network"),
        ]

    def __str__(self) -> str:
        return self.name


class Village(Noun):
    """A named place, known to the kilometre: all that need be told of where a private site lies."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="villages")
    district = models.ForeignKey(District, on_delete=models.PROTECT, null=True, blank=True, related_name="villages")
    name = models.CharField(max_length=120)
    #: south-west corner of its square of 1 km
    easting_m = models.PositiveIntegerField()
    northing_m = models.PositiveIntegerField()

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            models.UniqueConstraint(F("network"), Lower("name"), name="village_name_once_per_network"),
        ]

    def __str__(self) -> str:
        return self.name


class NetworkMembership(models.Model):
    """What somebody is in a network, and since when."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="staff")
    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="network_roles")
    role = models.CharField(max_length=20, choices=choices.NetworkRole)
    since = models.DateTimeField(default=timezone.now)
    until = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["network", "user", "role"],
                condition=Q(until__isnull=True),
                name="network_role_held_once",
            ),
            known("role", choices.NetworkRole, "network_role_known"),
        ]

    def __str__(self) -> str:
        return f"{self.user} as {self.role} of {self.network}"
