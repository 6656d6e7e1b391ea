"""The choice of bids against brute force, published knapsacks and bounds that anybody can work out."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from modelling.core.portfolio import IN, OUT, Bid, Chooser, Goal, Limits, whole_values

# P01, P02, P06, P07 and P08 of J. Burkardt's data set KNAPSACK_01; the last two are of D. Kreher and D. Stinson,
# Combinatorial Algorithms, CRC Press 1999. Each: capacity, weights, profits, best profit.
PUBLISHED = {
    "P01": (165, [23, 31, 29, 44, 53, 38, 63, 85, 89, 82], [92, 57, 49, 68, 60, 43, 67, 84, 87, 72], 309),
    "P02": (26, [12, 7, 11, 8, 9], [24, 13, 23, 15, 16], 51),
    "P06": (170, [41, 50, 49, 59, 55, 57, 60], [442, 525, 511, 593, 546, 564, 617], 1735),
    "P07": (
        750,
        [70, 73, 77, 80, 82, 87, 90, 94, 98, 106, 110, 113, 115, 118, 120],
        [135, 139, 149, 150, 156, 163, 173, 184, 192, 201, 210, 214, 221, 229, 240],
        1458,
    ),
    "P08": (
        6404180,
        [
            382745, 799601, 909247, 729069, 467902, 44328, 34610, 698150, 823460, 903959, 853665, 551830, 610856,
            670702, 488960, 951111, 323046, 446298, 931161, 31385, 496951, 264724, 224916, 169684,
        ],
        [
            825594, 1677009, 1676628, 1523970, 943972, 97426, 69666, 1296457, 1679693, 1902996, 1844992, 1049289,
            1252836, 1319836, 953277, 2067538, 675367, 853655, 1826027, 65731, 901489, 577243, 466257, 369261,
        ],
        13549094,
    ),
}  # fmt: skip


def knapsack(capacity, weights, values):
    bids = [Bid(f"b{i:03}", weight, f"g{i}", "d") for i, weight in enumerate(weights)]
    goal = Goal(np.zeros((len(bids), 0)), np.array(values, dtype=float), 0.2)
    return Chooser(bids, Limits(pot=capacity), goal)


@pytest.mark.parametrize("name", PUBLISHED)
def test_published_knapsacks_have_their_published_optimum(name):
    capacity, weights, profits, best = PUBLISHED[name]

    found = knapsack(capacity, weights, profits).best()

    assert found.proven
    assert np.array(profits)[found.chosen].sum() == best
    assert np.array(weights)[found.chosen].sum() <= capacity


# ------------------------------------------------------------------ brute force


def brute(chooser, pins=None, rows=None):
    """Every set that keeps the limits and pins: list of (value, -sum of places, mask)."""
    pins = chooser.pins if pins is None else pins
    rows = chooser.rows if rows is None else rows
    out = []
    for bits in product([False, True], repeat=chooser.n):
        chosen = np.array(bits, dtype=bool)
        if any(chosen[i] != (pin == IN) for i, pin in pins.items()):
            continue
        if any(int(row.load[chosen].sum()) > row.most for row in rows):
            continue
        places = sum(i + 1 for i in np.flatnonzero(chosen))
        out.append((chooser.value(chosen), -places, chosen))
    return sorted(out, key=lambda entry: entry[:2], reverse=True)


@st.composite
def rounds(draw, most=9, cautious=False):
    n = draw(st.integers(1, most))
    worlds = draw(st.integers(1, 6)) if cautious else 3
    bids = [
        Bid(
            id=f"b{i:02}",
            cost=draw(st.integers(0, 40)),
            group=draw(st.sampled_from("abc")),
            district=draw(st.sampled_from("xy")),
            seed={"rattle": draw(st.integers(0, 9))},
            half_days=draw(st.integers(0, 3)),
            pinned=draw(st.sampled_from(["", "", "", "", IN, OUT])),
        )
        for i in range(n)
    ]
    optional = st.one_of(st.none(), st.integers(0, 90))
    ids = [bid.id for bid in bids]
    exclusive = (
        draw(st.lists(st.lists(st.sampled_from(ids), min_size=2, max_size=3, unique=True), max_size=2)) if n > 2 else []
    )
    limits = Limits(
        pot=draw(st.integers(0, 200)),
        per_group=draw(optional),
        per_district=draw(optional),
        seed={"rattle": draw(st.integers(0, 40))},
        half_days=draw(st.one_of(st.none(), st.integers(0, 10))),
        exclusive=tuple(map(tuple, exclusive)),
    )
    whole = st.integers(0, 12)
    outcomes = np.array([[draw(whole) for _ in range(worlds)] for _ in bids], dtype=float)
    share = draw(st.sampled_from([0.1, 0.2, 0.5, 1.0]))
    return Chooser(bids, limits, Goal(outcomes, outcomes.mean(axis=1), share, cautious))


@given(chooser=rounds())
def test_the_best_set_is_the_best_of_all_subsets_and_ties_go_by_id(chooser):
    every = brute(chooser)
    found = None if chooser.pins_over() else chooser.best()

    if not every:
        assert chooser.pins_over()
        assert found is None
        return
    assert not chooser.pins_over()
    assert found.proven
    value, places, _ = every[0]
    assert found.value == value
    assert -sum(np.flatnonzero(found.chosen) + 1) == places


@given(chooser=rounds(most=7, cautious=True))
@settings(max_examples=40)
def test_the_cautious_set_is_the_best_of_all_subsets(chooser):
    every = brute(chooser)
    if not every:
        return
    found = chooser.best()

    assert found.proven
    assert found.value == pytest.approx(every[0][0], rel=1e-6, abs=1e-6)
    assert not chooser.over(found.chosen)


@given(chooser=rounds(most=7))
@settings(max_examples=60)
def test_the_runner_up_and_every_what_if_against_all_subsets(chooser):
    every = brute(chooser)
    if not every:
        return
    best, second = chooser.best_two()
    if len(every) == 1:
        assert second is None
    else:
        assert second.value == every[1][0]
        assert (second.chosen != best.chosen).any()
    for number in range(chooser.n):
        if best.chosen[number]:
            continue
        if chooser.pins.get(number) == OUT:
            loose = {key: pin for key, pin in chooser.pins.items() if key != number}
            assert chooser.without_pin(number).value == brute(chooser, loose)[0][0]
            continue
        taken = brute(chooser, {**chooser.pins, number: IN})
        found = chooser.with_bid(number)
        assert (found.value if found else None) == (taken[0][0] if taken else None)


@given(chooser=rounds(most=6))
@settings(max_examples=60)
def test_a_bid_would_be_taken_at_the_price_told_and_not_a_penny_above(chooser):
    if not brute(chooser):
        return
    best = chooser.best()
    for number in np.flatnonzero(~best.chosen):
        if chooser.pins.get(number) == OUT:
            continue
        highest = chooser.highest_cost(number, best.value)

        def value_at(cost, number=number):
            bids = list(chooser.bids)
            old = bids[number]
            bids[number] = Bid(old.id, cost, old.group, old.district, old.seed, old.half_days, IN)
            every = brute(Chooser(bids, chooser.limits, chooser.goal))
            return every[0][0] if every else -1.0

        if highest is None:
            assert value_at(0) < best.value
            continue
        assert value_at(highest) >= best.value
        if highest < chooser.bids[number].cost:
            assert value_at(highest + 1) < best.value


# ------------------------------------------------------------------ bounds and limits


def many(n, seed=7):
    """Bids of a big round: pounds from 200 to 30,000, outcomes that grow with them."""
    rng = np.random.Generator(np.random.PCG64(seed))
    cost = np.rint(np.exp(rng.normal(8, 1, n)) * 100).astype(int)
    values = cost * np.exp(rng.normal(0, 0.4, n)) / 1e6
    return cost, values


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_best_is_between_the_greedy_set_and_the_fractional_bound(seed):
    # Dantzig 1957: taking bids by value per pound, the last one in part, bounds every set from above
    cost, values = many(120, seed)
    pot = int(cost.sum() // 4)
    chooser = knapsack(pot, cost.tolist(), values)
    whole, _ = whole_values(values)
    greedy, bound, left, open_still = 0.0, 0.0, pot, True
    for i in sorted(range(120), key=lambda i: -whole[i] / cost[i]):
        if cost[i] <= left:
            greedy, left = greedy + whole[i], left - cost[i]
            bound += whole[i] if open_still else 0
        elif open_still:
            bound, open_still = bound + whole[i] * left / cost[i], False

    found = chooser.best()

    assert greedy <= found.value <= bound + 1e-6 * bound


def test_the_same_question_has_the_same_answer_in_any_order():
    cost, values = many(60)
    bids = [Bid(f"b{i:03}", int(c), f"g{i % 7}", f"d{i % 3}") for i, c in enumerate(cost)]
    limits = Limits(pot=int(cost.sum() // 3), per_group=int(cost.sum() // 10))
    there = Chooser(bids, limits, Goal(np.zeros((60, 0)), values, 0.2))
    back = Chooser(bids[::-1], limits, Goal(np.zeros((60, 0)), values[::-1], 0.2))

    first = [there.bids[i].id for i in np.flatnonzero(there.best().chosen)]

    assert first == [back.bids[i].id for i in np.flatnonzero(back.best().chosen)]
    assert first == [there.bids[i].id for i in np.flatnonzero(there.best().chosen)]


def test_pins_that_cannot_be_held_say_which_limit_and_by_how_much():
    bids = [Bid("a", 700, "g", "d", pinned=IN), Bid("b", 500, "g", "d", {"rattle": 5}, 2, IN), Bid("c", 1, "h", "d")]
    limits = Limits(1000, per_group=900, seed={"rattle": 4}, half_days=1, exclusive=(("a", "b"),))
    chooser = Chooser(bids, limits, Goal(np.zeros((3, 0)), np.ones(3), 0.2))

    found = {(over.limit, over.of): (over.by, over.ids) for over in chooser.pins_over()}

    assert found == {
        ("pot", ""): (200, ("a", "b")),
        ("per_group", "g"): (300, ("a", "b")),
        ("seed", "rattle"): (1, ("b",)),
        ("harvester", ""): (1, ("b",)),
        ("exclusive", "a, b"): (1, ("a", "b")),
    }
    assert chooser.best() is None


def test_a_penny_too_much_is_too_much():
    # amounts of a hundred thousand pounds, which the solver's own tolerance would let pass by a penny
    bids = [Bid(f"b{i}", 10_000_001, f"g{i}", "d") for i in range(6)]
    chooser = Chooser(bids, Limits(pot=30_000_002), Goal(np.zeros((6, 0)), np.ones(6), 0.2))

    assert chooser.best().chosen.sum() == 2


def test_the_worst_mean_by_hand():
    # worlds 1, 2, 3, 4 of one bid: worst half is the mean of 1 and 2; worst tenth is 1
    goal = Goal(np.array([[4.0, 1.0, 3.0, 2.0]]), np.array([2.5]), 0.5)
    taken = np.array([True])

    assert goal.worst_mean(taken) == 1.5
    assert Goal(goal.outcomes, goal.values, 0.1).worst_mean(taken) == 1.0
    assert Goal(goal.outcomes, goal.values, 1.0).worst_mean(taken) == goal.expected(taken) == 2.5


def test_the_cautious_choice_prefers_what_does_not_fail_together():
    # a and b fail in the same world, c in another: a with c has a better worst half than a with b
    outcomes = np.array([[4.0, 0.0], [4.0, 0.0], [0.0, 3.9]])
    bids = [Bid(name, 10, name, "d") for name in "abc"]
    limits = Limits(pot=20)
    bold = Chooser(bids, limits, Goal(outcomes, outcomes.mean(axis=1), 0.5)).best()
    careful = Chooser(bids, limits, Goal(outcomes, outcomes.mean(axis=1), 0.5, cautious=True)).best()

    assert bold.chosen.tolist() == [True, True, False]
    assert careful.chosen.tolist() == [True, False, True]
