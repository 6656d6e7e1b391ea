"""Invitations: a way into a group or to a role in a network, for one address, for 14 days."""

from __future__ import annotations

import secrets
from datetime import datetime
from typing import Final
from uuid import UUID

from django.db import transaction
from django.db.models import Q, QuerySet

from projects.choices import GroupRole, NetworkRole
from projects.contracts.accounts import Newcomer
from projects.contracts.networks import InvitationNew
from projects.errors import NotAllowed, NotFound, RuleBroken, WrongState, broken
from projects.models import Group, Invitation, Membership, Network, NetworkMembership, User
from projects.rules import sign_in as rules
from projects.rules.access import Actor, demand, visible_invitations
from projects.selectors.people import (
    account_of,
    belongs_already,
    called,
    digest_of,
    invitation_shown,
    is_open,
    still_open,
)
from projects.services.accounts import password_checked
from projects.services.audit import record, snapshot
from projects.services.base import found, save_new
from projects.services.letters import letter, send

_SECRET_BYTES: Final = 32
#: to one group, or to one network's roles: more than any village writes by hand
MOST_OPEN: Final = 100


def invitation_create(*, actor: Actor, asked: InvitationNew, now: datetime) -> tuple[Invitation, str]:
    """Invite somebody; an open invitation of the same address to the same place is withdrawn by it.

    Returns
    -------
    tuple
        The invitation, and the secret of its link, which is not kept. `invitation_send` writes the letter, once this
        is committed.
    """
    if (asked.group_id is None) == (asked.network_id is None):
        raise broken("/group_id", "contradiction", "Invite to a group or to a network.", None, "one of the two")
    with transaction.atomic():
        if asked.group_id is not None:
            group = found(Group, Q(closed_at__isnull=True), asked.group_id, "group", hold=True, with_=("network",))
            network = group.network
            demand(actor, "invitation.create", group_id=group.pk, network_id=network.pk)
            _role_is(asked.role, GroupRole.values, "A group has")
            there = Invitation.objects.filter(group=group)
        else:
            assert asked.network_id is not None  # noqa: S101 - for the reader of types: one of the two is given
            group = None
            network = found(Network, Q(), asked.network_id, "network", hold=True)
            demand(actor, "network.appoint", network_id=network.pk)
            _role_is(asked.role, NetworkRole.values, "A network has")
            there = Invitation.objects.filter(group__isnull=True, network=network)
        invitations_forget_expired(now=now)
        secret = secrets.token_urlsafe(_SECRET_BYTES)
        row = Invitation(
            network=network,
            group=group,
            role=asked.role,
            email=asked.email,
            digest=digest_of(secret),
            invited_by_id=actor.user_id,
            created_at=now,
            expires_at=now + rules.INVITATION_RUNS,
        )
        person = User.objects.filter(email=asked.email).first()
        if person is not None and belongs_already(person, row):
            what = "holds this role already" if group is None else "belongs to the group already"
            raise broken("/email", "taken", f"Somebody with this address {what}.", asked.email, "another address")
        waiting = there.filter(accepted_at__isnull=True, withdrawn_at__isnull=True, expires_at__gt=now)
        _replace(
            waiting.filter(email=asked.email, role=asked.role) if group is None else waiting.filter(email=asked.email),
            now,
        )
        if waiting.count() >= MOST_OPEN:
            raise broken("", "too_many", f"{MOST_OPEN} invitations are open; withdraw some first.", None, "fewer")
        save_new(row)
        record(
            actor, now, "invitation_create", "invitation", row.public_id,
            network=network, group=group, after=snapshot(row),
        )  # fmt: skip
    return row, secret


def _role_is(role: str, allowed: list[str], whose: str) -> None:
    if role not in allowed:
        known = ", ".join(allowed)
        raise broken("/role", "unknown_word", f"{whose} no role {role!r}; it has {known}.", role, f"one of {known}")


def _replace(earlier: QuerySet[Invitation], now: datetime) -> None:
    earlier.update(withdrawn_at=now, email="")


