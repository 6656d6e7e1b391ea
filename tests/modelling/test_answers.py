"""Answers as they cross the border: shaped as described, rounded once, adding up, and made again from their recipe."""

import json
from datetime import date
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from modelling import contracts
from modelling.answer_parts import pence_shares
from modelling.answer_work import Work
from modelling.arrays import canonical_text, checksum, question_of, rounded
from modelling.core.cost import CASH, SETUP, Line
from modelling.core.estimate import estimate
from modelling.selectors import parameters
from modelling.services import compare_now, estimate_now, read_comparison, read_estimate

TODAY = date(2026, 5, 1)
#: the same examples every time, and as long as they take
STEADY = settings(deadline=None, derandomize=True, max_examples=150)
REQUESTS: dict[str, dict[str, Any]] = {
    "only the area": {"site": {"area_m2": 180}},
    "a patch": {"site": {"area_m2": 0.9, "sward": "rank_grass"}, "plan": {"crew": {"volunteers": 1}}},
    "nothing sown": {"site": {"area_m2": 500, "existing_interest": "orchids"}},
    "a field with a budget": {"site": {"area_m2": 23_456.789, "soil_p_index": 1}, "plan": {"budget_gbp": 4000.005}},
    "plugs only": {
        "site": {"area_m2": 300},
        "plan": {"seed": [], "plugs": [{"taxon": "primula_veris", "count": 90}]},
    },
    "stripped": {"site": {"area_m2": 300}, "plan": {"preparation": ["strip_turf_machine"]}},
    "strips": {
        "site": {"area_m2": 1000},
        "plan": {
            "steps": [
                {"on": "2026-09-20", "seed": [{"mix": "neutral_meadow", "kg": 2.65}], "area_share": 0.5},
                {"on": "2027-09-20", "seed": [{"mix": "neutral_meadow", "kg": 0.9}], "area_share": 0.5},
            ]
        },
    },
}


def answer(request: dict[str, Any], today: date = TODAY) -> dict[str, Any]:
    return estimate_now(read_estimate({"draws": 200, "horizon_years": 6, **request}), today=today)


@pytest.fixture(scope="module", params=REQUESTS.values(), ids=REQUESTS.keys())
def answered(request: pytest.FixtureRequest) -> dict[str, Any]:
    return answer(request.param)


def floats(value: object) -> list[float]:
    if isinstance(value, dict):
        return [x for item in value.values() for x in floats(item)]
    if isinstance(value, list):
        return [x for item in value for x in floats(item)]
    return [value] if isinstance(value, float) else []


def test_the_answer_is_shaped_as_described_and_plain(answered: dict[str, Any]) -> None:
    text = canonical_text(answered)
    assert contracts.EstimateAnswer.model_validate_json(text)
    assert json.loads(text) == answered
    assert canonical_text(json.loads(text)) == text


def test_a_comparison_is_shaped_as_described() -> None:
    request = read_comparison(
        {
            "site": {"area_m2": 400},
            "options": [{"name": "as planned"}, {"name": "stripped", "plan": {"preparation": ["strip_turf_machine"]}}],
            "draws": 200,
        }
    )
    found = compare_now(request, today=TODAY)
    assert contracts.ComparisonAnswer.model_validate_json(canonical_text(found))
    assert [option["key"] for option in found["options"]] == ["option_1", "option_2", "mow_only", "wait_a_year"]
    assert any(option["undominated"] for option in found["options"])
    for name in (option["name"] for option in found["options"] if option["undominated"]):
        assert name in found["sentence"] or found["sentence"].startswith("Each option buys something")


def test_lines_of_money_add_up_to_the_penny_and_none_is_negative(answered: dict[str, Any]) -> None:
    money = answered["cost"]
    for stage, kind, total in (
        ("setup", "cash", "setup_cash"), ("first_year", "cash", "first_year_cash"), ("yearly", "cash", "yearly_cash"),
        ("setup", "in_kind", "setup_in_kind"), ("yearly", "in_kind", "yearly_in_kind"),
    ):  # fmt: skip
        lines = [line for line in money["lines"] if (line["stage"], line["kind"]) == (stage, kind)]
        pence = sum(round(100 * line["mean_gross_gbp"]) for line in lines)
        assert abs(pence - round(100 * money[total]["mean_gbp"])) <= 1, (stage, kind)
    for line in money["lines"]:
        assert round(100 * line["mean_net_gbp"]) + round(100 * line["mean_vat_gbp"]) == round(
            100 * line["mean_gross_gbp"]
        )
        assert min(line["mean_net_gbp"], line["mean_vat_gbp"], line["p10_gross_gbp"]) >= 0, line["key"]
        assert line["kind"] == "cash" or line["mean_vat_gbp"] == 0


