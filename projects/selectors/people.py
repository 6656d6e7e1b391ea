"""Reads of accounts, tokens and invitations."""

from __future__ import annotations

from datetime import datetime
from hashlib import sha256
from typing import Any, Final
from uuid import UUID

from django.db.models import ForeignObjectRel, Q, QuerySet

from projects.choices import GroupRole, NetworkRole
from projects.errors import Gone, NotAllowed, NotFound
from projects.models import (
    ApiToken,
    AuditEntry,
    Forecast,
    Group,
    Invitation,
    Membership,
    Network,
    NetworkMembership,
    User,
    WorkEntry,
)
from projects.rules.access import Actor, demand, visible_invitations

A_PERSON_WHO_HAS_LEFT: Final = "a person who has left"
_LONGEST_SECRET: Final = 200


def digest_of(secret: str) -> str:
    """What is kept of a secret that was handed out."""
    return sha256(secret.encode("utf-8", "replace")).hexdigest()


def called(user: User | None) -> str:
    """What to call somebody who did something."""
    if user is None:
        return "the server"
    return A_PERSON_WHO_HAS_LEFT if user.erased_at else str(user)


# ------------------------------------------------------------------ oneself


def account_of(actor: Actor) -> User:
    """The actor's own account; raises NotAllowed for a visitor."""
    user = User.objects.filter(pk=actor.user_id, is_active=True).first() if actor.user_id is not None else None
    if user is None:
        raise NotAllowed("This needs an account: sign in first.")
    demand(actor, "account.read", owner_id=user.pk)
    return user


def memberships_of(actor: Actor) -> QuerySet[Membership]:
    """What the actor is in groups."""
    rows = Membership.objects.filter(user=actor.user_id, until__isnull=True, user__isnull=False)
    return rows.select_related("group__network").order_by("group__name", "pk")


def network_roles_of(actor: Actor) -> QuerySet[NetworkMembership]:
    """What the actor is in networks."""
    rows = NetworkMembership.objects.filter(user=actor.user_id, until__isnull=True, user__isnull=False)
    return rows.select_related("network").order_by("network__name", "pk")


def membership_own(actor: Actor, public_id: UUID) -> Membership:
    """One running membership of the actor's own; raises NotFound."""
    row = memberships_of(actor).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"You have no membership {public_id}.")
    return row


def handovers(user: User, group: Group | None = None) -> list[str]:
    """What somebody has to hand over before they can go, or before they can leave one group, in sentences."""
    leads = Membership.objects.filter(role=GroupRole.LEAD, until__isnull=True, group__closed_at__isnull=True)
    holders = NetworkMembership.objects.filter(role=NetworkRole.COORDINATOR, until__isnull=True)
    groups = Group.objects.filter(pk__in=leads.filter(user=user).values("group"))
    alone = groups.exclude(pk__in=leads.exclude(user=user).values("group")).order_by("name")
    if group is not None:
        return [_only_lead(row) for row in alone.filter(pk=group.pk)]
    networks = Network.objects.filter(pk__in=holders.filter(user=user).values("network"))
    without = networks.exclude(pk__in=holders.exclude(user=user).values("network")).order_by("name")
    return [_only_lead(row) for row in alone] + [
        f"You are the only coordinator of {network.name}: have another appointed first." for network in without
    ]


def _only_lead(group: Group) -> str:
    return f"You are the only lead of {group.name}: make somebody else a lead first."


def texts_with_address(user: User) -> list[Group]:
    """Groups of somebody whose own words repeat the person's address: no erasing of an account changes those."""
    if not user.email:
        return []
    said = Q(contact__icontains=user.email) | Q(about__icontains=user.email)
    return list(Group.objects.filter(said).order_by("name"))


# ------------------------------------------------------------------ tokens


def tokens_of(actor: Actor) -> QuerySet[ApiToken]:
    """The actor's tokens, the newest first."""
    if actor.user_id is None:
        return ApiToken.objects.none()
    demand(actor, "token.read", owner_id=actor.user_id)
    return ApiToken.objects.filter(user=actor.user_id)


