"""Sharing seed out, told: seasons small enough to follow by hand, and a July of nine meadows."""

import pytest

from modelling.errors import RequestRefused
from modelling.share_out import read_share_out, share_out
from tests.modelling.made_share_out import hopeful, place, season

KG = 1_000_000


def project(key, gain, most_kg=4, least_kg=1, **more):
    """Gains `gain` m2 in a straight line up to its target."""
    return hopeful(
        key, 1000.0, most_mg=most_kg * KG, least_mg=least_kg * KG,
        points=[{"mg": most_kg * KG, "gain_m2": gain}], place=place(0, 0), **more,
    )  # fmt: skip


def lot(kg=4, **more):
    return {"id": "sack", "label": "The sack", "mg": kg * KG, "place": place(3, 4), **more}


def asked(*projects, lots=None, **more):
    return {"year": 2027, "lots": [lot()] if lots is None else lots, "projects": list(projects), **more}


def told(question):
    return share_out(read_share_out(question))


def amounts(found):
    return {(share["source"], share["project"]): share["mg"] for share in found["shares"]}


def test_the_sack_goes_where_it_brings_most_and_the_other_is_told_why():
    found = told(asked(project("low", 1000.0), project("high", 1200.0)))

    assert amounts(found) == {("sack", "high"): 4 * KG}
    assert found["value"] == 1200.0
    assert found["solved"] == {"status": "proven_best", "gap": 0.0, "solver": "HiGHS through scipy.optimize.milp"}
    # 3, 4 and 5: the sack is 5 km away
    assert found["shares"][0]["km"] == 5.0
    (low,) = found["without"]
    assert (low["id"], low["reason"], low["losers"]) == ("low", "outbid", ["high"])
    # a kilogram moved loses 300 and gains 250
    assert low["value_lost_if_served"] == pytest.approx(50.0)
    assert low["sentence"] == (
        "Low gets none. Others make more of what is within its reach: to give it 1 kg would cost the county "
        "50 m² of species-rich ground, taken from High."
    )
    assert found["sentence"] == (
        "4 kg of seed goes to one of two projects, which can be expected to bring 1,200 m² of species-rich ground "
        "more than without."
    )


def test_what_one_more_kilogram_would_bring_and_to_whom():
    found = told(asked(project("low", 1000.0), project("high", 1200.0)))

    (more,) = found["one_more"]
    # high has all it asked for, so the kilogram is low's: a quarter of 1000
    assert more["value_gained"] == pytest.approx(250.0)
    assert (more["what"], more["of"], more["gainers"], more["losers"]) == ("kilogram", "sack", ["low"], [])
    assert [change["what"] for change in found["without"][0]["would_change"]] == ["seed", "gain"]


def test_a_pin_is_kept_and_what_it_costs_is_told():
    pin = {"source": "sack", "project": "low", "how": "give", "mg": 1_500_050}
    found = told(asked(project("low", 1000.0), project("high", 1200.0), pins=[pin]))

    # to the milligram, although all else is weighed in tenths of a gram
    assert amounts(found) == {("sack", "low"): 1_500_050, ("sack", "high"): 2_499_900}
    # 1.5 kg at 300 instead of 250 a kilogram
    assert found["pins"][0]["value_lost"] == pytest.approx(75.0, abs=0.1)
    assert found["feasible"]


def test_a_pairing_forbidden_is_not_made():
    pin = {"source": "sack", "project": "high", "how": "forbid"}
    found = told(asked(project("low", 1000.0), project("high", 1200.0), pins=[pin]))

    assert amounts(found) == {("sack", "low"): 4 * KG}
    assert found["pins"][0]["value_lost"] == pytest.approx(200.0)
    (high,) = found["without"]
    assert high["reason"] == "forbidden"


def test_pins_that_cannot_be_kept_are_told_with_the_limit_they_pass():
    pins = [{"source": "sack", "project": key, "how": "give", "mg": 3 * KG} for key in ("low", "high")]
    found = told(asked(project("low", 1000.0), project("high", 1200.0), pins=pins))

    assert not found["feasible"]
    assert found["shares"] == []
    assert found["infeasible"] == [
        {
            "limit": "seed",
            "of": "sack",
            "by": 2 * KG,
            "sentence": "More is promised of The sack than there is, by 2 kg.",
        }
    ]
    assert found["sentence"].startswith("What is held by hand cannot be kept.")


