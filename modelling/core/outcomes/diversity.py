"""Richness and diversity: of abundances, and of incidence over quadrats.

Quadrats give incidence, so the kinds that were missed are estimated from how many quadrats hold each kind, never
from covers. Every estimate is None where the data cannot give it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from modelling.core.distributions import Array

Counts = NDArray[np.int64]


def _shares(abundances: Array) -> Array:
    kept = np.sort(abundances[abundances > 0])
    return np.asarray(kept / kept.sum())


def richness(abundances: Array) -> int:
    """Kinds with an abundance above 0."""
    return int((abundances > 0).sum())


def shannon(abundances: Array) -> float | None:
    """Shannon's H with natural logarithms; None where nothing is there."""
    if not (abundances > 0).any():
        return None
    p = _shares(abundances)
    return float(-(p * np.log(p)).sum()) + 0.0


def simpson_sum(abundances: Array) -> float | None:
    """Sum of squared shares: the chance that two looks meet the same kind."""
    if not (abundances > 0).any():
        return None
    return float((_shares(abundances) ** 2).sum())


def simpson(abundances: Array) -> float | None:
    """1 - the sum of squared shares (Gini-Simpson)."""
    total = simpson_sum(abundances)
    return None if total is None else 1 - total


def simpson_unbiased(counts: Array) -> float | None:
    """Sum of n (n - 1) / N (N - 1) over counts of single plants; None below two plants."""
    total = float(counts.sum())
    if total < 2:
        return None
    return float((counts * (counts - 1)).sum() / (total * (total - 1)))


def hill(abundances: Array, q: int) -> float | None:
    """Hill number of order 0, 1 or 2: as many equally common kinds would be as diverse."""
    if q == 0:
        return float(richness(abundances))
    if q == 1:
        h = shannon(abundances)
        return None if h is None else float(np.exp(h))
    if q != 2:
        raise ValueError(f"the order {q} is not worked out; 0, 1 and 2 are")
    total = simpson_sum(abundances)
    return None if total is None else 1 / total


def evenness(abundances: Array) -> float | None:
    """Pielou's J: Shannon's H over its greatest value; None for fewer than two kinds."""
    h = shannon(abundances)
    return None if h is None or richness(abundances) < 2 else h / float(np.log(richness(abundances)))


@dataclass(frozen=True, slots=True)
class Pool:
    """Kinds of a meadow, seen and missed, from how many quadrats hold each kind.

    Attributes
    ----------
    quadrats, seen, in_one, in_two
        Quadrats; kinds seen, in exactly one quadrat, in exactly two.
    chao2
        Chao 1987, with (n - 1) / n; where no kind is in exactly two quadrats, its bias-corrected form.
    chao2_bias_corrected
        With Q1 (Q1 - 1) / 2 (Q2 + 1).
    jackknife_1, jackknife_2
        Burnham and Overton 1979.
    bootstrap
        Smith and van Belle 1984.
    """

    quadrats: int
    seen: int
    in_one: int
    in_two: int
    chao2: float | None
    chao2_bias_corrected: float | None
    jackknife_1: float | None
    jackknife_2: float | None
    bootstrap: float | None


def pool(in_quadrats: Counts, quadrats: int) -> Pool:
    """Estimates of the number of kinds in the whole meadow.

    Parameters
    ----------
    in_quadrats
        Quadrats that hold each kind, (kinds,).
    quadrats
        Quadrats looked at.
    """
    held = in_quadrats[in_quadrats > 0]
    seen, one, two = len(held), int((held == 1).sum()), int((held == 2).sum())
    if quadrats == 0:
        return Pool(0, 0, 0, 0, None, None, None, None, None)
    n = quadrats
    rest = (n - 1) / n
    corrected = seen + rest * one * (one - 1) / (2 * (two + 1))
    classic = seen + rest * one * one / (2 * two) if two else corrected
    second = None
    if n > 1:
        second = seen + one * (2 * (n - 1) - 1) / n - two * (n - 2) ** 2 / (n * (n - 1))
    bootstrap = seen + float(((1 - np.sort(held) / n) ** n).sum())
    return Pool(n, seen, one, two, classic, corrected, seen + one * rest, second, bootstrap)


def accumulation(in_quadrats: Counts, quadrats: int) -> Array:
    """Kinds expected in 1 to n quadrats taken at random, (n,): exact (Mao Tau), by Colwell and others 2004.

    A kind in k of n quadrats is missed by m with chance C(n - k, m) / C(n, m).
    """
    held = np.sort(in_quadrats[in_quadrats > 0])
    taken = np.arange(1, quadrats + 1)
    out = np.zeros(quadrats)
    for k, kinds in zip(*np.unique(held, return_counts=True), strict=True):
        left = quadrats - int(k) - taken
        possible = left >= 0
        missed = np.zeros(quadrats)
        log = _log_choose(quadrats - int(k), taken[possible]) - _log_choose(quadrats, taken[possible])
        missed[possible] = np.exp(log)
        out += kinds * (1 - missed)
    return out


def _log_choose(n: int, k: Counts) -> Array:
    return np.asarray(special.gammaln(n + 1) - special.gammaln(k + 1) - special.gammaln(n - k + 1))
