"""Decisions about bids, and what follows: the award, its payments and changes, money that comes back."""

from __future__ import annotations

import uuid
from typing import Any

from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from modelling.models import Fixed
from projects import choices
from projects.models.base import Noun, known
from projects.models.bids import Bid, BidStage
from projects.models.groups import Group
from projects.models.meadows import MeadowProject
from projects.models.people import User
from projects.models.rounds import GrantRound

AWARDING = ("full", "part", "conditional")


class Decision(Noun):
    """What was decided about a bid. Published it is final: a new one supersedes it."""

    bid = models.ForeignKey(Bid, on_delete=models.PROTECT, related_name="decisions")
    number = models.PositiveIntegerField()
    kind = models.CharField(max_length=20, choices=choices.DecisionKind)
    state = models.CharField(max_length=20, choices=choices.DecisionState, default=choices.DecisionState.DRAFT)
    amount_pence = models.PositiveBigIntegerField(default=0)
    conditions = models.TextField(max_length=4000, blank=True)
    reason = models.TextField(max_length=4000, blank=True)
    #: what would have helped, in plain words; goes to the group
    feedback: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)
    letter = models.TextField(max_length=8000, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    published_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["bid", "-number"]
        constraints = [
            models.UniqueConstraint(fields=["bid", "number"], name="decision_number_once"),
            models.UniqueConstraint(fields=["bid"], condition=Q(state="draft"), name="decision_one_draft"),
            models.UniqueConstraint(fields=["bid"], condition=Q(state="published"), name="decision_one_holds"),
            known("kind", choices.DecisionKind, "decision_kind_known"),
            known("state", choices.DecisionState, "decision_state_known"),
            models.CheckConstraint(
                condition=Q(kind__in=AWARDING, amount_pence__gt=0)
                | Q(kind__in=["deferred", "refused"], amount_pence=0),
                name="decision_money_only_with_award",
            ),
            models.CheckConstraint(
                condition=Q(state="draft", published_at__isnull=True)
                | Q(state__in=["published", "superseded"], published_at__isnull=False),
                name="decision_published_at_a_time",
            ),
            models.CheckConstraint(
                condition=~Q(kind__in=["deferred", "refused"], state__in=["published", "superseded"]) | ~Q(reason=""),
                name="decision_refusal_says_why",
            ),
            models.CheckConstraint(
                condition=~Q(kind="conditional", state__in=["published", "superseded"]) | ~Q(conditions=""),
                name="decision_conditions_are_said",
            ),
        ]

    def __str__(self) -> str:
        return f"decision {self.number} of bid {self.bid_id}"


class Award(Noun):
    """Money promised to a group for a bid."""

    round = models.ForeignKey(GrantRound, on_delete=models.PROTECT, related_name="awards")
    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="awards")
    bid = models.OneToOneField(Bid, on_delete=models.PROTECT, related_name="award")
    decision = models.ForeignKey(Decision, on_delete=models.PROTECT, related_name="+")
    state = models.CharField(max_length=20, choices=choices.AwardState, default=choices.AwardState.OFFERED)
    amount_pence = models.PositiveBigIntegerField()
    #: what it takes from the pot now: the amount, or what was kept of it once it has ended
    committed_pence = models.PositiveBigIntegerField()
    #: of payment requests that are not refused
    claimed_pence = models.PositiveBigIntegerField(default=0)
    paid_pence = models.PositiveBigIntegerField(default=0)
    returned_pence = models.PositiveBigIntegerField(default=0)
    accept_by = models.DateField()
    starts_on = models.DateField()
    ends_on = models.DateField()
    report_due_on = models.DateField()
    terms = models.TextField(max_length=8000, blank=True)
    #: what the money may be spent on, and nothing else
    restricted_purpose = models.CharField(max_length=300, blank=True)
    #: the group's accounting year in which the money is first shown, such as 2026-27
    accounting_year = models.CharField(max_length=20, blank=True)
    accepted_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    accepted_at = models.DateTimeField(null=True, blank=True)
    conditions_met_at = models.DateTimeField(null=True, blank=True)
    report = models.TextField(max_length=8000, blank=True)
    reported_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["created_at", "public_id"]
        constraints = [
            known("state", choices.AwardState, "award_state_known"),
            models.CheckConstraint(condition=Q(claimed_pence__lte=F("amount_pence")), name="award_never_overclaimed"),
            models.CheckConstraint(condition=Q(paid_pence__lte=F("claimed_pence")), name="award_paid_only_claimed"),
            models.CheckConstraint(
                condition=Q(returned_pence__lte=F("paid_pence")), name="award_returns_only_what_was_paid"
            ),
            models.CheckConstraint(
                condition=Q(state__in=["offered", "accepted"], committed_pence=F("amount_pence") - F("returned_pence"))
                | Q(
                    state__in=["declined", "withdrawn", "finished"],
                    committed_pence=F("paid_pence") - F("returned_pence"),
                ),
                name="award_takes_what_it_may_cost",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=["accepted", "finished"]) | Q(accepted_at__isnull=False),
                name="award_accepted_at_a_time",
            ),
        ]
        indexes = [models.Index(fields=["round", "state"], name="award_by_round")]

    def __str__(self) -> str:
        return f"award for bid {self.bid_id}"


