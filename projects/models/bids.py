"""Bids: what a group asks of a round, as it is being written and as it was handed in."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from modelling.models import SHA256_LENGTH, Fixed
from projects import choices
from projects.models.base import Noun, known
from projects.models.groups import Group
from projects.models.meadows import Forecast, MeadowProject, PlanVersion
from projects.models.networks import Network
from projects.models.people import User
from projects.models.rounds import GrantRound


class Bid(Noun):
    """What a group asks of a round, for one or more projects."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="bids")
    round = models.ForeignKey(GrantRound, on_delete=models.PROTECT, related_name="bids")
    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="bids")
    #: published with an award
    title = models.CharField(max_length=140)
    #: published with an award
    summary = models.TextField(max_length=2000, blank=True)
    narrative = models.TextField(max_length=8000, blank=True)
    #: kept away from the ground, in the group's own words
    other_funding_note = models.TextField(max_length=2000, blank=True)
    state = models.CharField(max_length=20, choices=choices.BidState, default=choices.BidState.DRAFT)
    #: within its round, given when it is first handed in
    number = models.PositiveIntegerField(null=True, blank=True)
    starts_on = models.DateField(null=True, blank=True)
    ends_on = models.DateField(null=True, blank=True)
    aftercare_years = models.PositiveSmallIntegerField(default=0)
    #: whether children come, so that safeguarding must be shown
    children_come = models.BooleanField(default=False)
    #: whether the group gets VAT back, so that only net amounts can be asked for
    vat_recovered = models.BooleanField(default=False)
    #: of lines that the round is to pay
    asked_pence = models.PositiveBigIntegerField(default=0)
    current = models.OneToOneField(
        "projects.BidSubmission", on_delete=models.PROTECT, null=True, blank=True, related_name="current_of"
    )

    class Meta:
        ordering = ["created_at", "public_id"]
        constraints = [
            known("state", choices.BidState, "bid_state_known"),
            models.UniqueConstraint(fields=["round", "number"], name="bid_number_once"),
            models.CheckConstraint(
                condition=Q(state__in=["draft", "checked", "withdrawn"])
                | Q(current__isnull=False, number__isnull=False),
                name="bid_handed_in_names_its_text",
            ),
            models.CheckConstraint(
                condition=Q(starts_on__isnull=True) | Q(ends_on__isnull=True) | Q(ends_on__gte=F("starts_on")),
                name="bid_ends_after_it_starts",
            ),
        ]
        indexes = [
            models.Index(fields=["round", "state"], name="bid_by_round"),
            models.Index(fields=["network", "created_at", "public_id"], name="bid_by_network"),
        ]

    def __str__(self) -> str:
        return self.title


class BidProject(models.Model):
    """A project that a bid is for, with the plan and the forecast it was handed in with."""

    bid = models.ForeignKey(Bid, on_delete=models.CASCADE, related_name="projects")
    project = models.ForeignKey(MeadowProject, on_delete=models.PROTECT, related_name="bids")
    plan = models.ForeignKey(PlanVersion, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    forecast = models.ForeignKey(Forecast, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["bid", "project"], name="bid_names_a_project_once")]

    def __str__(self) -> str:
        return str(self.project)


class BidLine(models.Model):
    """A line of a bid's budget; money in pence, the quantity in thousandths."""

    bid = models.ForeignKey(Bid, on_delete=models.CASCADE, related_name="lines")
    number = models.PositiveSmallIntegerField()
    what = models.CharField(max_length=200)
    category = models.CharField(max_length=20, choices=choices.LineCategory)
    paid_by = models.CharField(max_length=20, choices=choices.PaidBy)
    #: where the money of a match comes from
    source = models.CharField(max_length=120, blank=True)
    #: of volunteers' time
    skill = models.CharField(max_length=20, choices=choices.Skill, blank=True)
    quantity_milli = models.PositiveBigIntegerField()
    unit = models.CharField(max_length=40, blank=True)
    unit_price_pence = models.PositiveBigIntegerField()
    net_pence = models.PositiveBigIntegerField()
    vat_pence = models.PositiveBigIntegerField(default=0)
    gross_pence = models.PositiveBigIntegerField()

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["bid", "number"], name="bid_line_number_once"),
            models.CheckConstraint(
                condition=Q(gross_pence=F("net_pence") + F("vat_pence")), name="bid_line_gross_is_net_and_vat"
            ),
            known("category", choices.LineCategory, "bid_line_category_known"),
            known("paid_by", choices.PaidBy, "bid_line_paid_by_known"),
        ]

    def __str__(self) -> str:
        return self.what


