"""Places: references, latitude and longitude and outlines, against published points and areas worked out by hand.

Sources named below: "OS guide": the national mapping agency's guide to coordinate systems in Great Britain, its
worked example in the annexes and the approximate transformation of section 6.6; "OSTN15 guide": the agency's user
guide of the transformation OSTN15, annexe A; "OSTN15 test file": the points it hands out with it.
"""

import json
import math
import time
from itertools import pairwise

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from projects import geography
from projects.geography import Outline, PlaceRefused, Point, Square

# A field of about 685 m by 556 m in degrees.
FIELD = [[-1.5, 52.0], [-1.49, 52.0], [-1.49, 52.005], [-1.5, 52.005], [-1.5, 52.0]]


def polygon(ring, **more):
    return {"type": "Polygon", "coordinates": [ring], **more}


def refused(function, *arguments):
    with pytest.raises(PlaceRefused) as caught:
        function(*arguments)
    fault = caught.value
    assert fault.detail.endswith(".")
    assert fault.expected
    assert fault.value is None or len(fault.value) <= 80
    assert str(fault) == fault.detail
    json.dumps([fault.detail, fault.value, fault.suggestions]).encode()
    return fault


def answer_of(function, *arguments):
    """Return what a function returns, or its refusal."""
    try:
        return function(*arguments)
    except PlaceRefused as fault:
        return fault


# What is published


@pytest.mark.parametrize(
    ("latitude", "longitude", "easting", "northing"),
    [
        (52.658007833, 1.716073973, 651409.804, 313177.450),  # OSTN15 guide, annexe A: Caister water tower
        (49.92226393730, -6.29977752014, 91492.146, 11318.804),  # OSTN15 test file: TP01, Scilly
    ],
)
def test_a_published_position_is_found_to_the_millimetre_and_back_again(latitude, longitude, easting, northing):
    point = geography.read_latitude_longitude(latitude, longitude)
    assert (point.easting_m, point.northing_m) == pytest.approx((easting, northing), abs=0.001)
    # 1e-6 degree is what is handed out
    assert geography.latitude_longitude(Point(easting, northing)) == pytest.approx((latitude, longitude), abs=0.6e-6)
    assert geography.is_surveyed(point)


def test_the_worked_example_agrees_with_the_approximate_transformation():
    # OS guide, worked example: 52 39 27.2531 N, 1 43 4.5177 E on the Airy ellipsoid is E 651409.903, N 313177.270
    old = (52 + 39 / 60 + 27.2531 / 3600, 1 + 43 / 60 + 4.5177 / 3600)
    approximate = helmert_to_wgs84(*old)
    exact = geography.latitude_longitude(Point(651409.903, 313177.270), 9)
    north_m = (exact[0] - approximate[0]) * 111_270  # a degree of latitude at 52.66 N, derivation
    east_m = (exact[1] - approximate[1]) * 67_650  # and of longitude, derivation
    assert math.hypot(north_m, east_m) < 5  # OS guide, section 6.6: up to about 5 m
    assert (
        geography.square_of(Point(651409.903, 313177.270), 1).reference == "TG 51409 13177"
    )  # OS guide: TG 51409 13177


def helmert_to_wgs84(latitude, longitude):
    """OS guide, section 6.6, the other way: from the Airy ellipsoid to WGS84, height 0."""
    a, b = 6377563.396, 6356256.909  # OS guide, annexe A: Airy 1830
    phi, lam = math.radians(latitude), math.radians(longitude)
    e2 = 1 - (b / a) ** 2
    nu = a / math.sqrt(1 - e2 * math.sin(phi) ** 2)
    x, y, z = nu * math.cos(phi) * math.cos(lam), nu * math.cos(phi) * math.sin(lam), nu * (1 - e2) * math.sin(phi)
    # OS guide, section 6.6, with the signs turned: metres, parts in a million, seconds of arc
    scale = 1 - 20.4894e-6
    rx, ry, rz = (math.radians(seconds / 3600) for seconds in (0.1502, 0.2470, 0.8421))
    x, y, z = (
        446.448 + scale * x - rz * y + ry * z,
        -125.157 + rz * x + scale * y - rx * z,
        542.060 - ry * x + rx * y + scale * z,
    )
    a, b = 6378137.0, 6356752.314245  # WGS84, from memory
    e2 = 1 - (b / a) ** 2
    phi = math.atan2(z, math.hypot(x, y) * (1 - e2))
    for _ in range(10):
        nu = a / math.sqrt(1 - e2 * math.sin(phi) ** 2)
        phi = math.atan2(z + e2 * nu * math.sin(phi), math.hypot(x, y))
    return math.degrees(phi), math.degrees(math.atan2(y, x))


