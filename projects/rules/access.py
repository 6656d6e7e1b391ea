"""Who may do what: one table, deny by default.

An act is a noun and a verb. A position is what the actor is towards the thing acted on: what they are in its group, in
its network, or on this server. The table says which positions allow which act; nothing else does.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from django.db.models import Exists, OuterRef, Q

from projects.choices import BidState, GroupRole, NetworkRole, Publicity, RoundState, Scope, Via
from projects.errors import NotAllowed
from projects.models import Bid, DonorAgreement, GrantRound, Group, Interest, Membership, RoundAssessor


class Position(StrEnum):
    """What somebody is towards a thing."""

    PUBLIC = "public"
    SIGNED_IN = "signed_in"
    #: the thing is about this very person, or was asked for by them
    SELF = "self"
    MEMBER = "member"
    LEAD = "lead"
    COORDINATOR = "coordinator"
    ASSESSOR = "assessor"
    FUND_MANAGER = "fund_manager"
    ANALYST = "analyst"
    OPERATOR = "operator"


_NONE: Final[Mapping[int, str]] = MappingProxyType({})
_NO_ROLES: Final[Mapping[int, frozenset[str]]] = MappingProxyType({})
ALL_SCOPES: Final = frozenset(Scope.values)


@dataclass(frozen=True)
class Actor:
    """Somebody who acts: a visitor, a person signed in, or a program in somebody's name."""

    user_id: int | None = None
    #: roles by group, as keys of the database
    groups: Mapping[int, str] = field(default_factory=lambda: _NONE)
    #: roles by network, as keys of the database
    networks: Mapping[int, frozenset[str]] = field(default_factory=lambda: _NO_ROLES)
    is_operator: bool = False
    scopes: frozenset[str] = ALL_SCOPES
    via: str = Via.PAGE

    def networks_as(self, role: str) -> list[int]:
        """Return the networks in which the actor holds a role."""
        return [network for network, roles in self.networks.items() if role in roles]


PUBLIC_ACTOR: Final = Actor()
#: a command run by whoever has the machine itself
SERVER: Final = Actor(is_operator=True, via=Via.COMMAND)

_P = Position
_EVERYBODY: Final = frozenset(Position)
_GROUP: Final = frozenset({_P.MEMBER, _P.LEAD, _P.COORDINATOR})
_LEADS: Final = frozenset({_P.LEAD, _P.COORDINATOR})
_COORDINATORS: Final = frozenset({_P.COORDINATOR})
_GROUP_LEADS: Final = frozenset({_P.LEAD})
_FUND_MANAGERS: Final = frozenset({_P.FUND_MANAGER})
_STAFF: Final = frozenset({_P.COORDINATOR, _P.ASSESSOR, _P.FUND_MANAGER})

