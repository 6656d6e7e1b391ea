"""Reviews of bids: scores by assessors who do not see each other's, and notes for the panel."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils import timezone

from modelling.models import Fixed
from projects.models.base import Noun
from projects.models.bids import Bid
from projects.models.people import User
from projects.models.rounds import Criterion


class Review(Noun):
    """What one assessor makes of one bid; once sent it stays."""

    bid = models.ForeignKey(Bid, on_delete=models.PROTECT, related_name="reviews")
    assessor = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    comment = models.TextField(max_length=4000, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["bid", "assessor"], name="review_once")]

    def __str__(self) -> str:
        return f"review {self.public_id}"


class ReviewScore(models.Model):
    """The score on one criterion."""

    review = models.ForeignKey(Review, on_delete=models.CASCADE, related_name="scores")
    criterion = models.ForeignKey(Criterion, on_delete=models.PROTECT, related_name="+")
    score = models.PositiveSmallIntegerField()
    comment = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["criterion__position"]
        constraints = [
            models.UniqueConstraint(fields=["review", "criterion"], name="score_once_per_criterion"),
            models.CheckConstraint(condition=Q(score__gte=0), name="score_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.score}"


class BidNote(Fixed):
    """Something said about a bid among those who read it."""

    bid = models.ForeignKey(Bid, on_delete=models.PROTECT, related_name="notes")
    author = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    text = models.TextField(max_length=4000)
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["id"]
        verbose_name = "note about a bid"

    def __str__(self) -> str:
        return self.text[:80]
