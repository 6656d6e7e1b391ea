"""What the modelling app keeps: reference tables as they were, and answers that never change."""

from __future__ import annotations

import uuid
from typing import Any, NoReturn

from django.core.validators import MinLengthValidator
from django.db import models
from django.db.models import Q
from django.utils import timezone

from modelling.core.estimate import KEPT_DRAWS

SHA256_LENGTH = 64


class StoredForGood(Exception):
    """Somebody tried to alter or delete what is stored once and for all."""


class FixedRows(models.QuerySet[Any]):
    """Rows that are added and read, and nothing else."""

    def update(self, **values: Any) -> NoReturn:
        """Refuse."""
        raise StoredForGood(f"{self.model._meta.verbose_name}: a stored row is never changed.")

    def delete(self) -> NoReturn:
        """Refuse."""
        raise StoredForGood(f"{self.model._meta.verbose_name}: a stored row is never deleted.")


class Fixed(models.Model):
    """A row that is written once."""

    objects = FixedRows.as_manager()

    class Meta:
        abstract = True

    def save(self, **options: Any) -> None:
        """Add the row; refuse to change one."""
        if not self._state.adding:
            raise StoredForGood(f"{self._meta.verbose_name}: a stored row is never changed.")
        super().save(**options | {"force_insert": True})

    def delete(self, using: str | None = None, keep_parents: bool = False) -> NoReturn:
        """Refuse."""
        raise StoredForGood(f"{self._meta.verbose_name}: a stored row is never deleted.")


class ParameterSet(Fixed):
    """The reference tables that some stored run used."""

    checksum = models.CharField(max_length=SHA256_LENGTH, unique=True, validators=[MinLengthValidator(SHA256_LENGTH)])
    #: the bytes that the checksum is of, see `selectors.reference_content`, by zlib
    content = models.BinaryField()
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["id"]
        verbose_name = "parameter set"

    def __str__(self) -> str:
        return self.checksum[:12]


class ModelRun(Fixed):
    """One answer of the model with all it takes to make it again; served unchanged for ever."""

    class Kind(models.TextChoices):
        """What was asked."""

        ESTIMATE = "estimate", "Estimate"

    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    kind = models.CharField(max_length=20, choices=Kind)
    #: the recipe's inputs as canonical JSON, which the inputs' checksum is of
    request = models.TextField()
    inputs_checksum = models.CharField(max_length=SHA256_LENGTH, validators=[MinLengthValidator(SHA256_LENGTH)])
    as_of = models.DateField()
    random_seed = models.BigIntegerField()
    world_seed = models.BigIntegerField()
    draws = models.PositiveIntegerField()
    release = models.CharField(max_length=20)
    model_version = models.CharField(max_length=20)
    reference = models.ForeignKey(ParameterSet, on_delete=models.PROTECT, related_name="runs")
    #: canonical JSON; text, since a JSON column would put the keys in an order of its own
    answer = models.TextField()
    answer_checksum = models.CharField(max_length=SHA256_LENGTH, validators=[MinLengthValidator(SHA256_LENGTH)])
    #: see `arrays.packed`
    kept_draws = models.BinaryField()
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-created_at", "-id"]
        verbose_name = "model run"
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "inputs_checksum", "release", "reference"], name="model_run_once_per_recipe"
            ),
            models.CheckConstraint(condition=Q(kind__in=["estimate"]), name="model_run_kind_known"),
            models.CheckConstraint(condition=Q(draws__gte=KEPT_DRAWS), name="model_run_has_the_draws_it_keeps"),
            models.CheckConstraint(condition=Q(random_seed__gte=0, world_seed__gte=0), name="model_run_seeds_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.public_id}"
