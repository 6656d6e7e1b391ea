"""Reads of sites and what belongs to them."""

from __future__ import annotations

from uuid import UUID

from django.db.models import QuerySet

from modelling.selectors import permission_words
from projects.errors import NotFound
from projects.models import OtherFunding, Permission, Site, SoilTest
from projects.rules.access import Actor, demand, visible_inner, visible_sites
from projects.rules.permissions import Held


def site_list(actor: Actor) -> QuerySet[Site]:
    """Sites the actor may see, with what a line about each shows."""
    return Site.objects.filter(visible_sites(actor)).select_related("network", "group", "district")


def site_get(actor: Actor, public_id: UUID) -> Site:
    """One site; raises NotFound."""
    site = site_list(actor).filter(public_id=public_id).first()
    if site is None:
        raise NotFound(f"There is no site {public_id}, or none that you may see.")
    return site


def label_of(permission: Permission) -> str:
    """What a permission is called: by the group, or by the table."""
    words = permission_words(permission.key)
    return permission.label or (words["label"] if words else permission.key)


def permissions_held(site: Site) -> list[Held]:
    """What matters of a site's permissions for starting."""
    return [Held(label_of(row), row.need, row.state, row.expires_on) for row in site.permissions.all()]


def permission_list(actor: Actor) -> QuerySet[Permission]:
    """Permissions of the actor's own sites."""
    return Permission.objects.filter(visible_inner(actor, "site__group", "site__network")).select_related("site")


def permission_get(actor: Actor, public_id: UUID) -> Permission:
    """One permission; raises NotFound."""
    row = permission_list(actor).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no permission {public_id}, or none that you may see.")
    return row


def permissions_of(actor: Actor, site: Site) -> QuerySet[Permission]:
    """Permissions of a site, as the table lists them; raises NotAllowed for strangers."""
    demand(actor, "permission.read", group_id=site.group_id, network_id=site.network_id)
    return permission_list(actor).filter(site=site).order_by("pk")


def soil_test_list(actor: Actor) -> QuerySet[SoilTest]:
    """Soil tests of the actor's own sites."""
    return SoilTest.objects.filter(visible_inner(actor, "site__group", "site__network")).select_related("site")


def soil_test_get(actor: Actor, public_id: UUID) -> SoilTest:
    """One soil test; raises NotFound."""
    row = soil_test_list(actor).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no soil test {public_id}, or none that you may see.")
    return row


def soil_tests_of(actor: Actor, site: Site) -> QuerySet[SoilTest]:
    """Soil tests of a site, the latest first; raises NotAllowed for strangers."""
    demand(actor, "soil_test.read", group_id=site.group_id, network_id=site.network_id)
    return soil_test_list(actor).filter(site=site).order_by("-taken_on", "-pk")


def other_funding_list(actor: Actor) -> QuerySet[OtherFunding]:
    """Other money for the actor's own sites."""
    return OtherFunding.objects.filter(visible_inner(actor, "site__group", "site__network")).select_related("site")


def other_funding_get(actor: Actor, public_id: UUID) -> OtherFunding:
    """One entry of other money; raises NotFound."""
    row = other_funding_list(actor).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no entry {public_id}, or none that you may see.")
    return row


def other_funding_of(actor: Actor, site: Site) -> QuerySet[OtherFunding]:
    """Other money for a site's ground; raises NotAllowed for strangers."""
    demand(actor, "funding.read", group_id=site.group_id, network_id=site.network_id)
    return other_funding_list(actor).filter(site=site).order_by("pk")
