"""Tokens: what a program shows to act for somebody."""

from __future__ import annotations

import secrets
from datetime import datetime, timedelta
from typing import Final
from uuid import UUID

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from projects.contracts.people import TokenNew
from projects.errors import NotFound, WrongState, broken
from projects.models import ApiToken, User
from projects.rules.access import Actor, demand
from projects.selectors.people import account_of, digest_of
from projects.services.accounts import confirm
from projects.services.audit import record
from projects.services.base import save_new

PREFIX: Final = "forb_"
_SECRET_BYTES: Final = 32
_SHOWN: Final = 10
#: tokens of one person that work at once
MOST: Final = 20


def token_create(*, actor: Actor, asked: TokenNew, password: str, caller: str, now: datetime) -> tuple[ApiToken, str]:
    """Make a token, once its owner has given the password again.

    Returns
    -------
    tuple
        The token's row, and its text, which is not kept and cannot be shown again.
    """
    user = account_of(actor)
    demand(actor, "token.create", owner_id=user.pk)
    confirm(user=user, password=password, caller=caller, now=now)
    text = PREFIX + secrets.token_urlsafe(_SECRET_BYTES)
    with transaction.atomic():
        User.objects.select_for_update().get(pk=user.pk)
        if ApiToken.objects.filter(user=user, revoked_at__isnull=True, expires_at__gt=now).count() >= MOST:
            raise broken("", "too_many", f"You have {MOST} tokens that work; withdraw one first.", None, "fewer")
        row = save_new(
            ApiToken(
                user=user,
                name=asked.name,
                scopes=sorted(set(asked.scopes)),
                digest=digest_of(text),
                begins=text[:_SHOWN],
                created_at=now,
                expires_at=now + timedelta(days=asked.days),
            )
        )
        # Without its name, which may tell who somebody is and must be erasable.
        record(
            actor, now, "token_create", "token", row.public_id,
            after={"scopes": row.scopes, "expires_at": row.expires_at.isoformat()},
        )  # fmt: skip
    return row, text


def token_revoke(*, actor: Actor, public_id: UUID, now: datetime) -> ApiToken:
    """Make one of the actor's own tokens work no longer."""
    user = account_of(actor)
    with transaction.atomic():
        row = ApiToken.objects.select_for_update().filter(user=user, public_id=public_id).first()
        if row is None:
            raise NotFound(f"You have no token {public_id}.")
        demand(actor, "token.revoke", owner_id=user.pk)
        if row.revoked_at is not None:
            raise WrongState("This token was withdrawn before.")
        row.revoked_at = now
        row.save(update_fields=["revoked_at"])
        record(actor, now, "token_revoke", "token", row.public_id, after={"revoked_at": now.isoformat()})
    return row


def token_used(*, token: ApiToken, now: datetime) -> None:
    """Note the day a token was last used: one write a day at most."""
    today = timezone.localdate(now)
    if token.last_used_on == today:
        return
    unsaid = Q(last_used_on__isnull=True) | Q(last_used_on__lt=today)
    ApiToken.objects.filter(unsaid, pk=token.pk).update(last_used_on=today)
