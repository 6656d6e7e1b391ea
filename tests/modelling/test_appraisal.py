"""An assessor's October: each bid gets the flags it has earned, with the right figures, and a good one gets none."""

from copy import deepcopy
from datetime import date
from typing import Any

import numpy as np
import pytest

from modelling.appraisal import appraise, within_size_class
from modelling.arrays import canonical_text
from modelling.contracts.appraisal_answers import AppraisalAnswer
from modelling.errors import RequestRefused
from modelling.reading import read_appraisal, read_estimate
from modelling.selectors import parameters
from modelling.services import estimate_now, run_estimate_stored
from tests.modelling.made_bids import ROUND, colourful, field, forgetful, hopeful, hours, line, superb


def judged(bid: dict[str, Any]) -> dict[str, Any]:
    return appraise(read_appraisal(bid))


def flags_of(answer: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {flag["code"]: flag for flag in answer["flags"]}


def flagged(bid: dict[str, Any]) -> set[str]:
    return set(flags_of(judged(bid)))


def changed(bid: dict[str, Any], path: str, value: Any) -> dict[str, Any]:
    """A copy of a bid with one thing changed: `projects.0.estimate.site.wetness`."""
    out = deepcopy(bid)
    *above, last = [int(part) if part.isdigit() else part for part in path.split(".")]
    place: Any = out
    for part in above:
        place = place[part]
    if value is None:
        del place[last]
    else:
        place[last] = value
    return out


SITE = "projects.0.estimate.site"
PLAN = "projects.0.estimate.plan"


# ------------------------------------------------------------------ the walk


def test_the_superb_bid_has_nothing_to_ask_about() -> None:
    found = judged(superb())

    assert found["flags"] == []
    assert found["sentences"][-1] == "Nothing in it needs asking about."
    assert found["cost"]["grant_gbp"] == 374.40
    assert found["sentences"][0].startswith("£374.40 is asked for 240 m² of meadow. The same work costs £")
    assert flagged(field()) == set()


def test_the_bid_that_forgot_the_cuttings_is_cheap_for_that_reason() -> None:
    found = judged(forgetful())
    flags = flags_of(found)

    assert set(flags) == {"cash_low", "line_missing", "arisings_forgotten", "too_few_hands"}
    gone = flags["arisings_forgotten"]
    assert gone["numbers"]["p10_gbp"] < gone["numbers"]["p50_gbp"] < gone["numbers"]["p90_gbp"]
    assert gone["question"] == "Where do the cuttings go, and who pays for it?"
    assert flags["cash_low"]["numbers"]["claimed_gbp"] == 4476.0
    # what is missing is about the cuttings: their tip, the trailer, and a tenth of it as contingency
    plain = judged(field())["cost"]["cash"]["modelled_gross"]["mean_gbp"]
    lines = {entry["category"]: entry["modelled_gross"]["mean_gbp"] for entry in found["cost"]["lines"]}
    more = found["cost"]["cash"]["modelled_gross"]["mean_gbp"] - plain
    assert lines["disposal"] + lines["hire"] == pytest.approx(more, rel=0.1)


def test_orchids_in_the_second_summer_are_almost_impossible() -> None:
    found = judged(hopeful())

    (flag,) = found["flags"]
    assert flag["code"] == "promise_unlikely"
    assert flag["pointer"] == "/promises/4"
    assert flag["numbers"] == {"by_year": 2029.0, "chance_if_kept": 0.0, "chance_as_usual": 0.0}
    assert flag["sentence"].startswith("Orchids by 2029: almost no chance.")


def test_annuals_sold_as_a_meadow() -> None:
    flags = flags_of(judged(colourful()))

    assert set(flags) == {"cash_high", "line_high", "annuals_only"}
    assert flags["annuals_only"]["numbers"]["species_per_m2_as_usual"] < 9
    assert flags["annuals_only"]["can_answer"]


# ------------------------------------------------------------------ one flag at a time

SPRING = {
    "money_from": "2027-01-01", "earliest_start": "2027-01-01",
}  # fmt: skip
ONE_CHANGE: dict[str, tuple[str, Any]] = {
    "rattle_in_spring": (f"{PLAN}.sow_on", "2027-04-10"),
    "cut_before_seed_shed": (f"{PLAN}.aftercare.cut_on", "2027-06-14"),
    "arisings_left": (f"{PLAN}.aftercare.arisings", "left"),
    "arisings_nowhere": (f"{PLAN}.aftercare.disposal", "nowhere"),
    "money_after_season": ("round.money_from", "2027-11-15"),
    "ends_before_sowing": ("round.latest_end", "2027-08-31"),
    "no_summer_by_last_report": ("round.report_on", ["2028-05-01"]),
    "rich_soil_not_stripped": (f"{SITE}.olsen_p_mg_per_l", 31),
    "crop_too_strong": (f"{SITE}.standing_crop_g_per_m2", 800),
    "sown_on_interest": (f"{SITE}.existing_interest", "waxcaps"),
    "nobody_looked": (f"{SITE}.existing_interest", None),
    "no_soil_test": (f"{SITE}.olsen_p_mg_per_l", None),
    "wrong_plants": (f"{SITE}.wetness", "wet"),
    "seed_rate_low": (f"{PLAN}.seed", [{"mix": "neutral_flowers_with_rattle", "kg": 0.01}]),
    "seed_rate_high": (f"{PLAN}.seed", [{"mix": "neutral_flowers_with_rattle", "kg": 2.0}]),
    "no_aftercare": ("aftercare_years", 0),
    "aftercare_short": ("aftercare_years", 3),
    "no_yearly_cut": (f"{PLAN}.aftercare", {"cut_month": []}),
    "permissions_not_held": ("permissions", []),
    "vat_reclaimed": ("reclaims_vat", True),
    "volunteer_match_high": ("round.most_volunteer_share_of_match", 0.5),
    "volunteer_rate_high": ("round.in_kind_rates.0.pence_per_hour", 1000),
    "more_ground_than_there_is": ("promises.1.hectares", 0.03),
    "promise_unlikely": ("promises.0.species_per_m2", 24),
    "too_few_hands": ("promises.2.hours", 12),
    "returns_missing": ("record.returns_agreed", 2),
}


@pytest.mark.parametrize("code", ONE_CHANGE)
def test_one_fault_raises_its_own_flag(code: str) -> None:
    path, value = ONE_CHANGE[code]
    bid = changed(superb(), path, value)
    if code == "rattle_in_spring":
        bid["round"] = bid["round"] | SPRING

    flag = flags_of(judged(bid))[code]

    assert flag["sentence"]
    assert flag["source"]
    assert flag["confidence"] in {"published", "restated", "fitted", "common practice", "from memory"}
    assert flag["can_answer"] == bool(flag["question"])


def test_flags_carry_the_right_figures() -> None:
    # Olsen P of 31 mg/l is index 3 (26 to 45 mg/l, RB209); the rule of thumb begins at index 3
    rich = flags_of(judged(changed(superb(), f"{SITE}.olsen_p_mg_per_l", 31)))["rich_soil_not_stripped"]
    assert rich["numbers"] == {"high_from_p_index": 3.0, "olsen_p_mg_per_l": 31.0, "p_index": 3.0}

    # 10 g on 240 m2
    low = flags_of(judged(changed(superb(), f"{PLAN}.seed", [{"mix": "neutral_flowers_with_rattle", "kg": 0.01}])))
    row = parameters().number("sowing_rates", "forb_only", "into_sward")
    assert low["seed_rate_low"]["numbers"] == {
        "item": 0.0, "g_per_m2": pytest.approx(10 / 240), "usual_low_g_per_m2": row.low,
        "usual_high_g_per_m2": row.high,
    }  # fmt: skip

    # all match is volunteers' time, and half is allowed
    match = flags_of(judged(changed(superb(), "round.most_volunteer_share_of_match", 0.5)))["volunteer_match_high"]
    assert match["numbers"] == {"share": 1.0, "allowed_share": 0.5}

    rate = flags_of(judged(changed(superb(), "round.in_kind_rates.0.pence_per_hour", 1000)))["volunteer_rate_high"]
    assert rate["numbers"] == {"claimed_gbp_per_hour": pytest.approx(12.71), "allowed_gbp_per_hour": 10.0}

    # £297 net of seed, hire, fuel and materials has £59.40 of VAT at 20 %
    vat = flags_of(judged(changed(superb(), "reclaims_vat", True)))["vat_reclaimed"]
    assert vat["numbers"] == {"vat_gbp": 59.4}


@pytest.mark.parametrize(
    ("ground", "fitting", "unfit"),
    [
        ({"wetness": "wet"}, "wet_ground_flowers", "chalk_and_limestone"),
        ({"wetness": "dry"}, "chalk_and_limestone", "wet_ground_flowers"),
        ({"soil_ph": 4.5}, "acid_meadow", "chalk_and_limestone"),
        ({"soil_ph": 8.0}, "chalk_and_limestone", "acid_meadow"),
    ],
)
def test_plants_of_other_ground(ground: dict[str, Any], fitting: str, unfit: str) -> None:
    for mix, wrong in ((fitting, False), (unfit, True)):
        bid = changed(superb(), f"{PLAN}.seed.0.mix", mix)
        bid["projects"][0]["estimate"]["site"] |= ground

        assert ("wrong_plants" in flagged(bid)) == wrong


def test_vat_that_nobody_thought_of() -> None:
    bid = field()
    bid["lines"] = [line(entry["category"], entry["net_pence"] / 100, vat=0) for entry in bid["lines"][:4]]

    flag = flags_of(judged(bid))["vat_missing"]

    # a fifth of what the model has before VAT for seed, contractors and materials
    net = {entry["category"]: entry["modelled_net"]["p50_gbp"] for entry in judged(field())["cost"]["lines"]}
    taxed = net["seed"] + net["contractor"] + net["materials"]
    assert flag["numbers"]["vat_p50_gbp"] == pytest.approx(0.2 * taxed, rel=0.03)


def test_too_much_vat_on_a_line() -> None:
    bid = superb()
    bid["lines"][0] |= {"vat_pence": 3000, "gross_pence": bid["lines"][0]["net_pence"] + 3000}

    flag = flags_of(judged(bid))["vat_high"]

    assert flag["numbers"] == {"vat_gbp": 30.0, "most_gbp": pytest.approx(20.8)}


def test_permissions_told_apart() -> None:
    bid = superb()
    bid["permissions"] = [
        {"label": "Owner", "key": "green_owner", "standing": "held", "expires_on": "2028-12-31"},
        {"label": "Green", "key": "green_registered", "standing": "refused"},
        {"label": "Bees on the next field", "standing": "asked"},
    ]

    found = judged(bid)
    flags = flags_of(found)

    assert flags["permission_expires"]["numbers"] == {"days_short": 365.0}
    assert flags["permission_refused"]["sentence"] == "Refused: registered green or common check."
    assert flags["permissions_not_held"]["numbers"] == {"not_held": 4.0, "asked": 0.0}
    assert [entry["needed"] for entry in found["permissions"]].count(False) == 1


def test_money_from_elsewhere_for_the_same_ground() -> None:
    bid = field()
    bid["other_funding"] = [
        {"label": "A farm scheme", "kind": "farm_scheme", "from_day": "2026-01-01", "until_day": "2030-12-31"},
        {"label": "An old grant", "kind": "grant", "from_day": "2020-01-01", "until_day": "2026-12-31", "pence": 1},
    ]

    (flag,) = judged(bid)["flags"]

    # GS8, creation of species-rich grassland: 646 GBP/ha a year from January 2024 (Defra); 1.2 ha
    assert flag["numbers"] == {
        "scheme_gbp_per_ha_per_year": 646.0, "area_ha": pytest.approx(1.2), "gbp_per_year": pytest.approx(775.2),
    }  # fmt: skip
    assert flag["confidence"] == "published"


def test_a_record_of_forecasts_not_kept() -> None:
    bid = superb()
    fell = {"p10": 9, "p50": 12, "p90": 16, "found": 6}
    held = fell | {"found": 13}
    bid["record"]["forecasts"] = [fell, fell, held]

    found = judged(bid)

    assert flags_of(found)["found_below_forecast"]["numbers"] == {"found_below_p10": 2.0, "forecasts": 3.0}
    assert found["delivery"]["mean_found_less_forecast"] == pytest.approx((-6 - 6 + 1) / 3)
    bid["record"]["forecasts"] = [fell, held, held, held]
    assert judged(bid)["flags"] == []


def test_nobody_for_the_weeds() -> None:
    bid = superb()
    bid["lines"] = [entry for entry in bid["lines"] if entry["category"] != "volunteers"]

    assert flags_of(judged(bid))["no_weeding"]["numbers"]["person_hours_first_year"] > 0


def test_lines_that_the_model_has_no_figure_for_stand_apart() -> None:
    bid = superb()
    bid["lines"] += [line("travel", 60, vat=0), line("events", 100, vat=0, fund="match")]

    found = judged(bid)

    assert [(entry["category"], entry["gross_gbp"]) for entry in found["cost"]["unknown"]] == [
        ("travel", 60.0), ("events", 100.0),
    ]  # fmt: skip
    assert found["flags"] == []
    assert found["cost"]["cash"] == judged(superb())["cost"]["cash"]
    assert found["cost"]["grant_gbp"] == pytest.approx(434.4)
    assert found["cost"]["match_cash_gbp"] == 100.0


def test_yearly_care_as_one_heading_is_held_against_all_yearly_care() -> None:
    bid = forgetful()
    plain = judged(bid)["cost"]
    bid["lines"] += [line("aftercare", 1_000)]

    found = judged(bid)["cost"]

    care = next(entry for entry in found["lines"] if entry["category"] == "aftercare")
    assert care["modelled_gross"]["mean_gbp"] > 1_000
    assert found["cash"]["modelled_gross"] == pytest.approx(plain["cash"]["modelled_gross"])


# ------------------------------------------------------------------ season


def test_late_money_moves_the_plan_a_year_and_says_what_can_be_seen() -> None:
    bid = changed(superb(), "round.money_from", "2027-11-15")

    found = judged(bid)
    flag = flags_of(found)["money_after_season"]
    (project,) = found["projects"]

    # the scarifying of 16 September 2027 is 60 days before the money; the next autumn is 2028
    assert flag["numbers"] == {"days_late": 60.0, "first_summer_planned": 2028.0, "first_summer": 2029.0}
    assert project["starts_on"] == date(2027, 9, 16)
    assert project["moved_to"] == date(2028, 9, 16)
    assert [entry["summer"] for entry in project["seen"]] == [0, 1]
    assert project["seen"][0]["species_per_m2_as_usual"] is None
    assert (
        found["sentences"][2] == "As planned it would start before there is money: here it starts on 16 September 2028."
    )


def test_money_a_few_weeks_late_moves_the_plan_within_the_autumn() -> None:
    (project,) = judged(changed(superb(), "round.money_from", "2027-10-01"))["projects"]

    assert project["moved_to"] == date(2027, 10, 1)
    assert project["first_summer"] == 2028


# ------------------------------------------------------------------ the same worlds


@pytest.mark.django_db(transaction=True)
def test_the_worlds_are_those_of_the_stored_run() -> None:
    bid = superb()
    asked = read_estimate(bid["projects"][0]["estimate"] | {"as_of": bid["as_of"]})
    kept = run_estimate_stored(asked, today=date(2026, 10, 5)).kept_draws

    worlds = judged(bid)["worlds"]

    from modelling.arrays import unpacked

    species = unpacked(kept)
    for name in ("if_kept", "as_usual"):
        rich = 0.024 * (species[f"species_per_m2_{name}"] >= 15)
        assert np.allclose(worlds[f"rich_ha_{name}"], rich)


def test_the_figures_are_those_of_the_estimate() -> None:
    bid = superb()
    estimate = estimate_now(
        read_estimate(bid["projects"][0]["estimate"] | {"as_of": bid["as_of"]}), today=date(2026, 10, 5)
    )

    found = judged(bid)
    (project,) = found["projects"]
    fifth = estimate["establishment"]["as_usual"]["by_year"][4]

    assert project["chance_species_rich_as_usual"] == pytest.approx(fifth["chance_at_least_15"], rel=1e-5)
    assert found["value"]["whole_life"]["cash"]["mean_gbp"] == pytest.approx(
        estimate["cost"]["whole_life_cash"]["mean_gbp"], abs=0.01
    )
    # the grant's time holds the setup, the first summer and one more
    cost = estimate["cost"]
    total = sum(cost[f"{stage}_cash"]["mean_gbp"] for stage in ("setup", "first_year", "yearly"))
    assert found["cost"]["summers_paid"] == 2
    assert found["cost"]["cash"]["modelled_gross"]["mean_gbp"] == pytest.approx(total, abs=0.05)


def test_the_same_question_has_the_same_text() -> None:
    first, second = judged(superb()), judged(superb())

    assert canonical_text(first) == canonical_text(second)
    AppraisalAnswer.model_validate(first)


# ------------------------------------------------------------------ directions


def test_a_dearer_claim_stands_higher_and_more_draws_find_it_enough() -> None:
    shares, enough = [], []
    for seed in (80, 104, 140):
        bid = superb()
        bid["lines"][0] = line("seed", seed)
        found = judged(bid)
        shares.append(found["cost"]["cash"]["share_below_gross"])
        enough.append(found["delivery"]["chance_cash_enough"])

    assert shares == sorted(set(shares))
    assert enough == sorted(set(enough))


def test_a_bolder_promise_is_less_likely_and_usual_care_keeps_it_less_often() -> None:
    chances = []
    for species in (8, 12, 16, 20):
        (promise, *_) = judged(changed(superb(), "promises.0.species_per_m2", species))["promises"]
        assert promise["chance_as_usual"] <= promise["chance_if_kept"]
        chances.append(promise["chance_as_usual"])

    assert chances == sorted(chances, reverse=True)
    assert chances[0] > chances[-1]


def test_rich_soil_brings_less_for_the_money() -> None:
    poor, rich = (judged(changed(superb(), f"{SITE}.olsen_p_mg_per_l", olsen)) for olsen in (8, 40))

    assert rich["outcome"]["rich_ha_as_usual"]["mean"] < poor["outcome"]["rich_ha_as_usual"]["mean"]
    assert poor["value"]["grant_per_rich_ha_gbp"] < (rich["value"]["grant_per_rich_ha_gbp"] or np.inf)


def test_longer_grants_pay_for_more_summers() -> None:
    found = [judged(changed(superb(), "round.latest_end", f"{year}-12-31"))["cost"] for year in (2028, 2029, 2031)]

    assert [cost["summers_paid"] for cost in found] == [1, 2, 4]
    means = [cost["in_kind"]["modelled_gross"]["mean_gbp"] for cost in found]
    assert means == sorted(set(means))


# ------------------------------------------------------------------ several projects, sizes, outer views


def test_two_projects_are_added_world_by_world() -> None:
    both, one, other = superb(), judged(superb()), judged(field())
    both["projects"] += field()["projects"]

    found = judged(both)

    assert np.allclose(
        found["worlds"]["rich_ha_as_usual"],
        np.add(one["worlds"]["rich_ha_as_usual"], other["worlds"]["rich_ha_as_usual"]),
    )
    assert found["value"]["area_ha"] == pytest.approx(1.224)
    assert found["sentences"][1].startswith("Of 1.22 ha in two projects, ")


def test_the_treasurys_bounds_are_shown_for_large_claims_only() -> None:
    large = field()
    large["lines"] = [line("contractor", 100_000, vat=0)]

    view = judged(large)["value"]["optimism"]

    # Mott MacDonald 2002, table 2: standard civil engineering, capital cost 3 % to 44 %
    assert (view["lower_gbp"], view["upper_gbp"]) == (103_000.0, 144_000.0)
    assert "not an estimate" in view["label"]
    assert judged(field())["value"]["optimism"] is None


def test_the_discount_rate_is_the_green_books() -> None:
    whole_life = judged(superb())["value"]["whole_life"]

    # HM Treasury, The Green Book 2022, annex 6: 3.5 % real
    assert whole_life["discount_rate"] == 0.035
    assert "Green Book" in whole_life["source"]
    assert whole_life["years"] == 10


def test_bids_are_compared_within_their_size() -> None:
    small, large = judged(superb()), judged(field())
    dear = deepcopy(small)
    dear["value"]["grant_per_ha_gbp"] *= 2

    placed = within_size_class([small, large, dear])

    assert [(entry["size_class"], entry["place"], entry["bids"]) for entry in placed] == [
        ("small", 1, 2), ("large", 1, 1), ("small", 2, 2),
    ]  # fmt: skip
    assert placed[0]["median_grant_per_ha_gbp"] == pytest.approx(1.5 * small["value"]["grant_per_ha_gbp"])


def test_volunteers_are_counted_at_the_rounds_rates() -> None:
    # 32 h at 12.71 and 21.43, as claimed; the model's own hours at twice the rate are twice the money
    plain = judged(superb())["cost"]["in_kind"]["modelled_gross"]["mean_gbp"]
    twice = superb()
    twice["round"] = ROUND | {
        "in_kind_rates": [
            {"skill": "unskilled", "pence_per_hour": 2542},
            {"skill": "skilled", "pence_per_hour": 4286},
        ]
    }

    assert judged(twice)["cost"]["in_kind"]["modelled_gross"]["mean_gbp"] == pytest.approx(2 * plain, abs=0.02)
    assert hours(16, "skilled", 2143)["gross_pence"] == 34_288


# ------------------------------------------------------------------ bad input


@pytest.mark.parametrize(
    ("path", "value", "pointer"),
    [
        ("lines.0.gross_pence", 1, "/lines/0"),
        ("promises.0.project", "elsewhere", ""),
        (f"{PLAN}.seed", [{"mix": "neutral_medow", "kg": 1}], "/projects/0/estimate/plan/seed/0/mix"),
        ("projects.0.estimate.draws", 300, "/projects/0/estimate/draws"),
        ("round.latest_end", "2026-01-01", "/round"),
        ("lines.0.net_pence", 1.5, "/lines/0/net_pence"),
    ],
)
def test_a_question_that_cannot_be_is_refused_with_its_place(path: str, value: Any, pointer: str) -> None:
    with pytest.raises(RequestRefused) as refused:
        judged(changed(superb(), path, value))

    assert refused.value.errors[0].pointer == pointer