ALLOWED: Final[Mapping[str, frozenset[Position]]] = MappingProxyType(
    {
        "network.read": _EVERYBODY,
        "network.create": frozenset({_P.OPERATOR}),
        "network.change": _COORDINATORS | {_P.OPERATOR},
        "network.staff": _STAFF | {_P.OPERATOR},
        "network.appoint": _COORDINATORS | {_P.OPERATOR},
        "network.forecast_all": _COORDINATORS,
        "district.read": _EVERYBODY,
        "district.change": _COORDINATORS,
        "village.read": _EVERYBODY,
        "village.change": _COORDINATORS,
        "group.read": _EVERYBODY,
        "group.create": _COORDINATORS,
        "group.change": _LEADS,
        "group.home": _GROUP,
        "group.forecast_all": _LEADS,
        "membership.read": _GROUP,
        "membership.change": _LEADS,
        "membership.leave": frozenset({_P.SELF}),
        "invitation.read": _LEADS,
        "invitation.create": _LEADS,
        "invitation.withdraw": _LEADS,
        "site.read": _EVERYBODY,
        "site.read_detail": _GROUP,
        "site.create": _LEADS,
        "site.change": _LEADS,
        "site.remove": _LEADS,
        "place.read_exact": _GROUP,
        "permission.read": _GROUP,
        "permission.change": _LEADS,
        "funding.read": _GROUP,
        "funding.change": _LEADS,
        "soil_test.read": _GROUP,
        "soil_test.change": _LEADS,
        "project.read": _EVERYBODY,
        "project.read_detail": _GROUP,
        "project.create": _LEADS,
        "project.change": _LEADS,
        "plan.read": _GROUP,
        "plan.create": _LEADS,
        "forecast.read": _GROUP,
        "forecast.create": _LEADS,
        "diary.read": _GROUP,
        "diary.write": _GROUP,
        "diary.strike": _LEADS | {_P.SELF},
        "return.read": _GROUP,
        "return.send": _GROUP,
        "return.answer": _GROUP,
        "return.settle": _GROUP,
        "return.check": _COORDINATORS,
        "record.read": _EVERYBODY,
        "export.read": frozenset({_P.SELF}),
        "snapshot.read": _EVERYBODY,
        "snapshot.create": frozenset({_P.COORDINATOR, _P.ANALYST, _P.OPERATOR}),
        "photo.read": _EVERYBODY,
        "photo.send": _GROUP,
        "photo.withdraw": _LEADS | {_P.SELF},
        "handover.read": _GROUP,
        "handover.write": _LEADS,
        "donor.read": _GROUP,
        "donor.change": _COORDINATORS,
        "owner.read": _COORDINATORS,
        "harvest.read": _GROUP,
        "harvest.add": _LEADS,
        "harvest.allow": _COORDINATORS,
        "lot.read": _GROUP,
        "lot.create": _COORDINATORS,
        "lot.change": _COORDINATORS,
        "lot.move": _COORDINATORS,
        "lot.count": _GROUP,
        "seed_promise.read": _GROUP,
        "seed_promise.make": _COORDINATORS,
        "seed_promise.sow": _GROUP,
        "seed_blend.read": _GROUP,
        "seed_wish.read": _GROUP,
        "seed_wish.make": _LEADS,
        "share_out.read": _COORDINATORS,
        "share_out.write": _COORDINATORS,
        "share_out.accept": _COORDINATORS,
        # of the network's own kit: whoever belongs to one of its groups
        "kit.read": _GROUP,
        "kit.change": _COORDINATORS,
        "kit.show": _COORDINATORS,
        "kit.book": _GROUP,
        "kit.decide": _COORDINATORS,
        "kit.cancel": _LEADS | {_P.SELF},
        "kit.hand_over": _GROUP,
        "kit.fault": _GROUP,
        "kit.mend": _COORDINATORS,
        "plug.read": _GROUP,
        "plug.create": _COORDINATORS,
        "plug.tell": _GROUP,
        "plug.promise": _COORDINATORS,
        "plug.hand_over": _COORDINATORS,
        "green_hay.read": _GROUP,
        "green_hay.plan": _COORDINATORS,
        "green_hay.end": _LEADS,
        "upload.read": _GROUP,
        "upload.send": _GROUP,
        "upload.accept": _GROUP,
        "upload.remove": _GROUP,
        "round.read": _EVERYBODY,
        "round.staff": _STAFF,
        "round.create": _FUND_MANAGERS,
        "round.change": _FUND_MANAGERS,
        "round.appoint": _FUND_MANAGERS,
        "round.choose": _FUND_MANAGERS,
        "round.panel": _FUND_MANAGERS,
        "money.read": frozenset({_P.FUND_MANAGER, _P.COORDINATOR}),
        "interest.declare": _STAFF,
        "interest.read": _STAFF,
        "choice.read": _STAFF,
        "bid.read": _GROUP | _STAFF,
        "bid.create": _GROUP_LEADS,
        "bid.change": _GROUP_LEADS,
        "bid.submit": _GROUP_LEADS,
        "bid.withdraw": _GROUP_LEADS,
        "bid.note_seen": _FUND_MANAGERS,
        "appraisal.read": _STAFF,
        "appraisal.make": _FUND_MANAGERS,
        "flag.read": _GROUP | _STAFF,
        "flag.put": _FUND_MANAGERS,
        "flag.answer": _GROUP_LEADS,
        "review.read": _STAFF,
        "review.write": frozenset({_P.ASSESSOR}),
        "note.read": _STAFF,
        "note.write": frozenset({_P.ASSESSOR, _P.FUND_MANAGER}),
        "decision.read": _GROUP | _STAFF,
        "decision.write": _FUND_MANAGERS,
        "decision.publish": _FUND_MANAGERS,
        "award.read": _GROUP | _STAFF,
        "award.accept": _GROUP_LEADS,
        "award.manage": _FUND_MANAGERS,
        "award.report": _GROUP_LEADS,
        "visit.read": _GROUP | _STAFF,
        "visit.write": frozenset({_P.ASSESSOR, _P.FUND_MANAGER}),
        "payment.ask": _GROUP_LEADS,
        "payment.settle": _FUND_MANAGERS,
        "alteration.ask": _GROUP_LEADS,
        "alteration.settle": _FUND_MANAGERS,
        "aggregate.read": _EVERYBODY,
        "aggregate.read_exact": _COORDINATORS,
        "aggregate.freeze": _COORDINATORS,
        "audit.read": _LEADS,
        "job.read": frozenset({_P.SELF, _P.COORDINATOR, _P.OPERATOR}),
        "job.restart": frozenset({_P.SELF, _P.COORDINATOR, _P.OPERATOR}),
        "account.read": frozenset({_P.SELF}),
        "account.change": frozenset({_P.SELF}),
        "account.erase": frozenset({_P.SELF}),
        "account.make_operator": frozenset({_P.OPERATOR}),
        "token.read": frozenset({_P.SELF}),
        "token.create": frozenset({_P.SELF}),
        "token.revoke": frozenset({_P.SELF}),
    }
)
#: acts that change nothing: all that a token without the scope to write may do
READING: Final = frozenset(
    act for act in ALLOWED if act.partition(".")[2] in {"read", "read_detail", "read_exact", "home", "staff"}
)


