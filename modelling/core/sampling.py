"""Random draws: one stream per seed, parameter name and key, so that nothing shifts when something is added.

Two seeds. `random_seed` belongs to the site; `world_seed` to what the sites of a county share (what is true of a
species, a work rate, a price or a year's weather). Draw d is the same world in every run. The first draws of a
longer run are the draws of a shorter one.
"""

from __future__ import annotations

import hashlib

import numpy as np

from modelling.core.distributions import Array, logitnormal, lognormal, normal, triangular
from modelling.core.parameters import Number


def stream(seed: int, name: str, key: str = "") -> np.random.Generator:
    """Random generator for one parameter of one subject; stable across machines and releases of Python."""
    digest = hashlib.blake2b(f"{seed}\x1f{name}\x1f{key}".encode(), digest_size=16).digest()
    return np.random.Generator(np.random.PCG64(int.from_bytes(digest, "little")))


def normals(seed: int, name: str, n: int, key: str = "") -> Array:
    """Standard normals, shape (n,)."""
    return stream(seed, name, key).standard_normal(n)


def uniforms(seed: int, name: str, n: int, key: str = "") -> Array:
    """Uniforms in [0, 1), shape (n,)."""
    return stream(seed, name, key).random(n)


def exponentials(seed: int, name: str, n: int, key: str = "") -> Array:
    """Standard exponentials (mean 1), shape (n,)."""
    return stream(seed, name, key).standard_exponential(n)


def draw(number: Number, seed: int, n: int, key: str = "") -> Array:
    """Draws of one reference number in its own unit, shape (n,).

    The stream is named after the row (table, subject, quantity) and `key`. A `fixed` row gives the same value n
    times; a `band` has no distribution and is refused.
    """
    if number.shape == "fixed" and number.mode is not None:
        return np.full(n, number.mode)
    low, mode, high = number.low, number.mode, number.high
    if low is None or mode is None or high is None:
        raise ValueError(f"{number.subject}, {number.quantity}: a row of shape {number.shape} cannot be drawn")
    name = f"{number.table}/{number.subject}/{number.quantity}"
    if number.shape == "triangular":
        return triangular(uniforms(seed, name, n, key), low, mode, high)
    z = normals(seed, name, n, key)
    laws = {"lognormal": lognormal, "logitnormal": logitnormal, "normal": normal}
    return laws[number.shape](z, low, mode, high)
