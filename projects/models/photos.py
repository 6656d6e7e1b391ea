"""Photos from a fixed point, one year beside the other."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from modelling.models import SHA256_LENGTH
from projects import choices
from projects.models.base import Noun, known
from projects.models.people import User
from projects.models.returns import OutcomeReturn


class ReturnPhoto(Noun):
    """A photo that belongs to a year's return. Withdrawn, the row and its files go for good."""

    outcome = models.ForeignKey(OutcomeReturn, on_delete=models.PROTECT, related_name="photos")
    taken_on = models.DateField()
    #: the name of the fixed point, the same every year
    point = models.CharField(max_length=120)
    caption = models.CharField(max_length=200)
    #: whether everybody who can be recognised has agreed, and the parents of children in writing
    agreed = models.BooleanField()
    #: whether it was agreed to be shown to everybody, where the site is
    shown = models.BooleanField(default=False)
    #: of the file as it was sent
    checksum = models.CharField(max_length=SHA256_LENGTH)
    width_px = models.PositiveSmallIntegerField()
    height_px = models.PositiveSmallIntegerField()
    #: forgotten when the person's account is erased
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["created_at", "public_id"]
        verbose_name = "photo"
        constraints = [
            models.UniqueConstraint(fields=["outcome", "checksum"], name="photo_once_a_return"),
            models.CheckConstraint(condition=Q(agreed=True), name="photo_agreed"),
            models.CheckConstraint(condition=Q(width_px__gte=1, height_px__gte=1), name="photo_has_pixels"),
        ]

    def __str__(self) -> str:
        return self.caption


class PhotoFile(models.Model):
    """The picture itself, apart from its row so that lists do not carry it."""

    # In the database: one back-up holds all, and a photo that is withdrawn goes in the same transaction as its row.
    photo = models.ForeignKey(ReturnPhoto, on_delete=models.CASCADE, related_name="files")
    size = models.CharField(max_length=10, choices=choices.PhotoSize)
    #: JPEG, as `pictures.remade` wrote it
    content = models.BinaryField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["photo", "size"], name="photo_size_once"),
            known("size", choices.PhotoSize, "photo_size_known"),
        ]

    def __str__(self) -> str:
        return f"{self.size} of photo {self.photo_id}"