def positions(
    actor: Actor, *, group_id: int | None = None, network_id: int | None = None, owner_id: int | None = None
) -> frozenset[Position]:
    """Return what the actor is towards a thing of this group, network and person."""
    found = {Position.PUBLIC}
    if actor.is_operator:
        found.add(Position.OPERATOR)
    if actor.user_id is not None:
        found.add(Position.SIGNED_IN)
        if owner_id is not None and owner_id == actor.user_id:
            found.add(Position.SELF)
        if group_id is not None and group_id in actor.groups:
            found.add(Position(actor.groups[group_id]))
        if network_id is not None:
            found |= {Position(role) for role in actor.networks.get(network_id, ())}
    return frozenset(found)


def may(
    actor: Actor,
    act: str,
    *,
    group_id: int | None = None,
    network_id: int | None = None,
    owner_id: int | None = None,
) -> bool:
    """Say whether the actor may do an act of the table; raises KeyError for an act that is not in it."""
    allowed = ALLOWED[act]
    if (Scope.READ if act in READING else Scope.WRITE) not in actor.scopes and act not in _OPEN:
        return False
    if act == "place.read_exact" and Scope.EXACT_PLACES not in actor.scopes:
        return False
    return bool(allowed & positions(actor, group_id=group_id, network_id=network_id, owner_id=owner_id))


#: what everybody may do needs no scope either
_OPEN: Final = frozenset(act for act, allowed in ALLOWED.items() if Position.PUBLIC in allowed)


def demand(
    actor: Actor,
    act: str,
    *,
    group_id: int | None = None,
    network_id: int | None = None,
    owner_id: int | None = None,
) -> None:
    """Raise NotAllowed unless the actor may do the act."""
    if may(actor, act, group_id=group_id, network_id=network_id, owner_id=owner_id):
        return
    if actor.user_id is not None and act not in READING and Scope.WRITE not in actor.scopes:
        raise NotAllowed("This token may read only; making changes needs one with the scope “write”.")
    wanted = ", ".join(sorted(p.value.replace("_", " ") for p in ALLOWED[act] if p is not Position.SELF))
    raise NotAllowed(
        f"You may not do this ({act.replace('.', ': ').replace('_', ' ')}). "
        f"It is for: {wanted or 'the person concerned'}."
    )


