"""Sharing seed out: who hopes for seed in a year, a season's sharing, and what the model said of it."""

from __future__ import annotations

import uuid
from typing import Any

from django.db import models
from django.db.models import Q
from django.utils import timezone

from modelling.models import SHA256_LENGTH, Fixed
from projects import choices
from projects.models.base import Noun, known
from projects.models.groups import Group
from projects.models.meadows import MeadowProject
from projects.models.networks import Network
from projects.models.people import User


class SeedWish(Noun):
    """Seed that a project hopes for in a year. The order in which they were made is the order they asked in."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="seed_wishes")
    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="seed_wishes")
    project = models.ForeignKey(MeadowProject, on_delete=models.PROTECT, related_name="seed_wishes")
    year = models.PositiveSmallIntegerField()
    target_mg = models.PositiveBigIntegerField()
    least_mg = models.PositiveBigIntegerField()
    note = models.CharField(max_length=300, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["created_at", "public_id"]
        verbose_name = "wish for seed"
        constraints = [
            models.UniqueConstraint(fields=["project", "year"], name="wish_once_a_year"),
            models.CheckConstraint(
                condition=Q(least_mg__gt=0, target_mg__gte=models.F("least_mg")), name="wish_least_within_target"
            ),
        ]
        indexes = [models.Index(fields=["network", "year", "created_at"], name="wish_by_year")]

    def __str__(self) -> str:
        return f"wish of {self.project_id} for {self.year}"


class ShareOut(Noun):
    """One sharing of a network's seed: what is held by hand, and once accepted, by which result."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="share_outs")
    year = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=120)
    #: as `projects.contracts.share_outs.Settings` reads it: harvests that may be made, pairings held, the rules
    settings: models.JSONField[Any, Any] = models.JSONField(default=dict, blank=True)
    state = models.CharField(max_length=20, choices=choices.ShareOutState, default=choices.ShareOutState.OPEN)
    accepted = models.OneToOneField(
        "ShareOutResult", on_delete=models.PROTECT, null=True, blank=True, related_name="accepted_by"
    )
    accepted_at = models.DateTimeField(null=True, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["-year", "-created_at", "public_id"]
        verbose_name = "sharing of seed"
        constraints = [
            known("state", choices.ShareOutState, "share_out_state_known"),
            models.CheckConstraint(
                condition=Q(state="open", accepted__isnull=True, accepted_at__isnull=True)
                | Q(state="accepted", accepted__isnull=False, accepted_at__isnull=False),
                name="share_out_accepted_by_a_result",
            ),
        ]
        indexes = [models.Index(fields=["network", "year"], name="share_out_by_network")]

    def __str__(self) -> str:
        return self.name


class ShareOutResult(Fixed):
    """What the model said of a sharing at one moment; text that never changes."""

    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    share_out = models.ForeignKey(ShareOut, on_delete=models.PROTECT, related_name="results")
    release = models.CharField(max_length=20)
    #: canonical JSON of what was asked of the model
    request = models.TextField()
    inputs_checksum = models.CharField(max_length=SHA256_LENGTH)
    #: version of each lot as it was asked about: public id -> version
    lots: models.JSONField[Any, Any] = models.JSONField(default=dict, blank=True)
    answer = models.TextField()
    answer_checksum = models.CharField(max_length=SHA256_LENGTH)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-id"]
        verbose_name = "result of a sharing"

    def __str__(self) -> str:
        return f"result {self.public_id}"