def test_a_pin_passes_over_distance_and_says_so():
    far = project("far", 1000.0) | {"place": place(60, 0)}
    without = told(asked(far))
    assert without["without"][0]["reason"] == "out_of_reach"
    assert "57 km away; seed is taken 25 km at most" in without["without"][0]["sentence"]

    pin = {"source": "sack", "project": "far", "how": "give"}
    found = told(asked(far, pins=[pin]))
    assert found["shares"][0]["against_rules"] == ["out_of_reach"]
    assert amounts(found) == {("sack", "far"): 4 * KG}


def test_seed_of_the_wrong_habitat_goes_to_nobody():
    found = told(asked(project("bog", 1000.0, suits=["wet"]), lots=[lot(habitat="chalky")]))

    assert found["without"][0]["reason"] == "habitat"
    assert found["left"] == [{"id": "sack", "mg": 4 * KG}]
    assert found["sentence"] == "No seed can be shared out among one project."


def test_fair_counts_each_project_alike_however_small():
    # the field gains 100 m2 a kilogram over 10 kg, the verge 50 over 2: by area the field has all, by shares the verge
    field, verge = project("field", 1000.0, most_kg=10), project("verge", 100.0, most_kg=2)

    by_area = told(asked(field, verge))
    fair = told(asked(field, verge, objective="fair"))

    assert amounts(by_area) == {("sack", "field"): 4 * KG}
    assert amounts(fair) == {("sack", "field"): 2 * KG, ("sack", "verge"): 2 * KG}
    # all of the verge's and a fifth of the field's
    assert fair["value"] == pytest.approx(1.2)


def test_a_group_that_went_without_weighs_more():
    same = [project("first", 1000.0), project("second", 1000.0, weight=1.5)]
    assert amounts(told(asked(*same, objective="fair"))) == {("sack", "second"): 4 * KG}
    assert amounts(told(asked(*same))) == {("sack", "first"): 4 * KG}


def reap(**more):
    return {
        "id": "reap", "label": "Long meadow", "donor": "long", "first_day": "2027-07-10", "last_day": "2027-07-23",
        "mg_per_half_day": 2 * KG, "most_half_days": 10, "place": place(0, 3), **more,
    }  # fmt: skip


def donor(**more):
    return {"id": "long", "label": "Long meadow", "whole_mg": 30 * KG, **more}


def test_no_more_is_taken_of_a_meadow_than_its_share():
    hungry = project("hungry", 9000.0, most_kg=30)
    # a third of 30 kg by usage is 9.9 kg; a tenth as agreed is 3
    assert sum(amounts(told(asked(hungry, lots=[], harvests=[reap()], donors=[donor()]))).values()) <= 9_900_000
    tenth = asked(hungry, lots=[], harvests=[reap()], donors=[donor(allowed_share=0.1)])
    assert sum(amounts(told(tenth)).values()) == 3 * KG
    taken = asked(hungry, lots=[], harvests=[reap()], donors=[donor(allowed_share=0.1, taken_mg=KG)])
    assert sum(amounts(told(taken)).values()) == 2 * KG


@pytest.mark.parametrize(("last", "rests"), [(2024, False), (2025, True), (2026, True), (2027, False)])
def test_a_meadow_rests_two_years_between_harvests(last, rests):
    # taken in 2025, free again in 2028; taken this year already is a matter of its share
    question = asked(project("p", 900.0), lots=[], harvests=[reap()], donors=[donor(last_harvest_year=last)])
    found = told(question)

    assert bool(found["shares"]) != rests
    if rests:
        assert found["without"][0]["reason"] == "resting"
        assert found["without"][0]["would_change"][0]["sentence"] == (
            f"Long meadow may be harvested again from {last + 3} on."
        )


def test_days_that_can_be_counted_on_and_the_chance_that_they_come():
    # 1 half-day is all that one hopeful needs; half of the days fit by themselves leave almost no doubt of one day
    question = asked(
        project("p", 900.0, most_kg=2), lots=[], harvests=[reap()], donors=[donor()],
        machine={"fit_share_low": 0.45, "fit_share": 0.5, "fit_share_high": 0.55, "chance": 0.9},
    )  # fmt: skip
    found = told(question)
    (stretch,) = found["stretches"]

    # P(all 14 days unfit) with runs of 0.4 is 0.5 * 0.7^13 = 0.005
    assert found["chance_of_doing"] == pytest.approx(0.995, abs=0.004)
    assert stretch["days"] == 14
    # binomial with runs: variance 14/4 * (1 + 0.4)/(1 - 0.4), about 2.7 days; 7 - 1.28 * 2.7 = 3.5
    assert stretch["days_to_count_on"] in (3, 4)
    away = question | {"machine": question["machine"] | {"away": [f"2027-07-{day}" for day in range(10, 24)]}}
    assert told(away)["shares"] == []


