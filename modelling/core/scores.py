"""Scores of several assessors on one scale: what is the bid's, and what is the assessor's leniency.

score = bid + assessor + noise, by least squares; leniencies are drawn towards 0, the more so the fewer scores an
assessor gave (best linear unbiased prediction, with the variances by restricted maximum likelihood).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import inv
from scipy.optimize import minimize_scalar
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from modelling.core.distributions import Array

Places = NDArray[np.int64]

#: logarithms of the smallest and largest ratio of noise to leniency that is looked at, as variances
LOG_RATIOS: Final = (-12.0, 12.0)


@dataclass(frozen=True, slots=True)
class Calibrated:
    """Scores on one scale.

    Attributes
    ----------
    means
        Mean score of each bid as given, (bids,).
    adjusted
        The same as if every assessor had scored it, (bids,).
    leniency
        By how much each assessor scores above the others, drawn towards 0, (assessors,).
    parts
        Number of the part of the table that each bid belongs to, (bids,): bids of two parts have no assessor, nor any
        chain of assessors, in common.
    noise_sd, leniency_sd
        Standard deviations; None where the scores cannot tell them.
    variances
        Covariance of the adjusted scores in units of the noise's variance, (bids, bids).
    """

    means: Array
    adjusted: Array
    leniency: Array
    parts: Places
    noise_sd: float | None
    leniency_sd: float | None
    variances: Array

    def difference(self, one: int, other: int) -> tuple[float, float | None]:
        """Adjusted score of one bid less that of another, and its standard error."""
        gap = float(self.adjusted[one] - self.adjusted[other])
        if self.noise_sd is None:
            return gap, None
        v = self.variances
        spread = max(float(v[one, one] + v[other, other] - 2 * v[one, other]), 0.0)
        return gap, self.noise_sd * float(np.sqrt(spread))

    def told_apart(self, one: int, other: int, errors: float) -> bool:
        """Whether two bids differ by more than so many standard errors, and can be compared at all."""
        gap, error = self.difference(one, other)
        return bool(self.parts[one] == self.parts[other]) and error is not None and abs(gap) > errors * error


def calibrate(bids: Places, assessors: Places, scores: Array, usual_ratio: float) -> Calibrated:
    """Put scores on one scale.

    Parameters
    ----------
    bids, assessors
        Which bid and which assessor each score is of, from 0, shape (scores,) each; none left out.
    scores
        The scores, (scores,).
    usual_ratio
        Variance of the noise over that of leniency, taken where the scores cannot tell.
    """
    table = _Table(bids, assessors, scores)
    ratio = table.best_ratio() if table.tells else usual_ratio
    leniency = table.leniency(ratio)
    adjusted = (table.bid_sums - (table.counts * leniency).sum(axis=1)) / table.per_bid
    noise = table.noise(ratio) if table.tells else None
    inside = connected_components(table.graph(), directed=False)[1][: table.n_bids]
    return Calibrated(
        means=table.bid_sums / table.per_bid,
        adjusted=adjusted,
        leniency=leniency,
        parts=np.unique(inside, return_inverse=True)[1].astype(np.int64),
        noise_sd=None if noise is None else float(np.sqrt(noise)),
        leniency_sd=None if noise is None else float(np.sqrt(noise / ratio)),
        variances=table.variances(ratio),
    )


class _Table:
    """Counts and sums of an incomplete table of scores."""

    def __init__(self, bids: Places, assessors: Places, scores: Array) -> None:
        self.scores, self.n = scores, scores.size
        self.n_bids, self.n_assessors = int(bids.max()) + 1, int(assessors.max()) + 1
        self.counts = np.zeros((self.n_bids, self.n_assessors))
        np.add.at(self.counts, (bids, assessors), 1)
        self.per_bid, self.per_assessor = self.counts.sum(axis=1), self.counts.sum(axis=0)
        self.bid_sums = np.bincount(bids, scores, minlength=self.n_bids)
        assessor_sums = np.bincount(assessors, scores, minlength=self.n_assessors)
        #: shares of each bid's scores that are each assessor's
        self.shares = self.counts / self.per_bid[:, None]
        # assessors' sums of what each score is above the mean of its bid
        self.above = assessor_sums - (self.shares * self.bid_sums[:, None]).sum(axis=0)
        common = (self.counts[:, :, None] * self.shares[:, None, :]).sum(axis=0)
        self.own = np.diag(self.per_assessor) - common
        within = scores - (self.bid_sums / self.per_bid)[bids]
        self.within = float((within * within).sum())

    @property
    def tells(self) -> bool:
        """Whether the scores can tell noise from leniency: more of them than bids and assessors need."""
        chains = int(connected_components(self.graph(), directed=False)[0])
        free = self.n - (self.n_bids + self.n_assessors - chains)
        return free > 0 and self.n_assessors > chains and self.within > 0

    def graph(self) -> csr_array:
        """Bids and assessors joined by their scores."""
        size = self.n_bids + self.n_assessors
        rows, columns = np.nonzero(self.counts)
        return csr_array((np.ones(rows.size), (rows, columns + self.n_bids)), shape=(size, size))

    def leniency(self, ratio: float) -> Array:
        """Leniency of each assessor, drawn towards 0 by the ratio."""
        return np.asarray(np.linalg.solve(self.own + ratio * np.eye(self.n_assessors), self.above))

    def noise(self, ratio: float) -> float:
        """Variance of the noise."""
        explained = float((self.leniency(ratio) * self.above).sum())
        return max(self.within - explained, 0.0) / (self.n - self.n_bids)

    def best_ratio(self) -> float:
        """Ratio of the variances by restricted maximum likelihood."""

        def badness(log_ratio: float) -> float:
            ratio = float(np.exp(log_ratio))
            size = np.linalg.slogdet(self.own + ratio * np.eye(self.n_assessors))[1]
            noise = max(self.noise(ratio), np.finfo(np.float64).tiny)
            return float((self.n - self.n_bids) * np.log(noise) + size - self.n_assessors * log_ratio)

        return float(np.exp(minimize_scalar(badness, bounds=LOG_RATIOS, method="bounded").x))

    def variances(self, ratio: float) -> Array:
        """Covariance of the adjusted scores in units of the noise's variance, (bids, bids)."""
        free = inv(self.own + ratio * np.eye(self.n_assessors))
        spread = (self.shares[:, :, None] * free).sum(axis=1)
        through = (spread[:, None, :] * self.shares[None, :, :]).sum(axis=2)
        return np.asarray(np.diag(1 / self.per_bid) + through)
