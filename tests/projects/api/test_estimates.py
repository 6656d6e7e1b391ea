"""Estimates and comparisons over the API: the canonical text itself, refusals that point, and a price per call."""

import itertools
import json
from datetime import UTC, date, datetime

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from modelling import services
from modelling.contracts import ComparisonAnswer, EstimateAnswer
from projects.api.throttling import CELLS_PER_WINDOW

ESTIMATES = "/api/v1/estimates/"
COMPARISONS = "/api/v1/comparisons/"
SITE = {"area_m2": 180, "kind": "churchyard", "sward": "rank_grass"}
SMALL = {"site": SITE, "draws": 200, "as_of": "2026-07-01"}
TWO = {"site": SITE, "options": [{"name": "A"}, {"name": "B", "plan": {"preparation": ["strip_turf_hand"]}}]}


@pytest.fixture
def client():
    return Client(raise_request_exception=False)


def post(client, body, path=ESTIMATES, **headers):
    text = body if isinstance(body, str | bytes) else json.dumps(body)
    return client.post(path, data=text, content_type="application/json", **headers)


def refused(client, body, path=ESTIMATES):
    """Return the entries of errors, by pointer."""
    response = post(client, body, path)
    assert response.status_code == 422, response.content
    assert response.headers["Content-Type"] == "application/problem+json"
    return {error["pointer"]: error for error in response.json()["errors"]}


# ------------------------------------------------------------------ answers


def test_an_estimate_is_the_canonical_text_of_the_service(client):
    response = post(client, SMALL)
    assert response.status_code == 200
    assert response.headers["Content-Type"] == "application/json"
    asked, lowered = services.fit_draws(services.read_estimate(SMALL), 4_000_000)
    text = services.canonical_text(services.estimate_now(asked, today=date(1999, 1, 1), lowered=lowered))
    assert response.content.decode() == text
    answer = EstimateAnswer.model_validate_json(response.content)
    assert answer.recipe.draws == 200
    assert answer.sentence.startswith("Your 180 m²")


def test_a_comparison_is_the_canonical_text_of_the_service(client):
    response = post(client, TWO | {"draws": 200, "as_of": "2026-07-01"}, COMPARISONS)
    assert response.status_code == 200
    answer = ComparisonAnswer.model_validate_json(response.content)
    assert [option.name for option in answer.options[:2]] == ["A", "B"]
    assert [option.added_by_service for option in answer.options] == [False, False, True, True]
    assert services.canonical_text(json.loads(response.content)) == response.content.decode()


def test_the_same_question_gives_the_same_bytes(client):
    assert post(client, SMALL).content == post(client, SMALL).content


def test_the_smallest_question_is_made_for_today_by_the_clock_of_the_place(client):
    # 23:30 in Greenwich in summer is half past midnight of the next day in London.
    with time_machine.travel(datetime(2026, 6, 30, 23, 30, tzinfo=UTC), tick=False):
        recipe = post(client, {"site": {"area_m2": 180}}).json()["recipe"]
    assert recipe["as_of"] == "2026-07-01"
    assert (recipe["draws"], recipe["draws_lowered_to_fit"]) == (4000, False)


def test_the_inputs_of_a_recipe_are_a_request_with_the_same_answer(client):
    first = post(client, SMALL)
    again = post(client, first.json()["recipe"]["inputs"])
    assert again.content == first.content


@pytest.mark.parametrize("path", [ESTIMATES, COMPARISONS])
@pytest.mark.parametrize("method", ["get", "head", "put", "patch", "delete"])
def test_only_post_is_taken(client, path, method):
    response = getattr(client, method)(path)
    assert (response.status_code, response.headers["Allow"]) == (405, "POST")


# ------------------------------------------------------------------ refusals


def test_a_refusal_says_what_was_read_what_is_wrong_and_what_would_be_right(client):
    response = post(client, {"site": {"area_m2": -1, "wetness": "dampp", "slope": 3}})
    problem = response.json()
    assert (response.status_code, problem["code"], problem["detail"]) == (
        422,
        "invalid_request",
        "3 things are not as they should be.",
    )
    errors = {error["pointer"]: error for error in problem["errors"]}
    assert errors == {
        "/site/area_m2": {
            "pointer": "/site/area_m2",
            "code": "out_of_range",
            "detail": "Read -1; it must be at least 0.01.",
            "value": -1,
            "expected": "at least 0.01",
        },
        "/site/wetness": {
            "pointer": "/site/wetness",
            "code": "unknown_word",
            "detail": "'dampp' is not one of dry, moist, damp, wet. Did you mean damp?",
            "value": "dampp",
            "expected": "one of dry, moist, damp, wet",
            "suggestions": ["damp"],
        },
        "/site/slope": {
            "pointer": "/site/slope",
            "code": "unknown_key",
            "detail": "This key is not known here. Did you mean slope_degrees? Read: 3.",
            "value": 3,
            "expected": "one of the keys of the documentation",
            "suggestions": ["slope_degrees"],
        },
    }


