"""Counting a sack, against printed values and against other programs.

Sources: Garwood 1936 as printed by statistics pages and computed by R's poisson.test; Elias and others 2012 (H and R
tests, read in part; that the part is of this book is remembered); scipy for the chi-squared test and the gamma.
"""

import numpy as np
import pytest
from scipy.stats import chi2_contingency, chisquare, gamma

from modelling.core import seed_counts, viability
from modelling.core.sampling import stream

# Elias and others 2012, page 322: purity per cent of 20 samples of a chaffy lot, of a thousand seeds each
ELIAS_PURITY = (
    99.4, 99.9, 99.6, 98.7, 99.5, 99.6, 98.9, 98.9, 99.0, 99.3, 98.5, 99.4, 99.6, 99.5, 99.1, 98.2, 99.2, 99.9, 99.8,
    99.5,
)  # fmt: skip


@pytest.mark.parametrize(
    ("count", "confidence", "low", "high"),
    [
        # printed for a count of 25, citing Garwood 1936
        (25, 0.90, 17.38, 34.92),
        (25, 0.95, 16.18, 36.90),
        (25, 0.99, 14.00, 41.00),
        # R's poisson.test
        (0, 0.95, 0.0, 3.68888),
        (1, 0.95, 0.0253178, 5.571643),
        (2, 0.95, 0.2422093, 7.224688),
        (3, 0.90, 0.8177, 7.7537),
        (5, 0.90, 1.9701, 10.513),
    ],
)
def test_garwood_limits_as_printed(count, confidence, low, high):
    assert seed_counts.garwood(count, confidence) == pytest.approx((low, high), abs=0.005)


def test_the_sack_of_six_pinches():
    """Counts 12 9 15 11 14 10 in one gram each: arithmetic of the exact limits, 71 seeds in 6 g."""
    limits = seed_counts.exact_limits(71, 6.0, 0.95)
    assert (round(limits.low, 1), round(limits.mean, 1), round(limits.high, 1)) == (9.2, 11.8, 14.9)
    whole = seed_counts.in_sack(limits, 71, 6.0, 18_400.0)
    assert round(whole.low, -3) == 170_000
    assert round(whole.high, -3) == 275_000


def test_h_of_a_chaffy_lot_as_printed():
    """Elias and others 2012, page 322: V 0.2125, W 0.0864 with the allowance left out, H 1.26, greatest 1.09."""
    purity = np.array(ELIAS_PURITY)
    by_chance = purity.mean() * (100 - purity.mean()) / 1000 * 1.2
    h = seed_counts.h_of(purity.var(ddof=1), by_chance / 1.2, 1.2, 20, 0.99)
    assert purity.mean() == pytest.approx(99.275)
    assert purity.var(ddof=1) == pytest.approx(0.2125, abs=5e-4)
    # the printed W, 0.0864, is that with the allowance; the printed H follows from it
    assert by_chance == pytest.approx(0.0864, abs=5e-5)
    assert purity.var(ddof=1) / by_chance - 1.2 == pytest.approx(1.26, abs=0.005)
    assert h.most == pytest.approx(1.09, abs=0.005)
    assert h.uneven


@pytest.mark.parametrize(
    ("samples", "allowance", "printed"),
    # Elias and others 2012, table of greatest H values: other seeds, seed that flows 1.4 and chaffy 2.2
    [(5, 1.4, 3.247), (6, 1.4, 2.824), (7, 2.2, 3.964), (8, 2.2, 3.607), (5, 2.2, 5.102)],
)
def test_greatest_h_as_printed(samples, allowance, printed):
    assert seed_counts.h_of(1.0, 1.0, allowance, samples, 0.99).most == pytest.approx(printed, abs=0.0006)


def test_r_tolerated_as_printed():
    """Elias and others 2012, page 323: germination of mean 90, 100 seeds a sample, 15 samples: 17 is tolerated.

    The printed table has one column for 10 to 19 samples, which is that of 10.
    """
    tolerated = seed_counts.r_tolerated(90 * 10 / 100, 1.1, 10, 0.99)
    assert tolerated == pytest.approx(16.22, abs=0.01)
    assert np.ceil(tolerated) == 17


@pytest.mark.parametrize(
    ("purity", "five", "ten", "twenty"),
    # the same handbook's table of ranges of purity, per cent, before its rounding up, 1,000 seeds a sample
    [(99.9, 0.483, 0.541, 0.592), (99.8, 0.682, 0.764, 0.836), (99.6, 0.964, 1.079, 1.182)],
)
def test_r_tolerated_of_purity(purity, five, ten, twenty):
    by_chance = purity * (100 - purity) / 1000
    for samples, printed in ((5, five), (10, ten), (20, twenty)):
        assert seed_counts.r_tolerated(by_chance, 1.1, samples, 0.99) == pytest.approx(printed, abs=0.001)


def test_h_and_r_of_counts_take_the_mean_count_as_chance():
    counts = np.array([12.0, 9, 15, 11, 14, 10])
    h = seed_counts.h_value(counts, 2.2, 0.99)
    assert h.value == pytest.approx(counts.var(ddof=1) / counts.mean() - 2.2)
    r = seed_counts.r_value(counts, 2.2, 0.99)
    assert r.value == 6
    assert not h.uneven
    assert not r.uneven