def invitation_send(*, invitation: Invitation, link: str) -> bool:
    """Send the letter of an invitation that was made; say whether it went out."""
    return send(
        letter(
            "invitation",
            invitation.email,
            invitation=invitation,
            role=role_label(invitation),
            by=called(invitation.invited_by),
            link=link,
        )
    )


def role_label(invitation: Invitation) -> str:
    """The role of an invitation in words."""
    label = NetworkRole(invitation.role).label if invitation.group_id is None else GroupRole(invitation.role).label
    return str(label).lower()


def invitation_withdraw(*, actor: Actor, public_id: UUID, now: datetime) -> Invitation:
    """Make an open invitation work no longer, and forget its address."""
    with transaction.atomic():
        invitations_forget_expired(now=now)
        rows = Invitation.objects.select_for_update(of=("self",)).filter(visible_invitations(actor))
        row = rows.filter(public_id=public_id).first()
        if row is None:
            raise NotFound(f"There is no invitation {public_id}, or none that you may see.")
        if row.group_id is None:
            demand(actor, "network.appoint", network_id=row.network_id)
        else:
            demand(actor, "invitation.withdraw", group_id=row.group_id, network_id=row.network_id)
        if not is_open(row, now):
            raise WrongState("This invitation is over: it was used, withdrawn or has run out.")
        before = snapshot(row)
        row.withdrawn_at, row.email = now, ""
        row.save(update_fields=["withdrawn_at", "email"])
        record(
            actor, now, "invitation_withdraw", "invitation", row.public_id,
            network=row.network_id, group=row.group_id, before=before, after=snapshot(row),
        )  # fmt: skip
    return row


def invitation_accept(*, actor: Actor, secret: str, now: datetime) -> Invitation:
    """Accept an invitation as somebody who has an account, whose address must be the invited one."""
    with transaction.atomic():
        row = _held(secret, now)
        user = User.objects.select_for_update().get(pk=account_of(actor).pk)
        if user.email != row.email:
            raise NotAllowed(
                f"This invitation is for {row.email}, and you are signed in as {user.email}. "
                "Sign out, and come back with the account of that address."
            )
        if belongs_already(user, row):
            raise WrongState("You have what this invitation would give you already. Nothing was changed.")
        _join(actor, row, user, now)
    return row


def invitation_accept_new(*, secret: str, asked: Newcomer, password: str, now: datetime) -> tuple[Invitation, User]:
    """Accept an invitation as somebody new, who gets an account with the invited address."""
    shown = invitation_shown(secret, now)
    user = User(email=shown.email, name=asked.name, created_at=now, updated_at=now)
    password_checked(password, user)
    user.set_password(password)
    with transaction.atomic():
        row = _held(secret, now)
        try:
            save_new(user)
        except RuleBroken as refusal:
            if User.objects.filter(email=row.email).exists():
                raise WrongState("There is an account with this address. Sign in with it, then accept.") from refusal
            raise
        actor = Actor(user_id=user.pk)
        record(actor, now, "account_create", "account", user.public_id, after=snapshot(user))
        _join(actor, row, user, now)
    return row, user


def _held(secret: str, now: datetime) -> Invitation:
    """The open invitation of a secret, held so that of two who accept it one comes second."""
    row = Invitation.objects.select_for_update(of=("self",)).filter(digest=digest_of(secret)).first()
    if row is None:
        raise NotFound("There is no such invitation.")
    still_open(row, now)
    return row


def _join(actor: Actor, row: Invitation, user: User, now: datetime) -> None:
    before = snapshot(row)
    if row.group is not None:
        save_new(Membership(group=row.group, user=user, role=row.role, since=now, created_at=now, updated_at=now))
    else:
        save_new(NetworkMembership(network=row.network, user=user, role=row.role, since=now))
    row.accepted_at, row.accepted_by, row.email = now, user, ""
    row.save(update_fields=["accepted_at", "accepted_by", "email"])
    record(
        actor, now, "invitation_accept", "invitation", row.public_id,
        network=row.network_id, group=row.group_id, before=before, after=snapshot(row),
    )  # fmt: skip


def invitations_forget_expired(*, now: datetime) -> int:
    """Forget the addresses of invitations that have run out; say how many."""
    return Invitation.objects.filter(expires_at__lte=now).exclude(email="").update(email="")
