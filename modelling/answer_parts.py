"""What the parts of an answer share: ranges, money, and an estimate with its words."""

from __future__ import annotations

from typing import Final

import numpy as np

from modelling.core.distributions import Array
from modelling.core.estimate import Estimate
from modelling.core.parameters import ParameterSet
from modelling.core.summary import quantiles

#: species per m2 that published schemes ask for
THRESHOLDS: Final = (9, 15)
P10_P50_P90: Final = (0.1, 0.5, 0.9)
MONEY_SHARES: Final = (0.1, 0.5, 0.8, 0.9)


def range_of(draws: Array) -> dict[str, float]:
    """P10, P50, P90 and mean of draws."""
    p10, p50, p90 = quantiles(draws, P10_P50_P90)
    return {"p10": p10, "p50": p50, "p90": p90, "mean": float(draws.mean())}


def money_of(draws: Array) -> dict[str, float]:
    """P10, P50, P80, P90 and mean of pounds, to the penny."""
    p10, p50, p80, p90 = (round(x, 2) for x in quantiles(draws, MONEY_SHARES))
    mean = round(float(draws.mean()), 2)
    return {"p10_gbp": p10, "p50_gbp": p50, "p80_gbp": p80, "p90_gbp": p90, "mean_gbp": mean}


def pence_shares(amounts: list[float], total: float) -> list[int]:
    """Whole pence for each amount that add up to the total's whole pence, by largest remainder."""
    pence = [amount * 100 for amount in amounts]
    whole = [int(np.floor(p)) for p in pence]
    missing = round(total * 100) - sum(whole)
    order = sorted(range(len(pence)), key=lambda i: (whole[i] - pence[i], i))
    for i in order[:missing]:
        whole[i] += 1
    return whole


class Part:
    """One part of an answer; holds the estimate and the reference tables."""

    def __init__(self, parameters: ParameterSet, estimate: Estimate) -> None:
        self.parameters, self.e = parameters, estimate
        self.plan, self.work, self.outcome = estimate.plan, estimate.work, estimate.outcome
        self.years = estimate.question.horizon_years

    def word(self, vocabulary: str, key: str) -> str:
        """The plain label of a key."""
        return self.parameters.nouns["vocabularies"][f"{vocabulary}:{key}"]["label"]

    def operation(self, key: str) -> dict[str, str]:
        """The words of an operation."""
        return dict(self.parameters.nouns["operations"][key])
