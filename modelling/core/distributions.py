"""Quantile functions: uniforms or standard normals in, draws of a reference number out.

Only uniforms, normals and exponentials of fixed shape are ever drawn (see `sampling`), so a changed parameter
never shifts another draw.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

Array = NDArray[np.float64]

#: distance of the 10 % and 90 % points of a standard normal from its middle
NORMAL_P90 = float(ndtri(0.9))


def triangular(u: Array, low: float, mode: float, high: float) -> Array:
    """Inverse of the triangular distribution function.

    Parameters
    ----------
    u
        Uniforms in [0, 1), any shape.
    low, mode, high
        Least, most likely and greatest value, one unit, rising.

    Returns
    -------
    Array
        Draws, shape of `u`; mean (low + mode + high) / 3.
    """
    width = high - low
    if width == 0:
        return np.full_like(u, mode)
    split = (mode - low) / width
    below = low + np.sqrt(u * width * (mode - low))
    above = high - np.sqrt((1 - u) * width * (high - mode))
    return np.where(u < split, below, above)


def lognormal(z: Array, low: float, median: float, high: float) -> Array:
    """Lognormal draws from standard normals `z`; `low` and `high` are the 10 % and 90 % points."""
    sd = (np.log(high) - np.log(low)) / (2 * NORMAL_P90)
    return np.asarray(median * np.exp(sd * z))


def logit(p: float | Array) -> Array:
    """Log odds of a share."""
    return np.asarray(np.log(p) - np.log1p(-np.asarray(p)))


def expit(x: float | Array) -> Array:
    """Share from log odds."""
    return np.asarray(1 / (1 + np.exp(-np.asarray(x))))


def logitnormal(z: Array, low: float, median: float, high: float) -> Array:
    """Logit-normal draws (shares) from standard normals `z`; `low`, `high` are the 10 % and 90 % points."""
    sd = (logit(high) - logit(low)) / (2 * NORMAL_P90)
    return expit(logit(median) + sd * z)


def normal(z: Array, low: float, mean: float, high: float) -> Array:
    """Normal draws from standard normals `z`; `low` and `high` are the 10 % and 90 % points."""
    return np.asarray(mean + (high - low) / (2 * NORMAL_P90) * z)


def interpolate(x: Array, xs: list[float], ys: list[float]) -> Array:
    """Straight lines between the points (xs, ys), level beyond the last; shape of `x`."""
    return np.asarray(np.interp(x, xs, ys))
