"""Exact places, for those who may see them. No other module reads SitePlace."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from django.db.models import Exists, OuterRef, Q

from projects import geography
from projects.choices import PlaceGiven, Publicity, Stage
from projects.models import MeadowProject, Site, SitePlace, StageChange
from projects.rules.access import Actor, may

#: summers after which a meadow counts as flower-rich land for its neighbours; common practice
YEARS_TO_RICH: Final = 3
RICH_SWARD: Final = "flower_rich"


@dataclass(frozen=True)
class Place:
    """Where a site lies, as far as somebody may know."""

    #: what is told in words: a reference, or nothing for a private site
    reference: str
    #: side of the square, 1 for the place itself
    side_m: int
    #: whether this is all that is known, rather than all that may be shown
    exact: bool
    said: str = ""
    given: str = ""
    #: degrees north and east of the middle
    latitude: float | None = None
    longitude: float | None = None
    #: GeoJSON geometry of what is known, or of what may be shown; longitude before latitude
    geometry: dict[str, Any] | None = None


def may_see_exactly(actor: Actor, site: Site) -> bool:
    """Whether the actor may know exactly where a site lies: its own people, or anybody if it is shown exactly."""
    return site.publicity == Publicity.EXACT or may(
        actor, "place.read_exact", group_id=site.group_id, network_id=site.network_id
    )


def places_of(actor: Actor, sites: Iterable[Site]) -> dict[int, Place]:
    """The place of each site by its key, exact where that is allowed and generalised elsewhere: one query."""
    sites = list(sites)
    allowed = [site.pk for site in sites if may_see_exactly(actor, site)]
    exact = {row.site_id: row for row in SitePlace.objects.filter(site__in=allowed)} if allowed else {}
    return {site.pk: _exact(exact[site.pk]) if site.pk in exact else _shown(site) for site in sites}


def place_of(actor: Actor, site: Site) -> Place:
    """The place of one site."""
    return places_of(actor, [site])[site.pk]


def _exact(row: SitePlace) -> Place:
    square = geography.square_of(geography.Point(row.easting_m, row.northing_m), max(row.side_m, 1))
    said = row.said if row.given in {PlaceGiven.GRID_REFERENCE, PlaceGiven.VILLAGE} else ""
    latitude, longitude = row.degrees["at"]
    geometry = row.degrees["geometry"]
    return Place(square.reference, row.side_m, True, said, row.given, latitude, longitude, geometry)


def _shown(site: Site) -> Place:
    square = shown_square(site)
    if square is None:
        return Place("", 0, False)
    latitude, longitude = site.shown_degrees["at"]
    geometry = site.shown_degrees["geometry"]
    return Place(square.reference, square.side_m, False, "", "", latitude, longitude, geometry)


def shown_square(site: Site) -> geography.Square | None:
    """The square that everybody may see a site in."""
    if site.shown_easting_m is None or site.shown_northing_m is None or site.shown_side_m is None:
        return None
    return geography.Square(site.shown_easting_m, site.shown_northing_m, site.shown_side_m)


@dataclass(frozen=True)
class Outside:
    """What a place does not lie in."""

    of: str
    distance_m: float


def lies_outside(actor: Actor, site: Site) -> Outside | None:
    """Whether a site lies outside its county's outline or that of its district; None if that is not known or not told.

    A grid reference with one wrong letter is a hundred kilometres out.
    """
    areas = [(site.network.name, site.network.outline)]
    if site.district is not None:
        areas.append((site.district.name, site.district.outline))
    if not any(rings for _, rings in areas) or not may_see_exactly(actor, site):
        return None
    row = SitePlace.objects.filter(site=site).first()
    if row is None:
        return None
    point = geography.Point(row.easting_m, row.northing_m)
    for name, rings in areas:
        away = geography.outside_m(map(geography.Outline.from_pairs, rings), point) if rings else 0
        if away > row.side_m:
            return Outside(name, away)
    return None


# ------------------------------------------------------------------ the nearest flower-rich land


@dataclass(frozen=True)
class Neighbour:
    """The nearest flower-rich land that the network knows of."""

    distance_m: int
    #: how far the distance may be out, from the squares the two places are known by
    give_or_take_m: int
    name: str


def nearest_flower_rich(site: Site, today: date) -> Neighbour | None:
    """The nearest flower-rich land of the network, or None if none is known.

    Counts the group's own sites where they are, and other groups' open sites by the squares everybody may see: a
    forecast tells nobody more about a neighbour than the map does.
    """
    own = SitePlace.objects.filter(site=site).first()
    if own is None:
        return None
    here, here_side = geography.Point(own.easting_m, own.northing_m), own.side_m
    found: list[Neighbour] = []
    rich = _rich_sites(site, today)
    for other in rich:
        square = shown_square(other)
        if square is not None and other.group_id != site.group_id:
            found.append(_neighbour(here, here_side, square.centre, square.side_m, other.name))
    mine = [other for other in rich if other.group_id == site.group_id]
    for row in SitePlace.objects.filter(site__in=mine).select_related("site"):
        there = geography.Point(row.easting_m, row.northing_m)
        found.append(_neighbour(here, here_side, there, row.side_m, row.site.name))
    return min(found, key=lambda n: (n.distance_m, n.give_or_take_m, n.name), default=None)


def _rich_sites(site: Site, today: date) -> list[Site]:
    by = date(today.year - YEARS_TO_RICH, today.month, 1)
    changes = StageChange.objects.filter(project=OuterRef("pk"))
    # one sown again counts from then; one handed over goes on as a meadow if it was one
    grown = MeadowProject.objects.filter(
        Q(stage__in=[Stage.AFTERCARE, Stage.RESOWN])
        | Q(stage=Stage.HANDED_OVER)
        & Exists(changes.filter(to_stage=Stage.HANDED_OVER, from_stage__in=[Stage.AFTERCARE, Stage.RESOWN])),
        ~Exists(changes.filter(to_stage=Stage.RESOWN, on__gt=by)),
        network=site.network_id,
        sown_on__lte=by,
    )
    rich = Q(sward=RICH_SWARD) | Q(pk__in=grown.values("site"))
    return list(Site.objects.filter(rich, network=site.network_id).exclude(pk=site.pk).order_by("pk"))


def _neighbour(here: geography.Point, here_side: int, there: geography.Point, there_side: int, name: str) -> Neighbour:
    """Half a diagonal of each square is what the distance may be out."""
    half_diagonal = 2**-0.5
    out = (here_side + there_side) * half_diagonal
    return Neighbour(round(geography.distance_m(here, there)), round(out), name)
