"""Plug plants that a network raises: batches, what was promised of them, and everything that happened to them."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from modelling.models import Fixed
from projects import choices
from projects.models.base import Noun, known
from projects.models.groups import Group
from projects.models.lots import SeedLot
from projects.models.meadows import MeadowProject
from projects.models.networks import Network
from projects.models.people import User


class PlugBatch(Noun):
    """Plants of one kind sown on one day. Its running totals are changed by one UPDATE."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="plug_batches")
    #: who looks after it; empty for the network itself
    group = models.ForeignKey(Group, on_delete=models.PROTECT, null=True, blank=True, related_name="plug_batches")
    #: key of the model's plant list
    taxon = models.CharField(max_length=80)
    #: where the seed came from: a lot of the network, or in words
    lot = models.ForeignKey(SeedLot, on_delete=models.PROTECT, null=True, blank=True, related_name="plug_batches")
    seed_from = models.CharField(max_length=200, blank=True)
    sown_on = models.DateField()
    #: seeds, or cells with a pinch of seed each
    sown_count = models.PositiveIntegerField()
    ready_on = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=500, blank=True)
    #: plants potted on, of those how many died, how many live or went alive, and how many of these are promised or gone
    pricked_out = models.PositiveIntegerField(default=0)
    lost = models.PositiveIntegerField(default=0)
    alive = models.PositiveIntegerField(default=0)
    promised = models.PositiveIntegerField(default=0)
    handed_over = models.PositiveIntegerField(default=0)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["created_at", "public_id"]
        verbose_name = "batch of plugs"
        constraints = [
            models.CheckConstraint(condition=Q(sown_count__gte=1), name="plugs_sown_of_something"),
            models.CheckConstraint(condition=Q(pricked_out=F("alive") + F("lost")), name="plugs_are_conserved"),
            models.CheckConstraint(condition=Q(promised__lte=F("alive")), name="plugs_never_promised_twice"),
            models.CheckConstraint(condition=Q(handed_over__lte=F("promised")), name="plugs_handed_over_of_promised"),
            models.CheckConstraint(
                condition=Q(ready_on__isnull=True) | Q(ready_on__gte=F("sown_on")), name="plugs_ready_after_sown"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.taxon} of {self.sown_on:%d %B %Y}"


class PlugPromise(Noun):
    """Plants of a batch that are promised to a project, or went there."""

    batch = models.ForeignKey(PlugBatch, on_delete=models.PROTECT, related_name="promises")
    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="plug_promises")
    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="plug_promises")
    project = models.ForeignKey(MeadowProject, on_delete=models.PROTECT, related_name="plug_promises")
    count = models.PositiveIntegerField()
    state = models.CharField(max_length=20, choices=choices.PlugState, default=choices.PlugState.PROMISED)
    #: plants that died after they were promised, so that fewer can go
    fewer = models.PositiveIntegerField(default=0)
    handed_over_on = models.DateField(null=True, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["created_at", "public_id"]
        verbose_name = "promise of plugs"
        constraints = [
            known("state", choices.PlugState, "plug_promise_state_known"),
            models.CheckConstraint(
                condition=Q(count__gte=1) | ~Q(state=choices.PlugState.PROMISED), name="plug_promise_of_something"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.count} promised"


class PlugEvent(Fixed):
    """Something that happened to a batch. It is never changed: a wrong count is put right by another."""

    batch = models.ForeignKey(PlugBatch, on_delete=models.PROTECT, related_name="events")
    what = models.CharField(max_length=20, choices=choices.PlugAct)
    count = models.PositiveIntegerField()
    on = models.DateField()
    promise = models.ForeignKey(PlugPromise, on_delete=models.PROTECT, null=True, blank=True, related_name="events")
    note = models.CharField(max_length=200, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["id"]
        verbose_name = "entry of a batch of plugs"
        constraints = [known("what", choices.PlugAct, "plug_act_known")]

    def __str__(self) -> str:
        return f"{self.count} {self.what}"
