"""What is put to a group about its bid before it is decided, and what the group answers."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q
from django.utils import timezone

from modelling.models import Fixed
from projects.models.bids import Bid, BidAppraisal
from projects.models.people import User


class FlagsPut(Fixed):
    """The flags of one appraisal, put to the group; from then on it reads them, and nothing else of the appraisal."""

    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    bid = models.ForeignKey(Bid, on_delete=models.PROTECT, related_name="flags_put")
    appraisal = models.OneToOneField(BidAppraisal, on_delete=models.PROTECT, related_name="put")
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["id"]
        verbose_name = "flags put to a group"

    def __str__(self) -> str:
        return f"flags of bid {self.bid_id}"


class FlagAnswer(Fixed):
    """What a group says about one flag. The latest counts; those before stay."""

    put = models.ForeignKey(FlagsPut, on_delete=models.PROTECT, related_name="answers")
    #: which flag of the appraisal, counted from 1
    flag = models.PositiveSmallIntegerField()
    #: which answer to it, counted from 1
    number = models.PositiveSmallIntegerField()
    text = models.TextField(max_length=2000)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["put", "flag", "number"]
        constraints = [
            models.UniqueConstraint(fields=["put", "flag", "number"], name="flag_answer_number_once"),
            models.CheckConstraint(condition=Q(flag__gte=1, number__gte=1), name="flag_answer_counts_from_one"),
        ]

    def __str__(self) -> str:
        return f"answer {self.number} to flag {self.flag}"
