"""Where a site exactly lies. Read by `selectors.places` alone; all else sees the square on the site itself."""

from __future__ import annotations

from typing import Any

from django.db import models
from django.db.models import Q

from projects import choices
from projects.models.base import known
from projects.models.sites import Site


class SitePlace(models.Model):
    """The exact place of one site, on the British National Grid."""

    site = models.OneToOneField(Site, on_delete=models.CASCADE, related_name="+")
    given = models.CharField(max_length=20, choices=choices.PlaceGiven)
    #: as it was typed, for people who know it that way
    said = models.CharField(max_length=80, blank=True)
    easting_m = models.FloatField()
    northing_m = models.FloatField()
    #: side of the square that was given, 1 for a point or an outline
    side_m = models.PositiveIntegerField(default=1)
    #: closed ring of [easting, northing], metres; empty if no outline was given
    outline: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)

    #: the place as `geography.in_degrees` has it
    degrees: models.JSONField[Any, Any] = models.JSONField()

    class Meta:
        ordering = ["id"]
        constraints = [
            known("given", choices.PlaceGiven, "place_given_known"),
            models.CheckConstraint(
                condition=Q(easting_m__gte=0, easting_m__lte=700_000, northing_m__gte=0, northing_m__lte=1_300_000),
                name="place_on_the_grid",
            ),
        ]

    def __str__(self) -> str:
        return f"place of site {self.site_id}"
