"""Networks, groups and the people in them."""

from datetime import datetime
from typing import Any
from uuid import UUID

from projects import geography
from projects.api.v1.answers.base import Answer, Named, NounAnswer, named, named_if_any, noun
from projects.models import District, Group, Membership, Network, ShieldedTaxon, Village


class NetworkAnswer(NounAnswer):
    """A county's network."""

    name: str
    slug: str
    about: str
    licence: str
    """What records of its meadows go out under, by its SPDX identifier."""
    outline: dict[str, Any] | None
    """GeoJSON MultiPolygon, longitude before latitude; null if there is none."""


class ShieldedTaxonAnswer(NounAnswer):
    """A plant whose places are told by a coarser square only."""

    taxon: str
    side_m: int


class DistrictAnswer(NounAnswer):
    """A part of a county."""

    name: str
    outline: dict[str, Any] | None


class VillageAnswer(NounAnswer):
    """A named place, known to the kilometre."""

    name: str
    district: Named | None
    grid_reference: str


class GroupAnswer(NounAnswer):
    """A group of neighbours."""

    name: str
    network: Named
    district: Named | None
    about: str
    contact: str
    open_sites: int
    """How many sites it has that are shown to everybody."""


class MembershipAnswer(NounAnswer):
    """Somebody in a group; for the group's own people."""

    group: Named
    name: str
    role: str
    since: datetime


def outline_of(rings: list[list[list[float]]]) -> dict[str, Any] | None:
    """Return stored rings as one GeoJSON geometry."""
    if not rings:
        return None
    polygons = [geography.Outline.from_pairs(ring).geojson()["coordinates"] for ring in rings]
    return {"type": "MultiPolygon", "coordinates": polygons}


def network_answer(row: Network) -> dict[str, Any]:
    found = NetworkAnswer(
        **noun(row), name=row.name, slug=row.slug, about=row.about, licence=row.licence, outline=outline_of(row.outline)
    )
    return found.model_dump(mode="json")


def shielded_taxon_answer(row: ShieldedTaxon) -> dict[str, Any]:
    return ShieldedTaxonAnswer(**noun(row), taxon=row.taxon, side_m=row.side_m).model_dump(mode="json")


def district_answer(row: District) -> dict[str, Any]:
    return DistrictAnswer(**noun(row), name=row.name, outline=outline_of(row.outline)).model_dump(mode="json")


def village_answer(row: Village) -> dict[str, Any]:
    reference = geography.Square(row.easting_m, row.northing_m, 1000).reference
    found = VillageAnswer(**noun(row), name=row.name, district=named_if_any(row.district), grid_reference=reference)
    return found.model_dump(mode="json")


def group_answer(row: Group) -> dict[str, Any]:
    found = GroupAnswer(
        **noun(row),
        name=row.name,
        network=named(row.network),
        district=named_if_any(row.district),
        about=row.about,
        contact=row.contact,
        open_sites=row.open_sites,  # type: ignore[attr-defined]  # counted by the selector
    )
    return found.model_dump(mode="json")


def membership_answer(row: Membership) -> dict[str, Any]:
    found = MembershipAnswer(**noun(row), group=named(row.group), name=str(row.user), role=row.role, since=row.since)
    return found.model_dump(mode="json")


class MeAnswer(Answer):
    """Who the token speaks for, and what it lets a program do."""

    name: str
    scopes: list[str]
    groups: list["RoleAnswer"]
    networks: list["RoleAnswer"]
    operator: bool


class RoleAnswer(Answer):
    """A role somewhere."""

    id: UUID
    name: str
    roles: list[str]