@pytest.mark.parametrize(
    ("text", "side"),
    [  # national recording guidance, 2020: what each number of figures means
        ("TG 51", 10_000),
        ("TG 51 13", 1_000),
        ("TG 514 131", 100),
        ("TG 5140 1317", 10),
        ("TG 51409 13177", 1),
    ],
)
def test_figures_tell_the_side(text, side):
    square = geography.read_grid_reference(text)
    assert square.side_m == side
    assert square.reference == text
    # OS guide, worked example: TG 51409 13177 is E 651409, N 313177, cut off at the side
    assert (square.easting_m, square.northing_m) == (651409 // side * side, 313177 // side * side)


@pytest.mark.parametrize(
    ("letters", "corner"),
    [
        ("SV", (0, 0)),  # OS guide: the square at the false origin
        ("TG", (600_000, 300_000)),  # OS guide, worked example
        ("SU", (400_000, 100_000)),  # from memory
        ("NN", (200_000, 700_000)),  # from memory
        ("HP", (400_000, 1_200_000)),  # from memory: Unst
        ("OV", (500_000, 500_000)),  # derivation: S T N O H J of 500 km, A at the top left, no I; all of it sea
        ("JM", (600_000, 1_200_000)),  # derivation: the north-eastern one
    ],
)
def test_letters_name_squares_of_100_km(letters, corner):
    square = Square(*corner, 100_000)
    assert square.reference == letters
    assert geography.read_grid_reference(f"{letters}00") == Square(*corner, 10_000)


def test_every_square_of_the_grid_has_letters_of_its_own():
    names = {
        Square(east, north, 100_000).reference
        for east in range(0, 700_000, 100_000)
        for north in range(0, 1_300_000, 100_000)
    }
    assert len(names) == 7 * 13
    assert not any("I" in name for name in names)


def test_tetrads_are_lettered_up_the_columns_from_the_south_west_without_o():
    # Common practice, from memory: the five rows from the top read EJPUZ, DINTY, CHMSX, BGLRW, AFKQV
    rows = ["AFKQV", "BGLRW", "CHMSX", "DINTY", "EJPUZ"]
    for row, letters in enumerate(rows):
        for column, letter in enumerate(letters):
            square = Square(650_000 + 2_000 * column, 310_000 + 2_000 * row, 2_000)
            assert square.reference == f"TG 51 {letter}"
            assert geography.read_grid_reference(f"tg51{letter.lower()}") == square


# Reading references


@pytest.mark.parametrize(
    "text",
    ["TG 514 131", "tg514131", " Tg  514131 ", "t g 5 1 4 1 3 1", "TG\t514\n131", "TG\u00a0514\u2009131", "TG51 41 31"],
)
def test_blanks_and_case_do_not_matter(text):
    assert geography.read_grid_reference(text) == Square(651_400, 313_100, 100)


@pytest.mark.parametrize(
    ("text", "code", "words"),
    [
        ("", "empty", "no grid reference"),
        (" \n ", "empty", "no grid reference"),
        ("TG", "too_coarse", "100 km"),
        ("TG 5", "odd_figures", "come 1 figures"),
        ("TG 514 13", "odd_figures", "come 5 figures"),
        ("TG 51 1314", "uneven_figures", "2 and 4 figures"),
        ("TG 514091 131771", "too_many_figures", "12 figures"),
        ("ZZ 99 99", "unknown_letters", "ZZ is no"),
        ("WE 51 13", "unknown_letters", "WE is no"),
        ("TI 51 13", "unknown_letters", "I is never used"),
        ("O 123 456", "irish_reference", "Irish"),
        ("N 52 13", "irish_reference", "Irish"),
        ("651409 313177", "no_letters", "two letters"),
        ("51 13", "no_letters", "two letters"),
        ("52.6580, 1.7161", "latitude_longitude", "fields of their own"),
        ("52.6580N 1.7161E", "latitude_longitude", "fields of their own"),
        ("N52 E1", "latitude_longitude", "fields of their own"),
        ("52,-1", "latitude_longitude", "fields of their own"),
        ("lat 52.6 lon \u22121.7", "latitude_longitude", "fields of their own"),
        ("52°39'28\"N 1°42'58\"E", "latitude_longitude", "fields of their own"),
        ("TG 51 O", "tetrad_letter", "O is not used"),
        ("TG 51 13 A", "not_a_reference", "not a grid reference"),
        ("NR29 5AB", "postcode", "postcode"),
        ("the churchyard", "not_a_reference", "not a grid reference"),
        ("T", "not_a_reference", "not a grid reference"),
        ("TG 51 13 or thereabouts, behind the old barn", "too_long", "44 characters"),
        ("TG\x0051", "control_characters", "U+0000"),
        ("TG\x1b51", "control_characters", "U+001B"),
        ("TG\u200b51", "control_characters", "U+200B"),
        ("TG\ud80051", "control_characters", "U+D800"),
        ("ＴＧ 51 13", "not_ascii", "“Ｔ”"),
        ("TG 514é131", "not_ascii", "“é”"),
        (None, "not_text", "None"),
        (5113, "not_text", "5113"),
    ],
)
def test_a_reference_that_cannot_be_read_is_refused_in_words(text, code, words):
    fault = refused(geography.read_grid_reference, text)
    assert fault.code == code
    assert words in fault.detail


@pytest.mark.parametrize(
    ("text", "suggestion"),
    [
        ("ＴＧ５１１３", "TG 51 13"),
        ("TG ٥١ ١٣", "TG 51 13"),
        ("ТG 51 13", "TG 51 13"),  # the first letter is Cyrillic
        ("TG\x0051", "TG 51"),
        ("GT 51 13", "TG 51 13"),
        ("TG 5O l3", "TG 50 13"),
        ("TG 514, 131", "TG 514 131"),
        ("TG-514-131", "TG 514 131"),
        ("651409 313177", "TG 51409 13177"),
        ("651409.903, 313177.270", "TG 51409 13177"),
    ],
)
def test_what_was_probably_meant_is_suggested_and_can_be_read(text, suggestion):
    fault = refused(geography.read_grid_reference, text)
    assert fault.suggestions == (suggestion,)
    assert geography.read_grid_reference(suggestion).reference == suggestion


@given(st.text(max_size=60) | st.text("TGSVOI0123456789 .,-°", max_size=14))
def test_any_text_is_a_square_or_a_refusal(text):
    answer = answer_of(geography.read_grid_reference, text)
    if isinstance(answer, PlaceRefused):
        assert answer.code
        assert answer.expected
    else:
        assert geography.read_grid_reference(answer.reference) == answer


squares = st.builds(
    lambda east, north, side: geography.square_of(Point(east, north), side),
    st.integers(0, 699_999),
    st.integers(0, 1_299_999),
    st.sampled_from([1, 10, 100, 1_000, 2_000, 10_000]),
)


@given(squares)
def test_a_reference_that_is_written_is_read_as_the_same_square(square):
    assert geography.read_grid_reference(square.reference) == square
    assert geography.read_grid_reference(square.reference.lower().replace(" ", "")) == square


# Squares


@pytest.mark.parametrize(
    ("side", "corner"),
    [  # derivation: whole multiples of the side below 651409.999, 313177.999
        (1, (651_409, 313_177)),
        (10, (651_400, 313_170)),
        (100, (651_400, 313_100)),
        (1_000, (651_000, 313_000)),
        (2_000, (650_000, 312_000)),
        (10_000, (650_000, 310_000)),
        (100_000, (600_000, 300_000)),
    ],
)
def test_figures_are_cut_off_and_never_rounded(side, corner):
    assert geography.square_of(Point(651_409.999, 313_177.999), side) == Square(*corner, side)


@given(squares, st.sampled_from(geography.SIDES_M))
def test_a_coarser_square_contains_the_finer_one(square, side):
    assume(side >= square.side_m)
    coarse = geography.coarsened(square, side)
    assert coarse.easting_m <= square.easting_m
    assert coarse.northing_m <= square.northing_m
    assert coarse.easting_m + side >= square.easting_m + square.side_m
    assert coarse.northing_m + side >= square.northing_m + square.side_m
    assert geography.square_of(square.centre, side) == coarse


def test_a_square_is_never_made_finer():
    fault = refused(geography.coarsened, Square(651_000, 313_000, 1_000), 100)
    assert fault.code == "finer_than_known"
    assert "TG 51 13" in fault.detail


def test_a_square_has_a_centre_and_a_closed_ring_counter_clockwise():
    square = Square(650_000, 312_000, 2_000)
    assert square.centre == Point(651_000, 313_000)
    assert [(point.easting_m, point.northing_m) for point in square.corners()] == [
        (650_000, 312_000),
        (652_000, 312_000),
        (652_000, 314_000),
        (650_000, 314_000),
        (650_000, 312_000),
    ]


def test_the_edge_of_the_grid_belongs_to_the_last_square():
    assert geography.square_of(Point(700_000, 1_300_000), 10) == Square(699_990, 1_299_990, 10)
    assert geography.square_geojson(Square(600_000, 1_200_000, 100_000))["type"] == "Polygon"


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ((651_050, 313_000, 100), "not_a_square"),
        ((700_000, 0, 1_000), "not_a_square"),
        ((-1_000, 0, 1_000), "not_a_square"),
        ((0, 1_300_000, 1_000), "not_a_square"),
        ((0, 0, 5_000), "side"),
        ((0, 0, 0), "side"),
    ],
)
def test_no_other_square_can_be_made(values, code):
    assert refused(Square, *values).code == code


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, 1e308, -0.1, 700_000.1])
def test_no_point_is_off_the_grid(bad):
    assert refused(Point, bad, 0.0).code == "outside_great_britain"
    if bad != 700_000.1:
        assert refused(Point, 0.0, bad).code == "outside_great_britain"