@pytest.mark.parametrize(
    ("name", "near"),
    [
        ("ladys bedstraw", "galium_verum"),
        ("Rhinanthus minor", "rhinanthus_minor"),
        ("yelow ratle", "rhinanthus_minor"),
        ("centaurea_niger", "centaurea_nigra"),
    ],
)
def test_an_unknown_plant_is_refused_with_the_nearest_known(client, name, near):
    error = refused(client, {"site": SITE, "plan": {"seed": [{"taxon": name, "kg": 1}]}})["/plan/seed/0/taxon"]
    assert (error["code"], error["suggestions"][0]) == ("unknown_plant", near)


def test_one_fault_is_told_in_the_detail_itself(client):
    assert post(client, {"site": {"area_m2": 0}}).json()["detail"] == "Read 0; it must be at least 0.01."


def test_a_refusal_by_the_model_points_at_the_step(client):
    steps = [
        {"on": "2026-09-20", "seed": [{"mix": "neutral_meadow", "kg": 1}]},
        {"on": "2026-10-20", "operation": "rotavate_tractor"},
    ]
    assert refused(client, {"site": SITE, "plan": {"steps": steps}}).keys() == {"/plan/steps/1/on"}
    two = {"site": SITE, "options": [{"name": "A"}, {"name": "B", "plan": {"steps": steps}}]}
    assert refused(client, two, COMPARISONS).keys() == {"/options/1/plan/steps/1/on"}


def test_options_need_names_of_their_own(client):
    same = {"site": SITE, "options": [{"name": "A"}, {"name": "A"}]}
    assert refused(client, same, COMPARISONS).keys() == {"/options/1/name"}


def test_of_thousands_of_faults_a_hundred_are_listed(client):
    problem = post(client, {"site": SITE, "plan": {"preparation": [5] * 3000}}).json()
    assert len(problem["errors"]) == 100
    assert problem["detail"].endswith("things are not as they should be. The first 100 are listed.")


# ------------------------------------------------------------------ size and price


def cells_of(draws):
    """Return what so many draws of the small estimate cost."""
    return services.cost_in_cells(services.read_estimate(SMALL | {"draws": 1000})) // 1000 * draws


def test_stated_draws_that_do_not_fit_are_refused_with_the_most_that_would(client, settings):
    settings.LARGEST_CALL_CELLS = cells_of(250)
    response = post(client, SMALL | {"draws": 1000})
    assert (response.status_code, response.json()["code"]) == (422, "too_costly")
    (error,) = response.json()["errors"]
    assert (error["pointer"], error["expected"]) == ("/draws", "at most 250")
    assert post(client, SMALL | {"draws": 250}).status_code == 200


def test_draws_left_out_are_lowered_to_fit_and_the_answer_says_so(client, settings):
    settings.LARGEST_CALL_CELLS = cells_of(250)
    recipe = post(client, {"site": SITE}).json()["recipe"]
    assert (recipe["draws"], recipe["draws_lowered_to_fit"]) == (250, True)


def test_what_is_too_large_at_the_fewest_draws_is_refused(client, settings):
    settings.LARGEST_CALL_CELLS = cells_of(199)
    response = post(client, {"site": SITE})
    assert (response.status_code, response.json()["code"]) == (422, "too_costly")


_addresses = itertools.count(1)


def test_a_call_is_charged_before_it_is_computed(client, settings):
    settings.THROTTLE = True
    address = {"REMOTE_ADDR": f"10.9.0.{next(_addresses)}"}
    cost = services.cost_in_cells(services.read_estimate(SMALL))
    with time_machine.travel(datetime(2026, 3, 21, 12, 0, 13, tzinfo=UTC), tick=False):
        charge_all_but(client, address, cost)
        assert post(client, SMALL, **address).status_code == 200
        response = post(client, SMALL, **address)
    assert (response.status_code, response.json()["code"]) == (429, "too_many_requests")
    assert response.headers["Retry-After"] == "48"


def charge_all_but(client, address, cells):
    """Use up the minute of an address, but for so many cells."""
    from projects.api.throttling import charge

    request = client.get(reverse("v1-index"), **address).wsgi_request
    charge(request, CELLS_PER_WINDOW - cells)
