"""What careless, unlucky and ill-meaning callers send: an answer or a refusal in words, never a 500."""

import itertools
import json

import pytest
from django.test import Client

from modelling.contracts import ComparisonAnswer, EstimateAnswer
from modelling.errors import RequestRefused
from modelling.selectors import vocabularies
from modelling.services import canonical_text, estimate_now, fit_draws, read_estimate
from projects.api.errors import KINDS

ESTIMATES = "/api/v1/estimates/"
COMPARISONS = "/api/v1/comparisons/"
HUGE = "1" + "0" * 400
SMALL = {"draws": 200, "horizon_years": 2, "as_of": "2026-07-01"}


def send(body, path=ESTIMATES):
    """Return status and answer, after a look that either is as described."""
    raw = body if isinstance(body, str | bytes) else json.dumps(body)
    response = Client(raise_request_exception=False).post(path, data=raw, content_type="application/json")
    if response.status_code == 200:
        (EstimateAnswer if path == ESTIMATES else ComparisonAnswer).model_validate_json(response.content)
        return 200, response.json()
    problem = response.json()
    assert response.status_code == problem["status"] == KINDS[problem["code"]].status < 500, raw[:300]
    return response.status_code, problem


def site(text):
    return '{"site": {"area_m2": AREA}, "draws": 200, "horizon_years": 2}'.replace("AREA", text)


def plan(**parts):
    return {"site": {"area_m2": 180}, "plan": parts, **SMALL}


def asked(**parts):
    return {"site": {"area_m2": 180}, **SMALL, **parts}


# ------------------------------------------------------------------ numbers


@pytest.mark.parametrize("text", ["0.01", "0.9", "1", "1e6", "1000000"])
def test_areas_from_a_hand_to_a_square_kilometre_are_answered(text):
    assert send(site(text))[0] == 200


@pytest.mark.parametrize(
    ("text", "status", "code"),
    [
        ("0", 422, "out_of_range"),
        ("-0", 422, "out_of_range"),
        ("-1", 422, "out_of_range"),
        ("1e-9", 422, "out_of_range"),
        ("5e-324", 422, "out_of_range"),
        ("1e12", 422, "out_of_range"),
        ("1000000.001", 422, "out_of_range"),
        ("18446744073709551616", 422, "out_of_range"),
        ("true", 422, "not_a_number"),
        ('"12"', 422, "not_a_number"),
        ("null", 422, "not_a_number"),
        ("[]", 422, "not_a_number"),
        ("{}", 422, "not_a_number"),
        ("NaN", 400, None),
        ("-Infinity", 400, None),
        ("1e400", 400, None),
        (HUGE, 400, None),
        ("0x10", 400, None),
    ],
)
def test_other_areas_are_refused(text, status, code):
    got, problem = send(site(text))
    assert got == status
    assert [error["code"] for error in problem["errors"]] == ([code] if code else [])


@pytest.mark.parametrize(
    ("parts", "pointer"),
    [
        ({"draws": 199}, "/draws"),
        ({"draws": 10_001}, "/draws"),
        ({"draws": 1000.0}, "/draws"),
        ({"draws": True}, "/draws"),
        ({"horizon_years": 0}, "/horizon_years"),
        ({"horizon_years": 11}, "/horizon_years"),
        ({"quadrat_area_m2": 0}, "/quadrat_area_m2"),
        ({"quadrat_area_m2": 5e-324}, "/quadrat_area_m2"),
        ({"quadrat_area_m2": 101}, "/quadrat_area_m2"),
        ({"random_seed": -1}, "/random_seed"),
        ({"random_seed": 2**63}, "/random_seed"),
        ({"random_seed": 1.0}, "/random_seed"),
        ({"world_seed": "1"}, "/world_seed"),
        ({"as_of": "1999-12-31"}, "/as_of"),
        ({"as_of": "2101-01-01"}, "/as_of"),
    ],
)
def test_a_number_out_of_bounds_is_pointed_at(parts, pointer):
    status, problem = send(asked(**parts))
    assert (status, [error["pointer"] for error in problem["errors"]]) == (422, [pointer])


