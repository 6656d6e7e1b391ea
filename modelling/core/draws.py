"""Draws of the establishment table for one run, seen with the seed of the county or with the seed of the site."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from modelling.core import sampling
from modelling.core.distributions import Array
from modelling.core.parameters import ParameterSet

Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Draws:
    """Rows of the establishment table and plain random numbers, all under one seed.

    Parameters
    ----------
    parameters
        Reference tables.
    seed
        `world_seed` for what sites share, `random_seed` for what belongs to the site (see `sampling`).
    n
        Number of draws; every array has shape (n,).
    """

    TABLE: ClassVar = "establishment"

    parameters: ParameterSet
    seed: int
    n: int

    def row(self, subject: str, quantity: str, key: str = "") -> Array:
        """Draws of one row in its own unit, shape (n,); KeyError names a row that is missing."""
        return sampling.draw(self.parameters.number(self.TABLE, subject, quantity), self.seed, self.n, key)

    def value(self, subject: str, quantity: str) -> float:
        """The most likely value of one row, in its own unit; KeyError names a row that is missing."""
        return self.parameters.value(self.TABLE, subject, quantity)

    def value_or(self, subject: str, quantity: str, default: float) -> float:
        """As `value`, or `default` where the table has no such row."""
        number = self.parameters.find(self.TABLE, subject, quantity)
        return default if number is None else number.middle

    def normals(self, name: str, key: str = "") -> Array:
        """Standard normals, shape (n,)."""
        return sampling.normals(self.seed, name, self.n, key)

    def uniforms(self, name: str, key: str = "") -> Array:
        """Uniforms in [0, 1), shape (n,)."""
        return sampling.uniforms(self.seed, name, self.n, key)

    def exponentials(self, name: str, key: str = "") -> Array:
        """Standard exponentials (mean 1), shape (n,)."""
        return sampling.exponentials(self.seed, name, self.n, key)
