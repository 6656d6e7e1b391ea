"""Reads of sites and what belongs to them."""

from __future__ import annotations

from uuid import UUID

from django.db.models import QuerySet

from modelling.selectors import permission_words
from projects.errors import NotFound
from projects.models import Permission, Site
from projects.rules.access import Actor, visible_sites
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
