"""The work diary: what was done, by how many, with what, and what it cost."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q

from projects import choices
from projects.models.base import Noun, known
from projects.models.meadows import MeadowProject
from projects.models.people import User


class WorkEntry(Noun):
    """One line of the diary. Volunteers are counted, never named. A wrong line is struck out, not deleted."""

    project = models.ForeignKey(MeadowProject, on_delete=models.PROTECT, related_name="diary")
    #: made by whoever sends the line, so that sending it again changes nothing
    submission_id = models.UUIDField(default=uuid.uuid4)
    on = models.DateField()
    what = models.CharField(max_length=20, choices=choices.Work)
    heads = models.PositiveIntegerField(default=0)
    #: all heads together
    person_minutes = models.PositiveIntegerField(default=0)
    #: key of the model's table of machines; empty for none
    machine = models.CharField(max_length=60, blank=True)
    machine_minutes = models.PositiveIntegerField(default=0)
    cash_pence = models.PositiveBigIntegerField(default=0)
    #: worth of what was given: kit, material, contractor's time
    in_kind_pence = models.PositiveBigIntegerField(default=0)
    note = models.CharField(max_length=500, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    struck_at = models.DateTimeField(null=True, blank=True)
    struck_because = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-on", "-id"]
        constraints = [
            known("what", choices.Work, "work_known"),
            models.UniqueConstraint(fields=["project", "submission_id"], name="work_entry_sent_once"),
            models.CheckConstraint(condition=Q(person_minutes=0) | Q(heads__gte=1), name="work_hours_have_heads"),
            models.CheckConstraint(condition=Q(machine_minutes=0) | ~Q(machine=""), name="work_machine_named"),
        ]
        indexes = [models.Index(fields=["project", "on"], name="work_by_project_and_day")]

    def __str__(self) -> str:
        return f"{self.what} on {self.on}"
