"""What must hold for every survey; the arrays against the plain slow way; and the surveys that are hardly any."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some

from modelling.core.outcomes import classes, diversity, frequency, intervals
from modelling.core.outcomes.found import stand_of
from modelling.core.outcomes.measures import Measures
from tests.core.conftest import shipped
from tests.core.outcomes.made import FORBS, accumulation_by_hand, pool_by_hand, square
from tests.core.test_properties import STEADY

QUADRATS = some.lists(some.sets(some.integers(0, 11)), max_size=8)
CONFIDENCE = 0.95


def squares_of(quadrats):
    return [square(*(FORBS[i] for i in sorted(quadrat))) for quadrat in quadrats]


def stand(quadrats):
    return stand_of(squares_of(quadrats), 1.0)


def everything(quadrats):
    """All figures of a survey that do not name its quadrats."""
    found = stand(quadrats)
    counts = found.counts.astype(float)
    measures = Measures(shipped(), found, {})
    return (
        sorted(found.counts.tolist()),
        [plant.key for plant in found.plants],
        diversity.pool(found.in_quadrats, found.n),
        diversity.accumulation(found.in_quadrats, found.n).tolist(),
        intervals.mean_interval(counts, CONFIDENCE),
        intervals.bootstrap_mean(counts, CONFIDENCE, 50, 1),
        frequency.frequencies(found.in_quadrats, found.n, CONFIDENCE),
        classes.verdicts(shipped(), measures.of),
    )


@STEADY
@given(QUADRATS, some.randoms(use_true_random=False))
def test_the_order_of_the_quadrats_is_nothing(quadrats, random):
    mixed = list(quadrats)
    random.shuffle(mixed)
    assert everything(mixed) == everything(quadrats)


@STEADY
@given(QUADRATS)
def test_a_plant_more_never_lowers_the_kinds(quadrats):
    more = [quadrat | {20} for quadrat in quadrats]
    one, other = stand(quadrats), stand(more)
    assert (other.counts - one.counts).tolist() == [1] * len(quadrats)
    assert len(other.plants) == len(one.plants) + bool(quadrats)


@STEADY
@given(QUADRATS.filter(bool))
def test_the_curve_rises_ever_slower_and_ends_at_all_kinds(quadrats):
    found = stand(quadrats)
    curve = diversity.accumulation(found.in_quadrats, found.n)
    steps = np.diff(np.concatenate([[0.0], curve]))
    assert (steps >= -1e-9).all()
    assert (np.diff(steps) <= 1e-9).all()
    assert curve[-1] == pytest.approx(len(found.plants))
    # the first point is the mean of the quadrats, as no group is among these plants
    assert curve[0] == pytest.approx(found.counts.mean())


@STEADY
@given(QUADRATS.filter(bool))
def test_arrays_agree_with_the_slow_way(quadrats):
    found = stand(quadrats)
    pool = diversity.pool(found.in_quadrats, found.n)
    for name, value in pool_by_hand(quadrats).items():
        assert getattr(pool, name) == pytest.approx(value, abs=1e-9), name
    curve = diversity.accumulation(found.in_quadrats, found.n)
    assert curve == pytest.approx(accumulation_by_hand(quadrats), abs=1e-9)


@STEADY
@given(some.lists(some.floats(0, 60), min_size=2, max_size=40), some.sampled_from([0.5, 0.9, 0.99]))
def test_intervals_hold_the_mean_and_widen_with_confidence(values, confidence):
    numbers = np.array(values)
    by_t = intervals.mean_interval(numbers, confidence)
    wider = intervals.mean_interval(numbers, (1 + confidence) / 2)
    resampled = intervals.bootstrap_mean(numbers, confidence, 200, 1)
    assert by_t.low <= by_t.mean <= by_t.high
    assert wider.low <= by_t.low <= by_t.high <= wider.high
    assert resampled.low <= resampled.middle <= resampled.high
    assert resampled.middle == by_t.mean
    # a meadow looked at whole has no doubt left, and a part of it less than an endless one
    assert intervals.mean_interval(numbers, confidence, len(values)).se == 0
    assert intervals.mean_interval(numbers, confidence, len(values) * 2).se <= by_t.se


@STEADY
@given(some.integers(1, 500), some.data())
def test_a_frequency_lies_in_its_interval_between_0_and_1(n, data):
    k = data.draw(some.integers(0, n))
    found = intervals.wilson(k, n, CONFIDENCE)
    assert 0 <= found.low <= found.middle == k / n <= found.high <= 1


@STEADY
@given(some.lists(some.floats(0.001, 1), min_size=1, max_size=30))
def test_diversity_lies_between_one_kind_and_all_of_them(covers):
    numbers = np.array(covers)
    orders = [diversity.hill(numbers, q) for q in (0, 1, 2)]
    assert orders == pytest.approx(sorted(orders, reverse=True))
    assert orders[0] == len(covers)
    assert orders[2] >= 1 - 1e-9
    assert diversity.hill(numbers * 0.5, 1) == pytest.approx(orders[1])


@STEADY
@given(some.integers(2, 60), some.floats(0.1, 10), some.booleans())
def test_more_quadrats_see_smaller_changes(n, sd, paired):
    how = {"confidence": CONFIDENCE, "power": 0.8, "paired": paired}
    smallest = [intervals.smallest_change(sd, m, **how) for m in (n, n + 1)]
    assert smallest[1] < smallest[0]
    assert intervals.quadrats_for_change(sd, smallest[0], **how) == n


# ------------------------------------------------------------------ hardly a survey


def test_no_quadrats_give_no_figures():
    found = stand([])
    assert found.n == 0
    assert diversity.pool(found.in_quadrats, 0) == diversity.Pool(0, 0, 0, 0, None, None, None, None, None)
    assert diversity.accumulation(found.in_quadrats, 0).tolist() == []
    assert intervals.mean_interval(np.zeros(0), CONFIDENCE) == intervals.Mean(0, None, None, None, None, None)
    assert intervals.bootstrap_mean(np.zeros(0), CONFIDENCE, 10, 1) is None
    assert intervals.wilson(0, 0, CONFIDENCE) is None
    assert diversity.shannon(np.zeros(0)) is None
    assert diversity.simpson(np.zeros(3)) is None
    assert diversity.hill(np.zeros(3), 0) == 0
    assert diversity.hill(np.zeros(3), 1) is None
    assert diversity.hill(np.zeros(3), 2) is None
    assert diversity.evenness(np.zeros(3)) is None
    assert diversity.simpson_unbiased(np.array([1.0])) is None


def test_one_quadrat_gives_its_kinds_and_no_interval():
    found = stand([{0, 1, 2}])
    # (n - 1) / n is 0: nothing can be said of what was missed; the bootstrap adds (1 - 1) ^ 1 = 0
    assert diversity.pool(found.in_quadrats, 1) == diversity.Pool(1, 3, 3, 0, 3.0, 3.0, 3.0, None, 3.0)
    assert diversity.accumulation(found.in_quadrats, 1).tolist() == [3]
    assert intervals.mean_interval(np.array([3.0]), CONFIDENCE) == intervals.Mean(1, 3.0, None, None, None, None)
    assert intervals.bootstrap_mean(np.array([3.0]), CONFIDENCE, 10, 1) is None
    assert intervals.smallest_change(1.0, 1, CONFIDENCE, 0.8, paired=False) is None


def test_quadrats_all_alike_leave_no_doubt():
    found = stand([{0, 1}] * 10)
    pool = diversity.pool(found.in_quadrats, 10)
    assert (pool.chao2, pool.chao2_bias_corrected, pool.jackknife_1, pool.jackknife_2, pool.bootstrap) == (2,) * 5
    assert diversity.accumulation(found.in_quadrats, 10).tolist() == [2] * 10
    assert intervals.mean_interval(found.counts.astype(float), CONFIDENCE) == intervals.Mean(10, 2, 0, 0, 2, 2)
    assert intervals.bootstrap_mean(found.counts.astype(float), CONFIDENCE, 10, 1) == intervals.Interval(2, 2, 2)
    assert intervals.quadrats_by_t(0.0, 1, CONFIDENCE) == 2


def test_empty_quadrats_are_quadrats():
    found = stand([set()] * 5)
    assert (found.n, found.counts.tolist(), found.plants) == (5, [0] * 5, ())
    assert diversity.pool(found.in_quadrats, 5) == diversity.Pool(5, 0, 0, 0, 0.0, 0.0, 0.0, 0.0, 0.0)
    assert diversity.accumulation(found.in_quadrats, 5).tolist() == [0] * 5
    verdicts = {v.rule_set: v for v in classes.verdicts(shipped(), Measures(shipped(), found, {}).of)}
    assert verdicts["ukhab_g4"].class_key == "g4"
    assert verdicts["cs_2021"].judged


def test_five_hundred_quadrats_end_at_all_kinds_exactly():
    quadrats = [{i % 26, (i * 7) % 26, (i * i) % 26} for i in range(500)]
    found = stand(quadrats)
    curve = diversity.accumulation(found.in_quadrats, 500)
    assert curve[-1] == len(set().union(*quadrats))
    assert (np.diff(curve) >= -1e-9).all()
    # held[k] of 500: missed by two quadrats with chance (500 - k)(499 - k) / (500 x 499)
    missed = sum((500 - k) * (499 - k) / (500 * 499) for k in found.in_quadrats.tolist())
    assert curve[1] == pytest.approx(len(found.plants) - missed, abs=1e-9)
