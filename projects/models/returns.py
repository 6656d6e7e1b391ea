"""Yearly returns: what was sent, version by version, as rows and as sent; questions about it; what it comes to."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q
from django.utils import timezone

from modelling.models import SHA256_LENGTH, Fixed
from projects import choices
from projects.models.base import Noun, known
from projects.models.groups import Group
from projects.models.meadows import MeadowProject
from projects.models.networks import Network
from projects.models.people import User


class OutcomeReturn(Noun):
    """One year of one project. What was sent is in its versions."""

    network = models.ForeignKey(Network, on_delete=models.PROTECT, related_name="returns")
    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="returns")
    project = models.ForeignKey(MeadowProject, on_delete=models.PROTECT, related_name="returns")
    year = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=20, choices=choices.ReturnState, default=choices.ReturnState.SENT)
    #: what is being looked at; the latest sent
    current = models.OneToOneField(
        "projects.ReturnVersion", on_delete=models.PROTECT, null=True, blank=True, related_name="current_of"
    )
    #: what counts; stays until a later version is agreed
    agreed = models.OneToOneField(
        "projects.ReturnVersion", on_delete=models.PROTECT, null=True, blank=True, related_name="agreed_of"
    )

    class Meta:
        ordering = ["created_at", "public_id"]
        constraints = [
            models.UniqueConstraint(fields=["project", "year"], name="return_once_a_year"),
            known("state", choices.ReturnState, "return_state_known"),
            models.CheckConstraint(
                condition=~Q(state="agreed") | Q(agreed__isnull=False), name="return_agreed_names_its_version"
            ),
        ]
        indexes = [models.Index(fields=["network", "year", "state"], name="return_by_year")]

    def __str__(self) -> str:
        return f"return of {self.year}"


class ReturnVersion(Fixed):
    """A return as it was sent. A correction is a new row."""

    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    outcome = models.ForeignKey(OutcomeReturn, on_delete=models.PROTECT, related_name="versions")
    number = models.PositiveIntegerField()
    submission_id = models.UUIDField(default=uuid.uuid4)
    #: canonical JSON, as `contracts.returns.ReturnNew` reads it
    content = models.TextField()
    checksum = models.CharField(max_length=SHA256_LENGTH)
    came_by = models.CharField(max_length=20, choices=choices.CameBy)
    #: whether somebody outside the group typed it in for them
    on_behalf = models.BooleanField(default=False)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["outcome", "-number"]
        verbose_name = "return version"
        constraints = [
            models.UniqueConstraint(fields=["outcome", "number"], name="return_number_once"),
            models.UniqueConstraint(fields=["outcome", "submission_id"], name="return_sent_once"),
            known("came_by", choices.CameBy, "return_came_by_known"),
        ]

    def __str__(self) -> str:
        return f"version {self.number} of return {self.outcome_id}"


class ReturnStep(Fixed):
    """What became of a return, and what was said of it."""

    outcome = models.ForeignKey(OutcomeReturn, on_delete=models.PROTECT, related_name="steps")
    to_state = models.CharField(max_length=20, choices=choices.ReturnState)
    version_number = models.PositiveIntegerField()
    comment = models.TextField(max_length=4000, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-id"]
        verbose_name = "step of a return"

    def __str__(self) -> str:
        return f"{self.to_state} {self.created_at:%d %B %Y}"


class ReturnQuestion(Noun):
    """Something in a version that is unlikely: asked, answered by the group, accepted by the network."""

    version_of = models.ForeignKey(ReturnVersion, on_delete=models.PROTECT, related_name="questions")
    code = models.CharField(max_length=40)
    #: JSON Pointer into what was sent
    pointer = models.CharField(max_length=200, blank=True)
    text = models.TextField(max_length=1000)
    answer = models.TextField(max_length=4000, blank=True)
    answered_at = models.DateTimeField(null=True, blank=True)
    accepted_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["version_of", "code", "pointer"], name="return_question_once"),
        ]

    def __str__(self) -> str:
        return self.text


class Settlement(models.Model):
    """What a written name stands for in one version."""

    version_of = models.ForeignKey(ReturnVersion, on_delete=models.PROTECT, related_name="settlements")
    #: `modelling.names.folded`
    folded = models.CharField(max_length=200)
    #: key of the plant; empty to leave it as written
    taxon = models.CharField(max_length=80, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["version_of", "folded"], name="settlement_once_a_version")]

    def __str__(self) -> str:
        return f"{self.folded}: {self.taxon or 'as written'}"


class NameChoice(models.Model):
    """What a group means by a name, remembered for its later returns."""

    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="name_choices")
    folded = models.CharField(max_length=200)
    taxon = models.CharField(max_length=80)
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["group", "folded"], name="name_choice_once_a_group")]

    def __str__(self) -> str:
        return f"{self.folded}: {self.taxon}"


class TaxonRecord(models.Model):
    """One kind of plant in one quadrat, or on the whole site, of one version; rows to count, the text is the record."""

    version_of = models.ForeignKey(ReturnVersion, on_delete=models.PROTECT, related_name="records")
    on = models.DateField()
    #: label of the quadrat; empty for the whole site
    quadrat = models.CharField(max_length=40, blank=True)
    control = models.BooleanField(default=False)
    #: key of the plant; empty where the name is not settled
    taxon = models.CharField(max_length=80, blank=True)
    name = models.CharField(max_length=120)
    scale = models.CharField(max_length=20)
    value = models.CharField(max_length=20, blank=True)

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["version_of", "quadrat"], name="record_by_quadrat")]

    def __str__(self) -> str:
        return self.name


class ReturnResult(Fixed):
    """What a version comes to, by one release's rules and one settling of its names; text that never changes."""

    version_of = models.ForeignKey(ReturnVersion, on_delete=models.PROTECT, related_name="results")
    results_version = models.CharField(max_length=20)
    reference_checksum = models.CharField(max_length=SHA256_LENGTH)
    #: of what was judged: the survey with its names as settled, and the surveys beside it
    inputs_checksum = models.CharField(max_length=SHA256_LENGTH)
    text = models.TextField()
    checksum = models.CharField(max_length=SHA256_LENGTH)
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-id"]
        verbose_name = "result of a return"
        constraints = [
            models.UniqueConstraint(
                fields=["version_of", "results_version", "reference_checksum", "inputs_checksum"],
                name="return_result_once",
            ),
        ]

    def __str__(self) -> str:
        return f"result {self.checksum[:12]}"