# Latitude and longitude


@pytest.mark.parametrize(
    ("latitude", "longitude", "code", "suggestions"),
    [
        (0, 0, "zero_zero", ()),
        (0.0, -0.0, "zero_zero", ()),
        (1.7161, 52.658, "swapped", ("52.658, 1.7161",)),
        (-2.5, 51.5, "swapped", ("51.5, -2.5",)),
        (52.0, 3.1, "outside_great_britain", ("52.0, -3.1",)),
        (48.99, 0.0, "outside_great_britain", ()),
        (61.51, 0.0, "outside_great_britain", ()),
        (52.0, -9.01, "outside_great_britain", ()),
        (49.0, -9.0, "outside_great_britain", ()),  # inside the box, west of the grid
        (1e308, 1.0, "outside_great_britain", ()),
        (52.0, -1e308, "outside_great_britain", ()),
        (651409.903, 313177.270, "eastings_northings", ("TG 51409 13177",)),
        (math.nan, 0.0, "not_finite", ()),
        (52.0, math.nan, "not_finite", ()),
        (math.inf, 1.0, "not_finite", ()),
        (52.0, -math.inf, "not_finite", ()),
        (10**400, 1.0, "not_finite", ()),
        (True, 1.0, "not_a_number", ()),
        ("52", "1", "not_a_number", ()),
        (None, 1.0, "not_a_number", ()),
    ],
)
def test_a_position_that_cannot_be_used_is_refused_at_once(latitude, longitude, code, suggestions):
    begun = time.monotonic()
    fault = refused(geography.read_latitude_longitude, latitude, longitude)
    assert (fault.code, fault.suggestions) == (code, suggestions)
    assert time.monotonic() - begun < 1


