"""The lending pool of a network: what is lent, who was shown how, what is broken, and who has it when."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower
from django.utils import timezone

from modelling.models import Fixed
from projects import choices
from projects.models.base import Noun, known
from projects.models.groups import Group
from projects.models.meadows import MeadowProject
from projects.models.networks import Network, Village
from projects.models.people import User

#: half-days that may be kept free after a booking: a week
MOST_GAP = 14


class KitItem(Noun):
    """Something that a network lends to its groups."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="kit")
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=20, choices=choices.KitKind)
    #: of its work, or of the thing itself where it has to pass a gate; empty where it does not matter
    width_cm = models.PositiveIntegerField(null=True, blank=True)
    #: what somebody must have been shown before it is lent; empty for nothing
    shown_first = models.CharField(max_length=200, blank=True)
    #: where it is kept, told no more precisely than by the village
    village = models.ForeignKey(Village, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    #: offices or roles, no person
    insured_by = models.CharField(max_length=120, blank=True)
    towed_by = models.CharField(max_length=120, blank=True)
    #: half-days kept free after a booking: to travel, to dry, to be looked over
    gap_half_days = models.PositiveSmallIntegerField(default=0)
    #: whether a booking is agreed by being made
    agreed_at_once = models.BooleanField(default=False)
    service_due_on = models.DateField(null=True, blank=True)
    #: as last read off its meter
    meter_minutes = models.PositiveIntegerField(default=0)
    #: reading at which it is serviced next
    service_due_minutes = models.PositiveIntegerField(null=True, blank=True)
    note = models.CharField(max_length=500, blank=True)
    #: no longer lent at all
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            models.UniqueConstraint(F("network"), Lower("name"), name="kit_name_once_per_network"),
            known("kind", choices.KitKind, "kit_kind_known"),
            models.CheckConstraint(condition=Q(gap_half_days__lte=MOST_GAP), name="kit_gap_at_most_a_week"),
            models.CheckConstraint(condition=Q(width_cm__isnull=True) | Q(width_cm__gte=1), name="kit_width_positive"),
        ]

    def __str__(self) -> str:
        return self.name


class KitShowing(Noun):
    """Somebody was shown how to use an item; goes with their account."""

    item = models.ForeignKey(KitItem, on_delete=models.PROTECT, related_name="showings")
    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    shown_on = models.DateField()
    #: knows it well enough to show others
    may_show = models.BooleanField(default=False)

    class Meta:
        ordering = ["created_at", "public_id"]
        constraints = [models.UniqueConstraint(fields=["item", "user"], name="kit_shown_once")]

    def __str__(self) -> str:
        return f"shown on {self.shown_on}"


class KitBooking(Noun):
    """An item for a project, from one half-day to another, both counted in."""

    item = models.ForeignKey(KitItem, on_delete=models.PROTECT, related_name="bookings")
    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="kit_bookings")
    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="kit_bookings")
    project = models.ForeignKey(MeadowProject, on_delete=models.PROTECT, related_name="kit_bookings")
    #: made by whoever asks, so that asking again changes nothing
    submission_id = models.UUIDField(default=uuid.uuid4)
    first_on = models.DateField()
    #: 0 in the morning, 1 in the afternoon
    first_half = models.PositiveSmallIntegerField()
    last_on = models.DateField()
    last_half = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=20, choices=choices.KitState, default=choices.KitState.ASKED)
    #: nobody of the group had been shown the item when it asked: somebody shows them when it is handed out
    to_be_shown = models.BooleanField(default=False)
    note = models.CharField(max_length=300, blank=True)
    #: why it was not agreed, or why it was cancelled
    because = models.CharField(max_length=200, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["created_at", "public_id"]
        constraints = [
            known("state", choices.KitState, "kit_booking_state_known"),
            models.UniqueConstraint(fields=["project", "submission_id"], name="kit_booking_sent_once"),
            models.CheckConstraint(
                condition=Q(last_on__gt=F("first_on")) | Q(last_on=F("first_on"), last_half__gte=F("first_half")),
                name="kit_booking_ends_after_it_begins",
            ),
            models.CheckConstraint(
                condition=Q(first_half__in=[0, 1], last_half__in=[0, 1]), name="kit_booking_halves_known"
            ),
        ]
        indexes = [models.Index(fields=["item", "first_on"], name="kit_booking_by_day")]

    def __str__(self) -> str:
        return f"{self.item} from {self.first_on:%d %B %Y}"


class KitHalfDay(models.Model):
    """One half-day on which an item is not free. That there is one row at most is what keeps bookings apart."""

    item = models.ForeignKey(KitItem, on_delete=models.PROTECT, related_name="half_days")
    booking = models.ForeignKey(KitBooking, on_delete=models.CASCADE, related_name="half_days")
    on = models.DateField()
    half = models.PositiveSmallIntegerField()
    #: kept free after the booking, not used by it
    is_gap = models.BooleanField(default=False)

    class Meta:
        ordering = ["on", "half"]
        constraints = [
            models.UniqueConstraint(fields=["item", "on", "half"], name="kit_lent_once_a_half_day"),
            models.CheckConstraint(condition=Q(half__in=[0, 1]), name="kit_half_known"),
        ]

    def __str__(self) -> str:
        return f"{self.on} {'afternoon' if self.half else 'morning'}"


class KitHandOver(Fixed):
    """An item goes out to a group or comes back: how it was, and what its meter said."""

    booking = models.ForeignKey(KitBooking, on_delete=models.PROTECT, related_name="hand_overs")
    way = models.CharField(max_length=10, choices=choices.KitWay)
    at = models.DateTimeField(default=timezone.now)
    condition = models.CharField(max_length=20, choices=choices.KitCondition)
    meter_minutes = models.PositiveIntegerField(null=True, blank=True)
    note = models.CharField(max_length=300, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["at", "id"]
        verbose_name = "hand-over of kit"
        constraints = [
            known("way", choices.KitWay, "kit_way_known"),
            known("condition", choices.KitCondition, "kit_condition_known"),
            models.UniqueConstraint(fields=["booking", "way"], name="kit_handed_over_once_a_way"),
        ]

    def __str__(self) -> str:
        return f"{self.way} on {self.at:%d %B %Y}"


class KitFault(Noun):
    """What is wrong with an item, and from when it cannot be used for it."""

    item = models.ForeignKey(KitItem, on_delete=models.PROTECT, related_name="faults")
    booking = models.ForeignKey(KitBooking, on_delete=models.PROTECT, null=True, blank=True, related_name="faults")
    what = models.CharField(max_length=300)
    found_on = models.DateField()
    #: empty where it can go on being used
    out_of_use_from = models.DateField(null=True, blank=True)
    mended_on = models.DateField(null=True, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["created_at", "public_id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(mended_on__isnull=True) | Q(mended_on__gte=F("found_on")), name="kit_mended_after_found"
            ),
        ]

    def __str__(self) -> str:
        return self.what
