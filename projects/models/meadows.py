"""Meadow projects: a site, a plan in versions, a stage, stored forecasts."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q
from django.utils import timezone

from modelling.models import Fixed, ModelRun
from projects import choices
from projects.models.base import Noun, known
from projects.models.groups import Group
from projects.models.networks import Network
from projects.models.people import User
from projects.models.sites import Site


class MeadowProject(Noun):
    """The making of one meadow."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="projects")
    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="projects")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="projects")
    name = models.CharField(max_length=120)
    stage = models.CharField(max_length=20, choices=choices.Stage, default=choices.Stage.IDEA)
    #: day from which the stage holds
    stage_since = models.DateField()
    prepared_on = models.DateField(null=True, blank=True)
    sown_on = models.DateField(null=True, blank=True)
    cause = models.CharField(max_length=20, choices=choices.Cause, blank=True)
    #: who looks after the meadow now, where it was handed over
    handed_to = models.CharField(max_length=120, blank=True)
    #: the forecast that held when it was sown; once set it stays
    baseline = models.OneToOneField(
        "projects.Forecast", on_delete=models.PROTECT, null=True, blank=True, related_name="baseline_of"
    )

    class Meta:
        ordering = ["created_at", "public_id"]
        constraints = [
            known("stage", choices.Stage, "project_stage_known"),
            models.CheckConstraint(
                condition=Q(cause="") | Q(cause__in=choices.Cause.values), name="project_cause_known"
            ),
            models.CheckConstraint(
                condition=~Q(stage__in=["failed", "lapsed"]) | ~Q(cause=""), name="project_end_has_a_cause"
            ),
            models.CheckConstraint(
                condition=~Q(stage="handed_over") | ~Q(handed_to=""), name="project_handed_to_somebody"
            ),
            models.CheckConstraint(
                condition=~Q(stage__in=["sown", "aftercare", "resown"]) | Q(sown_on__isnull=False),
                name="project_sown_on_a_day",
            ),
            models.CheckConstraint(
                condition=Q(baseline__isnull=True) | Q(sown_on__isnull=False), name="project_baseline_once_sown"
            ),
        ]
        indexes = [
            models.Index(fields=["network", "created_at", "public_id"], name="project_by_network"),
            models.Index(fields=["network", "stage"], name="project_by_stage"),
            models.Index(fields=["created_at", "public_id"], name="project_by_age"),
        ]

    def __str__(self) -> str:
        return self.name


class PlanVersion(Fixed):
    """A plan as it was at some time. A changed plan is a new row."""

    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    project = models.ForeignKey(MeadowProject, on_delete=models.PROTECT, related_name="plans")
    number = models.PositiveIntegerField()
    #: JSON as `modelling.contracts.Plan` reads it
    plan = models.TextField()
    note = models.CharField(max_length=300, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["project", "-number"]
        verbose_name = "plan version"
        constraints = [
            models.UniqueConstraint(fields=["project", "number"], name="plan_number_once_per_project"),
            models.CheckConstraint(condition=Q(number__gte=1), name="plan_numbers_from_one"),
        ]

    def __str__(self) -> str:
        return f"plan {self.number} of project {self.project_id}"


class Forecast(Fixed):
    """A stored run of the model for one version of a project's plan."""

    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    project = models.ForeignKey(MeadowProject, on_delete=models.PROTECT, related_name="forecasts")
    plan = models.ForeignKey(PlanVersion, on_delete=models.PROTECT, related_name="forecasts")
    run = models.ForeignKey(ModelRun, on_delete=models.PROTECT, related_name="+")
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-created_at", "-id"]
        verbose_name = "forecast"
        constraints = [models.UniqueConstraint(fields=["project", "plan", "run"], name="forecast_once_per_run")]

    def __str__(self) -> str:
        return f"forecast {self.public_id}"


class StageChange(Fixed):
    """A step in the life of a project."""

    project = models.ForeignKey(MeadowProject, on_delete=models.PROTECT, related_name="stage_changes")
    from_stage = models.CharField(max_length=20, choices=choices.Stage)
    to_stage = models.CharField(max_length=20, choices=choices.Stage)
    on = models.DateField()
    cause = models.CharField(max_length=20, choices=choices.Cause, blank=True)
    note = models.CharField(max_length=500, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-on", "-id"]
        verbose_name = "stage change"

    def __str__(self) -> str:
        return f"{self.from_stage} to {self.to_stage} on {self.on}"
