"""What the sward leaves to the species of each class: survival and recruits of every year."""

from __future__ import annotations

import numpy as np

from modelling.core.distributions import Array
from modelling.core.species import ANNUAL, GRASSES, SLOW, Traits
from modelling.core.sward import Sward


class Chances:
    """Chances of plants and seedlings in one block, once the rattle has done its work.

    Arrays have shape (years, zones, forecasts, draws), or broadcast to it.

    Attributes
    ----------
    microsites
        Places for a seedling of an ordinary species, 1 on a bare bed.
    seedlings
        What competition, arisings left lying and the weather leave of the seedlings.
    adults, slow_adults
        What competition leaves of grown plants, and of slow, long-lived ones.
    grass_care, forb_care
        What arisings left lying, summer sheep (on forbs) and the weather leave of grown plants.
    """

    def __init__(self, sward: Sward) -> None:
        model, cut = sward.model, sward.cut
        self.sward, self.cut = sward, cut
        #: whether last year's mowing took the annuals before they shed their seed
        self.mown_before_seed = np.zeros((*model.mown_early.shape, 1, 1), dtype=bool)
        self.mown_before_seed[1:, :, 0, 0] = model.mown_early[:-1]
        self.seed_return = model.aftercare.factor("seed_return_share", cut)[:, None]
        left = model.aftercare.factor("arisings_left", cut)[:, None]
        sheep = model.aftercare.factor("sheep", cut)[:, None]
        weather = model.weather[:, None, None, cut]
        pressure = sward.pressure(sward.crop_felt)
        self.microsites = sward.microsites(sward.bare, sward.floor)
        self.seedlings = np.exp(-pressure) * ((1 + left * (model.left_recruits[cut] - 1)) * weather)
        self.adults = np.exp(-model.adult_exponent[cut] * pressure)
        self.slow_adults = np.exp(-model.slow_adult_exponent[cut] * pressure)
        self.grass_care = (1 + left * (model.left_survival[cut] - 1)) * weather
        self.forb_care = self.grass_care * (1 + sheep * (model.sheep_survival[cut] - 1))

    def of(self, traits: Traits) -> tuple[Array, Array]:
        """What stays and what comes of a class: two arrays (years, zones, forecasts, draws).

        `stay`: plants this year per plant of last year = survival x what is left of adults + local recruits.
        `come`: seedlings per established share of seed. Short-lived species need open ground: microsites are
        b / (b + half share), squared where annuals seed themselves.
        """
        come = self.microsites * self.seedlings
        local = come
        if traits.bare_half_share is not None:
            open_share = self.sward.bare / (self.sward.bare + traits.bare_half_share)
            if traits.name == ANNUAL:
                local = open_share**2 * self.seedlings * ~self.mown_before_seed
            else:
                come = local = open_share * self.seedlings
        held = self.slow_adults if traits.name in SLOW else self.adults
        care = self.grass_care if traits.name in GRASSES else self.forb_care
        recruits = traits.recruits[self.cut] * self.seed_return * local
        return traits.survival[self.cut] * (held * care) + recruits, come