def test_the_words_for_nought_and_for_swapped():
    assert "Gulf of Guinea" in refused(geography.read_latitude_longitude, 0, 0).detail
    assert "other way round" in refused(geography.read_latitude_longitude, 1.7, 52.6).detail
    assert "negative" in refused(geography.read_latitude_longitude, 52, 3.1).detail


@given(st.floats() | st.integers(), st.floats() | st.integers())
def test_any_two_numbers_are_a_point_or_a_refusal(latitude, longitude):
    answer = answer_of(geography.read_latitude_longitude, latitude, longitude)
    assert answer.code if isinstance(answer, PlaceRefused) else geography.square_of(answer, 1).reference


# Where both the table and the box of degrees reach.
inland = st.builds(Point, st.floats(30_000, 600_000), st.floats(200, 1_249_800))


@given(inland)
def test_a_point_comes_back_from_its_degrees(point):
    back = geography.read_latitude_longitude(*geography.latitude_longitude(point, 9))
    assert geography.distance_m(point, back) < 0.01
    # derivation: half of 1e-6 degree is 0.056 m north and at most 0.037 m east
    handed_out = geography.read_latitude_longitude(*geography.latitude_longitude(point))
    assert geography.distance_m(point, handed_out) < 0.08


@given(st.floats(49, 61.5), st.floats(-9, 2.5))
def test_every_position_in_the_box_has_a_point_unless_it_is_off_the_grid(latitude, longitude):
    answer = answer_of(geography.read_latitude_longitude, latitude, longitude)
    if isinstance(answer, PlaceRefused):
        assert answer.code == "outside_great_britain"
    else:
        # In the rim where the way back uses another shift, up to 5 m (OS guide, section 6.6): 1e-4 degree.
        assert geography.latitude_longitude(answer) == pytest.approx((latitude, longitude), abs=1e-4)


