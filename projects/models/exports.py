"""Files of records that are made in the background, and snapshots, which stay for good."""

from __future__ import annotations

from typing import Any

from django.db import models
from django.db.models import F, Q

from modelling.models import SHA256_LENGTH, Fixed
from projects import choices
from projects.models.base import Noun, known
from projects.models.jobs import Job
from projects.models.networks import Network
from projects.models.people import User


class Export(Noun):
    """One file that somebody asked for; it goes after some days."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    table = models.CharField(max_length=20, choices=choices.ExportTable)
    form = models.CharField(max_length=20, choices=choices.ExportForm)
    year = models.PositiveSmallIntegerField(null=True, blank=True)
    job = models.OneToOneField(Job, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    #: public id of each site in it -> side of the square it was shown by, in metres
    sites: models.JSONField[Any, Any] = models.JSONField(default=dict, blank=True)
    rows = models.PositiveBigIntegerField(null=True, blank=True)
    size_bytes = models.PositiveBigIntegerField(null=True, blank=True)
    sha256 = models.CharField(max_length=SHA256_LENGTH, blank=True)
    made_at = models.DateTimeField(null=True, blank=True)
    expires_at = models.DateTimeField(null=True, blank=True)
    deleted_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["created_at", "public_id"]
        constraints = [
            known("table", choices.ExportTable, "export_table_known"),
            known("form", choices.ExportForm, "export_form_known"),
            models.CheckConstraint(
                condition=Q(made_at__isnull=True)
                | Q(rows__isnull=False, size_bytes__isnull=False, expires_at__isnull=False) & ~Q(sha256=""),
                name="export_made_is_told",
            ),
        ]
        indexes = [models.Index(fields=["expires_at"], condition=Q(deleted_at__isnull=True), name="export_to_delete")]

    def __str__(self) -> str:
        return f"{self.table} as {self.form}"


class Snapshot(Noun):
    """All open tables of a network, or of all networks, as they were on one day; never changed, kept for good."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, null=True, blank=True, related_name="snapshots")
    name = models.CharField(max_length=120)
    about = models.TextField(max_length=4000, blank=True)
    job = models.OneToOneField(Job, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    release = models.CharField(max_length=40)
    #: name of each network in it -> its licence on that day
    licences: models.JSONField[Any, Any] = models.JSONField(default=dict, blank=True)
    #: as an export's
    sites: models.JSONField[Any, Any] = models.JSONField(default=dict, blank=True)
    made_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["created_at", "public_id"]
        constraints = [models.UniqueConstraint(F("network"), F("name"), name="snapshot_name_once_a_network")]

    def __str__(self) -> str:
        return self.name


class SnapshotFile(Fixed):
    """One file of a snapshot; the row and the file never change."""

    snapshot = models.ForeignKey(Snapshot, on_delete=models.PROTECT, related_name="files")
    name = models.CharField(max_length=60)
    media_type = models.CharField(max_length=60)
    rows = models.PositiveBigIntegerField()
    size_bytes = models.PositiveBigIntegerField()
    sha256 = models.CharField(max_length=SHA256_LENGTH)

    class Meta:
        ordering = ["name"]
        verbose_name = "file of a snapshot"
        constraints = [models.UniqueConstraint(fields=["snapshot", "name"], name="snapshot_file_once")]

    def __str__(self) -> str:
        return self.name
