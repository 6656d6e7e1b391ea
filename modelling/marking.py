"""Scores by several people on one scale: who marks high, who marks low, and what is left of each bid without that."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import minimize_scalar

__all__ = ["Marked", "Marking", "calibrate"]

#: searched over the log of the ratio of variances, assessors to what is left; beyond these nothing changes
_LEAST_LOG: Final = -12.0
_MOST_LOG: Final = 8.0


@dataclass(frozen=True)
class Marked:
    """A thing that was scored: its mean as scored, and without the habits of those who scored it."""

    raw_mean: float
    calibrated: float
    scores: int


@dataclass(frozen=True)
class Marking:
    """What the scores come to.

    `assessors` holds how far each marks above (+) or below (-) the others, shrunk towards 0 by how little is known;
    `assessor_share` the share of variance that is theirs, 0 to 1.
    """

    bids: dict[Hashable, Marked]
    assessors: dict[Hashable, float]
    assessor_share: float


def calibrate(scores: Sequence[tuple[Hashable, Hashable, float]]) -> Marking:
    """Separate what belongs to a bid from what belongs to who scored it.

    Score = bid + assessor + rest, bids as fixed, assessors as drawn from a normal law around 0; the ratio of variances
    by restricted maximum likelihood, so that few overlapping scores shrink the assessors' part to nothing.

    Parameters
    ----------
    scores
        (bid, assessor, score), each pair once, in any order.
    """
    if not scores:
        return Marking({}, {}, 0.0)
    bids = list(dict.fromkeys(bid for bid, _, _ in scores))
    people = list(dict.fromkeys(assessor for _, assessor, _ in scores))
    values = np.array([score for _, _, score in scores], dtype=float)
    fixed, drawn = np.zeros((len(scores), len(bids))), np.zeros((len(scores), len(people)))
    for row, (bid, assessor, _) in enumerate(scores):
        fixed[row, bids.index(bid)] = 1.0
        drawn[row, people.index(assessor)] = 1.0
    spare = len(scores) - len(bids)
    ratio = _ratio(values, fixed, drawn) if spare > 0 and len(people) > 1 else 0.0
    levels, effects = _solved(values, fixed, drawn, ratio)
    means = {bid: float(values[fixed[:, i] == 1.0].mean()) for i, bid in enumerate(bids)}
    counts = fixed.sum(axis=0)
    return Marking(
        {bid: Marked(means[bid], float(levels[i]), int(counts[i])) for i, bid in enumerate(bids)},
        {person: float(effects[i]) for i, person in enumerate(people)},
        ratio / (1.0 + ratio),
    )


def _solved(values: np.ndarray, fixed: np.ndarray, drawn: np.ndarray, ratio: float) -> tuple[np.ndarray, np.ndarray]:
    """Levels of the bids and effects of the assessors at a ratio of variances (Henderson's equations)."""
    if ratio == 0.0:
        return fixed.T @ values / fixed.sum(axis=0), np.zeros(drawn.shape[1])
    left = np.block(
        [[fixed.T @ fixed, fixed.T @ drawn], [drawn.T @ fixed, drawn.T @ drawn + np.eye(drawn.shape[1]) / ratio]]
    )
    found = np.linalg.solve(left, np.concatenate([fixed.T @ values, drawn.T @ values]))
    return found[: fixed.shape[1]], found[fixed.shape[1] :]


def _ratio(values: np.ndarray, fixed: np.ndarray, drawn: np.ndarray) -> float:
    """The ratio of variances by restricted maximum likelihood; 0 where the scores do not tell."""

    def lost(log_ratio: float) -> float:
        return _minus_twice_likelihood(values, fixed, drawn, float(np.exp(log_ratio)))

    best = minimize_scalar(lost, bounds=(_LEAST_LOG, _MOST_LOG), method="bounded")
    nothing = _minus_twice_likelihood(values, fixed, drawn, 0.0)
    return float(np.exp(best.x)) if best.fun < nothing else 0.0


def _minus_twice_likelihood(values: np.ndarray, fixed: np.ndarray, drawn: np.ndarray, ratio: float) -> float:
    """Up to a constant, with the variance of the rest profiled out."""
    spread = np.eye(len(values)) + ratio * (drawn @ drawn.T)
    inverse = np.linalg.inv(spread)
    inner = fixed.T @ inverse @ fixed
    projection = inverse - inverse @ fixed @ np.linalg.solve(inner, fixed.T @ inverse)
    spare = len(values) - fixed.shape[1]
    left = max(float(values @ projection @ values), np.finfo(float).tiny)
    return float(np.linalg.slogdet(spread)[1] + np.linalg.slogdet(inner)[1] + spare * np.log(left / spare))