def token_of(text: str, now: datetime) -> ApiToken | None:
    """The token of a text somebody showed, with its owner, if it still works: one query."""
    if not text or len(text) > _LONGEST_SECRET or not text.isascii():
        return None
    row = ApiToken.objects.select_related("user").filter(digest=digest_of(text)).first()
    return row if row is not None and works(row, now) and row.user.is_active else None


def works(token: ApiToken, now: datetime) -> bool:
    """Whether a token still opens anything."""
    return token.revoked_at is None and token.expires_at > now


# ------------------------------------------------------------------ invitations


def is_open(invitation: Invitation, now: datetime) -> bool:
    """Whether an invitation can still be accepted."""
    return invitation.accepted_at is None and invitation.withdrawn_at is None and invitation.expires_at > now


def invitation_list(
    actor: Actor, *, group: Group | None = None, network: Network | None = None
) -> QuerySet[Invitation]:
    """Invitations to a group, or to roles of a network, the newest first; raises NotAllowed for strangers."""
    rows = Invitation.objects.filter(visible_invitations(actor)).select_related("group", "network", "invited_by")
    if group is not None:
        demand(actor, "invitation.read", group_id=group.pk, network_id=group.network_id)
        return rows.filter(group=group)
    if network is not None:
        demand(actor, "network.appoint", network_id=network.pk)
        return rows.filter(group__isnull=True, network=network)
    return rows


def invitations_open(
    actor: Actor, now: datetime, *, group: Group | None = None, network: Network | None = None
) -> QuerySet[Invitation]:
    """Those that can still be accepted."""
    rows = invitation_list(actor, group=group, network=network)
    return rows.filter(accepted_at__isnull=True, withdrawn_at__isnull=True, expires_at__gt=now)


def invitation_shown(secret: str, now: datetime) -> Invitation:
    """The invitation of a link; raises NotFound, or Gone with what became of it."""
    rows = Invitation.objects.select_related("group", "network", "invited_by")
    row = rows.filter(digest=digest_of(secret)).first() if len(secret) <= _LONGEST_SECRET else None
    if row is None:
        raise NotFound("There is no such invitation.")
    still_open(row, now)
    return row


def still_open(invitation: Invitation, now: datetime) -> None:
    """Raise Gone, with what became of it, unless an invitation can be accepted."""
    if invitation.accepted_at is not None:
        raise Gone("This invitation has been used. Whoever used it signs in with address and password.")
    if invitation.withdrawn_at is not None:
        raise Gone("This invitation was withdrawn. Ask whoever invited you whether there is a newer one.")
    if invitation.expires_at <= now:
        raise Gone("This invitation has run out: it held for 14 days. Ask whoever invited you for a new one.")
    if invitation.group is not None and invitation.group.closed_at is not None:
        raise Gone("The group of this invitation has closed.")


def account_known(email: str) -> bool:
    """Whether somebody signs in with this address: for those who hold an invitation to it."""
    return User.objects.filter(email=email, is_active=True).exists()


def belongs_already(user: User, invitation: Invitation) -> bool:
    """Whether somebody has what an invitation would give."""
    if invitation.group_id is not None:
        return Membership.objects.filter(user=user, group=invitation.group_id, until__isnull=True).exists()
    held = NetworkMembership.objects.filter(user=user, network=invitation.network_id, until__isnull=True)
    return held.filter(role=invitation.role).exists()


# ------------------------------------------------------------------ all that is held about somebody

_EXPLAINED: Final = {
    "account": "Who you are to this service. The password is kept as a one-way hash and cannot be given out.",
    "roles": "What you are and were in groups and networks, with dates. Kept when you leave, by number only.",
    "invitations_sent": "Invitations you wrote. The address of whoever you invited is kept only while one is open.",
    "invitations_received": "Invitations open to your address, and those you accepted.",
    "tokens": "What you let programs do. Only a one-way digest of each token is kept, and it is not given out.",
    "diary_lines": "Lines you wrote into work diaries, by number and day. They say how many came, never who.",
    "forecasts": "Forecasts you had worked out for a project, by number and time.",
    "acts": "What you changed, and when. Kept as the record of who did what; after erasing, by number only.",
    "elsewhere": "Everything else that names you by number: which table, which row, and since when.",
    "not_here": "Signing in sets two cookies, which your browser keeps. Wrong passwords are counted for an hour by "
    "keyed hashes that cannot be read back. No visits are recorded.",
}


