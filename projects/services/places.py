"""Setting a site's place: the exact one in its own table, and on the site the square that may be shown."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Final

from modelling.errors import FieldError
from projects import geography
from projects.choices import PlaceGiven, Publicity
from projects.contracts.sites import Place
from projects.errors import RuleBroken, broken
from projects.models import Network, Site, SitePlace, Village
from projects.services.base import save_new

#: side of the square that each word lets everybody see
SIDES_M: Final = {
    Publicity.EXACT: 1,
    Publicity.SQUARE_100_M: 100,
    Publicity.SQUARE_1_KM: 1_000,
    Publicity.SQUARE_2_KM: 2_000,
    Publicity.SQUARE_10_KM: 10_000,
}


@contextmanager
def in_words(pointer: str) -> Iterator[None]:
    """Turn a refused place into the refusal of a field."""
    try:
        yield
    except geography.PlaceRefused as error:
        fault = FieldError(pointer, error.code, error.detail, error.value, error.expected, list(error.suggestions))
        raise RuleBroken(error.detail, [fault]) from error


@dataclass(frozen=True)
class Found:
    """A place as read: what is to be stored of it."""

    given: PlaceGiven
    said: str
    square: geography.Square | None
    point: geography.Point
    outline: geography.Outline | None
    village: str

    @property
    def side_m(self) -> int:
        """How precisely it is known."""
        return self.square.side_m if self.square else 1

    @property
    def shape(self) -> geography.Outline | geography.Square | geography.Point:
        """What is known of it."""
        if self.outline is not None:
            # as it is stored, to the decimetre
            return geography.Outline.from_pairs(self.outline.as_pairs())
        return self.square if self.side_m > 1 and self.square is not None else self.point


def read(place: Place, network: Network) -> Found:
    """Read a place told in any way; raises RuleBroken with the field and what would be right."""
    if place.grid_reference is not None:
        with in_words("/place/grid_reference"):
            square = geography.read_grid_reference(place.grid_reference)
        return Found(PlaceGiven.GRID_REFERENCE, place.grid_reference.strip()[:80], square, square.centre, None, "")
    if place.outline is not None:
        with in_words("/place/outline"):
            outline = geography.read_polygon(place.outline)
        return Found(PlaceGiven.OUTLINE, "", None, outline.point_inside, outline, "")
    if place.village_id is not None:
        village = Village.objects.filter(network=network, public_id=place.village_id).first()
        if village is None:
            raise broken(
                "/place/village_id",
                "unknown",
                f"The network has no village {place.village_id}.",
                str(place.village_id),
                "one of its villages",
            )
        square = geography.Square(village.easting_m, village.northing_m, 1_000)
        return Found(PlaceGiven.VILLAGE, village.name, square, square.centre, None, village.name)
    latitude, longitude = place.latitude or 0.0, place.longitude or 0.0
    with in_words("/place/latitude"):
        point = geography.read_latitude_longitude(latitude, longitude)
    return Found(PlaceGiven.COORDINATES, f"{latitude:.6f}, {longitude:.6f}", None, point, None, "")


def show(site: Site, place: Found | None) -> None:
    """Put on the site the square that its publicity lets everybody see; never finer than the place is known."""
    side = SIDES_M.get(Publicity(site.publicity))
    if side is None or place is None:
        site.shown_easting_m = site.shown_northing_m = site.shown_side_m = site.shown_degrees = None
        return
    square = geography.square_of(place.point, max(side, place.side_m))
    site.shown_easting_m, site.shown_northing_m, site.shown_side_m = square.easting_m, square.northing_m, square.side_m
    site.shown_degrees = geography.in_degrees(square, square.centre)


def row_of(found: Found, site: Site) -> SitePlace:
    """The row that holds a place exactly."""
    return SitePlace(
        site=site,
        given=found.given,
        said=found.said,
        easting_m=found.point.easting_m,
        northing_m=found.point.northing_m,
        side_m=found.side_m,
        outline=found.outline.as_pairs() if found.outline else [],
        degrees=geography.in_degrees(found.shape, found.point),
    )


def area_checked(stated_m2: float | None, found: Found | None) -> float:
    """The area of a site, checked against its outline; raises RuleBroken if they do not agree or neither is known."""
    outline = found.outline if found else None
    if stated_m2 is None:
        if outline is None:
            raise broken("/area_m2", "missing", "Say how big the ground is, in m².", None, "an area in m²")
        return outline.area_m2
    if outline is not None and not geography.area_matches(stated_m2, outline.area_m2):
        raise broken(
            "/area_m2",
            "area_differs",
            geography.area_difference(stated_m2, outline.area_m2),
            stated_m2,
            f"about {outline.area_m2:.0f}, or no area at all",
        )
    return stated_m2


def found_of(row: SitePlace) -> Found:
    """A stored place, as one that was read."""
    outline = geography.Outline.from_pairs(row.outline) if row.outline else None
    point = geography.Point(row.easting_m, row.northing_m)
    square = geography.square_of(point, row.side_m) if row.side_m > 1 else None
    return Found(PlaceGiven(row.given), row.said, square, point, outline, "")


def stored(site: Site) -> Found | None:
    """The place a site has."""
    row = SitePlace.objects.filter(site=site).first()
    return found_of(row) if row is not None else None


def put(site: Site, found: Found) -> None:
    """Store a site's place instead of any before it."""
    SitePlace.objects.filter(site=site).delete()
    save_new(row_of(found, site))
