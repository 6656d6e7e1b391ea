"""Work that is done after the answer: the row is the queue."""

from __future__ import annotations

import uuid
from typing import Any

from django.db import models
from django.db.models import F, Q
from django.utils import timezone


class Job(models.Model):
    """One piece of work, from being asked for to its result.

    A worker holds a running job by a token and until a time, the lease; past that time anybody may take it over.
    """

    class State(models.TextChoices):
        """Where the work stands."""

        WAITING = "waiting", "Waiting"
        RUNNING = "running", "Running"
        DONE = "done", "Done"
        FAILED = "failed", "Failed"

    class Queue(models.TextChoices):
        """Which workers take it up."""

        INTERACTIVE = "interactive", "Somebody waits for it"
        MODEL = "model", "The model works it out"
        EXPORT = "export", "A file is made"

    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    kind = models.CharField(max_length=40)
    queue = models.CharField(max_length=20, choices=Queue)
    payload: models.JSONField[Any, Any] = models.JSONField()
    result: models.JSONField[Any, Any] = models.JSONField(null=True, blank=True)
    #: who asked, in words
    actor_label = models.CharField(max_length=200)
    #: whose it is to see: the person who asked, and the coordinators of the network it is about
    actor = models.ForeignKey("projects.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    network = models.ForeignKey("projects.Network", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    attempts = models.PositiveSmallIntegerField(default=0)
    max_attempts = models.PositiveSmallIntegerField()
    lease_token = models.UUIDField(null=True, blank=True, editable=False)
    lease_until = models.DateTimeField(null=True, blank=True)
    run_after = models.DateTimeField()
    last_error = models.TextField(blank=True)
    progress_done = models.PositiveIntegerField(default=0)
    progress_total = models.PositiveIntegerField(default=0)
    created_at = models.DateTimeField(default=timezone.now)
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created_at", "-id"]
        indexes = [
            models.Index(fields=["queue", "run_after", "id"], condition=Q(state="waiting"), name="job_waiting"),
            models.Index(fields=["lease_until"], condition=Q(state="running"), name="job_running"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=["waiting", "running", "done", "failed"]), name="job_state_known"
            ),
            models.CheckConstraint(condition=Q(queue__in=["interactive", "model", "export"]), name="job_queue_known"),
            models.CheckConstraint(
                condition=(Q(state="running") & Q(lease_token__isnull=False, lease_until__isnull=False))
                | (~Q(state="running") & Q(lease_token__isnull=True, lease_until__isnull=True)),
                name="job_leased_while_running",
            ),
            models.CheckConstraint(
                condition=(Q(state__in=["done", "failed"]) & Q(finished_at__isnull=False))
                | (Q(state__in=["waiting", "running"]) & Q(finished_at__isnull=True)),
                name="job_finished_at_its_end",
            ),
            models.CheckConstraint(
                condition=Q(max_attempts__gte=1, attempts__lte=F("max_attempts")), name="job_attempts_within_limit"
            ),
            models.CheckConstraint(
                condition=Q(progress_done__lte=F("progress_total")), name="job_progress_within_total"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.public_id}"
