"""From draws to figures: quantiles, chances, and what the spread goes with."""

from __future__ import annotations

import numpy as np

from modelling.core.distributions import Array
from modelling.core.errors import NotFiniteError


def quantiles(draws: Array, shares: tuple[float, ...]) -> list[float]:
    """Quantiles over the last axis by straight lines between order statistics; one-dimensional input."""
    check_finite(draws)
    return [float(x) for x in np.quantile(draws, shares)]


def check_finite(values: Array) -> None:
    """Raise NotFiniteError where anything is infinite or not a number."""
    if not np.isfinite(values).all():
        raise NotFiniteError("a result is infinite or not a number; please report the recipe")


def ranks(draws: Array) -> Array:
    """Ranks 0 to n - 1 of the draws; equal values get their mean rank."""
    order = np.argsort(draws, kind="stable")
    rising = draws[order]
    out = np.empty(draws.size)
    out[order] = np.arange(draws.size)
    if not (rising[1:] == rising[:-1]).any():
        return out
    _, inverse, counts = np.unique(draws, return_inverse=True, return_counts=True)
    middle = np.cumsum(counts) - (counts + 1) / 2
    return np.asarray(middle[inverse], dtype=np.float64)


def squared_rank_correlation(a: Array, b: Array) -> float:
    """Square of Spearman's correlation; 0 where either does not vary."""
    return _squared_correlation(ranks(a), ranks(b))


def _squared_correlation(x: Array, y: Array) -> float:
    """Square of Pearson's correlation; 0 where either does not vary."""
    x, y = x - x.mean(), y - y.mean()
    scale = float((x * x).sum() * (y * y).sum())
    return float((x * y).sum() ** 2 / scale) if scale else 0.0


def spread_shares(inputs: dict[str, Array], outcome: Array) -> dict[str, float]:
    """Share of the outcome's spread that goes with each group of inputs: group -> share.

    Inputs are named ``group/name`` and taken as independent; squared rank correlations are added within a group
    and scaled down together where they pass 1. What is left over is chance and interplay.
    """
    totals: dict[str, float] = {}
    order = ranks(outcome)
    for name, values in inputs.items():
        group = name.split("/", 1)[0]
        totals[group] = totals.get(group, 0.0) + _squared_correlation(ranks(values), order)
    whole = sum(totals.values())
    scale = 1 / whole if whole > 1 else 1.0
    return {group: share * scale for group, share in totals.items()}


def undominated(costs: list[float], outcomes: list[float]) -> list[bool]:
    """Which options no other beats: none is at most as dear and at least as good, and better in one of the two."""
    flags = []
    for i, (cost, outcome) in enumerate(zip(costs, outcomes, strict=True)):
        beaten = any(
            c <= cost and o >= outcome and (c < cost or o > outcome)
            for j, (c, o) in enumerate(zip(costs, outcomes, strict=True))
            if j != i
        )
        flags.append(not beaten)
    return flags
