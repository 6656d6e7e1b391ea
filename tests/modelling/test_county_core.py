"""Figures of many meadows against a slow reference, statsmodels and by hand."""

import math
from fractions import Fraction

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from modelling.core.county import (
    Observation,
    SiteSums,
    adjusted,
    area_weighted,
    as_failed,
    between_sd,
    site_as_unit,
    within_sd,
)

CONFIDENCE = 0.95
COUNTS = st.lists(st.integers(0, 30), min_size=1, max_size=8)
SITES = st.lists(st.tuples(st.integers(1, 50_000), COUNTS), min_size=2, max_size=12)


def sums(area, counts):
    return SiteSums(float(area), len(counts), float(sum(counts)), float(sum(c * c for c in counts)))


def close(found, wanted):
    assert math.isclose(found, wanted, rel_tol=1e-9, abs_tol=1e-9), (found, wanted)


@given(SITES)
@settings(deadline=None)
def test_sites_as_units_are_a_t_test_of_their_means(sites):
    found = site_as_unit([sums(*site) for site in sites], CONFIDENCE)
    means = [float(Fraction(sum(counts), len(counts))) for _, counts in sites]
    close(found.estimate, np.mean(means))
    # SciPy's own interval of a mean
    se = float(stats.sem(means))
    close(found.se, se)
    close(found.high - found.estimate, stats.t.ppf(0.975, len(means) - 1) * se)


@given(SITES)
@settings(deadline=None)
def test_the_area_weighted_mean_is_a_weighted_regression_with_each_site_a_cluster(sites):
    """WLS on a constant with HC1 errors is the same linearised ratio: statsmodels is the authority."""
    found = area_weighted([sums(*site) for site in sites], CONFIDENCE)
    means = np.array([sum(counts) / len(counts) for _, counts in sites])
    areas = np.array([float(area) for area, _ in sites])
    whole = areas / areas.sum() * len(areas)
    fit = sm.WLS(means, np.ones(len(means)), weights=whole).fit(cov_type="HC1", use_t=True)
    close(found.estimate, fit.params[0])
    assert math.isclose(found.se, fit.bse[0], rel_tol=1e-7, abs_tol=1e-7)
    low, high = fit.conf_int()[0]
    assert math.isclose(found.low, low, rel_tol=1e-6, abs_tol=1e-6)
    assert math.isclose(found.high, high, rel_tol=1e-6, abs_tol=1e-6)


@given(SITES, st.randoms())
@settings(deadline=None)
def test_the_order_of_sites_is_nothing(sites, dice):
    rows = [sums(*site) for site in sites]
    mixed = list(rows)
    dice.shuffle(mixed)
    assert area_weighted(rows, CONFIDENCE) == area_weighted(mixed, CONFIDENCE)
    assert site_as_unit(rows, CONFIDENCE) == site_as_unit(mixed, CONFIDENCE)


@given(SITES)
@settings(deadline=None)
def test_the_spread_inside_and_between_sites(sites):
    """The pooled variance is the residual mean square of a one-way analysis, worked out in fractions."""
    rows = [sums(*site) for site in sites]
    left = Fraction(0)
    for _, counts in sites:
        mean = Fraction(sum(counts), len(counts))
        left += sum((count - mean) ** 2 for count in counts)
    df = sum(len(counts) - 1 for _, counts in sites)
    if df:
        assert math.isclose(within_sd(rows), math.sqrt(left / df), rel_tol=1e-6, abs_tol=1e-6)
    else:
        assert within_sd(rows) is None
    close(between_sd(rows), np.std([row.mean for row in rows], ddof=1))


def test_more_quadrats_in_a_site_make_nothing_surer_than_the_sites_are():
    few = [sums(100, [8, 10]), sums(100, [14, 16])]
    many = [sums(100, [8, 10] * 50), sums(100, [14, 16] * 50)]
    assert site_as_unit(few, CONFIDENCE) == site_as_unit(many, CONFIDENCE)
    assert area_weighted(few, CONFIDENCE) == area_weighted(many, CONFIDENCE)


