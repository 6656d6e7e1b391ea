"""Answers kept for a day, so that a request sent again with its key changes nothing."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

from django.db import IntegrityError, transaction

from projects.models import RememberedAnswer

KEPT: Final = timedelta(hours=24)
#: a request still unanswered after so long was cut off; its key is free again
CUT_OFF: Final = timedelta(minutes=2)


class OtherRequest(Exception):
    """The key was used for another request."""


class InProgress(Exception):
    """The first request with this key is still being dealt with."""


def remember_begin(*, user_id: int, key: str, digest: str, now: datetime) -> tuple[RememberedAnswer, bool]:
    """Claim a key for a request.

    Returns
    -------
    tuple
        The row, and whether it holds the answer already.

    Raises
    ------
    OtherRequest
        If the key belongs to a request that reads differently.
    InProgress
        If the same request is being dealt with at this moment.
    """
    RememberedAnswer.objects.filter(user=user_id, created_at__lt=now - KEPT).delete()
    RememberedAnswer.objects.filter(user=user_id, key=key, status__isnull=True, created_at__lt=now - CUT_OFF).delete()
    row = RememberedAnswer(user_id=user_id, key=key, digest=digest, created_at=now)
    try:
        with transaction.atomic():
            row.save(force_insert=True)
    except IntegrityError:
        there = RememberedAnswer.objects.filter(user=user_id, key=key).first()
        if there is None or (there.digest == digest and there.status is None):
            raise InProgress from None
        if there.digest != digest:
            raise OtherRequest from None
        return there, True
    return row, False


def answers_forget(*, now: datetime) -> int:
    """Let go of answers that were kept for their day, whoever's they are; how many."""
    gone, _ = RememberedAnswer.objects.filter(created_at__lt=now - KEPT).delete()
    return gone


def remember_end(row: RememberedAnswer, *, status: int, headers: dict[str, str], body: str) -> None:
    """Keep the answer; called in the act's own transaction, which the raise takes back.

    Raises
    ------
    InProgress
        If this took so long that the key was given to the same request sent again.
    """
    if not RememberedAnswer.objects.filter(pk=row.pk).update(status=status, headers=headers, body=body):
        raise InProgress


def remember_not(row: RememberedAnswer) -> None:
    """Free the key: nothing was changed."""
    RememberedAnswer.objects.filter(pk=row.pk, status__isnull=True).delete()
