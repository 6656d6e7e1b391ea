"""Grant rounds: a pot of money, what may be asked of it and by whom, who reads the bids, what the pot could buy."""

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
from projects.models.networks import District, Network
from projects.models.people import User


class GrantRound(Noun):
    """A pot of money that groups may bid for until a moment."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="rounds")
    #: only groups of this district may bid; none for the whole county
    district = models.ForeignKey(District, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    name = models.CharField(max_length=120)
    about = models.TextField(max_length=4000, blank=True)
    funder = models.CharField(max_length=120)
    #: of the organisation, as open data about grants names it, such as GB-CHC-0000000
    funder_org_id = models.CharField(max_length=60, blank=True)
    #: what the identifiers of its published awards begin with
    grant_prefix = models.CharField(max_length=40, blank=True)
    state = models.CharField(max_length=20, choices=choices.RoundState, default=choices.RoundState.DRAFT)
    pot_pence = models.PositiveBigIntegerField()
    #: of live awards; changed by one UPDATE … F() and never above the pot
    committed_pence = models.PositiveBigIntegerField(default=0)
    opens_at = models.DateTimeField()
    closes_at = models.DateTimeField()
    starts_earliest_on = models.DateField()
    longest_months = models.PositiveSmallIntegerField()
    who_may_bid = models.TextField(max_length=4000, blank=True)
    #: words of `choices.Proof`
    must_show: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)
    group_limit_pence = models.PositiveBigIntegerField(null=True, blank=True)
    district_limit_pence = models.PositiveBigIntegerField(null=True, blank=True)
    #: match that a bid must bring, percent of its whole cost
    match_percent = models.PositiveSmallIntegerField(default=0)
    #: share of that match that volunteers' time may make up, percent
    volunteer_match_percent = models.PositiveSmallIntegerField(default=100)
    #: words of `choices.LineCategory` that the pot pays for
    categories: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)
    aftercare_years_least = models.PositiveSmallIntegerField(default=0)
    #: days a group has to accept an offer, and to report after the end
    accept_days = models.PositiveSmallIntegerField(default=30)
    report_days = models.PositiveSmallIntegerField(default=60)
    #: number of the next bid handed in
    bids_numbered = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["created_at", "public_id"]
        constraints = [
            models.UniqueConstraint(F("network"), Lower("name"), name="round_name_once_per_network"),
            known("state", choices.RoundState, "round_state_known"),
            models.CheckConstraint(condition=Q(pot_pence__gt=0), name="round_pot_positive"),
            models.CheckConstraint(condition=Q(committed_pence__lte=F("pot_pence")), name="round_pot_never_exceeded"),
            models.CheckConstraint(condition=Q(closes_at__gt=F("opens_at")), name="round_closes_after_it_opens"),
            models.CheckConstraint(condition=Q(longest_months__gte=1), name="round_term_positive"),
            models.CheckConstraint(
                condition=Q(match_percent__lte=90, volunteer_match_percent__lte=100), name="round_shares_are_shares"
            ),
        ]
        indexes = [models.Index(fields=["network", "created_at", "public_id"], name="round_by_network")]

    def __str__(self) -> str:
        return self.name


class InKindRate(models.Model):
    """What an hour given in kind counts for, from a day on."""

    round = models.ForeignKey(GrantRound, on_delete=models.CASCADE, related_name="rates")
    skill = models.CharField(max_length=20, choices=choices.Skill)
    pence_per_hour = models.PositiveIntegerField()
    from_day = models.DateField()
    until_day = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["from_day", "id"]
        constraints = [
            models.UniqueConstraint(F("round"), F("skill"), F("from_day"), name="rate_once_a_day"),
            known("skill", choices.Skill, "rate_skill_known"),
            models.CheckConstraint(
                condition=Q(until_day__isnull=True) | Q(until_day__gte=F("from_day")), name="rate_ends_after_it_begins"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.skill} from {self.from_day}"


class Criterion(models.Model):
    """One thing bids are scored on."""

    round = models.ForeignKey(GrantRound, on_delete=models.CASCADE, related_name="criteria")
    position = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=120)
    about = models.CharField(max_length=500, blank=True)
    weight = models.PositiveSmallIntegerField()
    #: best score
    most = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["position", "id"]
        constraints = [
            models.UniqueConstraint(fields=["round", "position"], name="criterion_position_once"),
            models.CheckConstraint(condition=Q(weight__gte=1, most__gte=1), name="criterion_weighs_something"),
        ]

    def __str__(self) -> str:
        return self.name


class RoundAssessor(models.Model):
    """Who reads and scores the bids of a round."""

    round = models.ForeignKey(GrantRound, on_delete=models.PROTECT, related_name="assessors")
    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    since = models.DateTimeField(default=timezone.now)
    until = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["round", "user"], condition=Q(until__isnull=True), name="assessor_once_at_a_time"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.user} for {self.round}"


class Interest(Fixed):
    """Somebody is near to a group: its bids in the round do not exist for them."""

    round = models.ForeignKey(GrantRound, on_delete=models.PROTECT, related_name="interests")
    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["id"]
        verbose_name = "interest"
        constraints = [models.UniqueConstraint(fields=["round", "user", "group"], name="interest_declared_once")]

    def __str__(self) -> str:
        return f"interest {self.pk}"


class RoundChoice(Fixed):
    """What the pot could buy, under the limits, pins and exclusions of one moment; text that never changes."""

    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    round = models.ForeignKey(GrantRound, on_delete=models.PROTECT, related_name="choices")
    release = models.CharField(max_length=20)
    #: canonical JSON of what was asked of the model
    request = models.TextField()
    inputs_checksum = models.CharField(max_length=SHA256_LENGTH)
    answer = models.TextField()
    answer_checksum = models.CharField(max_length=SHA256_LENGTH)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-created_at", "-id"]
        verbose_name = "choice of bids"
        constraints = [
            models.UniqueConstraint(fields=["round", "inputs_checksum", "release"], name="choice_once_per_recipe")
        ]

    def __str__(self) -> str:
        return f"choice {self.public_id}"
