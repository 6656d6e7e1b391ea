"""The cheapest blend, against every blend there is, and targets that cannot be met."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from modelling.core.blend import Pack, Source, Target, blend

RATTLE, FORBS, GRASS = "rattle", "forbs", "grass"
MOST = 6


def by_brute_force(sources, targets, area_m2):
    """Least cost over every number of whole grams up to what there is, packs bought as cheaply as may be."""
    best = math.inf
    for grams in itertools.product(
        *(range((MOST if source.grams is None else source.grams) + 1) for source in sources)
    ):
        live = {
            target.id: sum(g * s.live_per_g.get(target.id, 0.0) for g, s in zip(grams, sources, strict=True)) / area_m2
            for target in targets
        }
        if any(
            (t.least is not None and live[t.id] < t.least - 1e-9) or (t.most is not None and live[t.id] > t.most + 1e-9)
            for t in targets
        ):
            continue
        cost = sum(cheapest(g, s) for g, s in zip(grams, sources, strict=True))
        best = min(best, cost)
    return best


def cheapest(grams, source):
    if not source.packs:
        return grams * source.price_per_g
    counts = itertools.product(*(range(MOST // pack.grams + 2) for pack in source.packs))
    bought = (list(zip(count, source.packs, strict=True)) for count in counts)
    return min(
        sum(n * pack.price for n, pack in packs)
        for packs in bought
        if sum(n * pack.grams for n, pack in packs) >= grams
    )  # fmt: skip


LIVE = st.fixed_dictionaries({RATTLE: st.integers(0, 5), FORBS: st.integers(0, 5), GRASS: st.integers(0, 5)}).map(
    lambda found: {name: float(value) for name, value in found.items()}
)
STORED = st.builds(
    lambda live, grams, price: Source("s", live, grams, float(price)), LIVE, st.integers(0, MOST), st.integers(0, 4)
)
SOLD = st.builds(
    lambda live, one, two: Source("b", live, None, 0.0, (Pack(1, float(one)), Pack(3, float(two)))),
    LIVE, st.integers(1, 6), st.integers(2, 12),
)  # fmt: skip


@given(stored=st.lists(STORED, min_size=1, max_size=2), sold=SOLD, rattle=st.integers(0, 6), forbs=st.integers(0, 8),
       grass=st.integers(0, 9))  # fmt: skip
def test_no_blend_is_cheaper(stored, sold, rattle, forbs, grass):
    sources = [Source(f"s{n}", s.live_per_g, s.grams, s.price_per_g) for n, s in enumerate(stored)] + [sold]
    targets = [Target(RATTLE, float(rattle)), Target(FORBS, float(forbs)), Target(GRASS, None, float(grass))]
    found = blend(sources, targets, 1.0, spare_scarce=False)
    # what is bought beyond MOST grams is not tried by hand
    if found.grams.get("b", 0) > MOST:
        return
    best = by_brute_force(sources, targets, 1.0)
    if found.missed:
        assert best == math.inf
    else:
        assert found.cost == pytest.approx(best)
        assert found.live_per_m2[RATTLE] >= rattle - 1e-6
        assert found.live_per_m2[GRASS] <= grass + 1e-6
    for source in sources:
        assert source.grams is None or found.grams.get(source.id, 0) <= source.grams


def test_what_cannot_be_met_is_named_with_by_how_much():
    sources = [Source("sack", {RATTLE: 10.0, GRASS: 40.0}, 1000)]
    targets = [Target(RATTLE, 100.0), Target(GRASS, None, 200.0)]
    # derivation: 1,000 g on 100 m2 give 100 rattle and 400 grasses. Both limits relative to themselves: each gram more
    # gains 0.1 of 100 and loses 0.4 of 200, so it stops at 500 g, where the grasses are at their most
    found = blend(sources, targets, 100.0, spare_scarce=False)
    assert found.grams == {"sack": 500}
    assert [(missed.target, missed.reached, missed.by) for missed in found.missed] == [(RATTLE, 50.0, 50.0)]


def test_a_rattle_target_of_an_empty_store_is_missed_by_all_of_it():
    found = blend([], [Target(RATTLE, 80.0)], 100.0, spare_scarce=False)
    assert [(missed.target, missed.by) for missed in found.missed] == [(RATTLE, 80.0)]
    assert (found.grams, found.cost) == ({}, 0.0)


def test_whole_packs_are_bought():
    rattle = Source("rattle", {RATTLE: 100.0}, None, 0.0, (Pack(100, 20.0), Pack(50, 12.0), Pack(10, 4.0)))
    # derivation: 100 live seeds on 130 m2 are 130 g: 100 + 3 x 10 cost 32, which is what 100 + 50 cost too; no cheaper
    found = blend([rattle], [Target(RATTLE, 100.0)], 130.0, spare_scarce=False)
    assert found.grams == {"rattle": 130}
    assert found.cost == 32.0
    assert sum(size * count for size, count in found.packs["rattle"].items()) >= 130


def test_scarce_seed_is_spared_where_money_does_not_matter():
    rare = Source("rare", {FORBS: 10.0}, 1000, 0.0, scarce=5.0)
    bought = Source("bought", {FORBS: 10.0}, None, 0.0, (Pack(100, 30.0),), scarce=0.0)
    targets = [Target(FORBS, 50.0)]
    cheap = blend([rare, bought], targets, 20.0, spare_scarce=False)
    sparing = blend([rare, bought], targets, 20.0, spare_scarce=True)
    assert (cheap.grams, cheap.cost) == ({"rare": 100}, 0.0)
    assert (sparing.grams, sparing.cost) == ({"bought": 100}, 30.0)


def test_more_in_the_store_never_costs_more():
    targets = [Target(RATTLE, 10.0), Target(FORBS, 20.0)]
    bought = Source("bought", {RATTLE: 1.0, FORBS: 2.0}, None, 0.0, (Pack(10, 3.0),))
    costs = [
        blend([Source("sack", {RATTLE: 3.0, FORBS: 1.0}, grams), bought], targets, 10.0, spare_scarce=False).cost
        for grams in (0, 10, 20, 40, 80, 1000)
    ]
    assert np.all(np.diff(costs) <= 0)
