"""Reads of networks and groups."""

from __future__ import annotations

from uuid import UUID

from django.db.models import Count, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from projects.choices import Publicity
from projects.errors import NotFound
from projects.models import District, Group, Membership, Network, NetworkMembership, Site, Village
from projects.rules.access import Actor, demand, may, visible_inner


def network_list(actor: Actor) -> QuerySet[Network]:
    """Networks; everybody may see which there are."""
    return Network.objects.all()


def network_get(actor: Actor, public_id: UUID) -> Network:
    """One network; raises NotFound."""
    network = network_list(actor).filter(public_id=public_id).first()
    if network is None:
        raise NotFound(f"There is no network {public_id}.")
    return network


def network_named(actor: Actor, slug: str) -> Network:
    """One network by its name in addresses; raises NotFound."""
    network = network_list(actor).filter(slug=slug).first()
    if network is None:
        raise NotFound(f"There is no network called {slug[:60]!r}.")
    return network


def districts_of(actor: Actor, network: Network) -> QuerySet[District]:
    """Districts of a network."""
    return District.objects.filter(network=network)


def villages_of(actor: Actor, network: Network) -> QuerySet[Village]:
    """Villages of a network."""
    return Village.objects.filter(network=network).select_related("district")


def group_list(actor: Actor) -> QuerySet[Group]:
    """Groups that are not closed, each with how many open sites it has: no count tells of a private one."""
    counted = Site.objects.filter(group=OuterRef("pk")).exclude(publicity=Publicity.PRIVATE).order_by().values("group")
    # counted for the rows that are shown, not for all before the first is
    open_sites = Coalesce(Subquery(counted.annotate(number=Count("pk")).values("number")), 0)
    found = Group.objects.filter(closed_at__isnull=True).select_related("network", "district")
    return found.annotate(open_sites=open_sites)


def group_get(actor: Actor, public_id: UUID) -> Group:
    """One group; raises NotFound."""
    group = group_list(actor).filter(public_id=public_id).first()
    if group is None:
        raise NotFound(f"There is no group {public_id}.")
    return group


def members_of(actor: Actor, group: Group) -> QuerySet[Membership]:
    """Running memberships of a group, for its own people; raises NotAllowed for others."""
    demand(actor, "membership.read", group_id=group.pk, network_id=group.network_id)
    return (
        Membership.objects.filter(group=group, until__isnull=True)
        .select_related("user", "group")
        .order_by("since", "pk")
    )


def membership_list(actor: Actor) -> QuerySet[Membership]:
    """Running memberships the actor may see."""
    seen = visible_inner(actor, "group", "group__network")
    return Membership.objects.filter(seen, until__isnull=True).select_related("user", "group")


def staff_of(actor: Actor, network: Network) -> QuerySet[NetworkMembership]:
    """Who holds which role in a network, for its staff; nobody for others."""
    if not may(actor, "network.staff", network_id=network.pk):
        return NetworkMembership.objects.none()
    return NetworkMembership.objects.filter(network=network, until__isnull=True).select_related("user")


def staff_listed(actor: Actor, network: Network) -> QuerySet[NetworkMembership]:
    """The same, for its coordinators and the service's operators; raises NotAllowed for others."""
    demand(actor, "network.appoint", network_id=network.pk)
    held = NetworkMembership.objects.filter(network=network, until__isnull=True)
    return held.select_related("user").order_by("role", "since", "pk")


def groups_of(actor: Actor) -> QuerySet[Group]:
    """The groups the actor belongs to."""
    return group_list(actor).filter(pk__in=list(actor.groups))


def membership_get(actor: Actor, public_id: UUID) -> Membership:
    """One running membership; raises NotFound."""
    membership = membership_list(actor).filter(public_id=public_id).first()
    if membership is None:
        raise NotFound(f"There is no membership {public_id}, or none that you may see.")
    return membership
