"""What a project gains from seed, by the model's own forecast."""

from datetime import date

import numpy as np
import pytest

from modelling.contracts import EstimateRequest
from modelling.core.share_out import hull
from modelling.services import estimate_now
from modelling.share_out_curves import MIX, gain_points

TODAY = date(2027, 6, 1)


def asked(area_m2=400.0, **site):
    return EstimateRequest.model_validate(
        {"site": {"area_m2": area_m2, "kind": "churchyard", "sward": "species_poor", "olsen_p_mg_per_l": 9, **site}}
    )


def test_more_seed_gains_more_and_ever_more_slowly():
    points = gain_points(asked(), today=TODAY)
    gains = [point["gain_m2"] for point in points]

    # half a gram to four grams on 400 m2
    assert [point["mg"] for point in points] == [200_000, 400_000, 800_000, 1_200_000, 1_600_000]
    assert gains == sorted(gains)
    assert 0 < gains[0] < gains[-1] < 400
    # the line laid over them moves no point by more than a tenth of the whole
    xs, ys = hull([p["mg"] for p in points], gains)
    for point in points:
        line = np.interp(point["mg"], xs, ys)
        assert line - point["gain_m2"] <= 0.1 * gains[-1]


def test_the_gain_is_that_of_the_estimates_that_anybody_can_ask_for():
    # the same plan by the front door, with 1.6 kg and with a trace: the chance of 15 species in a square metre in the
    # fifth summer with aftercare as usual, times the ground
    site = asked().site.model_dump(exclude_none=True)
    rich_m2 = []
    for kg in (1.6, 0.000_001):
        plan = {"seed": [{"mix": MIX, "kg": kg}]}
        request = EstimateRequest.model_validate({"site": site, "plan": plan, "draws": 500})
        fifth = estimate_now(request, today=TODAY)["establishment"]["as_usual"]["by_year"][4]
        rich_m2.append(400 * fifth["chance_at_least_15"])

    assert gain_points(asked(), today=TODAY)[-1]["gain_m2"] == pytest.approx(rich_m2[0] - rich_m2[1], abs=0.01)


def test_worse_ground_gains_less():
    good = gain_points(asked(), today=TODAY)[-1]["gain_m2"]
    assert gain_points(asked(olsen_p_mg_per_l=40), today=TODAY)[-1]["gain_m2"] < good


def test_a_patch_of_less_than_a_square_metre_has_points_in_milligrams():
    points = gain_points(asked(0.9), today=TODAY)
    assert [point["mg"] for point in points] == [450, 900, 1800, 2700, 3600]
    assert all(point["gain_m2"] <= 0.9 for point in points)