@pytest.mark.parametrize(
    "parts",
    [
        {"draws": 10_000},
        {"horizon_years": 1},
        {"quadrat_area_m2": 1e-6},
        {"quadrat_area_m2": 100},
        {"random_seed": 0, "world_seed": 2**63 - 1},
        {"as_of": "2000-01-01"},
        {"as_of": "2028-02-29"},
        {"as_of": "2100-12-31"},
    ],
)
def test_bounds_themselves_are_answered(parts):
    assert send(asked(**parts))[0] == 200


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("olsen_p_mg_per_l", (0, 1e-300, 1000)),
        ("soil_p_index", (0, 9)),
        ("soil_ph", (3, 10)),
        ("resident_species_per_m2", (0, 60)),
        ("standing_crop_g_per_m2", (10, 2000)),
        ("gate_width_m", (1e-300, 0.3, 30)),
        ("slope_degrees", (0, 60)),
        ("distance_to_flower_rich_m", (0, 100_000)),
        ("net_area_m2", (0.01, 180)),
        ("existing_interest", ([], "orchids", ["none", "waxcaps"], ["orchids"] * 5000)),
    ],
)
def test_sites_at_the_ends_of_every_scale_are_answered(name, values):
    for value in values:
        assert send({"site": {"area_m2": 180, name: value}, **SMALL})[0] == 200


@pytest.mark.parametrize("kg", [1e-300, 0, -1, 100_000.1])
def test_seed_that_no_scale_shows_is_refused(kg):
    status, problem = send(plan(seed=[{"mix": "neutral_meadow", "kg": kg}]))
    assert (status, problem["errors"][0]["pointer"]) == (422, "/plan/seed/0/kg")


@pytest.mark.parametrize("area", [0.01, 180, 1e6])
@pytest.mark.parametrize("kg", [1e-6, 1, 100_000])
def test_any_weight_on_any_area_is_answered(area, kg):
    assert send({"site": {"area_m2": area}, "plan": {"seed": [{"mix": "neutral_meadow", "kg": kg}]}, **SMALL})[0] == 200


@pytest.mark.parametrize(
    "parts",
    [
        {"plugs": [{"taxon": "succisa_pratensis", "count": 10_000_000}]},
        {"crew": {"volunteers": 1, "hours_per_session": 0.25}},
        {"crew": {"volunteers": 10_000, "hours_per_session": 12}},
        {"budget_gbp": 0},
        {"budget_gbp": 1e8},
        {"kit_to_hand": ["tractor_mower"] * 40},
        {"preparation": ["strip_turf_excavator"] * 10},
        {"seed": [{"taxon": "rhinanthus_minor", "kg": 0.1}] * 60},
    ],
)
def test_plans_larger_than_life_are_answered(parts):
    assert send(plan(**parts))[0] == 200


# ------------------------------------------------------------------ shapes and texts


@pytest.mark.parametrize(
    ("body", "status"),
    [
        (b"", 400),
        (b"{", 400),
        (b"site=180", 400),
        (b"\xff\xfe{}", 400),
        (b"[" * 60_000, 400),
        (b"[" * 100_000, 413),
        (b'{"site": {"area_m2": 5}, "x": "' + b"y" * 70_000 + b'"}', 413),
        (b'{"site": {"area_m2": 5, "kind": "\\ud800"}}', 400),
        (b'{"site": {"area_m2": 5, "kind": "\\u0000"}}', 422),
        (b'{"site": {"area_m2": 5}, "\\u0000": 1}', 422),
        (b"[]", 422),
        (b"null", 422),
        (b'{"site": []}', 422),
        (b'{"site": "180"}', 422),
        (b'{"site": null}', 422),
        (b'{"site": {"area_m2": 5}, "plan": []}', 422),
        (b'{"site": {"area_m2": 5}, "plan": null}', 422),
        (b'{"site": {"area_m2": 5}, "plan": {"steps": {}}}', 422),
        (b'{"site": {"area_m2": 5}, "plan": {"steps": [[]]}}', 422),
        (b'{"site": {"area_m2": 5}, "plan": {"seed": {"mix": "neutral_meadow", "kg": 1}}}', 422),
        (b'{"site": {"area_m2": 5}, "plan": {"aftercare": null}}', 422),
        (b'{"site": {"area_m2": 5}, "x": ' + b"[" * 900 + b"]" * 900 + b"}", 422),
        (b'{"site": {"area_m2": 5, "' + b"k" * 60_000 + b'": 1}}', 422),
        (b'{"site": {"area_m2": 5, "kind": "' + b"k" * 60_000 + b'"}}', 422),
        (b'{"site": {"area_m2": 5}, ' + b",".join(b'"k%d": 1' % i for i in range(5000)) + b"}", 422),
        (b'{"site": {"area_m2": 5, "existing_interest": [' + b",".join([b"5"] * 30_000) + b"]}}", 422),
    ],
    ids=itertools.count(),
)
@pytest.mark.parametrize("path", [ESTIMATES, COMPARISONS])
def test_what_is_no_request_is_refused(body, status, path):
    assert send(body, path)[0] == status


