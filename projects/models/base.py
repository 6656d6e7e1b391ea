"""What nouns with an address share."""

from __future__ import annotations

import uuid
from typing import Any

from django.db import models
from django.utils import timezone


class Noun(models.Model):
    """A row with an address. `version` counts its changes, for saying "only if nobody changed it since"."""

    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField(default=timezone.now)
    updated_at = models.DateTimeField(default=timezone.now)

    class Meta:
        abstract = True


def known(field: str, choices: Any, name: str) -> models.CheckConstraint:
    """Return the constraint that a field holds one of its words."""
    return models.CheckConstraint(condition=models.Q(**{f"{field}__in": list(choices.values)}), name=name)
