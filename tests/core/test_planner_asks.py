"""Questions a plan draws: past days, counts that do not fit the sward, old turf, and permissions that take longer.

The lead times are rows of the planning table, from memory: a churchyard's authority asks for three months at least.
"""

from dataclasses import replace
from datetime import date

import pytest

from modelling.core.plan import Plan, Site
from modelling.core.planner import work_out

SEPTEMBER = date(2026, 9, 1)


def asked(parameters, site, plan=None, as_of=SEPTEMBER):
    found = work_out(parameters, site, plan or Plan(), as_of)
    return {warned.code: warned for warned in found.warnings}


def test_a_sowing_day_that_is_past_is_asked_about_and_one_to_come_is_not(parameters):
    past = asked(parameters, Site(area_m2=300), Plan(sow_on=date(2025, 9, 20)))
    assert past["before_the_estimate"].pointer == "/plan/sow_on"
    assert past["before_the_estimate"].text.startswith("20 September 2025 was before the day of this estimate")
    for on in (SEPTEMBER, date(2026, 9, 20)):
        assert "before_the_estimate" not in asked(parameters, Site(area_m2=300), Plan(sow_on=on))


@pytest.mark.parametrize(
    ("sward", "told", "fits"),
    # sums of the low and high rows of grasses and others, halved and doubled: bare 3.4 to 9, rank 3.18 to 7.08
    [("bare_or_arable", 18, True), ("bare_or_arable", 18.1, False), ("bare_or_arable", 1.71, True),
     ("bare_or_arable", 1.6, False), ("rank_grass", 14.1, True), ("rank_grass", 14.2, False)],
)  # fmt: skip
def test_a_count_far_from_what_such_a_sward_holds_is_asked_about(parameters, sward, told, fits):
    found = asked(parameters, Site(area_m2=300, sward=sward, resident_species_per_m2=told))
    assert ("residents_do_not_fit" not in found) is fits
    # nobody contradicts themselves who says only one of the two
    assert "residents_do_not_fit" not in asked(parameters, Site(area_m2=300, resident_species_per_m2=told))


def test_figures_of_old_turf_are_no_reason_to_open_it(parameters):
    site = Site(area_m2=300, sward="flower_rich")
    assert "old_turf_disturbed" in asked(parameters, site, Plan(preparation=("scarify_machine",)))
    assert "old_turf_disturbed" not in asked(parameters, site)
    assert "old_turf_disturbed" not in asked(
        parameters, replace(site, sward="rank_grass"), Plan(preparation=("scarify_machine",))
    )


def test_soil_opened_sooner_than_the_permission_usually_comes_is_asked_about(parameters):
    yard = Site(area_m2=300, kind="churchyard")
    found = asked(parameters, yard)["permission_takes_longer"]
    assert "soil would be opened on 18 September 2026" in found.text
    # 91 days, the least, before the soil is opened two days before sowing
    assert "permission_takes_longer" not in asked(parameters, yard, as_of=date(2026, 6, 19))
    assert "permission_takes_longer" in asked(parameters, yard, as_of=date(2026, 6, 20))
    assert "permission_takes_longer" not in asked(parameters, replace(yard, kind="garden"))


def test_land_under_the_plough_needs_no_screening(parameters):
    field = Site(area_m2=8000, kind="field", gate_width_m=4)
    assert "permission_takes_longer" in asked(parameters, replace(field, sward="rank_grass"))
    assert "permission_takes_longer" not in asked(parameters, replace(field, sward="bare_or_arable"))
