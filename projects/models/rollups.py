"""Sums kept beside agreed returns, so that a county's figures need not read every record; and what is said of
private sites.
"""

from __future__ import annotations

from typing import Any

from django.db import models
from django.db.models import Q
from django.utils import timezone

from modelling.models import Fixed
from projects import choices
from projects.models.base import known
from projects.models.groups import Group
from projects.models.meadows import MeadowProject
from projects.models.networks import District, Network
from projects.models.people import User
from projects.models.returns import OutcomeReturn, ReturnVersion
from projects.models.sites import Site

_WORD = 30


class ReturnRollup(models.Model):
    """One agreed return: what tells its meadow apart from others, and sums that suffice for every figure.

    Nothing here is a record: all of it can be made again from the rows it stands for.
    """

    outcome = models.OneToOneField(OutcomeReturn, on_delete=models.CASCADE, related_name="rollup")
    counted = models.ForeignKey(ReturnVersion, on_delete=models.PROTECT, related_name="+")
    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="+")
    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="+")
    district = models.ForeignKey(District, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+")
    project = models.ForeignKey(MeadowProject, on_delete=models.PROTECT, related_name="+")
    #: whether the owner lets the place be shown at some precision
    open = models.BooleanField()
    kind = models.CharField(max_length=_WORD)
    sward = models.CharField(max_length=_WORD, blank=True)
    #: phosphorus index, 0 to 9; empty where nobody has tested
    soil_band = models.CharField(max_length=_WORD, blank=True)
    method = models.CharField(max_length=_WORD, choices=choices.Way)
    seed_source = models.CharField(max_length=_WORD, choices=choices.SeedSource)
    #: names of those whose grants paid for it, in their order
    funders: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)
    year = models.PositiveSmallIntegerField()
    sown_year = models.PositiveSmallIntegerField(null=True, blank=True)
    area_dm2 = models.PositiveBigIntegerField()
    answered = models.CharField(max_length=_WORD)
    #: quadrats of one square metre in the sown part, kinds counted in them and the squares of those counts
    quadrats = models.PositiveIntegerField(default=0)
    species_sum = models.PositiveIntegerField(default=0)
    species_squares = models.PositiveIntegerField(default=0)
    #: thousandths of a plant in a square metre
    rattle_milli = models.PositiveBigIntegerField(null=True, blank=True)
    forb_class = models.CharField(max_length=_WORD, blank=True)
    sward_class = models.CharField(max_length=_WORD, choices=choices.SwardClass)
    course = models.CharField(max_length=_WORD, choices=choices.Course)
    #: kinds in a square metre as forecast for this summer, as groups usually manage
    forecast_p10 = models.FloatField(null=True, blank=True)
    forecast_p50 = models.FloatField(null=True, blank=True)
    forecast_p90 = models.FloatField(null=True, blank=True)
    #: as the return says; none where it does not
    cash_pence = models.PositiveBigIntegerField(null=True, blank=True)
    person_minutes = models.PositiveBigIntegerField(null=True, blank=True)
    machine_minutes = models.PositiveBigIntegerField(null=True, blank=True)
    heads = models.PositiveIntegerField(null=True, blank=True)
    events = models.PositiveIntegerField(default=0)
    event_heads = models.PositiveIntegerField(default=0)
    #: as the work diary of the year says, lines struck out left out
    diary_lines = models.PositiveIntegerField(default=0)
    diary_cash_pence = models.PositiveBigIntegerField(default=0)
    diary_in_kind_pence = models.PositiveBigIntegerField(default=0)
    diary_person_minutes = models.PositiveBigIntegerField(default=0)
    diary_machine_minutes = models.PositiveBigIntegerField(default=0)
    updated_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["id"]
        verbose_name = "sums of a return"
        constraints = [
            known("method", choices.Way, "rollup_method_known"),
            known("seed_source", choices.SeedSource, "rollup_seed_source_known"),
            known("sward_class", choices.SwardClass, "rollup_sward_class_known"),
            known("course", choices.Course, "rollup_course_known"),
            models.CheckConstraint(
                condition=Q(quadrats__gt=0) | Q(species_sum=0, species_squares=0), name="rollup_counts_in_quadrats"
            ),
        ]
        indexes = [models.Index(fields=["network", "year", "open"], name="rollup_by_year")]

    def __str__(self) -> str:
        return f"sums of return {self.outcome_id}"


class PrivateYear(Fixed):
    """All that everybody is told of a network's private sites in one year: one rounded number, once."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="private_years")
    year = models.PositiveSmallIntegerField()
    #: private sites with a meadow that had a summer, to the nearest five; none where there were too few to say
    meadows_rounded = models.PositiveIntegerField(null=True, blank=True)
    #: day from which it is told
    released_on = models.DateField()
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["network", "year"]
        verbose_name = "private sites of a year"
        constraints = [models.UniqueConstraint(fields=["network", "year"], name="private_year_frozen_once")]

    def __str__(self) -> str:
        return f"private sites of {self.year}"
