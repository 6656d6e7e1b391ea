"""Every figure of a survey against outside values; each row names where its value comes from."""

import numpy as np
import pytest

from modelling.core.outcomes import diversity, ellenberg, frequency, intervals, similarity
from tests.core.conftest import worked_examples

SPECIES = np.array([12, 15, 9, 14, 17, 11, 13, 16, 10, 13], dtype=float)


def numbers(text):
    return np.array([float(x) for x in text.split()])


def pair(text):
    return tuple(numbers(part) for part in text.split("|"))


def kinds(values):
    return {str(i) for i, x in enumerate(values) if x > 0}


def amounts(values):
    return {str(i): float(x) for i, x in enumerate(values)}


def pool_of(text):
    held, n = pair(text)
    return diversity.pool(held.astype(np.int64), int(n[0]))


WORKED_OUT = {
    "bray_curtis_unlikeness": lambda t: 1 - similarity.bray_curtis(*map(amounts, pair(t))),
    "jaccard": lambda t: similarity.jaccard(*map(kinds, pair(t))),
    "sorensen": lambda t: similarity.sorensen(*map(kinds, pair(t))),
    "shannon": lambda t: diversity.shannon(numbers(t)),
    "simpson": lambda t: diversity.simpson(numbers(t)),
    "simpson_sum": lambda t: diversity.simpson_sum(numbers(t)),
    "simpson_unbiased": lambda t: diversity.simpson_unbiased(numbers(t)),
    "evenness": lambda t: diversity.evenness(numbers(t)),
    "hill_0": lambda t: diversity.hill(numbers(t), 0),
    "hill_1": lambda t: diversity.hill(numbers(t), 1),
    "hill_2": lambda t: diversity.hill(numbers(t), 2),
    "pool_seen": lambda t: pool_of(t).seen,
    "pool_chao2": lambda t: pool_of(t).chao2,
    "pool_chao2_bias_corrected": lambda t: pool_of(t).chao2_bias_corrected,
    "pool_jackknife_1": lambda t: pool_of(t).jackknife_1,
    "mean": lambda t: intervals.mean_interval(numbers(t), 0.95).mean,
    "sd": lambda t: intervals.mean_interval(numbers(t), 0.95).sd,
    "se": lambda t: intervals.mean_interval(numbers(t), 0.95).se,
    "low": lambda t: intervals.mean_interval(numbers(t), 0.95).low,
    "high": lambda t: intervals.mean_interval(numbers(t), 0.95).high,
    "se_of_40": lambda t: intervals.mean_interval(numbers(t), 0.95, possible=40).se,
    "wilson_low": lambda t: intervals.wilson(*map(int, numbers(t)), 0.95).low,
    "wilson_high": lambda t: intervals.wilson(*map(int, numbers(t)), 0.95).high,
    "quadrats_for": lambda t: intervals.quadrats_for_half_width(*numbers(t), 0.95),
    "quadrats_for_of_60": lambda t: intervals.quadrats_for_half_width(*numbers(t), 0.95, possible=60),
    "quadrats_for_change": lambda t: intervals.quadrats_for_change(*numbers(t), 0.95, 0.8, paired=False),
    "quadrats_for_change_paired": lambda t: intervals.quadrats_for_change(*numbers(t), 0.95, 0.8, paired=True),
    "chance_frequent": lambda t: frequency.chance_of_class(*map(int, numbers(t)[:2]), numbers(t)[2]),
}
ROWS = worked_examples("outcome_statistics")


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['quantity']} {row['input'][:24]}")
def test_the_figure_is_the_published_one(row):
    found = WORKED_OUT[row["quantity"]](row["input"])
    assert found == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]) + 1e-12)


def test_every_way_to_a_figure_has_a_published_value():
    assert {row["quantity"] for row in ROWS} == set(WORKED_OUT)


def test_mean_ellenberg_n_of_six_plants(parameters):
    # values: Hill and others 1999, PLANTATT 2004; means by hand: 24 / 6 and 305 / 75
    slugs = (
        "plantago_lanceolata", "trifolium_pratense", "agrostis_capillaris", "linum_catharticum",
        "pimpinella_saxifraga", "cirsium_arvense",
    )  # fmt: skip
    values = ellenberg.values_of(parameters, slugs)
    assert values.tolist() == [4, 5, 4, 2, 3, 6]
    found = ellenberg.mean_n(values, numbers("20 10 30 5 5 5") / 100)
    assert found.unweighted == pytest.approx(4.000, abs=1e-4)
    assert found.by_cover == pytest.approx(4.0667, abs=1e-4)
    assert (found.kinds_used, found.kinds, found.cover_used_share) == (6, 6, 1.0)


def test_ellenberg_n_tells_how_much_cover_it_rests_on(parameters):
    # Bromus hordeaceus has no British value in the table
    values = ellenberg.values_of(parameters, ("trifolium_pratense", "bromus_hordeaceus"))
    found = ellenberg.mean_n(values, numbers("0.1 0.3"))
    assert (found.unweighted, found.by_cover, found.kinds_used, found.kinds) == (5, 5, 1, 2)
    assert found.cover_used_share == pytest.approx(0.25)


def test_the_british_values_agree_with_those_that_the_forecasts_use(parameters):
    both = {
        row.subject: (row.middle, other.middle)
        for row in parameters.rows("british_ellenberg")
        if (other := parameters.find("taxon_values", row.subject, "ellenberg_n"))
    }
    assert len(both) > 30
    assert [name for name, (one, other) in both.items() if one != other] == []


def test_the_half_width_by_t_is_kept_and_one_quadrat_fewer_would_not():
    n = intervals.quadrats_by_t(2.6, 1, 0.95)
    # t iteration of the same formula: 2.6 x 2.048 / sqrt(29) is under 1; with 28, 2.6 x 2.052 / sqrt(28) is over
    assert n == 29
    assert intervals.t_value(0.95, 28) * 2.6 / 29**0.5 <= 1 < intervals.t_value(0.95, 27) * 2.6 / 28**0.5


def test_the_smallest_change_turns_the_number_of_quadrats_round():
    # 27 quadrats see a change of 2 kinds at a standard deviation of 2.58, 26 do not
    smallest = [intervals.smallest_change(2.58, n, 0.95, 0.8, paired=False) for n in (26, 27)]
    assert smallest[1] <= 2 < smallest[0]
    pairs = [intervals.smallest_change(2.58, n, 0.95, 0.8, paired=True) for n in (13, 14)]
    assert pairs[1] <= 2 < pairs[0]


def test_the_bootstrap_of_the_mean_is_near_the_interval_by_t():
    found = intervals.bootstrap_mean(SPECIES, 0.95, 4000, 1)
    # normal theory with n for n - 1: 13 +- 1.96 x 2.44949 / sqrt(10), give or take resampling error
    assert found.low == pytest.approx(13 - 1.518, abs=0.12)
    assert found.high == pytest.approx(13 + 1.518, abs=0.12)
    assert found == intervals.bootstrap_mean(SPECIES[::-1], 0.95, 4000, 1)
    uneven = np.sqrt(SPECIES)
    assert intervals.bootstrap_mean(uneven, 0.95, 500, 1) != intervals.bootstrap_mean(uneven, 0.95, 500, 2)