def account_export(actor: Actor, now: datetime) -> dict[str, Any]:
    """Everything held about the actor, each part with a plain explanation."""
    user = account_of(actor)
    parts: dict[str, Any] = {
        "account": {
            "id": user.public_id,
            "name": user.name,
            "email": user.email,
            "is_operator": user.is_operator,
            "since": user.created_at,
            "last_sign_in": user.last_login,
        },
        "roles": [
            {"group": row.group.name, "group_id": row.group.public_id} | _role(row)
            for row in Membership.objects.filter(user=user).select_related("group")
        ]
        + [
            {"network": row.network.name, "network_id": row.network.public_id} | _role(row)
            for row in NetworkMembership.objects.filter(user=user).select_related("network")
        ],
        "invitations_sent": [_invitation(row) for row in _invitations(invited_by=user)],
        "invitations_received": [
            _invitation(row) for row in _invitations(accepted_by=user) | _invitations(email=user.email or "-")
        ],
        "tokens": [
            {
                "id": row.public_id,
                "name": row.name,
                "begins": row.begins,
                "scopes": row.scopes,
                "made": row.created_at,
                "ends": row.expires_at,
                "withdrawn": row.revoked_at,
                "last_used_on": row.last_used_on,
            }
            for row in ApiToken.objects.filter(user=user)
        ],
        "diary_lines": [
            {"id": key, "on": on, "written": at}
            for key, on, at in WorkEntry.objects.filter(created_by=user).values_list("public_id", "on", "created_at")
        ],
        "forecasts": [
            {"id": key, "project_id": project, "made": at}
            for key, project, at in Forecast.objects.filter(created_by=user).values_list(
                "public_id", "project__public_id", "created_at"
            )
        ],
        "acts": [
            {"at": at, "act": act, "noun": noun, "id": key, "via": via}
            for at, act, noun, key, via in AuditEntry.objects.filter(actor=user)
            .order_by("pk")
            .values_list("at", "act", "noun", "object_id", "via")
        ],
        "elsewhere": _elsewhere(user),
    }
    told = {name: {"what_this_is": _EXPLAINED[name], "held": held} for name, held in parts.items()}
    return {"written": now, **told, "not_here": {"what_this_is": _EXPLAINED["not_here"]}}


def _role(row: Membership | NetworkMembership) -> dict[str, Any]:
    return {"role": row.role, "since": row.since, "until": row.until}


def _invitations(**of: Any) -> QuerySet[Invitation]:
    return Invitation.objects.filter(**of).select_related("group", "network")


def _invitation(row: Invitation) -> dict[str, Any]:
    return {
        "id": row.public_id,
        "network": row.network.name,
        "group": row.group.name if row.group else None,
        "role": row.role,
        "email": row.email or None,
        "sent": row.created_at,
        "ends": row.expires_at,
        "accepted": row.accepted_at,
        "withdrawn": row.withdrawn_at,
    }


#: tables whose rows are told in a part of their own
_TOLD: Final = (Membership, NetworkMembership, Invitation, ApiToken, WorkEntry, Forecast, AuditEntry)


def _elsewhere(user: User) -> list[dict[str, Any]]:
    """Rows of every other table that points at a person: nothing new can be forgotten here."""
    found = []
    for relation in User._meta.get_fields(include_hidden=True):
        if not isinstance(relation, ForeignObjectRel) or relation.related_model in _TOLD:
            continue
        model, name = relation.related_model, relation.field.name
        found += [
            {
                "table": str(model._meta.verbose_name),
                "as": name,
                "id": getattr(row, "public_id", row.pk),
                "since": getattr(row, "created_at", None),
            }
            for row in model._default_manager.filter(**{name: user}).order_by("pk")
        ]
    return found