@pytest.mark.parametrize(
    ("easting", "northing", "surveyed"),
    [
        (651409.8, 313177.4, True),
        (300_000.5, 1_249_800.5, True),
        (300_000.5, 1_250_200.5, False),  # the table ends 1250 km north of the false origin: OSTN15 guide
        (300_000.5, 1_290_000.5, False),
        (300_000.5, 50.5, False),
        (50.5, 300_000.5, False),
        (699_950.5, 300_000.5, False),
    ],
)
def test_it_is_known_where_the_table_of_shifts_ends(easting, northing, surveyed):
    assert geography.is_surveyed(Point(easting, northing)) is surveyed


@pytest.mark.parametrize(("latitude", "expected"), [(61.0, True), (61.3, False)])
def test_the_library_and_we_mean_the_same_edge(latitude, expected):
    # Without the table the library answers in whole metres.
    easting, northing = geography.ll_to_grid(latitude, 0.1234)
    whole = easting == int(easting) and northing == int(northing)
    assert geography.is_surveyed(Point(easting, northing)) is expected is not whole


def test_beyond_the_table_degrees_come_back_within_five_metres():
    point = Point(300_000.0, 1_290_000.0)
    back = geography.read_latitude_longitude(*geography.latitude_longitude(point))
    assert geography.distance_m(point, back) < 5  # OS guide, section 6.6


# Outlines


@pytest.mark.parametrize(
    "wrapped",
    [
        polygon(FIELD),
        polygon(FIELD[::-1]),
        polygon([[*position, 31.5] for position in FIELD]),
        polygon([tuple(position) for position in FIELD]),
        {"type": "Feature", "properties": None, "geometry": polygon(FIELD)},
        {"type": "FeatureCollection", "features": [{"type": "Feature", "geometry": polygon(FIELD)}]},
        json.dumps({"type": "Feature", "geometry": polygon(FIELD)}),
        polygon(FIELD, crs={"type": "name", "properties": {"name": "urn:ogc:def:crs:OGC:1.3:CRS84"}}),
        polygon(FIELD, crs={"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::4326"}}),
        polygon([FIELD[0], *FIELD]),
    ],
)
def test_the_same_field_in_any_wrapping(wrapped):
    outline = geography.read_polygon(wrapped)
    assert sorted({tuple(pair) for pair in outline.as_pairs()}) == sorted(
        {tuple(pair) for pair in geography.read_polygon(polygon(FIELD)).as_pairs()}
    )
    assert outline.ring[0] == outline.ring[-1]
    assert shoelace(outline.as_pairs()) > 0  # counter-clockwise
    assert geography.contains(outline, outline.point_inside)


def shoelace(pairs):
    """Area of a closed ring, m2, positive if counter-clockwise."""
    return sum(a[0] * b[1] - b[0] * a[1] for a, b in pairwise(pairs)) / 2


@pytest.mark.parametrize(
    ("corners", "area"),
    [  # derivation: 30 x 20; 30 x 20 / 2; 30 x 20 less 20 x 10
        ([(0, 0), (30, 0), (30, 20), (0, 20)], 600.0),
        ([(0, 0), (30, 0), (0, 20)], 300.0),
        ([(0, 0), (30, 0), (30, 10), (10, 10), (10, 20), (0, 20)], 400.0),
    ],
)
def test_areas_by_hand(corners, area):
    pairs = [[651_000.5 + east, 313_000.5 + north] for east, north in [*corners, corners[0]]]
    outline = Outline.from_pairs(pairs)
    assert outline.area_m2 == pytest.approx(area, abs=1e-6)
    assert outline.as_pairs() == pairs
    assert geography.contains(outline, outline.point_inside)
    # Through degrees and back: each corner moves by at most 0.08 m for the degrees and 0.08 m for the decimetre.
    again = geography.read_polygon(outline.geojson())
    assert again.area_m2 == pytest.approx(area, abs=0.16 * perimeter(pairs))
    for before, after in zip(outline.ring, again.ring, strict=True):
        assert geography.distance_m(before, after) < 0.16


def perimeter(pairs):
    return sum(math.dist(a, b) for a, b in pairwise(pairs))


def test_the_middle_of_a_bent_outline_is_still_inside():
    corners = [(0, 0), (100, 0), (100, 10), (10, 10), (10, 90), (100, 90), (100, 100), (0, 100), (0, 0)]
    outline = Outline.from_pairs([[651_000 + east, 313_000 + north] for east, north in corners])
    assert not geography.contains(outline, Point(651_050, 313_050))
    assert geography.contains(outline, outline.point_inside)
    assert geography.contains(outline, Point(651_000, 313_050))  # on the edge


