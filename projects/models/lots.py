"""Lots of seed: what is left of each, what is promised of it, and every milligram that came or went."""

from __future__ import annotations

import uuid
from typing import Any

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower
from django.utils import timezone

from modelling.models import SHA256_LENGTH, Fixed
from projects import choices
from projects.models.base import Noun, known
from projects.models.groups import Group
from projects.models.harvests import Harvest
from projects.models.meadows import MeadowProject
from projects.models.networks import Network
from projects.models.people import User


class SeedLot(Noun):
    """Seed that is kept as one: a sack, or several of one harvest. Its running totals are changed by one UPDATE."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="lots")
    name = models.CharField(max_length=80)
    origin = models.CharField(max_length=20, choices=choices.LotOrigin)
    harvest = models.OneToOneField(Harvest, on_delete=models.PROTECT, null=True, blank=True, related_name="lot")
    supplier = models.CharField(max_length=120, blank=True)
    #: where the plants grew, as may be told to whoever gets the seed
    provenance = models.CharField(max_length=300, blank=True)
    #: of a blend, the oldest of its parts
    harvested_on = models.DateField(null=True, blank=True)
    state = models.CharField(max_length=20, choices=choices.SeedState)
    #: where and how it is kept
    storage = models.CharField(max_length=200, blank=True)
    #: sacks, bags or tubs it is in
    sacks = models.PositiveSmallIntegerField(default=1)
    #: whether the seed sticks together
    chaffy = models.BooleanField(default=True)
    #: what the supplier says is in it: a list of {"taxon": key, "percent": of the weight}
    declared: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)
    price_pence_per_kg = models.PositiveIntegerField(null=True, blank=True)
    held_at = models.DateTimeField(null=True, blank=True)
    hold_reason = models.CharField(max_length=300, blank=True)
    #: weighings that changed it: counts of an earlier state do not describe it
    treatments = models.PositiveSmallIntegerField(default=0)
    #: all that ever came in, all that went, what is there, and how much of that is promised
    made_mg = models.PositiveBigIntegerField()
    gone_mg = models.PositiveBigIntegerField(default=0)
    balance_mg = models.PositiveBigIntegerField()
    promised_mg = models.PositiveBigIntegerField(default=0)
    #: number of its latest entry
    entries_numbered = models.PositiveIntegerField(default=0)
    note = models.CharField(max_length=500, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["created_at", "public_id"]
        verbose_name = "lot of seed"
        constraints = [
            models.UniqueConstraint(F("network"), Lower("name"), name="lot_name_once_per_network"),
            known("origin", choices.LotOrigin, "lot_origin_known"),
            known("state", choices.SeedState, "lot_state_known"),
            models.CheckConstraint(condition=Q(made_mg__gt=0), name="lot_made_of_something"),
            models.CheckConstraint(condition=Q(made_mg=F("balance_mg") + F("gone_mg")), name="lot_seed_is_conserved"),
            models.CheckConstraint(condition=Q(promised_mg__lte=F("balance_mg")), name="lot_never_promised_twice"),
            models.CheckConstraint(
                condition=Q(promised_mg=0) | Q(state=choices.SeedState.DRY), name="lot_promised_when_dry"
            ),
            models.CheckConstraint(condition=Q(sacks__gte=1), name="lot_in_a_sack"),
        ]
        indexes = [models.Index(fields=["network", "created_at", "public_id"], name="lot_by_network")]

    def __str__(self) -> str:
        return self.name


class LotPart(Fixed):
    """How much of a lot came out of another lot."""

    lot = models.ForeignKey(SeedLot, on_delete=models.PROTECT, related_name="parts")
    parent = models.ForeignKey(SeedLot, on_delete=models.PROTECT, related_name="went_into")
    amount_mg = models.PositiveBigIntegerField()

    class Meta:
        ordering = ["id"]
        verbose_name = "part of a lot"
        constraints = [
            models.UniqueConstraint(fields=["lot", "parent"], name="lot_part_once"),
            models.CheckConstraint(condition=Q(amount_mg__gt=0) & ~Q(lot=F("parent")), name="lot_part_of_another"),
        ]

    def __str__(self) -> str:
        return f"part of lot {self.lot_id}"


class SeedPromise(Noun):
    """Seed of a lot promised to a group, and what became of it."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="promises")
    lot = models.ForeignKey(SeedLot, on_delete=models.PROTECT, related_name="promises")
    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="promises")
    project = models.ForeignKey(MeadowProject, on_delete=models.PROTECT, null=True, blank=True, related_name="promises")
    submission_id = models.UUIDField(default=uuid.uuid4)
    #: by when it is to be fetched
    by = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=300, blank=True)
    promised_mg = models.PositiveBigIntegerField()
    #: taken back, and handed over; the rest is still owed
    released_mg = models.PositiveBigIntegerField(default=0)
    handed_mg = models.PositiveBigIntegerField(default=0)
    #: of what was handed over: brought back, and sown
    returned_mg = models.PositiveBigIntegerField(default=0)
    sown_mg = models.PositiveBigIntegerField(default=0)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["created_at", "public_id"]
        verbose_name = "promise of seed"
        constraints = [
            models.UniqueConstraint(fields=["lot", "submission_id"], name="promise_sent_once"),
            models.CheckConstraint(condition=Q(promised_mg__gt=0), name="promise_of_something"),
            models.CheckConstraint(
                condition=Q(promised_mg__gte=F("released_mg") + F("handed_mg")), name="promise_never_exceeded"
            ),
            models.CheckConstraint(
                condition=Q(handed_mg__gte=F("returned_mg") + F("sown_mg")), name="promise_no_more_back_than_out"
            ),
        ]
        indexes = [models.Index(fields=["network", "created_at", "public_id"], name="promise_by_network")]

    def __str__(self) -> str:
        return f"promise of {self.lot_id}"

    @property
    def owed_mg(self) -> int:
        """Promised, and neither handed over nor taken back."""
        return self.promised_mg - self.released_mg - self.handed_mg

    @property
    def out_mg(self) -> int:
        """Handed over, and neither brought back nor known to be sown."""
        return self.handed_mg - self.returned_mg - self.sown_mg


