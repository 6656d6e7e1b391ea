"""Scores on one scale, against published analyses, against whole matrices, and against what anybody can see."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from modelling.core.scores import LOG_RATIOS, calibrate

# Davies and Goldsmith 1972, Statistical Methods in Research and Production: yield of dyestuff, six batches of five.
DYESTUFF = [
    [1545, 1440, 1440, 1520, 1580],
    [1540, 1555, 1490, 1560, 1495],
    [1595, 1550, 1605, 1510, 1560],
    [1445, 1440, 1595, 1465, 1545],
    [1595, 1630, 1515, 1635, 1625],
    [1520, 1455, 1450, 1480, 1445],
]


def test_dyestuff_has_the_variances_of_its_analysis_of_variance():
    # mean squares within and between batches 2451.25 and 11271.5, so between batches (11271.5 - 2451.25) / 5 = 1764.05;
    # with as many scores in each batch restricted maximum likelihood is the same
    batches = np.repeat(np.arange(6), 5)
    found = calibrate(np.zeros(30, dtype=int), batches, np.array(DYESTUFF, dtype=float).ravel(), 1.0)

    assert found.adjusted == pytest.approx([1527.5])
    assert found.noise_sd**2 == pytest.approx(2451.25, rel=1e-4)
    assert found.leniency_sd**2 == pytest.approx(1764.05, rel=1e-3)
    # a balanced batch is drawn to the mean by n / (n + ratio)
    means = np.array(DYESTUFF).mean(axis=1) - 1527.5
    assert found.leniency == pytest.approx(means * 5 / (5 + 2451.25 / 1764.05), rel=1e-3)


def by_matrices(bids, assessors, scores, ratio):
    """Generalised least squares with whole matrices: bids fixed, assessors with variance 1/ratio, noise 1."""
    x = np.eye(bids.max() + 1)[bids]
    z = np.eye(assessors.max() + 1)[assessors]
    v = np.eye(scores.size) + z @ z.T / ratio
    weight = np.linalg.inv(v)
    covariance = np.linalg.inv(x.T @ weight @ x)
    beta = covariance @ x.T @ weight @ scores
    rest = scores - x @ beta
    free = scores.size - x.shape[1]
    noise = float(rest @ weight @ rest) / free if free else np.nan
    leniency = z.T @ weight @ rest / ratio
    log_likelihood = np.nan
    # scores that fit to the last digit leave no noise to judge by
    if free and noise > 0:
        sizes = np.linalg.slogdet(v)[1] + np.linalg.slogdet(x.T @ weight @ x)[1]
        log_likelihood = -0.5 * (free * np.log(noise) + sizes)
    return beta, leniency, covariance, noise, log_likelihood


def made(seed, bids=12, assessors=5, each=3, leniency=8.0, noise=4.0):
    rng = np.random.Generator(np.random.PCG64(seed))
    worth, own = rng.normal(60, 12, bids), rng.normal(0, leniency, assessors)
    of_bid = np.repeat(np.arange(bids), each)
    of_assessor = np.concatenate([(np.arange(each) + i) % assessors for i in range(bids)])
    return of_bid, of_assessor, worth[of_bid] + own[of_assessor] + rng.normal(0, noise, of_bid.size), worth


@pytest.mark.parametrize("seed", range(6))
def test_an_incomplete_table_against_whole_matrices(seed):
    bids, assessors, scores, _ = made(seed)
    found = calibrate(bids, assessors, scores, 1.0)
    ratio = (found.noise_sd / found.leniency_sd) ** 2

    beta, leniency, covariance, noise, best = by_matrices(bids, assessors, scores, ratio)

    assert found.adjusted == pytest.approx(beta)
    assert found.leniency == pytest.approx(leniency)
    assert found.variances == pytest.approx(covariance)
    assert found.noise_sd**2 == pytest.approx(noise)
    # no other ratio is likelier
    for log_ratio in np.linspace(*LOG_RATIOS, 97):
        assert by_matrices(bids, assessors, scores, np.exp(log_ratio))[-1] <= best + 1e-5


def test_an_incomplete_table_against_another_program():
    # statsmodels 0.15, MixedLM(scores, indicators of bids, groups=assessors).fit(reml=True), by table of `made`
    for seed, noise, leniency in ((0, 7.76491, 55.7592), (1, 18.3285, 10.2445), (2, 22.5122, 11.3971)):
        bids, assessors, scores, _ = made(seed)
        found = calibrate(bids, assessors, scores, 1.0)

        assert found.noise_sd**2 == pytest.approx(noise, rel=1e-4)
        assert found.leniency_sd**2 == pytest.approx(leniency, rel=1e-3)


@given(
    table=st.lists(
        st.tuples(st.integers(0, 4), st.integers(0, 3), st.integers(0, 100)), min_size=1, max_size=16,
        unique_by=lambda entry: entry[:2],
    )
)  # fmt: skip
def test_any_table_is_answered_with_finite_figures(table):
    bids = np.unique([entry[0] for entry in table], return_inverse=True)[1]
    assessors = np.unique([entry[1] for entry in table], return_inverse=True)[1]
    scores = np.array([entry[2] for entry in table], dtype=float)

    found = calibrate(bids, assessors, scores, 1.0)

    for values in (found.means, found.adjusted, found.leniency, found.variances):
        assert np.isfinite(values).all()
    if found.noise_sd is None:
        beta, leniency, *_ = by_matrices(bids, assessors, scores, 1.0)
        assert found.adjusted == pytest.approx(beta)
        assert found.leniency == pytest.approx(leniency, abs=1e-9)


def test_where_everybody_scored_everything_nothing_is_adjusted():
    rng = np.random.Generator(np.random.PCG64(3))
    bids, assessors = np.repeat(np.arange(6), 4), np.tile(np.arange(4), 6)
    found = calibrate(bids, assessors, rng.normal(50, 10, 24), 1.0)

    assert found.adjusted == pytest.approx(found.means)
    assert found.leniency.sum() == pytest.approx(0, abs=1e-9)


def test_calibration_brings_the_scores_nearer_to_what_the_bids_are_worth():
    raw, better = [], []
    for seed in range(40):
        bids, assessors, scores, worth = made(seed, bids=20)
        found = calibrate(bids, assessors, scores, 1.0)
        for values, errors in ((found.means, raw), (found.adjusted, better)):
            gap = values - worth
            errors.append(float(np.var(gap)))

    assert np.mean(better) < 0.6 * np.mean(raw)


def test_bids_without_an_assessor_in_common_are_never_told_apart():
    # a and b by the first two assessors, c by two others: 90 against 10 may be two worlds of leniency
    bids = np.array([0, 0, 1, 1, 2, 2])
    assessors = np.array([0, 1, 0, 1, 2, 3])
    found = calibrate(bids, assessors, np.array([90.0, 91.0, 60.0, 62.0, 10.0, 12.0]), 1.0)

    assert found.parts.tolist() == [0, 0, 1]
    assert found.told_apart(0, 1, 1.96)
    assert not found.told_apart(0, 2, 1.96)


def test_one_score_each_tells_nothing():
    found = calibrate(np.array([0, 1, 2]), np.array([0, 1, 1]), np.array([90.0, 50.0, 10.0]), 1.0)

    assert found.noise_sd is None
    assert found.difference(0, 1)[1] is None
    assert not found.told_apart(1, 2, 1.96)


def test_intervals_hold_about_as_often_as_they_say():
    held = 0
    for seed in range(200):
        bids, assessors, scores, worth = made(seed, bids=15)
        found = calibrate(bids, assessors, scores, 1.0)
        gap, error = found.difference(0, 7)
        held += abs(gap - (worth[0] - worth[7])) <= 1.96 * error

    # 190 of 200 expected; four standard deviations below are 178
    assert held >= 178