@pytest.mark.parametrize(
    "parts",
    [
        {"seed": []},
        {"plugs": []},
        {"preparation": []},
        {"steps": []},
        {"seed": [], "plugs": [], "preparation": []},
        {"kit_to_hand": []},
        {"aftercare": {"cut_month": []}},
        {"aftercare": {"cut_on": []}},
    ],
)
def test_empty_lists_are_plans_too(parts):
    assert send(plan(**parts))[0] == 200
    two = {"site": {"area_m2": 180}, "options": [{"name": "A", "plan": parts}], **SMALL}
    assert send(two, COMPARISONS)[0] == 200


@pytest.mark.parametrize("what", ["seed", "plugs"])
def test_a_step_of_nothing_is_none(what):
    status, problem = send(plan(steps=[{"on": "2026-09-20", what: []}]))
    assert (status, problem["errors"][0]["pointer"]) == (422, f"/plan/steps/0/{what}")


# ------------------------------------------------------------------ dates


@pytest.mark.parametrize(
    "day",
    [
        "2026-02-30",
        "2026-02-29",
        "2026-13-01",
        "2026-2-3",
        "20260203",
        "2026-W01-1",
        "0001-01-01",
        "9999-12-31",
        "2026-01-01 ",
        "2026-01-01T00:00:00",
        "２０２６-01-01",
        "yesterday",
        "",
        5,
        True,
        ["2026-01-01"],
    ],
)
@pytest.mark.parametrize("place", ["sow_on", "shut_up_on", "cut_on", "step", "as_of"])
def test_days_that_are_none_are_refused(day, place):
    bodies = {
        "sow_on": plan(sow_on=day),
        "shut_up_on": plan(aftercare={"shut_up_on": day}),
        "cut_on": plan(aftercare={"cut_on": [day]}),
        "step": plan(steps=[{"on": day, "operation": "scarify_rake"}]),
        "as_of": asked(as_of=day),
    }
    status, problem = send(bodies[place])
    assert status == 422
    assert {error["code"] for error in problem["errors"]} <= {"bad_date", "out_of_range"}


@pytest.mark.parametrize("as_of", ["2028-01-01", "2028-02-29", "2100-12-31"])
def test_leap_days_survive_the_year_of_waiting(as_of):
    steps = [
        {"on": "2028-02-29", "operation": "scarify_rake"},
        {"on": "2028-02-29", "seed": [{"mix": "neutral_meadow", "kg": 0.5}]},
    ]
    care = {"cut_on": "2028-02-29", "shut_up_on": "2028-02-29"}
    options = [
        {"name": "A", "plan": {"steps": steps, "aftercare": care}},
        {"name": "B", "plan": {"sow_on": "2028-02-29"}},
        {"name": "C", "plan": {"sow_on": "2100-12-31"}},
    ]
    body = {"site": {"area_m2": 180}, "options": options, **SMALL, "as_of": as_of}
    assert send(body, COMPARISONS)[0] == 200
    assert send({"site": {"area_m2": 180}, "plan": options[0]["plan"], **SMALL, "as_of": as_of})[0] == 200


@pytest.mark.parametrize("day", ["2000-01-01", "2100-12-31"])
def test_steps_long_ago_and_far_ahead_are_answered(day):
    assert send(plan(steps=[{"on": day, "seed": [{"mix": "neutral_meadow", "kg": 0.2}]}]))[0] == 200
    assert send(plan(sow_on=day))[0] == 200


# ------------------------------------------------------------------ many steps, many zones


def zoned(share):
    """Forty steps on six zones."""
    zones, machines = "abcdef", ["prepare_cut_mower", "scarify_machine", "power_harrow_tractor", "strip_turf_machine"]
    steps = []
    for i, zone in enumerate(zones):
        found = {"zone": zone, "area_share": share}
        steps += [
            {"on": f"2026-07-{7 + i:02}", "operation": "prepare_cut_scythe", **found},
            {"on": f"2026-08-{1 + i:02}", "operation": machines[i % 4], **found},
            {"on": f"2026-09-{1 + i:02}", "seed": [{"mix": "neutral_meadow", "kg": 1}], **found},
            {"on": f"2026-09-{1 + i:02}", "operation": "sow_hand", **found},
            {"on": f"2026-09-{7 + i:02}", "operation": "roll_or_tread_hand", **found},
            {"on": f"2027-04-{1 + i:02}", "plugs": [{"taxon": "succisa_pratensis", "count": 10}], **found},
        ]
    steps += [{"on": "2027-05-01", "operation": "water_plugs", "zone": z, "area_share": share} for z in zones[:4]]
    assert len(steps) == 40
    return steps


