"""Days and amounts as people type them. The year of the return is 2026; the day comes before the month."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from projects.sheets.headings import area_of, label_of, role_of, work_of
from projects.sheets.tables import Cell
from projects.sheets.values import Doubt, Fault, amount_of, likely_scales, read_amount, read_day, scale_named

JULY = date(2026, 7, 14)


@pytest.mark.parametrize(
    "written",
    [
        "14 July", "14th July", "14 july 2026", "July 14", "July 14th 2026", "July 14, 2026", "14 Jul 26", "14-Jul-26",
        "14/7/26", "14/07/2026", "14/7", "14.7.2026", "14.7.", "14-7-26", "14 7 26", "2026-07-14", "2026/7/14",
        "Tues 14 July", "Tuesday, 14th July 2026", "14th of July", "14July2026", "2026-07-14T09:30", "14/07/2026 09:30",
        "46217", 46217, 46217.0, JULY,
    ],
)  # fmt: skip
def test_a_day_is_read_however_it_is_typed(written: object) -> None:
    assert read_day(written, 2026) == JULY


def test_day_numbers_count_from_1904_where_the_workbook_says_so() -> None:
    # 1462 days lie between the two counts
    assert read_day(46217 - 1462, 2026, from_1904=True) == JULY


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("3/7/26", date(2026, 7, 3)),
        ("7/3/26", date(2026, 3, 7)),
        ("3/7/25", date(2025, 7, 3)),
        ("29/2/28", date(2028, 2, 29)),
    ],
)
def test_the_day_comes_before_the_month(written: str, expected: date) -> None:
    assert read_day(written, 2026) == expected


@pytest.mark.parametrize(
    "written", ["31/11", "31/11/26", "31 November", "30 Feb 2026", "29/2/26", "0/7/26", "2026-13-01"]
)
def test_a_day_that_does_not_exist_is_a_fault(written: str) -> None:
    found = read_day(written, 2026)
    assert isinstance(found, Fault)
    assert found.code == "no_such_day"
    assert written in found.text
    assert "14/7/2026" in found.expected


@pytest.mark.parametrize(
    "written", ["soon", "in the summer", "", "14", "0", 0.5, float("nan"), float("inf"), "1/2/3/4", "14 Julember"]
)
def test_what_is_no_day_is_a_fault(written: object) -> None:
    found = read_day(written, 2026)
    assert isinstance(found, Fault)
    assert found.code == "not_a_day"


@pytest.mark.parametrize(
    ("written", "code", "readings"),
    [
        ("7/14/26", "day_ambiguous", (JULY,)),
        ("26-07-14", "day_ambiguous", (date(2014, 7, 26), JULY)),
        ("July 26", "day_ambiguous", (date(2026, 7, 26),)),
        ("July", "day_missing", ()),
        ("July 2026", "day_missing", ()),
        ("7/26", "day_missing", ()),
    ],
)
def test_a_day_with_two_readings_is_a_question(written: str, code: str, readings: tuple[date, ...]) -> None:
    found = read_day(written, 2026)
    assert isinstance(found, Doubt)
    assert (found.code, found.readings) == (code, readings)
    assert written in found.text


@given(st.one_of(st.text(max_size=40), st.floats(), st.integers(), st.dates()), st.integers(1990, 2100))
def test_any_value_is_a_day_a_doubt_or_a_fault(value: object, year: int) -> None:
    assert isinstance(read_day(value, year), date | Doubt | Fault)


def amount(value: str | float) -> object:
    return amount_of(Cell(1, 1, value))


def scales(*values: str | float) -> tuple[str, ...]:
    return likely_scales([amount_of(Cell(1, 1, value)) for value in values])


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        (("x", "✓", "", "X"), ("presence",)),
        (("1", "0", "1"), ("presence",)),
        ((1.0, 0.0), ("presence",)),
        (("+", "x"), ("presence",)),
        (("yes", "no"), ("presence",)),
        (("40", "12.5", "3"), ("percent",)),
        (("12,5",), ("percent",)),
        (("5%", "3"), ("percent",)),
        (("<1", "4"), ("percent",)),
        (("11",), ("percent",)),
        (("-5", "3"), ("percent",)),
        (("3", "7", "10"), ("domin", "percent", "abundance")),
        (("3", "5"), ("domin", "braun_blanquet", "percent", "abundance")),
        (("+", "7"), ("domin",)),
        (("+", "4"), ("domin", "braun_blanquet")),
        (("r", "+", "4"), ("braun_blanquet",)),
        (("D", "a", "F"), ("dafor_cover", "dafor_frequency")),
        (("LA", "O"), ("dafor_cover", "dafor_frequency")),
        ((), ("presence",)),
    ],
)
def test_a_column_tells_its_scale_or_leaves_more_than_one(
    values: tuple[str | float, ...], expected: tuple[str, ...]
) -> None:
    assert scales(*values) == expected


@pytest.mark.parametrize(
    ("value", "scale", "expected"),
    [
        ("40%", "percent", ("percent", "40")),
        ("12,5", "percent", ("percent", "12.5")),
        (100.0, "percent", ("percent", "100")),
        ("<1%", "percent", ("percent", "0.5")),
        ("tr", "percent", ("percent", "0.5")),
        ("x", "percent", ("presence", "")),
        ("+", "percent", ("presence", "")),
        ("10", "domin", ("domin", "10")),
        ("+", "domin", ("domin", "+")),
        ("R", "braun_blanquet", ("braun_blanquet", "r")),
        ("2b", "braun_blanquet", ("braun_blanquet", "2")),
        ("F", "dafor_frequency", ("dafor_frequency", "f")),
        ("LA", "dafor_cover", ("dafor_cover", "a")),
        ("17", "abundance", ("abundance", "17")),
        ("5", "presence", ("presence", "")),
        ("0", "percent", None),
        ("-", "domin", None),
        ("0%", "percent", None),
    ],
)
def test_an_amount_on_its_scale(value: str | float, scale: str, expected: object) -> None:
    assert read_amount(amount_of(Cell(1, 1, value)), scale) == expected


@pytest.mark.parametrize(
    ("value", "scale", "code"),
    [
        ("-5", "percent", "negative"),
        ("-1", "presence", "negative"),
        ("101", "percent", "over_100"),
        ("120%", "domin", "over_100"),
        ("11", "domin", "not_on_scale"),
        ("2.5", "domin", "not_on_scale"),
        ("6", "braun_blanquet", "not_on_scale"),
        ("b", "dafor_cover", "not_on_scale"),
        ("5", "dafor_cover", "not_on_scale"),
        ("5-10", "percent", "not_on_scale"),
        ("some", "percent", "not_on_scale"),
        ("1.5", "abundance", "not_on_scale"),
    ],
)
def test_an_amount_off_its_scale_is_a_fault(value: str, scale: str, code: str) -> None:
    found = read_amount(amount_of(Cell(1, 1, value)), scale)
    assert isinstance(found, Fault)
    assert found.code == code
    assert found.expected


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("% cover", ["percent"]),
        ("Cover %", ["percent"]),
        ("Domin", ["domin"]),
        ("Domin cover", ["domin"]),
        ("dominant grasses", []),
        ("Braun-Blanquet", ["braun_blanquet"]),
        ("DAFOR", []),
        ("DAFOR (cover)", ["dafor_cover"]),
        ("DAFOR letters for how often", ["dafor_frequency"]),
        ("DAFOR frequency", ["dafor_frequency"]),
        ("Number of plants", ["abundance"]),
        ("present", ["presence"]),
        ("Walk of July", []),
    ],
)
def test_a_heading_may_name_the_scale(words: str, expected: list[str]) -> None:
    assert list(scale_named(words)) == expected


@pytest.mark.parametrize(
    ("heading", "role", "label"),
    [
        ("Species ", "name", None),
        ("PLANT:", "name", None),
        ("Latin name", "latin", None),
        ("Common name", "english", None),
        ("Quad No", "quadrat", None),
        ("Quadrat", "quadrat", None),
        ("Stop no.", "quadrat", None),
        ("Q1", "", "Q1"),
        ("Q10 (%)", "value", "Q10"),
        ("Quadrat 3", "", "Quadrat 3"),
        ("7", "", "7"),
        ("% cover", "value", None),
        ("DAFOR", "value", None),
        ("Date surveyed", "date", None),
        ("Cut date", "cut", None),
        ("Bare ground %", "bare_ground_percent", None),
        ("Litter", "litter_percent", None),
        ("Sward ht (cm)", "sward_height_cm", None),
        ("Yellow rattle plants, number", "rattle_plants", None),
        ("Yellow rattle", "", None),
        ("Wildflower cover, %", "forb_cover_percent", None),
        ("Number of species", "total", None),
        ("TOTAL", "total", None),
        ("Notes", "note", None),
        ("Recorded by", "surveyor", None),
        ("Weather", "", None),
    ],
)
def test_a_heading_is_known_however_it_is_written(heading: str, role: str, label: str | None) -> None:
    assert (role_of(heading), label_of(heading)) == (role, label)


@pytest.mark.parametrize(
    ("written", "area"),
    [
        ("1 m x 1 m", 1.0),
        ("0.5 x 0.5", 0.25),
        ("2m×2m", 4.0),
        ("0,25 m²", 0.25),
        ("4", 4.0),
        ("1 m2", 1.0),
        ("big", None),
    ],
)
def test_the_size_of_a_quadrat(written: str, area: float | None) -> None:
    assert area_of(written) == area


@pytest.mark.parametrize(
    ("written", "work"),
    [
        ("Cutting", "cut"), ("hay cut", "cut"), ("Mown", "cut"), ("Raking up and carrying off", "rake"),
        ("Grazing, fencing, moving stock", "graze"), ("pulled docks", "weed"), ("Weeding", "weed"),
        ("Preparing the ground", "prepare"), ("Planting plugs", "plant"), ("Sowing", "sow"),
        ("Gathering or cleaning seed", "seed"), ("Looking and counting", "survey"), ("Buying or hiring", "purchase"),
        ("Meeting, asking, writing", "meeting"), ("Something else", "other"), ("Tea", "other"),
    ],
)  # fmt: skip
def test_a_line_of_work_is_of_some_kind(written: str, work: str) -> None:
    assert work_of(written) == work