def test_an_area_in_degrees_agrees_with_the_ellipsoid():
    south, north, west, east = 52.0, 52.1, -1.5, -1.4
    ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    outline = geography.read_polygon(polygon(ring), largest_m2=None)
    # Derivation: area of an ellipsoid (WGS84, from memory) between parallels and meridians, in closed form, times the
    # square of the grid's scale there (OS guide, annexe A: 0.9996012717 on the meridian of 2 W, 400 km east).
    a, b = 6378137.0, 6356752.314245
    e = math.sqrt(1 - (b / a) ** 2)

    def zone(latitude):
        sine = math.sin(math.radians(latitude))
        return sine / (1 - (e * sine) ** 2) + math.log((1 + e * sine) / (1 - e * sine)) / (2 * e)

    ground = b**2 / 2 * math.radians(east - west) * (zone(north) - zone(south))
    scale = 0.9996012717 * (1 + (outline.point_inside.easting_m - 400_000) ** 2 / (2 * 6_381_000**2))
    # 1 in 10,000: the two ellipsoids differ by 20 in a million in length (OS guide, section 6.6), and the parallels,
    # which are bent on the grid, by about 1 m in 7 km.
    assert outline.area_m2 == pytest.approx(ground * scale**2, rel=1e-4)
    assert outline.area_m2 == pytest.approx(ground, rel=1e-3)  # what the page says


def with_first(position):
    return [position, *FIELD[1:-1], position]


BOW_TIE = [FIELD[0], FIELD[2], FIELD[1], FIELD[3], FIELD[0]]


@pytest.mark.parametrize(
    ("geojson", "code", "words"),
    [
        ('{"type": "Polygon"', "not_json", "JSON"),
        ("", "not_json", "JSON"),
        (None, "wrong_type", "no GeoJSON object"),
        ([FIELD], "wrong_type", "no GeoJSON object"),
        ({"coordinates": [FIELD]}, "wrong_type", "without a type"),
        ({"type": ["Polygon"]}, "wrong_type", "without a type"),
        ({"type": "Point", "coordinates": [-1.5, 52]}, "wrong_type", "This is a Point"),
        ({"type": "MultiPolygon", "coordinates": [[FIELD]]}, "wrong_type", "This is a MultiPolygon"),
        ({"type": "GeometryCollection", "geometries": []}, "wrong_type", "This is a GeometryCollection"),
        ({"type": "Feature", "geometry": {"type": "LineString"}}, "wrong_type", "LineString in a Feature"),
        ({"type": "Feature", "geometry": None}, "wrong_type", "in a Feature"),
        ({"type": "Feature", "geometry": {"type": "Feature"}}, "wrong_type", "Feature in a Feature"),
        ({"type": "FeatureCollection", "features": []}, "not_one_feature", "0 features"),
        ({"type": "FeatureCollection", "features": [{}, {}]}, "not_one_feature", "2 features"),
        ({"type": "FeatureCollection"}, "not_one_feature", "0 features"),
        ({"type": "Polygon"}, "no_rings", "list of rings"),
        ({"type": "Polygon", "coordinates": [5]}, "no_rings", "list of rings"),
        ({"type": "Polygon", "coordinates": [FIELD, FIELD]}, "holes", "2 rings"),
        ({"type": "Polygon", "coordinates": []}, "too_few_positions", "0 positions"),
        (polygon(FIELD[:3]), "too_few_positions", "3 positions"),
        (polygon(FIELD[:4]), "not_closed", "-1.5, 52.0"),
        (polygon(FIELD[:4] * 251), "too_many_positions", "1,004 positions"),
        (polygon(with_first([-1.5])), "not_a_position", "Position 1"),
        (polygon(with_first([-1.5, 52, 0, 0])), "not_a_position", "Position 1"),
        (polygon(with_first("no")), "not_a_position", "'no'"),
        (polygon(with_first([True, 52])), "not_a_number", "True"),
        (polygon(with_first(["-1.5", 52])), "not_a_number", "'-1.5'"),
        (polygon(with_first([-1.5, None])), "not_a_number", "None"),
        (polygon(with_first([math.nan, 52])), "not_finite", "nan"),
        (polygon(with_first([-1.5, math.inf])), "not_finite", "inf"),
        (polygon(with_first([-1.5, 52, math.nan])), "not_finite", "nan"),
        (polygon(with_first([10**400, 52])), "not_finite", "finite"),
        (polygon(with_first([10**5000, 52])), "not_finite", "finite"),
        (json.dumps(polygon(with_first([math.nan, 52]))), "not_finite", "nan"),
        (polygon(with_first([-1.5, 1e308])), "outside_great_britain", "1e+308"),
        (polygon(with_first([8.5, 52])), "outside_great_britain", "8.5"),
        (polygon([[0, 0], [1, 0], [1, 1], [0, 0]]), "outside_great_britain", "Longitude 0, latitude 0"),
        (polygon([[-9, 49], [-8.99, 49], [-8.99, 49.01], [-9, 49]]), "outside_great_britain", "squares"),
        (polygon([[y, x] for x, y in FIELD]), "swapped", "longitude comes first"),
        (
            polygon([[651_000, 313_000], [651_100, 313_000], [651_100, 313_100], [651_000, 313_000]]),
            "eastings_northings",
            "metres east and north",
        ),
        (polygon(BOW_TIE), "self_crossing", "near SP 3"),
        (polygon([FIELD[0], FIELD[1], FIELD[2], FIELD[1], FIELD[0]]), "self_crossing", "crosses or touches"),
        (polygon([FIELD[0]] * 5), "zero_area", "no ground"),
        (polygon([FIELD[0], [-1.495, 52.0], FIELD[1], FIELD[0]]), "zero_area", "in one line"),
        (polygon([[-1.5, 52], [-1.499999, 52], [-1.499999, 52.000001], [-1.5, 52]]), "zero_area", "no ground"),
        # derivation: a chevron 10 m wide and 0.15 m thick has 10 x 0.15 / 2 m2
        (
            polygon([[-1.5, 52], [-1.499927, 52.0000886], [-1.499854, 52], [-1.499927, 52.00009], [-1.5, 52]]),
            "zero_area",
            "less than 1 m²",
        ),
        (polygon([[-1.5, 52], [-1.4, 52], [-1.4, 52.05], [-1.5, 52]]), "too_large", "100 ha"),
        (polygon(FIELD, crs={"type": "name", "properties": {"name": "EPSG:27700"}}), "wrong_crs", "EPSG:27700"),
        (polygon(FIELD, crs={"type": "link"}), "wrong_crs", "WGS84"),
        ({"type": "Feature", "geometry": polygon(FIELD), "crs": "?"}, "wrong_crs", "?"),
    ],
)
def test_an_outline_that_cannot_be_used_is_refused_in_words(geojson, code, words):
    begun = time.monotonic()
    fault = refused(geography.read_polygon, geojson)
    assert fault.code == code
    assert words in fault.detail
    assert time.monotonic() - begun < 1