def test_forty_steps_on_six_zones_are_answered_in_any_order():
    body = {"site": {"area_m2": 2000}, "plan": {"steps": zoned(round(1 / 6, 6))}, **SMALL}
    status, answer = send(body)
    assert status == 200
    assert len(answer["plan"]["steps"]) >= 40
    body["plan"]["steps"].reverse()
    assert send(body)[0] == 200


@pytest.mark.parametrize(
    ("steps", "code"),
    [
        (zoned(0.2), "area_shares_exceed_whole"),
        ([*zoned(0.1), {"on": "2026-09-20", "operation": "sow_hand"}], "too_many"),
        (
            [{"on": "2026-09-20", "operation": "sow_hand", "zone": z, "area_share": 0.1} for z in "abcdefg"],
            "too_many_zones",
        ),
        ([{"on": "2026-09-20", "operation": "sow_hand", "zone": "a", "area_share": 1e-300}], "out_of_range"),
    ],
    ids=["more than the whole", "41 steps", "7 zones", "a sliver"],
)
def test_zones_that_cannot_be_are_refused(steps, code):
    status, problem = send({"site": {"area_m2": 2000}, "plan": {"steps": steps}, **SMALL})
    assert (status, problem["errors"][0]["code"]) == (422, code)


def test_a_plan_of_operations_only_is_answered():
    assert send(plan(steps=[{"on": "2026-09-20", "operation": "scarify_rake"}]))[0] == 200


def test_twelve_options_are_answered_and_thirteen_refused():
    options = [{"name": str(i)} for i in range(13)]
    assert send({"site": {"area_m2": 180}, "options": options[:12], **SMALL}, COMPARISONS)[0] == 200
    assert send({"site": {"area_m2": 180}, "options": options, **SMALL}, COMPARISONS)[0] == 422


# ------------------------------------------------------------------ every word with every word

WORDS = {name: [word["key"] for word in words] for name, words in vocabularies().items()}
PREPARATIONS = [word["key"] for word in vocabularies()["operations"] if word["stage"] == "preparation"]


def compute(site, plan):
    """Answer without the web, which adds nothing here; a warning of NumPy is an error in tests."""
    body = {"site": site, "plan": plan, "draws": 200, "horizon_years": 1, "as_of": "2026-07-01"}
    request, lowered = fit_draws(read_estimate(body), 4_000_000)
    text = canonical_text(estimate_now(request, today=request.as_of, lowered=lowered))
    return EstimateAnswer.model_validate_json(text)


@pytest.mark.parametrize("kind", WORDS["kind"])
def test_every_kind_of_place_with_every_sward_and_preparation(kind):
    for sward, preparation in itertools.product(WORDS["sward"], PREPARATIONS):
        answer = compute({"area_m2": 180, "kind": kind, "sward": sward}, {"preparation": [preparation]})
        assert (answer.plan.kind, answer.plan.sward) == (kind, sward)


@pytest.mark.parametrize("area", [0.9, 180, 20_000])
def test_every_operation_before_sowing_and_alone(area):
    for key in WORDS["operations"]:
        step = {"on": "2026-09-10", "operation": key}
        seed = {"on": "2026-09-20", "seed": [{"mix": "neutral_meadow", "kg": area / 1000}]}
        for steps in ([step], [step, seed]):
            assert compute({"area_m2": area}, {"steps": steps}).plan.net_area_m2 == area


def test_every_mix_and_every_machine():
    for key in WORDS["mixes"]:
        (item,) = compute({"area_m2": 180}, {"seed": [{"mix": key, "kg": 0.2}]}).seed.items
        assert item.key == key
    for key in WORDS["machines"]:
        compute({"area_m2": 180}, {"kit_to_hand": [key]})


def test_every_plant_as_seed_and_as_plugs():
    for word in vocabularies()["taxa"]:
        key = word["key"]
        for plan in ({"seed": [{"taxon": key, "kg": 0.02}]}, {"plugs": [{"taxon": key, "count": 20}]}):
            if word["sowable"] == "yes":
                assert key in {taxon.taxon for taxon in compute({"area_m2": 180}, plan).seed.taxa}
            else:
                with pytest.raises(RequestRefused, match="is not sown or planted"):
                    compute({"area_m2": 180}, plan)


def test_every_way_of_caring_for_it():
    for arisings, disposal, grazing, cuts in itertools.product(
        WORDS["arisings"], WORDS["disposal"], WORDS["grazing"], ([], [7], [1, 4, 7, 10])
    ):
        care = {"arisings": arisings, "disposal": disposal, "aftermath_grazing": grazing, "cut_month": cuts}
        answer = compute({"area_m2": 1800, "kind": "field"}, {"aftercare": care})
        assert (answer.plan.arisings, answer.plan.grazing) == (arisings, grazing)