# ------------------------------------------------------------------ which rows there are, for this actor


def _own(actor: Actor, group: str, network: str) -> Q:
    """Things of the actor's groups, and of the networks they coordinate; for reading, so a token must allow that."""
    if Scope.READ not in actor.scopes:
        return Q(pk__in=[])
    return Q(**{f"{group}__in": list(actor.groups)}) | Q(
        **{f"{network}__in": actor.networks_as(NetworkRole.COORDINATOR)}
    )


def visible_sites(actor: Actor) -> Q:
    """Sites that exist for the actor."""
    return ~Q(publicity=Publicity.PRIVATE) | _own(actor, "group", "network")


def visible_projects(actor: Actor) -> Q:
    """Projects that exist for the actor: those of sites that do."""
    return ~Q(site__publicity=Publicity.PRIVATE) | _own(actor, "group", "network")


def visible_inner(actor: Actor, group: str = "group", network: str = "network") -> Q:
    """Things that only the group and the coordinators see, by the paths to their group and network."""
    return _own(actor, group, network)


def visible_in_network(actor: Actor, network: str = "network") -> Q:
    """Things that the groups of a network share, by the path to their network: seed and where it comes from."""
    if Scope.READ not in actor.scopes:
        return Q(pk__in=[])
    own = Group.objects.filter(pk__in=list(actor.groups)).values("network")
    return Q(**{f"{network}__in": own}) | Q(**{f"{network}__in": actor.networks_as(NetworkRole.COORDINATOR)})


def visible_donors(actor: Actor) -> Q:
    """Donor meadows that exist for the actor: of networks they coordinate; else where the owner agreed to be named."""
    if Scope.READ not in actor.scopes:
        return Q(pk__in=[])
    later = Q(starts_on__gt=OuterRef("starts_on")) | Q(starts_on=OuterRef("starts_on"), pk__gt=OuterRef("pk"))
    newer = DonorAgreement.objects.filter(later, donor=OuterRef("donor"))
    # the last word counts: an owner who ended it, or agrees anew without a name, is named no longer
    told = DonorAgreement.objects.filter(~Exists(newer), donor=OuterRef("pk"), name_told=True, ended_on__isnull=True)
    own = Q(network__in=actor.networks_as(NetworkRole.COORDINATOR))
    return own | (visible_in_network(actor) & Q(Exists(told)))


def group_in(actor: Actor, network_id: int) -> int | None:
    """Key of a group of the network that the actor belongs to, one they lead before others; None outside."""
    held = Group.objects.filter(network_id=network_id, pk__in=list(actor.groups)).order_by("pk")
    keys = list(held.values_list("pk", flat=True))
    return next((key for key in keys if actor.groups[key] == GroupRole.LEAD), keys[0] if keys else None)


def visible_photos(actor: Actor) -> Q:
    """Photos that exist for the actor: those agreed to be shown of sites that are, and those of their own."""
    shown = Q(shown=True) & ~Q(outcome__project__site__publicity=Publicity.PRIVATE)
    return shown | _own(actor, "outcome__group", "outcome__network")


def visible_invitations(actor: Actor) -> Q:
    """Invitations of the groups the actor leads and the networks they coordinate."""
    if Scope.READ not in actor.scopes:
        return Q(pk__in=[])
    leads = [group for group, role in actor.groups.items() if role == GroupRole.LEAD]
    networks = actor.networks_as(NetworkRole.COORDINATOR)
    return Q(group__in=leads) | Q(network__in=networks) | (Q(group__isnull=True) if actor.is_operator else Q(pk__in=[]))


def visible_exports(actor: Actor) -> Q:
    """Files that the actor asked for."""
    if Scope.READ not in actor.scopes or actor.user_id is None:
        return Q(pk__in=[])
    return Q(created_by=actor.user_id)


def visible_jobs(actor: Actor) -> Q:
    """Jobs the actor asked for, or of the networks they coordinate; all of them for the operator."""
    if Scope.READ not in actor.scopes:
        return Q(pk__in=[])
    if actor.is_operator:
        return Q()
    own = Q(actor__isnull=False, actor=actor.user_id) if actor.user_id is not None else Q(pk__in=[])
    return own | Q(network__in=actor.networks_as(NetworkRole.COORDINATOR))