def test_a_project_without_a_harvester_day_is_told_what_a_day_would_do():
    machine = {"fit_share_low": 0.1, "fit_share": 0.12, "fit_share_high": 0.14, "half_days_a_day": 1, "chance": 0.5}
    question = asked(
        project("big", 1000.0, most_kg=2, least_kg=2), project("small", 500.0, most_kg=2, least_kg=2),
        lots=[], harvests=[reap()], donors=[donor()], machine=machine,
    )  # fmt: skip
    found = told(question)

    assert [share["project"] for share in found["shares"]] == ["big"]
    (small,) = found["without"]
    assert small["reason"] == "no_harvester_day"
    (day,) = found["one_more"]
    assert (day["value_gained"], day["gainers"]) == (pytest.approx(500.0), ["small"])
    assert small["would_change"] == [{"what": "day", "sentence": day["sentence"]}]
    assert day["sentence"] == (
        "One more day fit for harvesting (10 July 2027 to 23 July 2027) would bring 500 m² of species-rich ground, "
        "more for Small."
    )


def test_too_little_seed_for_anybody_is_told():
    found = told(asked(project("big", 1000.0, most_kg=20, least_kg=8)))
    assert found["without"][0]["reason"] == "too_little_seed"


def test_first_come_first_served_is_held_beside():
    found = told(asked(project("low", 600.0), project("high", 1200.0)))
    ways = {way["way"]: way for way in found["other_ways"]}

    assert ways["first_come"]["value"] == 600.0
    assert ways["first_come"]["sentence"] == ("First come, first served would bring 50 % less and serve one project.")
    assert ways["greedy"]["sentence"] == "Serving first who gains most for each kilogram would bring as much."


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"pins": [{"source": "nothing", "project": "low", "how": "give"}]}, "/pins/0/source"),
        ({"pins": [{"source": "sack", "project": "nobody", "how": "forbid"}]}, "/pins/0/project"),
        ({"harvests": [reap()]}, "/harvests/0/donor"),
        ({"harvests": [reap(last_day="2027-07-01")], "donors": [donor()]}, "/harvests/0"),
        ({"projects": []}, "/projects"),
        ({"machine": {"fit_share": 0.5}}, "/machine"),
        ({"lots": [lot(), lot()]}, ""),
        ({"pins": [{"source": "sack", "project": "low", "how": "forbid", "mg": 5}]}, "/pins/0"),
    ],
)
def test_what_cannot_be_asked_is_refused_with_its_place(change, pointer):
    with pytest.raises(RequestRefused) as refused:
        read_share_out(asked(project("low", 1000.0)) | change)
    assert pointer in [error.pointer for error in refused.value.errors]


def test_a_july_of_nine_meadows_one_harvester_and_twenty_three_hopefuls():
    question = season() | {"explained": 3, "priced": 1}
    found = told(question)

    assert found["solved"]["status"] == "proven_best"
    assert {"source": "reap-0", "project": "site-03"}.items() <= found["shares"][0].items() or any(
        share["pinned_mg"] == 1_234_567 and share["mg"] >= 1_234_567 for share in found["shares"]
    )
    reasons = {one["id"]: one["reason"] for one in found["without"]}
    assert reasons["far-away"] == "out_of_reach"
    assert reasons["bog"] == "habitat"
    assert "no_harvester_day" in reasons.values()
    assert len(found["projects"]) + len(found["without"]) == 23
    # every limit, added up anew
    for harvest in found["harvests"]:
        assert harvest["id"] != "reap-4"
        entry = next(one for one in question["harvests"] if one["id"] == harvest["id"])
        assert harvest["mg"] <= harvest["half_days"] * entry["mg_per_half_day"]
        whole = next(one for one in question["donors"] if one["id"] == entry["donor"])["whole_mg"]
        assert harvest["mg"] <= whole * 0.33
    for stretch in found["stretches"]:
        assert stretch["half_days_used"] <= stretch["half_days"]
    for one in found["projects"]:
        asked_for = next(entry for entry in question["projects"] if entry["id"] == one["id"])
        assert asked_for["least_mg"] <= one["mg"] <= asked_for["most_mg"] or one["id"] == "site-03"
    assert all(way["value"] <= found["value"] for way in found["other_ways"])
    assert 0 < found["chance_of_doing"] <= 1
    assert told(question) == found
