"""A survey laid beside the forecast of its summer, as a stored estimate has it."""

from datetime import date

import orjson
import pytest

from modelling import services
from modelling.contracts.outcome_answers import ForecastFound
from modelling.outcomes import found_on_forecast, judge
from modelling.selectors import parameters
from tests.core.conftest import WORKED_EXAMPLES
from tests.modelling.made_surveys import held, quadrat, question, survey

YEAR = 2028


def summer(year, p10, p25, p50, p75, p90, sown=None, rattle=None):
    sown = sown or (1, 3, 5)
    return {
        "calendar_year": year,
        "species_per_m2": {"p10": p10, "p50": p50, "p90": p90, "mean": p50},
        "species_per_m2_p25": p25,
        "species_per_m2_p75": p75,
        "sown_species_per_m2": dict(zip(("p10", "p50", "p90"), sown, strict=True)),
        "rattle": None if rattle is None else {"plants_per_m2": dict(zip(("p10", "p50", "p90"), rattle, strict=True))},
    }


def stored(area=1.0, kept=(4, 6, 8, 10, 14), usual=(2, 3, 5, 7, 9), **more):
    """The part of a stored answer that a survey is laid beside."""
    return {
        "establishment": {
            "quadrat_area_m2": area,
            "if_kept": {"by_year": [summer(YEAR - 1, 0, 0, 0, 0, 0), summer(YEAR, *kept, **more)]},
            "as_usual": {"by_year": [summer(YEAR - 1, 0, 0, 0, 0, 0), summer(YEAR, *usual, **more)]},
        }
    }


def laid(answer, *quadrats, year=YEAR, **how):
    found = found_on_forecast(answer, judge(question(survey(*quadrats, **how))), year)
    assert ForecastFound.model_validate(orjson.loads(orjson.dumps(found))) == ForecastFound.model_validate(found)
    return found


def test_a_mean_lies_in_both_forecasts_of_its_summer():
    found = laid(stored(), *held(*[8] * 10))
    species = found["figures"][0]
    # an expert finds 0.97 of what an experienced recorder finds, at least 0.90
    assert species["found"] == 8.0
    assert species["adjusted"] == pytest.approx(8 / 0.97)
    # all alike: counting in whole kinds leaves 8 ± 2.26216 x sqrt(1/12) / sqrt(10)
    left = 2.26216 * (1 / 12 / 10) ** 0.5
    assert (species["found_low"], species["found_high"]) == pytest.approx((8 - left, 8 + left), abs=1e-4)
    assert (species["adjusted_low"], species["adjusted_high"]) == pytest.approx((8 - left, (8 + left) / 0.9), abs=1e-4)
    kept, usual = species["fans"]
    assert (kept["forecast"], kept["place"]) == ("if_kept", "in_half")
    assert kept["quantile"] == pytest.approx(0.5 + 0.25 * (8 / 0.97 - 8) / 2)
    assert (usual["forecast"], usual["place"]) == ("as_usual", "in_80")
    assert usual["quantile"] == pytest.approx(0.75 + 0.15 * (8 / 0.97 - 7) / 2)
    assert species["sentence"] == (
        "8.0 kinds in a quadrat, about 8.2 (7.8 to 9.1) once it is allowed for what was overlooked, lie within the "
        "middle half of what was forecast if the plan is kept and within eight in ten but outside the middle half of "
        "what was forecast as groups usually manage."
    )


@pytest.mark.parametrize(
    ("grade", "place", "least", "most"),
    [
        # 5 kinds: 5 / 0.97; 5 / 0.9; 5 / 0.75 = 6.7 and 5 / 0.6 = 8.3; 5 / 0.55 = 9.1 and 5 / 0.4 = 12.5
        ("expert", "in_80", "in_80", "in_80"),
        ("knows_most", "in_80", "in_80", "in_half"),
        ("knows_common", "in_half", "in_80", "in_half"),
        ("learning", "in_half", "in_half", "in_80"),
    ],
)
def test_what_a_grade_overlooks_moves_the_finding(grade, place, least, most):
    found = laid(stored(), *held(*[5] * 10), grade=grade)
    kept = found["figures"][0]["fans"][0]
    assert (kept["place"], kept["place_if_least_was_overlooked"], kept["place_if_most_was_overlooked"]) == (
        place, least, most,
    )  # fmt: skip
    assert found["grade"] == grade
    assert found["detection_confidence"] == "from memory"
    assert "experienced recorder" in found["assumed_of_forecast"]