def test_ranges_rise_and_chances_are_shares(answered: dict[str, Any]) -> None:
    def check(value: object, name: str = "") -> None:
        if isinstance(value, dict):
            rising = [value[key] for key in ("p10", "p50", "p90") if key in value]
            rising += [value[key] for key in ("p10_gbp", "p50_gbp", "p80_gbp", "p90_gbp") if key in value]
            assert rising == sorted(rising), name
            for key, item in value.items():
                check(item, key)
        elif isinstance(value, list):
            for item in value:
                check(item, name)
        elif isinstance(value, float) and name.startswith(("chance", "share_of")):
            assert 0 <= value <= 1, name

    check(answered)
    assert all(x >= 0 for x in floats(answered))


def test_packs_hold_what_is_sown(answered: dict[str, Any]) -> None:
    for item in answered["seed"]["items"]:
        held = sum(pack["kg"] * pack["count"] for pack in item["packs"])
        assert held >= item["kg"] * (1 - 1e-5)
        assert item["packs"]


def test_the_same_answer_comes_from_its_recipe(answered: dict[str, Any]) -> None:
    again = estimate_now(read_estimate(answered["recipe"]["inputs"]), today=date(2031, 3, 3))
    assert canonical_text(again) == canonical_text(answered)


def test_the_recipe_keeps_inputs_to_the_last_digit_and_tells_them_apart() -> None:
    one = answer({"site": {"area_m2": 23_456.789}, "random_seed": 2**62 + 1})
    other = answer({"site": {"area_m2": 23_456.788}, "random_seed": 2**62 + 1})
    assert one["recipe"]["inputs"]["site"]["area_m2"] == 23_456.789
    assert one["recipe"]["random_seed"] == one["recipe"]["inputs"]["random_seed"] == 2**62 + 1
    assert one["recipe"]["inputs_checksum"] != other["recipe"]["inputs_checksum"]
    assert one["recipe"]["reference_checksum"] == parameters().checksum


def test_asking_today_or_naming_the_day_is_the_same() -> None:
    assert canonical_text(
        answer({"site": {"area_m2": 180}, "as_of": "2026-05-01"}, date(2030, 1, 1))
    ) == canonical_text(answer({"site": {"area_m2": 180}}, TODAY))


def test_a_patch_is_spoken_of_in_grams_kinds_and_single_people() -> None:
    found = answer(REQUESTS["a patch"])
    assert "0.9 m²" in found["sentence"]
    assert " g of seed" in found["sentence"]
    assert "kinds of plant" in found["sentence"]
    assert "one person" in found["sentence"]
    assert found["establishment"]["whole_site_is_smaller"]
    assert found["establishment"]["quadrat_area_m2"] == 0.9
    assert found["machinery"]["lines"] == []
    assert found["labour"]["person_hours_setup"]["p50"] < 1.2


def test_every_group_of_lines_has_words_for_what_drives_it() -> None:
    for request in REQUESTS.values():
        for driver in answer(request)["drivers"]:
            assert driver["label"]
            assert driver["what_would_help"]


@STEADY
@given(some.lists(some.floats(0, 1e5), max_size=20))
def test_pence_add_up_to_the_total_and_stay_within_a_penny(amounts: list[float]) -> None:
    total = sum(amounts)
    pence = pence_shares(amounts, total)
    assert sum(pence) == round(total * 100)
    for amount, whole in zip(amounts, pence, strict=True):
        assert amount * 100 - 1 <= whole <= amount * 100 + 1
        assert whole >= 0


def test_the_larger_remainder_gets_the_penny() -> None:
    assert pence_shares([0.004, 0.003, 0.003], 0.01) == [1, 0, 0]
    assert pence_shares([1.005, 1.004], 2.009) == [101, 100]


def test_rounding_is_to_six_digits_and_pence_and_refuses_what_is_not_finite() -> None:
    value = {"x": 1234567.0, "y": 0.000123456789, "cost_gbp": 1234567.891, "n": 2**60, "on": date(2026, 1, 2)}
    expected = {"x": 1234570.0, "y": 0.000123457, "cost_gbp": 1234567.89, "n": 2**60, "on": "2026-01-02"}
    assert rounded(value) == expected
    assert canonical_text({"b": 1, "a": [True, None]}) == '{"a":[true,null],"b":1}'
    for wrong in (float("nan"), float("inf")):
        with pytest.raises(ValueError, match="infinite or not a number"):
            rounded({"x": wrong})


def test_a_checksum_is_sha_256() -> None:
    # NIST, FIPS 180-2, appendix B.1: the message "abc"
    assert checksum("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_of_pennies_the_net_is_never_more_than_the_gross() -> None:
    # 0.6 pence of net is a penny, 0.72 pence of gross may be none
    known = parameters()
    question = question_of(read_estimate({"site": {"area_m2": 1}, "draws": 200}), contracts.Plan(), 200, TODAY)
    work = Work(known, estimate(known, question))
    line = Line("sand", "Sand", SETUP, "materials", CASH, np.full(200, 0.006), 0.2)
    assert work.cost_line(line, 0)["mean_vat_gbp"] == 0
    assert work.cost_line(line, 1)["mean_net_gbp"] == 0.01