class FundedProject(models.Model):
    """A project that a round pays for: once, whoever decides at the same moment."""

    round = models.ForeignKey(GrantRound, on_delete=models.PROTECT, related_name="funded")
    project = models.ForeignKey(MeadowProject, on_delete=models.PROTECT, related_name="funded")
    award = models.ForeignKey(Award, on_delete=models.PROTECT, related_name="funded")

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["round", "project"], name="project_funded_once_a_round")]

    def __str__(self) -> str:
        return f"project {self.project_id} in round {self.round_id}"


class PaymentRequest(Noun):
    """Money asked for at the end of a stage."""

    award = models.ForeignKey(Award, on_delete=models.PROTECT, related_name="payments")
    stage = models.ForeignKey(BidStage, on_delete=models.PROTECT, related_name="payments")
    state = models.CharField(max_length=20, choices=choices.PaymentState, default=choices.PaymentState.ASKED)
    amount_pence = models.PositiveBigIntegerField()
    evidence = models.TextField(max_length=4000)
    comment = models.TextField(max_length=4000, blank=True)
    paid_on = models.DateField(null=True, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["created_at", "public_id"]
        constraints = [
            known("state", choices.PaymentState, "payment_state_known"),
            models.UniqueConstraint(
                fields=["award", "stage"], condition=~Q(state="refused"), name="payment_once_a_stage"
            ),
            models.CheckConstraint(condition=Q(amount_pence__gt=0), name="payment_of_something"),
            models.CheckConstraint(condition=~Q(state="paid") | Q(paid_on__isnull=False), name="payment_paid_on_a_day"),
        ]

    def __str__(self) -> str:
        return f"payment {self.public_id}"


class AwardVisit(Fixed):
    """Somebody went to see what an award pays for."""

    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    award = models.ForeignKey(Award, on_delete=models.PROTECT, related_name="visits")
    on = models.DateField()
    #: what the visitor was to the network; the group is told this and no name
    by_role = models.CharField(max_length=20, choices=choices.NetworkRole)
    seen = models.TextField(max_length=4000)
    next = models.TextField(max_length=2000, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-on", "-id"]
        verbose_name = "visit to what an award pays for"
        constraints = [known("by_role", choices.NetworkRole, "award_visit_role_known")]

    def __str__(self) -> str:
        return f"visit on {self.on}"


class ChangeRequest(Noun):
    """Something that a group wants to do otherwise than it said, with what holds before and after."""

    award = models.ForeignKey(Award, on_delete=models.PROTECT, related_name="changes")
    kind = models.CharField(max_length=20, choices=choices.ChangeKind)
    state = models.CharField(max_length=20, choices=choices.ChangeState, default=choices.ChangeState.ASKED)
    before: models.JSONField[Any, Any] = models.JSONField(default=dict)
    after: models.JSONField[Any, Any] = models.JSONField(default=dict)
    why = models.TextField(max_length=4000)
    comment = models.TextField(max_length=4000, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["created_at", "public_id"]
        constraints = [
            known("kind", choices.ChangeKind, "change_kind_known"),
            known("state", choices.ChangeState, "change_state_known"),
        ]

    def __str__(self) -> str:
        return f"change {self.public_id}"


class MoneyReturned(Fixed):
    """Money that came back from a group; it can be awarded again."""

    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    award = models.ForeignKey(Award, on_delete=models.PROTECT, related_name="money_returned")
    amount_pence = models.PositiveBigIntegerField()
    on = models.DateField()
    why = models.CharField(max_length=300, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["id"]
        verbose_name = "money returned"
        constraints = [models.CheckConstraint(condition=Q(amount_pence__gt=0), name="money_returned_is_some")]

    def __str__(self) -> str:
        return f"{self.amount_pence} pence on {self.on}"