class BidStage(models.Model):
    """A part of the work after which money is asked for."""

    bid = models.ForeignKey(Bid, on_delete=models.CASCADE, related_name="stages")
    number = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=120)
    due_on = models.DateField()
    amount_pence = models.PositiveBigIntegerField()
    #: what will show that it was done
    evidence = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["number"]
        constraints = [models.UniqueConstraint(fields=["bid", "number"], name="bid_stage_number_once")]

    def __str__(self) -> str:
        return self.name


class BidPromise(models.Model):
    """What will be there by the end of a year, as a whole number of the kind's unit."""

    bid = models.ForeignKey(Bid, on_delete=models.CASCADE, related_name="promises")
    kind = models.CharField(max_length=20, choices=choices.PromiseKind)
    #: what it is promised of; none for the whole bid
    project = models.ForeignKey(MeadowProject, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    #: key of a plant, or `orchids`
    plant = models.CharField(max_length=80, blank=True)
    amount = models.PositiveBigIntegerField()
    by_year = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["id"]
        constraints = [
            known("kind", choices.PromiseKind, "bid_promise_kind_known"),
            models.CheckConstraint(
                condition=~Q(kind__in=["species_per_m2", "plant"]) | Q(project__isnull=False),
                name="bid_promise_names_its_ground",
            ),
            models.CheckConstraint(condition=~Q(kind="plant") | ~Q(plant=""), name="bid_promise_names_its_plant"),
        ]

    def __str__(self) -> str:
        return f"{self.amount} {self.kind} by {self.by_year}"


class BidAttachment(models.Model):
    """A paper that goes with a bid: its name, size and checksum. The file itself is sent aside."""

    bid = models.ForeignKey(Bid, on_delete=models.CASCADE, related_name="attachments")
    name = models.CharField(max_length=120)
    size_bytes = models.PositiveBigIntegerField()
    checksum = models.CharField(max_length=SHA256_LENGTH)

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["bid", "name"], name="bid_attachment_name_once")]

    def __str__(self) -> str:
        return self.name


class BidProof(models.Model):
    """What a group says it can show, and when somebody saw it."""

    bid = models.ForeignKey(Bid, on_delete=models.CASCADE, related_name="proofs")
    what = models.CharField(max_length=20, choices=choices.Proof)
    has_it = models.BooleanField()
    seen_on = models.DateField(null=True, blank=True)
    seen_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["bid", "what"], name="bid_shows_once"),
            known("what", choices.Proof, "bid_proof_known"),
            models.CheckConstraint(condition=Q(seen_on__isnull=True) | Q(has_it=True), name="bid_proof_seen_is_there"),
        ]

    def __str__(self) -> str:
        return self.what


class BidSubmission(Fixed):
    """A bid as it was handed in. The receipt is its time and its checksum."""

    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    bid = models.ForeignKey(Bid, on_delete=models.PROTECT, related_name="submissions")
    number = models.PositiveIntegerField()
    #: canonical JSON
    content = models.TextField()
    checksum = models.CharField(max_length=SHA256_LENGTH)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["bid", "-number"]
        verbose_name = "bid as handed in"
        constraints = [models.UniqueConstraint(fields=["bid", "number"], name="bid_submission_number_once")]

    def __str__(self) -> str:
        return f"bid {self.bid_id} as handed in, {self.number}"


class BidAppraisal(Fixed):
    """What the model says of a bid as it was handed in; text that never changes."""

    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    submission = models.ForeignKey(BidSubmission, on_delete=models.PROTECT, related_name="appraisals")
    release = models.CharField(max_length=20)
    request = models.TextField()
    inputs_checksum = models.CharField(max_length=SHA256_LENGTH)
    answer = models.TextField()
    answer_checksum = models.CharField(max_length=SHA256_LENGTH)
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-created_at", "-id"]
        verbose_name = "appraisal"
        constraints = [
            models.UniqueConstraint(
                fields=["submission", "inputs_checksum", "release"], name="appraisal_once_per_recipe"
            )
        ]

    def __str__(self) -> str:
        return f"appraisal {self.public_id}"
