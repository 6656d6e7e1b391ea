"""Dates, permissions and cautions that travel with a plan."""

from datetime import date
from typing import Any

import pytest

from modelling.selectors import parameters
from modelling.services import estimate_now, read_estimate

TODAY = date(2026, 5, 1)
FLOWERS = {"mix": "neutral_flowers_with_rattle", "kg": 0.2}
#: cautions for handling seed, which no estimate raises
FOR_THE_SEED_STORE = {"seed_sale"}


def answer(site: dict[str, Any], plan: dict[str, Any] | None = None, today: date = TODAY) -> dict[str, Any]:
    request = {"site": {"area_m2": 180.0, **site}, "plan": plan or {}, "draws": 200, "horizon_years": 5}
    return estimate_now(read_estimate(request), today=today)


def cautions(site: dict[str, Any], plan: dict[str, Any] | None = None) -> set[str]:
    return {caution["key"] for caution in answer(site, plan)["cautions"]}


def entries(found: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    return [entry for entry in found["calendar"] if entry["kind"] == kind]


def test_the_calendar_runs_in_order_from_asking_to_the_yearly_cut() -> None:
    found = answer({})
    days = [entry["on"] for entry in found["calendar"]]
    assert days == sorted(days)
    assert days[0] == "2026-05-01"
    labels = [entry["label"] for entry in found["calendar"]]
    expected = [
        "Ask for the permissions, in writing", "Order seed or plugs", "Cut to the ground with scythes and rake off",
        "Scratch to half bare with rakes", "Sow by hand", "Summer walk: count species in square metres",
    ]  # fmt: skip
    assert [label for label in labels if label in expected] == expected
    sowing = next(entry for entry in found["calendar"] if entry["label"].startswith("Sow "))
    assert sowing["on"] == "2026-09-20"
    ordered = next(entry for entry in found["calendar"] if entry["label"] == "Order seed or plugs")
    assert ordered["on"] == "2026-08-09"  # six weeks before
    yearly = [entry for entry in found["calendar"] if entry["every_year"]]
    assert {entry["on"][:4] for entry in yearly} == {"2028"}


def test_a_soil_test_is_asked_for_only_where_there_is_none() -> None:
    def asked(**site: Any) -> bool:
        return any(entry["label"].startswith("Take a soil sample") for entry in answer(site)["calendar"])

    assert asked()
    assert not asked(olsen_p_mg_per_l=12)
    assert not asked(soil_p_index=1)


def test_the_first_year_is_mown_late_where_rattle_is_sown_and_all_summer_where_not() -> None:
    with_rattle = entries(answer({}, {"seed": [FLOWERS]}), "first_year")
    assert [entry["on"] for entry in with_rattle] == ["2027-07-31", "2027-09-25"]
    without = entries(answer({}, {"seed": [{"mix": "robust_flowers", "kg": 0.2}]}), "first_year")
    assert len(without) == 4
    assert (without[0]["on"], without[-1]["on"]) == ("2027-04-15", "2027-10-05")


def test_cuts_fall_on_the_days_asked_for_each_year() -> None:
    care = {"cut_on": ["2027-08-31", "2027-10-02"], "shut_up_on": "2027-04-10"}
    found = answer({}, {"aftercare": care})
    cuts = [entry for entry in entries(found, "yearly_cut") if "cut" in entry["label"].lower()]
    assert [entry["on"][5:] for entry in cuts if not entry["label"].startswith("Shut")] == ["08-31", "10-02"]
    assert [entry["on"][5:] for entry in cuts if entry["label"].startswith("Shut")] == ["04-10"]
    assert found["plan"]["cut_on"] == ["31 August", "2 October"]
    assert found["plan"]["shut_up_on"] == "10 April"


def test_the_29th_of_february_is_brought_back_in_other_years() -> None:
    found = answer({}, {"aftercare": {"cut_on": "2028-02-29", "shut_up_on": "2028-02-29"}}, date(2028, 2, 29))
    days = {entry["on"] for entry in entries(found, "yearly_cut")}
    assert days == {"2030-02-28"}


def test_grazing_over_new_year_ends_in_the_next() -> None:
    grazing = {"by": "sheep", "from_month": 10, "to_month": 2}
    (graze,) = entries(answer({}, {"aftercare": {"aftermath_grazing": grazing}}), "grazing")
    assert (graze["on"], graze["until"]) == ("2028-10-01", "2029-02-28")


def test_without_sowing_there_is_no_order_and_no_first_year() -> None:
    found = answer({"existing_interest": "orchids"})
    assert entries(found, "sowing") == entries(found, "first_year") == entries(found, "seed") == []
    assert any(entry["label"].startswith("Walk the ground") for entry in found["calendar"])


@pytest.mark.parametrize(
    ("site", "plan", "expected"),
    [
        ({}, {"aftercare": {"disposal": "nowhere"}}, {"arisings_nowhere", "arisings_composting"}),
        ({}, {"aftercare": {"arisings": "left"}}, {"arisings_left"}),
        ({"kind": "churchyard"}, {}, {"churchyard_consent", "churchyard_graves"}),
        ({"kind": "verge"}, {}, {"verge_traffic"}),
        ({"kind": "school"}, {}, {"children_tools", "school_arrangements"}),
        ({"kind": "green"}, {}, {"green_law"}),
        ({}, {"preparation": ["strip_turf_machine"]}, {"turf_spoil", "turf_archaeology", "archaeology", "vibration"}),
        ({}, {"preparation": ["strip_turf_excavator"]}, {"excavator_site"}),
        ({}, {"preparation": ["spray_off_contractor"]}, {"herbicide_certificate"}),
        ({}, {"preparation": ["prepare_cut_strimmer"]}, {"strimmer_distance", "noise", "vibration"}),
        ({"area_m2": 30_000.0}, {}, {"tractor_site", "large_area_screening"}),
        ({"existing_interest": "waxcaps"}, {}, {"waxcaps", "existing_interest"}),
        ({"wetness": "wet"}, {}, {"near_water"}),
        ({}, {"aftercare": {"aftermath_grazing": "cattle"}}, {"livestock_public", "ragwort_disposal"}),
        ({}, {"aftercare": {"disposal": "farmer"}}, {"poisonous_hay", "injurious_weeds"}),
        ({}, {"crew": {"volunteers": 1}}, {"lone_working"}),
        ({"slope_degrees": 20.0}, {}, {"steep_slope"}),
        ({}, {"plugs": [{"taxon": "primula_veris", "count": 20}]}, {"plugs_source"}),
        ({}, {"aftercare": {"cut_month": 6}}, {"nesting_birds"}),
    ],
)
def test_cautions_go_with_what_is_planned(site: dict[str, Any], plan: dict[str, Any], expected: set[str]) -> None:
    assert expected <= cautions(site, plan)
    # and not with a plan to mow in September and keep the cuttings on a heap, with nothing sown
    mown_only = {"seed": [], "crew": {"volunteers": 6}, "aftercare": {"cut_month": 9}}
    quiet = cautions({"kind": "orchard", "existing_interest": "none"}, mown_only)
    assert not (expected - {"strimmer_distance", "noise", "vibration"}) & quiet


def test_some_cautions_always_travel() -> None:
    assert cautions({}) >= {"written_permission", "protected_site", "insurance_and_risk", "tetanus_and_ticks"}


def test_every_caution_of_the_table_can_be_raised() -> None:
    raised: set[str] = set()
    everything = {
        "seed": [FLOWERS], "plugs": [{"taxon": "primula_veris", "count": 9}], "crew": {"volunteers": 1},
        "preparation": ["prepare_cut_strimmer", "strip_turf_excavator", "spray_off_contractor", "harrow_tractor"],
        "aftercare": {"aftermath_grazing": "sheep", "disposal": "farmer"},
    }  # fmt: skip
    for kind in ("churchyard", "verge", "school", "green", "field"):
        site = {"kind": kind, "area_m2": 30_000.0, "slope_degrees": 12.0, "wetness": "wet"}
        raised |= cautions(site | {"existing_interest": "waxcaps"}, everything)
    raised |= cautions({}, {"aftercare": {"disposal": "nowhere"}}) | cautions({}, {"aftercare": {"arisings": "left"}})
    raised |= cautions({}, {"preparation": ["strip_turf_machine"]})
    table = parameters().nouns["cautions"]
    missing = {key for key, row in table.items() if row["trigger"] not in FOR_THE_SEED_STORE} - raised
    assert missing == set()
    assert not raised & {key for key, row in table.items() if row["trigger"] in FOR_THE_SEED_STORE}


def test_permissions_are_those_of_the_place_and_services_only_where_soil_is_opened() -> None:
    def asked(site: dict[str, Any], plan: dict[str, Any]) -> set[str]:
        return {permission["key"] for permission in answer(site, plan)["permissions"]}

    dug = asked({"kind": "churchyard"}, {"preparation": ["strip_turf_machine"]})
    not_dug = asked({"kind": "churchyard"}, {"preparation": ["smother_sheet"]})
    assert {"churchyard_body", "churchyard_authority"} <= not_dug
    assert dug - not_dug == {"buried_services"}
    assert "highway_authority" in asked({"kind": "verge"}, {})
    assert "highway_authority" not in dug


def test_a_spring_cut_is_the_last_before_the_meadow_is_shut_up() -> None:
    found = answer({"kind": "verge"}, {"aftercare": {"cut_month": [4, 9]}})
    yearly = [(entry["on"][5:], entry["label"].split(":")[0]) for entry in entries(found, "yearly_cut")]
    assert [day for day, label in yearly if label.startswith("Shut up")] == ["04-20"]
    assert [day for day, label in yearly if not label.startswith("Shut up")] == ["04-20", "09-20"]
    alone = answer({"kind": "verge"}, {"aftercare": {"cut_month": [9]}})
    assert [e["on"][5:] for e in entries(alone, "yearly_cut") if e["label"].startswith("Shut up")] == ["03-15"]


def test_a_crew_too_small_for_a_shaking_machine_is_asked_about() -> None:
    plan = {"preparation": ["scarify_machine"], "crew": {"volunteers": 2}}
    found = answer({"area_m2": 2000.0}, plan)
    asked = [warning for warning in found["warnings"] if warning["code"] == "vibration_above_crew"]
    assert [warning["pointer"] for warning in asked] == ["/plan/crew/volunteers"] * len(asked)
    assert any(warning["text"].startswith("Walk-behind petrol scarifier: ") for warning in asked)
    enough = answer({"area_m2": 2000.0}, {**plan, "crew": {"volunteers": 40}})
    assert "vibration_above_crew" not in {warning["code"] for warning in enough["warnings"]}


def test_a_contractors_collector_tips_the_cuttings_on_the_heap() -> None:
    care = {"aftercare": {"disposal": "heap"}}
    by_tractor = {task["operation"] for task in answer({"area_m2": 20_000.0}, care)["labour"]["tasks"]}
    by_hand = {task["operation"] for task in answer({"area_m2": 500.0}, care)["labour"]["tasks"]}
    assert "rake_arisings_to_heap" not in by_tractor
    assert "rake_arisings_to_heap" in by_hand
