"""The establishment core against a plain version of the model, draw by draw."""

import numpy as np
import pytest

from modelling.core.establishment import FORECASTS, establish
from tests.core.establishment_cases import CASES
from tests.core.oracle_establishment import follow

DRAWS = 24
CLOSE = {"rtol": 1e-9, "atol": 1e-15}
COUNTS = ("species", "sown_species", "species_1m2", "rattle", "rattle_held", "crop")
LINES = {
    "chance_present": "present",
    "chance_seen_per_m2": "seen",
    "chance_in_flower_per_m2": "flower",
    "plants_per_m2": "density",
}


def table(answers, name, years):
    """The oracle's answers as (forecasts, years, draws)."""
    return np.array(
        [
            [[getattr(answer, name)[f, year] for answer in answers] for year in range(1, years + 1)]
            for f in range(len(FORECASTS))
        ]
    )


@pytest.fixture(scope="module", params=CASES)
def case(request, parameters):
    """One scenario, the core's result and the oracle's answers."""
    scenario = CASES[request.param](DRAWS)
    return scenario, establish(parameters, **scenario), follow(parameters, range(DRAWS), **scenario)


def test_every_draw_is_as_by_the_plain_version(case):
    scenario, result, answers = case
    for name in COUNTS:
        expected = table(answers, name, scenario["years"])
        np.testing.assert_allclose(getattr(result, name), expected, **CLOSE, err_msg=name)


def test_the_chance_of_an_orchid_is_as_by_the_plain_version(case):
    _, result, answers = case
    expected = [np.mean([answer.orchid[year + 1] for answer in answers]) for year in range(len(result.orchids_by_year))]
    np.testing.assert_allclose(result.orchids_by_year, expected, **CLOSE)


def test_every_timeline_is_as_by_the_plain_version(case):
    scenario, result, answers = case
    lines = {line.taxon: line for line in result.timelines}
    assert set(lines) == {taxon.key for taxon in scenario["taxa"]}
    for key in set(lines) - {"rhinanthus_minor"}:
        for name, own in LINES.items():
            expected = [
                [
                    np.mean([getattr(answer, own)[key, forecast, year] for answer in answers])
                    for year in range(1, scenario["years"] + 1)
                ]
                for forecast in range(len(FORECASTS))
            ]
            np.testing.assert_allclose(getattr(lines[key], name), expected, **CLOSE, err_msg=f"{key}, {name}")


def test_draws_on_both_sides_of_a_block_are_as_by_the_plain_version(parameters):
    scenario = CASES["two zones"](1004)
    result = establish(parameters, **scenario)
    draws = [0, 499, 500, 501, 999, 1000, 1003]
    answers = follow(parameters, draws, **scenario)
    for name in COUNTS:
        expected = table(answers, name, scenario["years"])
        np.testing.assert_allclose(getattr(result, name)[:, :, draws], expected, **CLOSE, err_msg=name)


def test_the_line_of_the_rattle_counts_its_draws(parameters):
    scenario = CASES["rattle with a refuge"](DRAWS)
    line = establish(parameters, **scenario).timelines[0]
    answers = follow(parameters, range(DRAWS), **scenario)
    density = table(answers, "rattle", scenario["years"])
    assert line.taxon == "rhinanthus_minor"
    np.testing.assert_allclose(line.plants_per_m2, density.mean(axis=-1), **CLOSE)
    np.testing.assert_allclose(line.chance_seen_per_m2, (density / (1 + density)).mean(axis=-1), **CLOSE)
    # With one zone a plant counted is a plant there, and none is counted where there is none.
    np.testing.assert_allclose(line.chance_present, (density > 0).mean(axis=-1), **CLOSE)
