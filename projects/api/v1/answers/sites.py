"""Sites and what belongs to them."""

from collections.abc import Iterable
from datetime import date
from typing import Any, Literal
from uuid import UUID

from modelling.selectors import permission_words
from projects.api.v1.answers.base import Answer, Named, NounAnswer, named, named_if_any, noun
from projects.models import OtherFunding, Permission, Site, SoilTest
from projects.rules.access import Actor, may
from projects.selectors.places import Place, places_of
from projects.selectors.sites import label_of


class PlaceAnswer(Answer):
    """Where a site lies, as far as the caller may know."""

    reference: str
    """On the British National Grid: the square that may be shown, or the place itself."""
    side_m: int
    """Side of the square in metres; 1 for the place itself."""
    latitude: float
    """Of the middle, degrees north, WGS84."""
    longitude: float
    """Of the middle, degrees east, WGS84."""
    exact: bool
    """Whether this is all that is known, rather than all that may be shown."""


class ZoneAnswer(Answer):
    """A part of a site."""

    name: str
    area_m2: float
    sward: str | None
    note: str


class SiteDetail(Answer):
    """What a group's own people know of a site."""

    net_area_m2: float | None
    village: str
    gate_width_m: float | None
    access_note: str
    slope_degrees: float | None
    wetness: str | None
    shade: str | None
    sward: str | None
    last_use: str | None
    resident_species_per_m2: float | None
    standing_crop_g_per_m2: float | None
    existing_interest: list[str]
    resident_species: list[str]
    distance_to_flower_rich_m: float | None
    zones: list[ZoneAnswer]
    outline: dict[str, Any] | None
    """GeoJSON geometry of the place as it is known."""
    place_given: str
    """How the place was told."""


class SiteAnswer(NounAnswer):
    """A site."""

    name: str
    network: Named
    group: Named
    district: Named | None
    kind: str
    area_m2: float
    publicity: str
    place: PlaceAnswer | None
    """Null for a private site, where the token may not read exact places."""
    detail: SiteDetail | None
    """Null for strangers."""


class PermissionAnswer(NounAnswer):
    """Whose word a site needs, and whether it has been given."""

    site_id: UUID
    key: str
    label: str
    who_gives: str
    why: str
    when: str
    need: str
    state: str
    asked_on: date | None
    answered_on: date | None
    expires_on: date | None
    signed_by: str
    reference: str
    note: str


class SoilTestAnswer(NounAnswer):
    """What was found in the soil."""

    site_id: UUID
    taken_on: date
    olsen_p_mg_per_l: float | None
    soil_p_index: int | None
    soil_ph: float | None
    laboratory: str
    note: str


class OtherFundingAnswer(NounAnswer):
    """Money from elsewhere for the same ground."""

    site_id: UUID
    funder: str
    what_for: str
    amount_gbp: float | None
    starts_on: date | None
    ends_on: date | None


def site_answers(actor: Actor, sites: Iterable[Site]) -> list[dict[str, Any]]:
    """Return sites as this actor may know them; zones must have been fetched for those with detail."""
    sites = list(sites)
    places = places_of(actor, sites)
    return [_site(actor, site, places[site.pk]).model_dump(mode="json") for site in sites]


def site_answer(actor: Actor, site: Site) -> dict[str, Any]:
    return site_answers(actor, [site])[0]


def _site(actor: Actor, site: Site, place: Place) -> SiteAnswer:
    inside = may(actor, "site.read_detail", group_id=site.group_id, network_id=site.network_id)
    return SiteAnswer(
        **noun(site),
        name=site.name,
        network=named(site.network),
        group=named(site.group),
        district=named_if_any(site.district),
        kind=site.kind,
        area_m2=site.area_dm2 / 100,
        publicity=site.publicity,
        place=_place(place),
        detail=_detail(site, place) if inside else None,
    )


def _place(place: Place) -> PlaceAnswer | None:
    if place.latitude is None or place.longitude is None:
        return None
    return PlaceAnswer(
        reference=place.reference,
        side_m=place.side_m,
        latitude=place.latitude,
        longitude=place.longitude,
        exact=place.exact,
    )


def _detail(site: Site, place: Place) -> SiteDetail:
    return SiteDetail(
        net_area_m2=None if site.net_area_dm2 is None else site.net_area_dm2 / 100,
        # a village tells the place to the kilometre
        village=site.village if place.exact else "",
        gate_width_m=None if site.gate_width_cm is None else site.gate_width_cm / 100,
        access_note=site.access_note,
        slope_degrees=site.slope_degrees,
        wetness=site.wetness or None,
        shade=site.shade or None,
        sward=site.sward or None,
        last_use=site.last_use or None,
        resident_species_per_m2=site.resident_species_per_m2,
        standing_crop_g_per_m2=site.standing_crop_g_per_m2,
        existing_interest=site.existing_interest,
        resident_species=site.resident_species,
        distance_to_flower_rich_m=site.distance_to_flower_rich_m,
        zones=[
            ZoneAnswer(name=zone.name, area_m2=zone.area_dm2 / 100, sward=zone.sward or None, note=zone.note)
            for zone in site.zones.all()
        ],
        outline=place.geometry if place.exact else None,
        place_given=place.given,
    )


def permission_answer(row: Permission) -> dict[str, Any]:
    words = permission_words(row.key) or {"who_gives": "", "why": "", "when": ""}
    found = PermissionAnswer(
        **noun(row),
        site_id=row.site.public_id,
        key=row.key,
        label=label_of(row),
        who_gives=words["who_gives"],
        why=words["why"],
        when=words["when"],
        need=row.need,
        state=row.state,
        asked_on=row.asked_on,
        answered_on=row.answered_on,
        expires_on=row.expires_on,
        signed_by=row.signed_by,
        reference=row.reference,
        note=row.note,
    )
    return found.model_dump(mode="json")


def soil_test_answer(row: SoilTest) -> dict[str, Any]:
    found = SoilTestAnswer(
        **noun(row),
        site_id=row.site.public_id,
        taken_on=row.taken_on,
        olsen_p_mg_per_l=row.olsen_p_mg_per_l,
        soil_p_index=row.soil_p_index,
        soil_ph=row.soil_ph,
        laboratory=row.laboratory,
        note=row.note,
    )
    return found.model_dump(mode="json")


def other_funding_answer(row: OtherFunding) -> dict[str, Any]:
    found = OtherFundingAnswer(
        **noun(row),
        site_id=row.site.public_id,
        funder=row.funder,
        what_for=row.what_for,
        amount_gbp=None if row.amount_pence is None else row.amount_pence / 100,
        starts_on=row.starts_on,
        ends_on=row.ends_on,
    )
    return found.model_dump(mode="json")


class FeatureProperties(Answer):
    """What is told of a site on a map."""

    name: str
    group: str
    kind: str
    area_m2: float
    reference: str
    side_m: int
    exact: bool
    stage: str | None
    """Of its latest project, null if it has none."""


class Feature(Answer):
    """A site, as GeoJSON: its place, or the square that may be shown."""

    type: Literal["Feature"]
    id: UUID
    geometry: dict[str, Any]
    properties: FeatureProperties


class FeatureCollection(Answer):
    """Sites, as GeoJSON (RFC 7946)."""

    type: Literal["FeatureCollection"]
    features: list[Feature]
