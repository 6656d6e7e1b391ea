"""Days fit for the harvester, and whether harvests fit into them, against matching half-days one by one."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from modelling.core.harvest_days import chance_of_doing, days_to_count_on, fit_days, stretches_of


@given(
    windows=st.lists(st.tuples(st.integers(0, 7), st.integers(0, 4)), min_size=1, max_size=4),
    asked=st.lists(st.integers(0, 4), min_size=4, max_size=4),
    dry=st.lists(st.booleans(), min_size=12, max_size=12),
    a_day=st.integers(1, 2),
)
@settings(max_examples=200, deadline=None)
def test_harvests_fit_exactly_when_every_half_day_can_be_matched(windows, asked, dry, a_day):
    # the matching is SciPy's assignment: every half-day asked against every half-day of a fit day in its window
    windows = [(first, min(first + length, 11)) for first, length in windows]
    asked = asked[: len(windows)]
    fit = np.array([dry])
    half_days = [(h, n) for h, count in enumerate(asked) for n in range(count)]
    slots = [(day, n) for day in range(12) if dry[day] for n in range(a_day)]
    matched = 0
    if half_days and slots:
        can = np.array([[windows[h][0] <= day <= windows[h][1] for day, _ in slots] for h, _ in half_days])
        rows, columns = linear_sum_assignment(~can)
        matched = int(can[rows, columns].sum())

    chance = chance_of_doing(np.array(asked), stretches_of(windows), fit, a_day)

    assert chance == float(matched == len(half_days))


def test_fit_days_are_as_many_and_as_like_each_other_as_asked():
    share = np.full(20_000, 0.5)
    fit = fit_days(share, 0.4, 14, 1)

    # 280,000 days: the standard error of a share is below 0.002 with runs of this kind
    assert fit.mean() == pytest.approx(0.5, abs=0.01)
    assert np.corrcoef(fit[:, 5], fit[:, 6])[0, 1] == pytest.approx(0.4, abs=0.03)
    assert fit[:, 13].mean() == pytest.approx(0.5, abs=0.02)


def test_days_by_themselves_are_binomial():
    fit = fit_days(np.full(40_000, 0.5), 0.0, 14, 2)
    (stretch,) = stretches_of([(0, 13)])

    # binomial of 14 and 1/2: P(X >= 7) = 0.605, P(X >= 6) = 0.788, P(X >= 5) = 0.910
    assert days_to_count_on(stretch, fit, 0.75) == 6
    assert days_to_count_on(stretch, fit, 0.85) == 5
    assert chance_of_doing(np.array([12]), [stretch], fit, 2) == pytest.approx(0.788, abs=0.01)


def test_surer_means_fewer_days():
    fit = fit_days(np.full(2000, 0.5), 0.4, 14, 3)
    (stretch,) = stretches_of([(0, 13)])
    found = [days_to_count_on(stretch, fit, chance) for chance in (0.1, 0.5, 0.8, 0.95)]

    assert found == sorted(found, reverse=True)
    assert found[0] > found[-1]


def test_stretches_that_hold_the_same_harvests_are_told_once():
    found = stretches_of([(0, 5), (3, 9), (20, 22)])

    assert [(one.first, one.last, one.harvests) for one in found] == [
        (0, 5, (0,)), (0, 9, (0, 1)), (0, 22, (0, 1, 2)), (3, 9, (1,)), (3, 22, (1, 2)), (20, 22, (2,)),
    ]  # fmt: skip


def test_the_same_seed_gives_the_same_weather():
    share = np.full(10, 0.5)
    assert (fit_days(share, 0.4, 20, 1) == fit_days(share, 0.4, 20, 1)).all()
    assert (fit_days(share, 0.4, 20, 1) != fit_days(share, 0.4, 20, 2)).any()