@pytest.mark.parametrize(
    ("function", "arguments", "code"),
    [
        (geography.read_grid_reference, ["TG" + "1" * 1_000_000], "too_long"),
        (geography.read_latitude_longitude, [10**5_000, 1.0], "not_finite"),
        (geography.read_polygon, ["[" * 100_000], "not_json"),
        (geography.read_polygon, ['{"type": ' + "1" * 5_000 + "}"], "not_json"),
        (geography.read_polygon, [polygon(FIELD, crs={"name": 10**5_000})], "wrong_crs"),
        (geography.read_polygon, [{"type": "Polygon", "coordinates": 10**5_000}], "no_rings"),
    ],
)
def test_what_is_far_too_long_is_refused_at_once(function, arguments, code):
    begun = time.monotonic()
    assert refused(function, *arguments).code == code
    assert time.monotonic() - begun < 1


def test_a_swapped_outline_is_told_what_would_be_right():
    assert refused(geography.read_polygon, polygon([[y, x] for x, y in FIELD])).suggestions == ("-1.5, 52.0",)


def test_a_crossing_is_found_where_it_is():
    # derivation: the two diagonals of a field cross in its middle, here in the far north, where northings are longest
    west, east, south, north = -1.0, -0.99, 60.6, 60.604
    ring = [[west, south], [east, north], [east, south], [west, north], [west, south]]
    middle = geography.read_latitude_longitude((south + north) / 2, (west + east) / 2)
    assert geography.square_of(middle, 100).northing_m > 1_000_000
    fault = refused(geography.read_polygon, polygon(ring))
    assert fault.code == "self_crossing"
    named = geography.read_grid_reference(fault.detail.partition(" near ")[2].rstrip("."))
    assert geography.distance_m(named.centre, middle) < 15


@pytest.mark.parametrize("as_text", [False, True])
def test_fifty_thousand_positions_are_refused_before_anything_is_worked_out(as_text):
    # They are no numbers at all, so that only their count can have been looked at.
    geojson = polygon([["?", "?"]] * 50_000)
    begun = time.monotonic()
    fault = refused(geography.read_polygon, json.dumps(geojson) if as_text else geojson)
    assert time.monotonic() - begun < 1
    assert fault.code == "too_many_positions"
    assert "50,000" in fault.detail


