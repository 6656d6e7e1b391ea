"""Seeds in a sack from counted sub-samples: limits, whether the sack is well mixed, and how much more to count.

Counts are of filled seeds of one taxon, `counts[j]` in `grams[j]` grams. A lot that is not well mixed is described by
clumping `phi`: the variance of a count with mean mu is mu + phi mu^2 (negative binomial, phi = 1/k; 0 is Poisson).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import gammaincinv, gammaln
from scipy.stats import chi2, studentized_range

from modelling.core.distributions import Array

#: half the width of the grid of the rate, in natural logarithms around the mean
_SPAN: Final = 3.0
#: the same where fewer than `_FEW` seeds were counted
_WIDE: Final = (-7.0, 5.0)
#: seeds
_FEW: Final = 20
#: points of the grid
_RATES: Final = 320
#: the prior of Jeffreys for a Poisson mean is proportional to its power of -1/2, which adds half a seed
_HALF: Final = 1 / 2
#: grid of the clumping; the first point stands for none
_CLUMPING: Final = np.concatenate([[1e-5], np.geomspace(1e-3, 8.0, 40)])


@dataclass(frozen=True, slots=True)
class Limits:
    """A value between two limits, all in one unit."""

    low: float
    mean: float
    high: float


def garwood(count: int, confidence: float) -> tuple[float, float]:
    """Exact two-sided limits of a Poisson mean from one count (Garwood 1936, Biometrika 28: 437-442)."""
    tail = (1 - confidence) / 2
    low = float(chi2.ppf(tail, 2 * count)) / 2 if count else 0.0
    return low, float(chi2.isf(tail, 2 * count + 2)) / 2


def exact_limits(count: int, grams: float, confidence: float) -> Limits:
    """Seeds per gram of a well-mixed sack, from all sub-samples together."""
    low, high = garwood(count, confidence)
    return Limits(low / grams, count / grams, high / grams)


@dataclass(frozen=True, slots=True)
class Posterior:
    """What is known of seeds per gram when the sack may be clumped.

    Parameters
    ----------
    rate
        Seeds per gram, shape (points,), rising.
    below
        Chance that the true rate is below each, shape (points,).
    clumping
        Mean of phi.
    """

    rate: Array
    below: Array
    clumping: float

    def quantile(self, share: Array | float) -> Array:
        """Seeds per gram below which `share` of the chance lies; shape of `share`."""
        return np.asarray(np.interp(share, self.below, self.rate))

    def limits(self, mean: float, confidence: float, *, none_seen: bool) -> Limits:
        """Two-sided limits; where no seed was seen, none may be there."""
        tail = (1 - confidence) / 2
        low = 0.0 if none_seen else float(self.quantile(tail))
        return Limits(low, mean, float(self.quantile(1 - tail)))


def well_mixed(count: int, grams: float, u: Array) -> Array:
    """Seeds per gram of a well-mixed sack from uniforms, shape of `u`: gamma, prior proportional to rate^-1/2."""
    return np.asarray(gammaincinv(count + _HALF, u) / grams)


def clumped(counts: Array, grams: Array, prior_scale: float) -> Posterior:
    """Seeds per gram allowing for clumps that the counts may or may not show.

    Bayes on a grid: negative binomial counts, prior of the rate proportional to rate^-1/2, prior of phi half-Cauchy
    of scale `prior_scale`. With few sub-samples the prior decides how much wider than Poisson the limits are, and a
    simulation in the tests says how often they hold.

    Parameters
    ----------
    counts, grams
        Shape (sub-samples,); grams above 0.
    prior_scale
        Scale of the prior of phi.
    """
    total, mass = float(counts.sum()), float(grams.sum())
    middle = math.log((total + _HALF) / mass)
    span = _WIDE if total < _FEW else (-_SPAN, _SPAN)
    log_rate = np.linspace(middle + span[0], middle + span[1], _RATES)
    k = 1 / _CLUMPING
    mu = np.exp(log_rate)[:, None, None] * grams[None, None, :]
    size = k[None, :, None]
    log_likelihood = (
        gammaln(counts + size) - gammaln(size) - gammaln(counts + 1)
        - size * np.log1p(mu / size) + counts * (np.log(mu) - np.log(size + mu))
    ).sum(axis=2)  # fmt: skip
    prior = np.gradient(_CLUMPING) / (1 + (_CLUMPING / prior_scale) ** 2)
    log_post = log_likelihood + np.log(prior)[None, :] + _HALF * log_rate[:, None]
    weight = np.exp(log_post - log_post.max())
    by_rate = weight.sum(axis=1)
    # the chance below a point of the grid is that of the points before it and half its own
    below = (np.cumsum(by_rate) - by_rate / 2) / by_rate.sum()
    clumping = float((weight.sum(axis=0) * _CLUMPING).sum() / weight.sum())
    return Posterior(np.exp(log_rate), below, clumping)


@dataclass(frozen=True, slots=True)
class Dispersion:
    """Test of even mixing: variance against that of chance, and how often chance alone gives as much."""

    index: float
    chi_squared: float
    degrees: int
    p: float


def dispersion(counts: Array, grams: Array) -> Dispersion | None:
    """Chi-squared test that all sub-samples have the same seeds per gram; None with one sub-sample or no seed."""
    if len(counts) < 2 or not counts.sum():
        return None
    expected = counts.sum() * grams / grams.sum()
    value, degrees = float(((counts - expected) ** 2 / expected).sum()), len(counts) - 1
    return Dispersion(value / degrees, value, degrees, float(chi2.sf(value, degrees)))


@dataclass(frozen=True, slots=True)
class Heterogeneity:
    """A heterogeneity value with what it may be in an acceptable lot."""

    value: float
    most: float

    @property
    def uneven(self) -> bool:
        """Whether the value is above what an acceptable lot gives."""
        return self.value > self.most


def h_of(variance: float, expected: float, allowance: float, samples: int, confidence: float) -> Heterogeneity:
    """H value in the form V / W - f, and its greatest value at this one-sided confidence.

    Parameters
    ----------
    variance
        Observed between sub-samples, V.
    expected
        By chance alone, W.
    allowance
        Factor f by which an acceptable lot may vary more than chance.
    """
    most = allowance * (float(chi2.ppf(confidence, samples - 1)) / (samples - 1) - 1)
    return Heterogeneity(variance / expected - allowance, most)


def h_value(counts: Array, allowance: float, confidence: float) -> Heterogeneity | None:
    """H value of counted seeds in sub-samples of equal mass, W being the mean count; None where it has no meaning."""
    if len(counts) < 2 or not counts.sum():
        return None
    return h_of(float(counts.var(ddof=1)), float(counts.mean()), allowance, len(counts), confidence)


def r_tolerated(expected: float, allowance: float, samples: int, confidence: float) -> float:
    """Greatest range between sub-samples of an acceptable lot whose variance by chance is `expected`."""
    return float(studentized_range.ppf(confidence, samples, np.inf)) * math.sqrt(allowance * expected)


def r_value(counts: Array, allowance: float, confidence: float) -> Heterogeneity | None:
    """R value: range of the counts against the greatest range of an acceptable lot."""
    if len(counts) < 2 or not counts.sum():
        return None
    most = r_tolerated(float(counts.mean()), allowance, len(counts), confidence)
    return Heterogeneity(float(np.ptp(counts)), most)


def grams_more(rate: float, grams: Array, clumping: float, precision: float, confidence: float) -> float:
    """Grams to count beyond those counted, in sub-samples like these, for limits of about +/- `precision`.

    From the variance of a mean of n sub-samples, (1/mu + phi)/n relative to its square.
    """
    z2 = float(chi2.ppf(confidence, 1))
    each = float(grams.mean())
    samples = z2 * (1 / (rate * each) + clumping) / precision**2
    return max(math.ceil(samples) * each - float(grams.sum()), 0.0)


def in_sack(rate: Limits, counted: int, counted_g: float, sack_g: float) -> Limits:
    """Seeds in the whole sack: those counted, and the rest by the rate."""
    rest = max(sack_g - counted_g, 0.0)
    return Limits(counted + rate.low * rest, counted + rate.mean * rest, counted + rate.high * rest)