@pytest.mark.parametrize("counts", [[12, 9, 15, 11, 14, 10], [12, 9, 15, 11, 14, 10, 41], [0, 3, 0, 1]])
@pytest.mark.parametrize("grams", [1.0, 0.2])
def test_dispersion_is_the_chi_squared_test_of_scipy(counts, grams):
    counts = np.array(counts, dtype=float)
    test = seed_counts.dispersion(counts, np.full(len(counts), grams))
    expected = chisquare(counts)
    assert test.chi_squared == pytest.approx(expected.statistic)
    assert test.p == pytest.approx(expected.pvalue)


def test_dispersion_of_unequal_samples_is_a_table_of_seeds_and_grams():
    counts, grams = np.array([4.0, 9, 2]), np.array([1.0, 2.0, 0.5])
    test = seed_counts.dispersion(counts, grams)
    # a contingency table against so much inert stuff that its own chance vanishes
    table = np.array([counts, grams * 1e9])
    assert test.chi_squared == pytest.approx(chi2_contingency(table).statistic, rel=1e-6)


def test_nothing_is_said_of_mixing_where_nothing_can_be():
    assert seed_counts.dispersion(np.array([5.0]), np.array([1.0])) is None
    assert seed_counts.dispersion(np.zeros(4), np.ones(4)) is None
    assert seed_counts.h_value(np.zeros(4), 1.4, 0.99) is None
    assert seed_counts.r_value(np.array([3.0]), 1.4, 0.99) is None


def test_with_no_room_for_clumps_the_posterior_is_the_gamma():
    counts, grams = np.array([12.0, 9, 15, 11, 14, 10]), np.ones(6)
    posterior = seed_counts.clumped(counts, grams, 1e-9)
    for share in (0.05, 0.5, 0.95):
        assert posterior.quantile(share) == pytest.approx(gamma.ppf(share, 71.5, scale=1 / 6), rel=0.005)
    u = np.array([0.05, 0.5, 0.95])
    assert seed_counts.well_mixed(71, 6.0, u) == pytest.approx(gamma.ppf(u, 71.5, scale=1 / 6))


def test_allowing_for_clumps_only_widens_and_a_wild_sample_widens_much():
    calm = seed_counts.clumped(np.array([12.0, 9, 15, 11, 14, 10]), np.ones(6), 1.0).limits(11.8, 0.9, none_seen=False)
    exact = seed_counts.exact_limits(71, 6.0, 0.9)
    assert calm.low < exact.low
    assert calm.high > exact.high
    wild = seed_counts.clumped(np.array([12.0, 9, 15, 11, 14, 10, 41]), np.ones(7), 1.0)
    assert wild.limits(16, 0.9, none_seen=False).high - wild.limits(16, 0.9, none_seen=False).low > 2 * (
        calm.high - calm.low
    )


def test_how_often_the_limits_hold():
    """A small part of the grid, with seeds of its own; `tests.benchmarks.seed_counts` goes through the whole."""
    rng = stream(20261125, "coverage")
    held = {}
    for mean, k, samples in [(1, 1, 3), (3, 3, 6), (12, 1, 10), (12, None, 6)]:
        hits = 0
        for _ in range(300):
            rates = np.full(samples, float(mean)) if k is None else rng.gamma(k, mean / k, samples)
            counts = rng.poisson(rates).astype(float)
            posterior = seed_counts.clumped(counts, np.ones(samples), 1.0)
            limits = posterior.limits(counts.mean(), 0.9, none_seen=not counts.sum())
            hits += limits.low <= mean <= limits.high
        held[mean, k, samples] = hits / 300
    assert min(held.values()) >= 0.86, held
    assert 0.88 <= np.mean(list(held.values())) <= 0.98, held


@pytest.mark.parametrize("precision", [0.1, 0.2, 0.3])
def test_so_many_grams_more_give_the_precision(precision):
    grams = np.ones(6)
    more = seed_counts.grams_more(11.8, grams, 0.0, precision, 0.9)
    seeds = 11.8 * (6 + more)
    low, high = seed_counts.garwood(round(seeds), 0.9)
    reached = (high - low) / 2 / seeds
    assert reached <= precision * 1.06
    if more:
        assert reached > precision * 0.9


def test_a_sack_counted_to_the_last_gram_holds_what_was_counted():
    limits = seed_counts.exact_limits(40, 5.0, 0.95)
    whole = seed_counts.in_sack(limits, 40, 5.0, 5.0)
    assert (whole.low, whole.mean, whole.high) == (40, 40, 40)


# ------------------------------------------------------------------ alive


def test_a_germination_test_moves_what_is_usual():
    # Fernandez-Pascual and others 2022, accession K_97042: 40 of 40 chilled rattle seeds germinated, 0 of 50 unchilled
    usual = viability.usual(0.7, 8)
    assert usual.mean == pytest.approx(0.7)
    assert viability.tested(usual, 40, 40).mean == pytest.approx((0.7 * 8 + 40) / 48)
    assert viability.tested(usual, 0, 50).mean < 0.1
    u = np.linspace(0.01, 0.99, 99)
    draws = viability.tested(usual, 40, 40).draws(u)
    assert np.all(np.diff(draws) > 0)
    assert 0 < draws[0] < draws[-1] < 1


def test_half_is_left_after_a_half_life():
    assert viability.aged(0.8, 1.0, np.array([1.0, 2.0])) == pytest.approx([0.4, 0.8 * 0.5**0.5])
