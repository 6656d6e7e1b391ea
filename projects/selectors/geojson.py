"""Sites as GeoJSON (RFC 7946), as precisely as the actor may know."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from projects.models import MeadowProject, Site
from projects.rules.access import Actor
from projects.selectors.places import places_of


def features_of(actor: Actor, sites: Sequence[Site]) -> dict[str, Any]:
    """Return a FeatureCollection: two queries whatever the number. A site without a place to show is left out."""
    places = places_of(actor, sites)
    stages = dict(
        MeadowProject.objects.filter(site__in=[site.pk for site in sites])
        .order_by("created_at", "public_id")
        .values_list("site_id", "stage")
    )
    features = [
        {
            "type": "Feature",
            "id": str(site.public_id),
            "geometry": places[site.pk].geometry,
            "properties": {
                "name": site.name,
                "group": site.group.name,
                "kind": site.kind,
                "area_m2": site.area_dm2 / 100,
                "reference": places[site.pk].reference,
                "side_m": places[site.pk].side_m,
                "exact": places[site.pk].exact,
                "stage": stages.get(site.pk),
            },
        }
        for site in sites
        if places[site.pk].geometry is not None
    ]
    return {"type": "FeatureCollection", "features": features}
