"""Who is asking."""

from __future__ import annotations

from collections import defaultdict
from types import MappingProxyType

from projects.choices import Via
from projects.models import ApiToken, Membership, NetworkMembership, User
from projects.rules.access import ALL_SCOPES, PUBLIC_ACTOR, Actor


def actor_of(user: User | None, *, token: ApiToken | None = None, via: str = Via.PAGE) -> Actor:
    """The actor a person is, with all their roles: two queries, none for a visitor."""
    if user is None or not user.is_active:
        return PUBLIC_ACTOR if via == Via.PAGE else Actor(via=via)
    networks: dict[int, set[str]] = defaultdict(set)
    held = NetworkMembership.objects.filter(user=user, until__isnull=True).values_list("network_id", "role")
    for network_id, role in held:
        networks[network_id].add(role)
    groups = Membership.objects.filter(user=user, until__isnull=True, group__closed_at__isnull=True)
    return Actor(
        user_id=user.pk,
        groups=MappingProxyType(dict(groups.values_list("group_id", "role"))),
        networks=MappingProxyType({network: frozenset(roles) for network, roles in networks.items()}),
        is_operator=user.is_operator,
        scopes=ALL_SCOPES if token is None else frozenset(token.scopes),
        via=via,
    )