def test_a_thousand_positions_are_read_in_a_moment():
    turns = [2 * math.pi * step / 999 for step in range(999)]
    ring = [[round(-1.5 + 0.003 * math.cos(turn), 7), round(52 + 0.002 * math.sin(turn), 7)] for turn in turns]
    begun = time.monotonic()
    outline = geography.read_polygon(polygon([*ring, ring[0]]))
    assert time.monotonic() - begun < 2
    # derivation: an ellipse of half axes 0.003 degree east (68.68 km each) and 0.002 degree north (111.26 km each)
    assert outline.area_m2 == pytest.approx(math.pi * 0.003 * 68_680 * 0.002 * 111_260, rel=0.01)


def test_a_county_may_be_as_large_as_it_is():
    ring = [[-2, 52], [-1, 52], [-1, 53], [-2, 53], [-2, 52]]
    assert refused(geography.read_polygon, polygon(ring)).code == "too_large"
    # derivation: 1 degree of latitude is 111.3 km, of longitude at 52.5 N 67.9 km
    assert geography.read_polygon(polygon(ring), largest_m2=None).area_m2 == pytest.approx(111.3 * 67.9e6, rel=0.01)


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=15,
)


@given(json_values | st.builds(polygon, json_values) | st.builds(lambda value: polygon([value] * 5), json_values))
def test_anything_at_all_is_an_outline_or_a_refusal(geojson):
    answer = answer_of(geography.read_polygon, geojson)
    assert isinstance(answer, Outline) or (answer.code and answer.expected)


@given(
    st.lists(
        st.tuples(st.integers(0, 40), st.integers(0, 40)).map(lambda p: [-1.5 + p[0] * 1e-5, 52 + p[1] * 1e-5]),
        min_size=3,
        max_size=7,
    )
)
def test_what_is_taken_encloses_ground_counter_clockwise_and_is_stored_whole(corners):
    outline = answer_of(geography.read_polygon, polygon([*corners, corners[0]]))
    if isinstance(outline, PlaceRefused):
        assert outline.code in {"self_crossing", "zero_area"}
        return
    assert outline.area_m2 == pytest.approx(shoelace(outline.as_pairs()), abs=1e-3)
    assert outline.area_m2 >= 1
    assert Outline.from_pairs(json.loads(json.dumps(outline.as_pairs()))) == outline
    assert geography.contains(outline, outline.point_inside)
    ring = outline.geojson()["coordinates"][0]
    assert ring[0] == ring[-1]
    assert shoelace(ring) > 0


# What is handed out


def test_geometries_are_longitude_first_with_six_decimals():
    # OSTN15 guide, annexe A: 52.658007833 N, 1.716073973 E
    caister = Point(651409.804, 313177.450)
    assert geography.in_degrees(caister, caister)["geometry"] == {
        "type": "Point",
        "coordinates": [1.716074, 52.658008],
    }
    square = geography.square_geojson(Square(651_000, 313_000, 1_000))
    (ring,) = square["coordinates"]
    assert len(ring) == 5
    corner = Point(651_000, 313_000)
    assert ring[0] == ring[-1] == geography.in_degrees(corner, corner)["geometry"]["coordinates"]
    assert shoelace(ring) > 0
    assert all(round(number, 6) == number for position in ring for number in position)


def test_distance_on_the_grid():
    assert geography.distance_m(Point(651_003, 313_000), Point(651_000, 313_004)) == 5.0  # derivation: 3, 4, 5


@pytest.mark.parametrize(
    ("stated", "outline", "matches"),
    [  # common practice: 10 % of the outline, or 5 m2 if that is more
        (1_100, 1_000, True),
        (1_100.1, 1_000, False),
        (900, 1_000, True),
        (899.9, 1_000, False),
        (15, 10, True),
        (15.1, 10, False),
        (math.nan, 10, False),
        (math.inf, 10, False),
    ],
)
def test_a_stated_area_may_differ_a_little_from_its_outline(stated, outline, matches):
    assert geography.area_matches(stated, outline) is matches


def test_the_difference_of_two_areas_in_a_sentence():
    assert geography.area_difference(1_500, 1_000) == (
        "The area given, 1,500 m², is 500 m² (50%) more than the 1,000 m² that the outline encloses; "
        "up to 10% or 5 m², whichever is more, is taken."
    )
    assert "is 600 m² (60%) less than" in geography.area_difference(400, 1_000)
