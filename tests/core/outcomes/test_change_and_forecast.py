"""One survey against another, how alike they are, and where a finding lies in a forecast."""

import numpy as np
import pytest
from scipy import stats

from modelling.core.outcomes import change, forbs, forecast, intervals, similarity
from tests.core.conftest import made

LATER = np.array([9.0, 11, 8, 12, 10, 13])
EARLIER = np.array([7.0, 8, 6, 9])


def test_the_difference_of_means_has_welchs_interval():
    found = change.welch(LATER, EARLIER, 0.95)
    # by another program: SciPy's t test for unequal variances
    other = stats.ttest_ind(LATER, EARLIER, equal_var=False).confidence_interval(0.95)
    assert found.difference == pytest.approx(3.0)
    assert (found.low, found.high) == pytest.approx((other.low, other.high), abs=1e-9)


def test_one_quadrat_gives_a_difference_and_no_interval_and_none_gives_nothing():
    assert change.welch(LATER, EARLIER[:1], 0.95) == change.Change(3.5, None, None, None)
    assert change.welch(LATER, EARLIER[:0], 0.95) is None
    assert change.welch(LATER[:0], EARLIER, 0.95) is None


def test_quadrats_all_alike_differ_by_exactly_that():
    assert change.welch(np.full(3, 5.0), np.full(4, 3.0), 0.95) == change.Change(2.0, 0.0, 2.0, 2.0)


def test_a_least_spread_keeps_counts_all_alike_from_being_certain():
    found = change.welch(np.full(3, 5.0), np.full(3, 3.0), 0.95, least_sd=intervals.COUNT_SD)
    # both variances 1/12 over 3, 4 degrees of freedom, t 2.77645
    assert found.se == pytest.approx((2 / 36) ** 0.5)
    assert found.high == pytest.approx(2 + 2.77645 * (2 / 36) ** 0.5, abs=1e-4)


def test_the_same_spots_have_the_interval_of_their_differences():
    found = change.paired(LATER[:4], EARLIER, 0.95)
    # by another program: SciPy's t test of pairs
    other = stats.ttest_rel(LATER[:4], EARLIER).confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((other.low, other.high), abs=1e-9)
    assert change.paired(LATER[:1], EARLIER[:1], 0.95) == change.Change(2.0, None, None, None)
    assert change.paired(LATER[:0], EARLIER[:0], 0.95) is None


def test_a_resampled_difference_lies_about_the_difference_and_forgets_the_order():
    found = intervals.bootstrap_difference(LATER, EARLIER, 0.95, 2000, 1)
    assert found == intervals.bootstrap_difference(LATER[::-1], EARLIER[::-1], 0.95, 2000, 1)
    # by another program: SciPy's bootstrap of two samples
    other = stats.bootstrap(
        (LATER, EARLIER), lambda a, b, axis: a.mean(axis) - b.mean(axis), method="percentile", rng=7, n_resamples=9999
    ).confidence_interval
    assert found.middle == pytest.approx(3.0)
    assert (found.low, found.high) == pytest.approx((other.low, other.high), abs=0.2)
    assert intervals.bootstrap_difference(LATER, EARLIER[:1], 0.95, 10, 1) is None


def test_two_empty_lists_are_neither_alike_nor_unlike():
    assert similarity.jaccard(set(), set()) is None
    assert similarity.sorensen(set(), set()) is None
    assert similarity.bray_curtis({}, {"a": 0.0}) is None


def test_lists_that_share_nothing_are_0_and_the_same_list_is_1():
    assert (similarity.jaccard({"a"}, {"b"}), similarity.sorensen({"a"}, {"b"})) == (0, 0)
    assert (similarity.jaccard({"a"}, {"a"}), similarity.sorensen({"a"}, {"a"})) == (1, 1)
    assert similarity.bray_curtis({"a": 0.2}, {"b": 0.2}) == 0
    assert similarity.bray_curtis({"a": 0.2}, {"a": 0.2}) == 1


@pytest.mark.parametrize(
    ("share", "expected"),
    [
        (0, "under_10"), (0.0999, "under_10"), (0.10, "from_10_to_30"), (0.1 + 0.2, "from_10_to_30"),
        (0.3001, "over_30"), (1, "over_30"),
    ],
)  # fmt: skip
def test_the_cover_of_flowers_falls_into_the_classes_of_the_stewardship_rules(parameters, share, expected):
    assert forbs.cover_class(parameters, share) == expected


@pytest.mark.parametrize(
    ("value", "place", "without_halves", "quantile"),
    [
        (3.9, "below", "below", None),
        (4, "in_80", "in_80", 0.10),
        (5, "in_80", "in_80", 0.175),
        (6, "in_half", "in_80", 0.25),
        (8, "in_half", "in_80", 0.5),
        (9, "in_half", "in_80", 0.625),
        (10, "in_half", "in_80", 0.75),
        (14, "in_80", "in_80", 0.9),
        (14.1, "above", "above", None),
    ],
)
def test_a_finding_lies_below_within_or_above_a_forecast(value, place, without_halves, quantile):
    points = (4, 6, 8, 10, 14)
    assert forecast.place_in(value, 4, 6, 10, 14) == place
    assert forecast.place_in(value, 4, None, None, 14) == without_halves
    found = forecast.quantile_in(value, (0.1, 0.25, 0.5, 0.75, 0.9), points)
    assert found == (None if quantile is None else pytest.approx(quantile))


def test_where_points_of_a_forecast_coincide_the_middle_of_their_shares_is_taken():
    # nothing at all in most worlds: 10, 50 and 75 % points at 0
    shares, points = (0.1, 0.25, 0.5, 0.75, 0.9), (0, 0, 0, 0, 2)
    assert forecast.quantile_in(0, shares, points) == pytest.approx((0.1 + 0.75) / 2)
    assert forecast.quantile_in(1, shares, points) == pytest.approx(0.825)


def test_a_finding_is_divided_by_the_share_that_was_found():
    detection = made(low=0.5, mode=0.8, high=1, shape="triangular", unit="share")
    found = forecast.adjusted(8, 6, 10, detection)
    # least: nothing overlooked and the low end; most: half overlooked and the high end
    assert (found.low, found.middle, found.high) == pytest.approx((6, 10, 20))
    assert forecast.adjusted(1, -1, 3, detection).low == 0


def test_better_recorders_overlook_less(parameters):
    rows = [
        parameters.number("survey_values", "detection", grade)
        for grade in ("learning", "knows_common", "knows_most", "expert")
    ]
    assert [row.middle for row in rows] == sorted(row.middle for row in rows)
    assert all(0 < row.low <= row.mode <= row.high <= 1 for row in rows)
    # nobody published them: they say so
    assert {row.confidence for row in rows} == {"from memory"}
