"""How much of a lot's seed is alive: what is usual for the taxon, a germination test, and the time since."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import betaincinv

from modelling.core.distributions import Array

#: a usual share is held this far from none and from all, where a beta distribution has no spread
_EDGE: Final = 0.01


@dataclass(frozen=True, slots=True)
class Alive:
    """Share of seed alive: a beta distribution, before it ages."""

    a: float
    b: float

    @property
    def mean(self) -> float:
        """Mean share."""
        return self.a / (self.a + self.b)

    def draws(self, u: Array) -> Array:
        """Shares from uniforms, shape of `u`."""
        return np.asarray(betaincinv(self.a, self.b, u))


def usual(mean: float, worth_seeds: float) -> Alive:
    """What is usual for the taxon, worth as much as a test of `worth_seeds` seeds."""
    held = min(max(mean, _EDGE), 1 - _EDGE)
    return Alive(held * worth_seeds, (1 - held) * worth_seeds)


def tested(prior: Alive, germinated: int, sown: int) -> Alive:
    """After a test in which `germinated` of `sown` came up."""
    return Alive(prior.a + germinated, prior.b + sown - germinated)


def aged(share: Array, years: float, half_life_years: Array) -> Array:
    """What is left of a share after `years` in store; shape of the arguments together."""
    return np.asarray(share / 2 ** (years / half_life_years))