class SeedEntry(Fixed):
    """One line of a lot's history: what happened, and what there was afterwards."""

    lot = models.ForeignKey(SeedLot, on_delete=models.PROTECT, related_name="entries")
    #: from 1 on, without a gap
    number = models.PositiveIntegerField()
    #: the same for all lines of one act
    act_id = models.UUIDField()
    #: made by whoever sends it, so that sending it again changes nothing
    submission_id = models.UUIDField(null=True, blank=True)
    act = models.CharField(max_length=20, choices=choices.SeedAct)
    on = models.DateField()
    amount_mg = models.PositiveBigIntegerField(default=0)
    balance_change_mg = models.BigIntegerField(default=0)
    promised_change_mg = models.BigIntegerField(default=0)
    balance_mg = models.PositiveBigIntegerField()
    promised_mg = models.PositiveBigIntegerField()
    #: the other lot of a blend or a split
    other = models.ForeignKey(SeedLot, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    promise = models.ForeignKey(SeedPromise, on_delete=models.PROTECT, null=True, blank=True, related_name="entries")
    reason = models.CharField(max_length=300, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["id"]
        verbose_name = "line of a lot's history"
        constraints = [
            models.UniqueConstraint(fields=["lot", "number"], name="seed_entry_numbered_once"),
            models.UniqueConstraint(
                fields=["lot", "submission_id"],
                condition=Q(submission_id__isnull=False),
                name="seed_entry_sent_once",
            ),
            known("act", choices.SeedAct, "seed_entry_act_known"),
            models.CheckConstraint(condition=Q(promised_mg__lte=F("balance_mg")), name="seed_entry_adds_up"),
        ]

    def __str__(self) -> str:
        return f"{self.act} of lot {self.lot_id}"


class LotCount(Fixed):
    """Sub-samples of a lot as they were counted, and what the model said of them; text that never changes."""

    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    lot = models.ForeignKey(SeedLot, on_delete=models.PROTECT, related_name="counts")
    number = models.PositiveIntegerField()
    submission_id = models.UUIDField(default=uuid.uuid4)
    counted_on = models.DateField()
    #: the lot's `treatments` when it was counted
    treatments = models.PositiveSmallIntegerField()
    #: canonical JSON of what was asked of the model
    request = models.TextField()
    request_checksum = models.CharField(max_length=SHA256_LENGTH)
    release = models.CharField(max_length=20)
    answer = models.TextField()
    answer_checksum = models.CharField(max_length=SHA256_LENGTH)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-number"]
        verbose_name = "count"
        constraints = [
            models.UniqueConstraint(fields=["lot", "number"], name="lot_count_numbered_once"),
            models.UniqueConstraint(fields=["lot", "submission_id"], name="lot_count_sent_once"),
        ]

    def __str__(self) -> str:
        return f"count {self.number} of lot {self.lot_id}"


class GerminationTest(Fixed):
    """Seeds of one kind from a lot, set to germinate."""

    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    lot = models.ForeignKey(SeedLot, on_delete=models.PROTECT, related_name="germination_tests")
    submission_id = models.UUIDField(default=uuid.uuid4)
    taxon = models.CharField(max_length=80)
    on = models.DateField()
    germinated = models.PositiveIntegerField()
    tested = models.PositiveIntegerField()
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-on", "-id"]
        verbose_name = "germination test"
        constraints = [
            models.UniqueConstraint(fields=["lot", "submission_id"], name="germination_test_sent_once"),
            models.CheckConstraint(
                condition=Q(tested__gt=0, germinated__lte=F("tested")), name="germination_test_possible"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.taxon}: {self.germinated} of {self.tested}"