def test_one_site_has_no_interval_and_none_has_no_estimate():
    one = [sums(100, [9, 11])]
    for estimate in (site_as_unit, area_weighted):
        found = estimate(one, CONFIDENCE)
        assert (found.estimate, found.se, found.low, found.high, found.sites) == (10.0, None, None, None, 1)
        assert estimate([], CONFIDENCE) is None
    assert between_sd(one) is None


def test_missing_meadows_that_held_nothing():
    # by hand: 12 kinds in three of four meadows and none in the fourth
    assert as_failed(12.0, 3, 1) == 9.0


def meadows(seed, n=60):
    """Invented meadows: two or three summers each, the way going with the soil as it does when people choose."""
    dice = np.random.Generator(np.random.PCG64(seed))
    rows = []
    for site in range(n):
        soil = str(dice.integers(0, 4))
        way = ["scarified", "stripped", "sheeted"][int(min(2, dice.integers(0, 2) + int(soil) // 2))]
        sward = ["rank_grass", "lawn"][int(dice.integers(0, 2))]
        own = dice.normal()
        for age in range(1, int(dice.integers(2, 5))):
            found = 9 + 0.7 * age - 0.8 * int(soil) + 2.0 * (way == "stripped") + own + dice.normal()
            rows.append(Observation(site, float(found), way, float(age), {"soil": soil, "sward": sward}))
    return rows


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_adjusted_ways_are_those_of_statsmodels(seed):
    """OLS with `cov_type="cluster"` and its small-sample correction, and predictions at the means of the others."""
    rows = meadows(seed)
    found = adjusted(rows, CONFIDENCE)
    ways = sorted({row.way for row in rows})
    soils, swards = sorted({row.ground["soil"] for row in rows}), sorted({row.ground["sward"] for row in rows})
    of_way = np.array([[float(row.way == way) for way in ways] for row in rows])
    rest = np.array(
        [
            [row.age, *(float(row.ground["soil"] == s) for s in soils[1:]),
             *(float(row.ground["sward"] == s) for s in swards[1:])]
            for row in rows
        ]
    )  # fmt: skip
    fit = sm.OLS([row.found for row in rows], np.hstack([of_way, rest])).fit(
        cov_type="cluster", cov_kwds={"groups": [row.site for row in rows]}, use_t=True
    )
    assert [level.way for level in found.levels] == ways
    for number, level in enumerate(found.levels):
        at = np.hstack([np.eye(len(ways))[number], rest.mean(axis=0)])
        told = fit.t_test(at)
        assert math.isclose(level.estimate.estimate, float(np.squeeze(told.effect)), rel_tol=1e-8)
        assert math.isclose(level.estimate.se, float(np.squeeze(told.sd)), rel_tol=1e-8)
        low, high = np.squeeze(told.conf_int(alpha=1 - CONFIDENCE))
        assert math.isclose(level.estimate.low, low, rel_tol=1e-8)
        assert math.isclose(level.estimate.high, high, rel_tol=1e-8)
    assert (found.summers, found.sites, found.columns) == (len(rows), 60, fit.df_model + 1)
    assert found.not_separable == ()


def test_what_cannot_be_told_apart_from_a_way_is_named():
    rows = [
        Observation(site, 5.0 + site % 3 + 4.0 * (site % 2), "stripped" if site % 2 else "scarified", float(site % 4),
                    {"soil": "1" if site % 2 else "3"})
        for site in range(24)
    ]  # fmt: skip
    found = adjusted(rows, CONFIDENCE)
    assert found.not_separable == ("soil 3",)
    assert "soil 3" not in found.allowed_for


def test_one_way_or_too_few_sites_compare_nothing():
    assert adjusted([], CONFIDENCE) is None
    assert adjusted(meadows(1)[:3], CONFIDENCE) is None
    alone = [row for row in meadows(1) if row.way == "stripped"]
    assert adjusted(alone, CONFIDENCE) is None


def test_the_order_of_summers_is_nothing():
    rows = meadows(4)
    assert adjusted(rows, CONFIDENCE) == adjusted(rows[::-1], CONFIDENCE)
