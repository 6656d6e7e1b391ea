"""How large a call is, whether it fits, and refusals that point into the request."""

from datetime import date
from typing import Any

import pytest

from modelling import contracts
from modelling.arrays import plan_of, site_of
from modelling.core.ground import patches
from modelling.core.planner import work_out
from modelling.errors import RequestRefused
from modelling.selectors import parameters, taxa_of_mix
from modelling.services import (
    compare_now,
    cost_in_cells,
    estimate_now,
    fit_draws,
    read_comparison,
    read_estimate,
)

TODAY = date(2026, 5, 1)


def read(plan: dict[str, Any] | None = None, **asked: Any) -> contracts.EstimateRequest:
    return read_estimate({"site": {"area_m2": 1000}, "plan": plan or {}, **asked})


def strip(share: float, year: int = 2026, zone: str | None = None) -> dict[str, Any]:
    step = {"on": f"{year}-09-20", "seed": [{"mix": "neutral_meadow", "kg": 1}], "area_share": share}
    return step if zone is None else step | {"zone": zone}


PLANS = [
    {},
    {"preparation": ["strip_turf_machine"]},
    {"plugs": [{"taxon": "primula_veris", "count": 50}]},
    {"seed": [{"mix": "neutral_meadow", "kg": 2}, {"taxon": "rhinanthus_minor", "kg": 0.1}]},
    {"steps": [strip(1.0)]},
    {"steps": [strip(0.5)]},
    {"steps": [strip(0.333, 2026), strip(0.333, 2027), strip(0.333, 2028)]},
    {"steps": [strip(0.5, zone="bank"), strip(0.5, zone="hollow")]},
    {"steps": [strip(0.2, zone="bank"), strip(0.3, 2027, zone="bank"), strip(0.1)]},
]


@pytest.mark.parametrize("plan", PLANS)
@pytest.mark.parametrize("site", [{}, {"last_use": "arable"}, {"sward": "rank_grass", "shade": "shade"}])
def test_a_call_is_charged_for_at_least_what_is_followed(plan: dict[str, Any], site: dict[str, Any]) -> None:
    request = read_estimate({"site": {"area_m2": 1000, **site}, "plan": plan, "draws": 300, "horizon_years": 4})
    full = work_out(parameters(), site_of(request.site), plan_of(request.plan), TODAY)
    zones = len(patches(parameters(), full))
    sown = {
        taxon
        for step in full.steps
        for item in step.seed or ()
        for taxon in ([item.taxon] if item.taxon else taxa_of_mix(str(item.mix)))
    }
    planted = {plug.taxon for step in full.steps for plug in step.plugs or ()}
    followed = 300 * len(sown | planted) * zones * 4 * 2
    assert followed <= cost_in_cells(request) <= 2 * followed


def test_a_comparison_is_charged_for_the_two_options_added() -> None:
    seed = {"seed": [{"taxon": "primula_veris", "kg": 0.1}]}
    options = [{"name": "a", "plan": seed}, {"name": "b", "plan": seed}]
    request = read_comparison({"site": {"area_m2": 100}, "options": options, "draws": 200, "horizon_years": 10})
    assert cost_in_cells(request) == 200 * 1 * 10 * (2 + 2) * 2


def test_draws_left_out_are_lowered_to_fit_and_stated_ones_are_refused() -> None:
    seed = {"seed": [{"taxon": "primula_veris", "kg": 0.1}]}
    per_draw = 1 * 10 * 2
    assert fit_draws(read(seed), 4000 * per_draw) == (read(seed, draws=4000), False)
    assert fit_draws(read(seed), 4000 * per_draw - 1) == (read(seed, draws=3999), True)
    with pytest.raises(RequestRefused) as refused:
        fit_draws(read(seed, draws=4000), 3000 * per_draw)
    (error,) = refused.value.errors
    assert (error.pointer, error.code, error.value, error.expected) == ("/draws", "too_costly", 4000, "at most 3000")
    with pytest.raises(RequestRefused) as refused:
        fit_draws(read(seed), 199 * per_draw)
    (error,) = refused.value.errors
    assert (error.pointer, error.code) == ("", "too_costly")
    assert "too large even with 200 draws" in error.detail


LATE_HARROW = {"on": "2026-09-25", "operation": "power_harrow_tractor"}


def test_a_plan_that_cannot_be_is_refused_where_it_stands() -> None:
    with pytest.raises(RequestRefused) as refused:
        estimate_now(read({"steps": [strip(1.0), LATE_HARROW]}, draws=200), today=TODAY)
    (error,) = refused.value.errors
    assert (error.pointer, error.code) == ("/plan/steps/1/on", "dates_out_of_order")
    assert error.expected == "a date on or before 2026-09-20"


def test_a_plan_that_cannot_be_is_refused_in_its_option() -> None:
    options = [{"name": "right"}, {"name": "wrong", "plan": {"steps": [strip(1.0), LATE_HARROW]}}]
    request = read_comparison({"site": {"area_m2": 1000}, "options": options, "draws": 200})
    with pytest.raises(RequestRefused) as refused:
        compare_now(request, today=TODAY)
    (error,) = refused.value.errors
    assert error.pointer == "/options/1/plan/steps/1/on"


def test_the_day_comes_from_the_request_or_the_caller() -> None:
    assert estimate_now(read(draws=200), today=TODAY)["recipe"]["as_of"] == "2026-05-01"
    assert estimate_now(read(draws=200, as_of="2027-02-03"), today=TODAY)["recipe"]["as_of"] == "2027-02-03"
