"""Scores by several people: habits and bids told apart, checked against the closed forms of balanced designs."""

import numpy as np
import pytest

from modelling.marking import calibrate

BIDS, PEOPLE = "abcdef", ("harsh", "fair", "mild")
#: every assessor scores every bid; drawn once, with assessors 15 apart
TABLE = np.array(
    [
        [31.0, 47.0, 58.0],
        [52.0, 61.0, 80.0],
        [22.0, 45.0, 49.0],
        [64.0, 75.0, 96.0],
        [40.0, 60.0, 66.0],
        [55.0, 66.0, 79.0],
    ]
)


def scores(table):
    return [(bid, person, table[i, j]) for i, bid in enumerate(BIDS) for j, person in enumerate(PEOPLE)]


def test_a_balanced_table_has_the_components_of_its_analysis_of_variance():
    """REML equals the ANOVA estimates where every cell is filled: Searle, Casella & McCulloch 1992, Variance
    Components, section 6.7; the predictor of an effect is its deviation times n s / (1 + n s), section 7.4."""
    n, people = TABLE.shape
    rows, columns, grand = TABLE.mean(axis=1), TABLE.mean(axis=0), TABLE.mean()
    rest = TABLE - rows[:, None] - columns[None, :] + grand
    mean_square_rest = (rest**2).sum() / ((n - 1) * (people - 1))
    mean_square_people = n * ((columns - grand) ** 2).sum() / (people - 1)
    ratio = (mean_square_people - mean_square_rest) / n / mean_square_rest
    found = calibrate(scores(TABLE))
    assert found.assessor_share == pytest.approx(ratio / (1 + ratio), rel=1e-4)
    shrunk = (columns - grand) * n * ratio / (1 + n * ratio)
    for person, effect in zip(PEOPLE, shrunk, strict=True):
        assert found.assessors[person] == pytest.approx(effect, rel=1e-4)
    # everybody scored everything, so that no bid gains by it
    for bid, mean in zip(BIDS, rows, strict=True):
        assert found.bids[bid].raw_mean == pytest.approx(mean)
        assert found.bids[bid].calibrated == pytest.approx(mean, abs=1e-6)


def test_a_bid_that_only_the_harsh_read_is_lifted_and_one_that_only_the_mild_read_is_lowered():
    partial = [row for row in scores(TABLE) if row[:2] not in {("a", "mild"), ("a", "fair"), ("b", "harsh")}]
    found = calibrate(partial)
    assert found.bids["a"].raw_mean == 31.0
    assert found.bids["a"].calibrated == pytest.approx(31.0 - found.assessors["harsh"])
    assert found.bids["a"].calibrated > 40
    assert found.bids["b"].calibrated < found.bids["b"].raw_mean
    assert (found.bids["a"].scores, found.bids["b"].scores, found.bids["c"].scores) == (1, 2, 3)


@pytest.mark.parametrize(
    "told",
    [
        [("a", "harsh", 10.0), ("b", "mild", 90.0)],
        [("a", "one", 10.0), ("b", "one", 90.0)],
        [("a", "x", 50.0), ("a", "y", 50.0), ("b", "x", 50.0), ("b", "y", 50.0)],
    ],
    ids=["nobody shares a bid", "one assessor", "all alike"],
)
def test_where_scores_do_not_tell_habits_apart_nothing_is_moved(told):
    found = calibrate(told)
    assert found.assessor_share == 0.0
    assert set(found.assessors.values()) == {0.0}
    assert all(row.calibrated == pytest.approx(row.raw_mean) for row in found.bids.values())


def test_the_order_of_the_scores_does_not_matter_and_no_scores_are_no_answer():
    there, back = calibrate(scores(TABLE)), calibrate(scores(TABLE)[::-1])
    for bid in BIDS:
        assert there.bids[bid].calibrated == pytest.approx(back.bids[bid].calibrated)
    assert calibrate([]).bids == {}
