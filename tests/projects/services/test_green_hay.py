"""Days of green hay: what is looked at beforehand, by published advice, and what cannot be."""

from datetime import date, timedelta

import pytest

from modelling.errors import RequestRefused
from projects.errors import NotAllowed, NotFound, RuleBroken, WrongState
from projects.models import GreenHayDay
from projects.rules.green_hay import HayFact, to_look_at
from projects.selectors.green_hay import day_get, donor_told, looked_at
from tests.projects.county import NOW
from tests.projects.plugs import GARDEN, donor, end, hay

pytestmark = pytest.mark.django_db
GOOD = HayFact(
    ratio=2.5, minutes_to_spread=60, cut_on=date(2026, 7, 20), spread_on=date(2026, 7, 20), stage="prepared", people=6,
    trailers=1,
)  # fmt: skip


def refusal(act):
    with pytest.raises((RuleBroken, RequestRefused)) as told:
        act()
    return [(error.pointer, error.code) for error in told.value.errors]


@pytest.mark.parametrize(("change", "code"), [
    ({}, None),
    # advisory sheet on restoring mineral workings: 24 hours from cut to collection; an upland programme: one hour
    ({"minutes_to_spread": 24 * 60 + 1}, "too_slow"), ({"minutes_to_spread": 24 * 60}, "soon"),
    ({"minutes_to_spread": 61}, "soon"), ({"spread_on": date(2026, 7, 22)}, "too_slow"),
    # the same sheet: two to three times the donor's area
    ({"ratio": 3.01}, "thin"), ({"ratio": 3.0}, None), ({"ratio": 2.0}, None), ({"ratio": 1.99}, "thick"),
    ({"stage": "planned"}, "not_bare"),
    # government farming blog: no donor used in the past two years
    ({"donor_used_on": date(2024, 7, 20)}, "rest"), ({"donor_used_on": date(2024, 7, 18)}, None),
    ({"agreed": False}, "not_agreed"),
    # advisory note of 2003: July to September
    ({"cut_on": date(2026, 6, 30), "spread_on": date(2026, 6, 30)}, "season"), ({"people": 0}, "hands"),
])  # fmt: skip
def test_what_is_looked_at(change, code):
    from dataclasses import replace

    assert [found for found, _ in to_look_at(replace(GOOD, **change))] == ([code] if code else [])


def test_a_day_is_planned_done_and_remembered(county):
    meadow = donor(county)
    row = hay(county, meadow)
    # three hours, and the ground of a planned project is not noted as bare
    assert [code for code, _ in looked_at(row)] == ["soon", "not_bare"]
    with pytest.raises(WrongState, match="still to come"):
        end(county, row, "done")
    later = NOW + timedelta(days=5)
    row = end(county, row, "done", now=later, hours_to_spread=2.5)
    assert (row.state, row.minutes_to_spread) == ("done", 150)
    with pytest.raises(WrongState):
        end(county, row, "called_off", because="Rain.", now=later)
    again = hay(county, meadow, cut_on="2027-07-20", now=later)
    assert "rest" in [code for code, _ in looked_at(again)]
    assert refusal(lambda: end(county, again, "called_off")) == [("", "missing")]
    assert end(county, again, "called_off", because="A wet week.").because == "A wet week."


def test_no_more_of_a_donor_is_cut_than_there_is(county):
    meadow = donor(county, area_m2=100)
    first = hay(county, meadow, donor_area_m2=60.0)
    assert refusal(lambda: hay(county, meadow, donor_area_m2=41.0)) == [("/donor_area_m2", "out_of_range")]
    end(county, first, "called_off", because="Rain.")
    assert hay(county, meadow, donor_area_m2=41.0).state == "planned"


def test_what_cannot_be_is_refused(county):
    meadow = donor(county)
    assert refusal(lambda: hay(county, meadow, cut_on="2026-08-31")) == [("/cut_on", "in_past")]
    assert refusal(lambda: hay(county, meadow, spread_on="2026-09-04")) == [("/spread_on", "out_of_range")]
    # the churchyard has 180 m²
    assert refusal(lambda: hay(county, meadow, receptor_area_m2=181.0)) == [("/receptor_area_m2", "out_of_range")]
    nobody = "00000000-0000-4000-8000-000000000000"
    assert refusal(lambda: hay(county, meadow, donor_id=nobody)) == [("/donor_id", "unknown")]
    assert refusal(lambda: hay(county, meadow, project_id=nobody)) == [("/project_id", "unknown")]
    assert refusal(lambda: hay(county, meadow, hours_to_spread=0)) == [("/hours_to_spread", "out_of_range")]
    assert GreenHayDay.objects.count() == 0


def test_who_reads_of_it_and_what_a_donor_is_called(county):
    row = hay(county, donor(county), project_id=str(county.projects[GARDEN].public_id), receptor_area_m2=20.0)
    for who in ("stranger", "neighbour"):
        with pytest.raises(NotFound):
            day_get(county.as_(getattr(county, who)), row.public_id)
    member, coordinator = county.as_(county.member), county.as_(county.coordinator)
    assert day_get(member, row.public_id) == row
    # its owner did not agree that the name is told
    assert (donor_told(member, row), donor_told(coordinator, row)) == ("a donor meadow", "Mill Holm")
    told = hay(county, donor(county, "Long Holm", told=True))
    assert donor_told(member, told) == "Long Holm"
    for act in (
        lambda: hay(county, row.donor, "lead"),
        lambda: end(county, row, "called_off", "member", because="No."),
    ):
        with pytest.raises(NotAllowed):
            act()
