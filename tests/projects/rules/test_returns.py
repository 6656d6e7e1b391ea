"""What is unlikely in a return and must be asked, and which returns are awaited."""

from datetime import date

import pytest

from modelling.errors import FieldError
from modelling.reading import read_as
from projects.contracts.returns import ReturnNew
from projects.rules import returns as rules
from projects.rules.returns import Known

NOTHING = Known(None, None, None)
SOWN = date(2027, 9, 10)


def told(*quadrats, on="2028-06-20", whole_site=(), **more):
    visit = {"on": on, "quadrats": list(quadrats), "whole_site": [plant(name) for name in whole_site]}
    return read_as(ReturnNew, {"year": 2028, "visits": [visit], **more})


def plant(name, taxon=None, **amount):
    return {"name": name, "taxon": taxon, **amount}


def square(label, *names, **noted):
    return {"label": label, "records": [name if isinstance(name, dict) else plant(name) for name in names], **noted}


def asked(found, known=NOTHING):
    return {question.code: question.text for question in rules.questions(found, known)}


def test_an_ordinary_return_asks_nothing():
    cut = [{"what": "cut", "on": "2028-08-02"}]
    before = Known(SOWN, frozenset({"dock", "daisy", "sedge"}), 4.0)
    found = told(square("1", "dock", "daisy"), square("2", "dock"), square("3", "dock"), work=cut)
    assert asked(found, before) == {}


@pytest.mark.parametrize(
    ("day", "codes"),
    [
        ("2028-04-30", {"out_of_season"}),
        ("2028-05-01", set()),
        ("2028-09-30", set()),
        ("2028-10-01", {"out_of_season"}),
    ],
)
def test_a_walk_out_of_season_is_asked_about(day, codes):
    assert set(asked(told(square("1", "dock"), on=day))) == codes


@pytest.mark.parametrize(("cut", "codes"), [("2028-06-20", {"after_the_cut"}), ("2028-06-21", set())])
def test_a_walk_after_the_cut_is_asked_about(cut, codes):
    work = [{"what": "cut", "on": cut}, {"what": "weeded", "on": "2028-05-01"}, {"what": "cut"}]
    assert set(asked(told(square("1", "dock"), work=work))) == codes


@pytest.mark.parametrize(
    ("before", "now", "codes"),
    [
        (("a", "b"), ("dock", "daisy", "sedge"), set()),
        (("a", "b"), ("dock", "daisy", "sedge", "rush"), {"twice_as_many"}),
        (("a", "b", "c"), ("dock", "daisy"), set()),
        (("a", "b", "c", "d"), ("dock", "daisy"), {"half_as_many"}),
        (None, ("dock", "daisy", "sedge", "rush"), set()),
    ],
)
def test_twice_or_half_as_many_as_last_year_is_asked_about(before, now, codes):
    known = Known(None, frozenset(before) if before else None, None)
    assert set(asked(told(square("1", *now)), known)) == codes


@pytest.mark.parametrize(
    ("before", "quadrat", "codes"),
    [
        (5.0, square("1", "dock", rattle_plants=0), {"rattle_gone"}),
        # not counted, and not among the plants
        (5.0, square("1", "dock"), {"rattle_gone"}),
        (5.0, square("1", plant("YR", "rhinanthus_minor")), set()),
        (5.0, square("1", "dock", rattle_plants=1), set()),
        (4.9, square("1", "dock", rattle_plants=0), set()),
        (None, square("1", "dock", rattle_plants=0), set()),
    ],
)
def test_rattle_gone_within_a_year_is_asked_about(before, quadrat, codes):
    assert set(asked(told(quadrat), Known(None, None, before))) == codes


def test_an_orchid_in_the_first_summer_is_asked_about_once():
    orchid = plant("spotted orchid", "dactylorhiza_fuchsii")
    found = told(square("1", orchid), square("2", orchid))
    assert list(asked(found, Known(SOWN, None, None))) == ["early_orchid"]
    assert asked(found, Known(date(2026, 9, 10), None, None)) == {}
    assert asked(found) == {}


def test_quadrats_all_identical_are_asked_about():
    alike = [square(str(n), "Dock", "daisy") for n in range(3)]
    assert "all_alike" in asked(told(*alike))
    assert asked(told(*alike[:2])) == {}
    other = [*alike[:2], square("3", "Dock", plant("daisy", scale="percent", value="3"))]
    assert asked(told(*other)) == {}


def test_a_quadrat_fuller_than_full_or_taller_than_a_meadow_is_asked_about():
    full = told(square("1", "dock", bare_ground_percent=60, litter_percent=41))
    assert asked(full) == {"over_full": "Quadrat 1: bare ground and litter make more than the whole."}
    assert asked(told(square("1", "dock", bare_ground_percent=60, litter_percent=40))) == {}
    tall = asked(told(square("A", "dock", sward_height_cm=250)))
    assert tall == {"tall_sward": "Quadrat A: a sward of 250 cm: is that in centimetres?"}
    assert asked(told(square("A", "dock", sward_height_cm=150))) == {}


@pytest.mark.parametrize(
    ("value", "refused"), [("100", False), ("100.1", True), ("-0.1", True), ("much", True), ("nan", True)]
)
def test_a_cover_out_of_range_cannot_be(value, refused):
    found = told(square("1", plant("dock", scale="percent", value=value)))
    faults = list(rules.errors(found, date(2028, 9, 1)))
    assert [fault.code for fault in faults] == ["out_of_range"] * refused
    assert all(isinstance(fault, FieldError) and value in fault.detail for fault in faults)


@pytest.mark.parametrize(
    ("sown", "year", "expected"),
    [
        (None, 2028, False),
        (date(2027, 9, 10), 2027, False),
        (date(2027, 9, 10), 2028, True),
        (date(2027, 5, 31), 2027, True),
        (date(2027, 6, 1), 2027, False),
    ],
)
def test_a_meadow_has_something_to_tell_from_its_first_summer(sown, year, expected):
    assert rules.expected(sown, year) is expected


def test_a_return_is_late_once_october_is_over():
    assert [rules.late(2028, day) for day in (date(2028, 10, 31), date(2028, 11, 1), date(2029, 1, 1))] == [
        False,
        True,
        True,
    ]


def test_a_year_cannot_have_more_than_can_be_judged():
    visits = [{"on": f"2028-0{month}-10", "quadrats": [square(str(n)) for n in range(251)]} for month in (6, 7)]
    found = read_as(ReturnNew, {"year": 2028, "visits": visits})
    assert [(fault.pointer, fault.code) for fault in rules.errors(found, date(2028, 9, 1))] == [("/visits", "too_many")]
    lists = [
        {"on": f"2028-0{month}-10", "whole_site": [plant(f"thing {month} {n}") for n in range(151)]} for month in (6, 7)
    ]
    found = read_as(ReturnNew, {"year": 2028, "visits": lists})
    assert [(fault.pointer, fault.code) for fault in rules.errors(found, date(2028, 9, 1))] == [("/visits", "too_many")]
