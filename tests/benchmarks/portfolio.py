"""How long the choice of bids takes, by hand: ``.venv/bin/python -m tests.benchmarks.portfolio``.

A made-up round of 500 bids of £200 to £60,000 from 120 groups in 12 districts, with 500 draws each, a pot for about a
quarter of them, and every kind of limit. Ends with an error if the best set is not proven. ``--small`` for a try.
"""

import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import scipy

from modelling.contracts.portfolio import PortfolioQuestion
from modelling.core.portfolio import Bid, Chooser, Goal, Limits
from modelling.portfolio import choose
from tests.benchmarks.shared import machine, say

SMALL = "--small" in sys.argv
BIDS = 40 if SMALL else 500
WORLDS = 50 if SMALL else 500
SEEDS = (1,) if SMALL else (1, 2, 3, 4, 5)


def made_round(seed: int) -> tuple[list[Bid], Limits, np.ndarray]:
    """Bids, limits and draws of species-rich hectares, (bids, worlds)."""
    rng = np.random.Generator(np.random.PCG64(seed))
    pounds = np.clip(np.exp(rng.normal(np.log(3_000), 1.0, BIDS)), 200, 60_000)
    hectares = pounds / 4_000 * np.exp(rng.normal(0, 0.5, BIDS))
    world = rng.normal(0, 1, WORLDS)
    chance = 1 / (1 + np.exp(-(rng.normal(-0.6, 0.7, BIDS)[:, None] + 0.7 * world)))
    draws = hectares[:, None] * (rng.random((BIDS, WORLDS)) < chance)
    bids = [
        Bid(
            id=f"bid-{number:03}",
            cost=round(pounds[number] * 100),
            group=f"group-{int(rng.random() * 120)}",
            district=f"district-{int(rng.random() * 12)}",
            seed={"rattle": round(hectares[number] * 2e6 * rng.random())},
            half_days=int(rng.random() * 4),
        )
        for number in range(BIDS)
    ]
    whole = sum(bid.cost for bid in bids)
    exclusive = tuple((bids[i].id, bids[i + 1].id) for i in range(0, BIDS // 10, 2))
    seed_mg = sum(bid.seed["rattle"] for bid in bids)
    limits = Limits(whole // 4, whole // 40, whole // 20, {"rattle": seed_mg // 4}, BIDS // 3, exclusive)
    return bids, limits, draws


def timed(act: Callable[[], Any]) -> tuple[float, Any]:
    start = time.perf_counter()
    found = act()
    return time.perf_counter() - start, found


def proven(name: str, chooser: Chooser) -> None:
    taken, best = timed(chooser.best)
    if best is None or not best.proven:
        raise SystemExit(f"{name}: not proven")
    say(f"{name}: {taken:.2f} s, {int(best.chosen.sum())} funded, gap {best.gap:g}")


def main() -> None:
    say(f"{machine()}, SciPy {scipy.__version__}\n")
    say(f"{BIDS} bids, {WORLDS} worlds; proven best and runner-up")
    for seed in SEEDS:
        bids, limits, draws = made_round(seed)
        proven(f"round {seed}, pot alone", Chooser(bids, Limits(limits.pot), Goal(draws, draws.mean(axis=1), 0.2)))
        proven(f"round {seed}, every limit", Chooser(bids, limits, Goal(draws, draws.mean(axis=1), 0.2)))
    bids, limits, draws = made_round(SEEDS[0])
    proven("round 1, worst fifth of the worlds", Chooser(bids, limits, Goal(draws, draws.mean(axis=1), 0.2, True)))
    asked = PortfolioQuestion.model_validate(
        {
            "bids": [
                {
                    "id": bid.id,
                    "cost_pence": bid.cost,
                    "group": bid.group,
                    "district": bid.district,
                    "seed": [{"item": item, "mg": mg} for item, mg in bid.seed.items()],
                    "harvester_half_days": bid.half_days,
                }
                for bid in bids
            ],
            "limits": {
                "pot_pence": limits.pot,
                "per_group_pence": limits.per_group,
                "per_district_pence": limits.per_district,
                "seed": [{"item": item, "mg": mg} for item, mg in limits.seed.items()],
                "harvester_half_days": limits.half_days,
                "exclusive": limits.exclusive,
            },
        }
    )
    outcomes = {bid.id: draws[number] for number, bid in enumerate(bids)}
    taken, found = timed(lambda: choose(asked, outcomes))
    told = sum(entry["pence_cheaper"] is not None for entry in found["not_chosen"])
    say(
        f"round 1, the whole answer: {taken:.1f} s with runner-up, {len(found['prices'])} prices, "
        f"{len(found['frontier'])} budgets and {told} bids told what they would have to cost"
    )


if __name__ == "__main__":
    main()