@pytest.mark.parametrize(("kinds", "place", "quantile"), [(1, "below", None), (10, "above", None)])
def test_outside_eight_in_ten_no_quantile_can_be_told(kinds, place, quantile):
    found = laid(stored(kept=(4, 5, 6, 7, 8)), *held(*[kinds] * 10))
    assert (found["figures"][0]["fans"][0]["place"], found["figures"][0]["fans"][0]["quantile"]) == (place, quantile)


def test_sown_kinds_and_rattle_are_laid_beside_theirs():
    answer = stored(sown=(1, 3, 5), rattle=(0, 10, 30))
    found = laid(answer, *held(*[9] * 10, rattle_plants=20), sown_taxa=["leucanthemum_vulgare", "rhinanthus_minor"])
    assert [figure["figure"] for figure in found["figures"]] == [
        "species_per_quadrat", "sown_species_per_quadrat", "rattle_plants_per_m2",
    ]  # fmt: skip
    sown, rattle = found["figures"][1:]
    assert (sown["found"], sown["fans"][0]["place"], sown["fans"][0]["p25"]) == (2.0, "in_80", None)
    # plants that were counted were not overlooked
    assert (rattle["found"], rattle["adjusted"]) == (20.0, 20.0)
    assert rattle["fans"][0]["quantile"] == pytest.approx(0.7)


def test_a_forecast_without_rattle_has_no_place_for_it():
    found = laid(stored(), *held(*[9] * 10, rattle_plants=20))
    assert [figure["figure"] for figure in found["figures"]] == ["species_per_quadrat"]


@pytest.mark.parametrize(
    ("area", "quadrats", "year", "why"),
    [
        (1.0, held(5, 5), 2031, "The forecast runs from 2027 to 2028; the survey is of 2031."),
        (1.0, [], YEAR, "No quadrat was looked at; the forecast is of kinds in a quadrat."),
        (4.0, held(5, 5), YEAR, "The forecast is of quadrats of 4 m², the survey of 1 m²."),
    ],
)
def test_what_cannot_be_compared_says_why(area, quadrats, year, why):
    found = laid(stored(area), *quadrats, year=year)
    assert (found["comparable"], found["why_not"], found["figures"]) == (False, why, [])


def test_one_quadrat_is_laid_at_its_own_figure():
    species = laid(stored(), quadrat("briza_media"))["figures"][0]
    assert (species["found"], species["adjusted_low"]) == (1.0, 1.0)


def test_the_model_overlooks_slow_plants_out_of_flower_and_nothing_else():
    # what `assumed_of_forecast` says: the row that the forecasts use, "an experienced recorder"
    rows = [row for row in parameters().rows("establishment") if row.quantity == "seen_without_flower_share"]
    assert {row.subject for row in rows} == {"slow", "slow_grass"}
    assert all("an experienced recorder" in row.note for row in rows)
    assert {row.middle for row in rows} == {0.35}


def test_an_estimate_as_it_is_stored_can_be_laid_beside():
    asked = services.read_estimate({**orjson.loads((WORKED_EXAMPLES / "churchyard.json").read_bytes()), "draws": 500})
    answer = orjson.loads(services.canonical_text(services.estimate_now(asked, today=date(2026, 7, 1))))
    summers = answer["establishment"]["if_kept"]["by_year"]
    found = laid(answer, *held(*[9] * 10), year=summers[1]["calendar_year"])
    assert found["comparable"]
    assert found["figures"][0]["fans"][0]["p50"] == summers[1]["species_per_m2"]["p50"]