# ------------------------------------------------------------------ grant rounds

_NOTHING: Final = Q(pk__in=[])
#: what those who read bids find; a draft is its group's own
_HANDED_IN: Final = (BidState.SUBMITTED, BidState.DECIDED)


def visible_rounds(actor: Actor) -> Q:
    """Rounds that exist for the actor: once announced for everybody, before that for those who write and check it."""
    networks = [*actor.networks_as(NetworkRole.FUND_MANAGER), *actor.networks_as(NetworkRole.COORDINATOR)]
    own = Q(network__in=networks) if Scope.READ in actor.scopes else _NOTHING
    return ~Q(state=RoundState.DRAFT) | own


def near(actor: Actor) -> Q:
    """Bids whose group the actor is near to: declared, or a member since the round opened."""
    declared = Interest.objects.filter(user=actor.user_id, round=OuterRef("round"), group=OuterRef("group"))
    member = Membership.objects.filter(user=actor.user_id, group=OuterRef("group")).filter(
        Q(until__isnull=True) | Q(until__gte=OuterRef("round__opens_at"))
    )
    return Q(Exists(declared)) | Q(Exists(member))


def by_the_near() -> Q:
    """Reviews by somebody who is near to the bid's group, as `near` has it."""
    group, round = OuterRef("bid__group"), OuterRef("bid__round")
    declared = Interest.objects.filter(user=OuterRef("assessor"), round=round, group=group)
    member = Membership.objects.filter(user=OuterRef("assessor"), group=group).filter(
        Q(until__isnull=True) | Q(until__gte=OuterRef("bid__round__opens_at"))
    )
    return Q(Exists(declared)) | Q(Exists(member))


def bids_to_read(actor: Actor) -> Q:
    """Bids that exist for the actor as one who reads them: of their rounds, and of no group they are near to."""
    if Scope.READ not in actor.scopes or actor.user_id is None:
        return _NOTHING
    appointed = RoundAssessor.objects.filter(user=actor.user_id, until__isnull=True).values("round")
    as_assessor = Q(network__in=actor.networks_as(NetworkRole.ASSESSOR), round__in=appointed, state__in=_HANDED_IN)
    as_manager = Q(
        network__in=actor.networks_as(NetworkRole.FUND_MANAGER),
        current__isnull=False,
        state__in=(*_HANDED_IN, BidState.WITHDRAWN),
    )
    as_coordinator = Q(network__in=actor.networks_as(NetworkRole.COORDINATOR))
    return (as_assessor | as_manager | as_coordinator) & ~near(actor)


def visible_bids(actor: Actor) -> Q:
    """Bids that exist for the actor: their own groups', and those they are to read."""
    if Scope.READ not in actor.scopes:
        return _NOTHING
    return Q(group__in=list(actor.groups)) | bids_to_read(actor)


def of_bids(bids: Q, path: str = "bid") -> Q:
    """Things that belong to such bids, by their path to the bid."""
    return Q(**{f"{path}__in": Bid.objects.filter(bids).values("pk")})


def whole_rounds(actor: Actor) -> Q:
    """Rounds whose sums the actor may see: all bids in them exist for the actor, so that none can be worked out."""
    if Scope.READ not in actor.scopes or actor.user_id is None:
        return _NOTHING
    staff = Q(network__in=[*actor.networks_as(NetworkRole.FUND_MANAGER), *actor.networks_as(NetworkRole.COORDINATOR)])
    staff |= Q(
        network__in=actor.networks_as(NetworkRole.ASSESSOR),
        pk__in=RoundAssessor.objects.filter(user=actor.user_id, until__isnull=True).values("round"),
    )
    hidden = Bid.objects.filter(near(actor), current__isnull=False).values("round")
    return staff & ~Q(pk__in=hidden)


def whole_round_of(actor: Actor, path: str = "round") -> Q:
    """Things of rounds whose sums the actor may see."""
    return Q(**{f"{path}__in": GrantRound.objects.filter(whole_rounds(actor)).values("pk")})
