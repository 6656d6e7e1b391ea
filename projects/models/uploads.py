"""Sheets that people send: what was read in them, until somebody accepts it or its time is over."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from modelling.models import SHA256_LENGTH
from projects import choices
from projects.models.base import Noun, known
from projects.models.groups import Group
from projects.models.meadows import MeadowProject
from projects.models.networks import Network
from projects.models.people import User
from projects.models.returns import ReturnVersion


class SheetUpload(Noun):
    """One file as it was read. The file's own bytes are not kept."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="uploads")
    #: none where its rows may be of every group of the network
    group = models.ForeignKey(Group, on_delete=models.PROTECT, null=True, blank=True, related_name="uploads")
    #: none where its rows name their meadows
    project = models.ForeignKey(MeadowProject, on_delete=models.PROTECT, null=True, blank=True, related_name="uploads")
    #: the upload whose refused rows these are, mended
    mends = models.ForeignKey("self", on_delete=models.SET_NULL, null=True, blank=True, related_name="mended_by")
    #: of rows that tell no year
    year = models.PositiveSmallIntegerField()
    filename = models.CharField(max_length=80, blank=True)
    size_bytes = models.PositiveIntegerField()
    #: SHA-256 of the file
    checksum = models.CharField(max_length=SHA256_LENGTH)
    #: the filled cells of every sheet, see `projects.sheets.keeping`
    cells = models.TextField(blank=True)
    #: answers to questions about it: key of the question -> value
    answers = models.JSONField(default=dict, blank=True)
    state = models.CharField(max_length=20, choices=choices.UploadState, default=choices.UploadState.WAITING)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    #: from then on it is not there any more
    expires_at = models.DateTimeField()

    class Meta:
        ordering = ["created_at", "public_id"]
        verbose_name = "sheet"
        constraints = [
            known("state", choices.UploadState, "upload_state_known"),
            models.CheckConstraint(
                condition=Q(project__isnull=True) | Q(group__isnull=False), name="upload_of_project_has_its_group"
            ),
            models.CheckConstraint(condition=Q(expires_at__gt=F("created_at")), name="upload_expires_after_it_came"),
        ]
        indexes = [
            models.Index(fields=["expires_at"], name="upload_by_expiry"),
            models.Index(fields=["created_by", "state"], name="upload_by_owner"),
        ]

    def __str__(self) -> str:
        return self.filename or "sheet"


class UploadPart(models.Model):
    """A meadow's year in a sheet, once it was accepted, and the version of the return it came to."""

    upload = models.ForeignKey(SheetUpload, on_delete=models.CASCADE, related_name="parts")
    version_of_return = models.ForeignKey(ReturnVersion, on_delete=models.PROTECT, related_name="+")
    #: whether it added a version; not where the return held all of it already
    added = models.BooleanField()
    project = models.ForeignKey(MeadowProject, on_delete=models.PROTECT, related_name="+")
    year = models.PositiveSmallIntegerField()
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["upload", "project", "year"], name="upload_part_once")]

    def __str__(self) -> str:
        return f"{self.project_id} {self.year}"


class RefusedRow(models.Model):
    """A row of a sheet that gave nothing to a return, as it stood there, and why."""

    upload = models.ForeignKey(SheetUpload, on_delete=models.CASCADE, related_name="refused_rows")
    #: none where it is not known whose row it is
    project = models.ForeignKey(MeadowProject, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    year = models.PositiveSmallIntegerField()
    sheet = models.CharField(max_length=100)
    number = models.PositiveIntegerField()
    #: address and text of each filled cell
    cells = models.JSONField()
    #: code, text, address, read, expected
    reasons = models.JSONField()

    class Meta:
        ordering = ["id"]
        verbose_name = "refused row"
        indexes = [models.Index(fields=["upload", "sheet", "number"], name="refused_row_by_place")]

    def __str__(self) -> str:
        return f"{self.sheet}, row {self.number}"
