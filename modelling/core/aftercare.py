"""Yearly care as the sward feels it: the factors of each regime, and the years in which care goes wrong."""

from __future__ import annotations

from typing import Final

import numpy as np

from modelling.core.distributions import Array
from modelling.core.draws import Draws, Flags
from modelling.core.scenario import FORECASTS, USUAL, Care

#: what a lapse turns the year into, in the order of the drawn kind: not cut, cut and left lying, cut too early
LAPSES: Final = ("uncut", "cut_left", "early_cut")
#: a hay cut left lying and one taken off: what lying cuttings do to a cut of any date
LEFT: Final = "cut_left"
TAKEN: Final = "hay"
#: columns that lying cuttings change by a factor
CHANGED_BY_LEAVING: Final = ("crop_factor", "bare_share")


class Aftercare:
    """The regime of every year, forecast and draw.

    With the forecast `KEPT` care never lapses. With `USUAL` it lapses in a year with the drawn chance, and the year
    is then as one of `LAPSES`.

    Parameters
    ----------
    site
        Draws under the site's seed.
    care
        The yearly care that was planned.
    years
        Summers to follow.
    """

    def __init__(self, site: Draws, care: Care, years: int) -> None:
        self.parameters, self.care = site.parameters, care
        self.lapse_chance = site.row("aftercare", "lapse_chance")
        uncut = site.value("aftercare", "lapse_uncut_share")
        left = site.value("aftercare", "lapse_left_share")
        self.chosen = np.zeros((years, len(FORECASTS), site.n), dtype=np.uint8)
        for year in range(years):
            which = site.uniforms("aftercare/which", str(year))
            kind = 1 + (which >= uncut).astype(np.uint8) + (which >= uncut + left)
            self.chosen[year, USUAL] = kind * (site.uniforms("aftercare/lapse", str(year)) < self.lapse_chance)

    def factor(self, quantity: str, cut: slice) -> Array:
        """One column of the regimes table for the draws `cut`: (years, forecasts, draws)."""
        values = np.array([self.planned(quantity), *(self.regime_value(key, quantity) for key in LAPSES)])
        return values.take(self.chosen[:, :, cut])

    def planned(self, quantity: str) -> float:
        """One number of the planned regime, with the cuttings left lying if that is planned."""
        value = self.regime_value(self.care.regime, quantity)
        if not self.care.arisings_left:
            return value
        if quantity in CHANGED_BY_LEAVING:
            return value * self.regime_value(LEFT, quantity) / self.regime_value(TAKEN, quantity)
        return max(value, self.regime_value(LEFT, quantity)) if quantity == "arisings_left" else value

    def regime_value(self, regime: str, quantity: str) -> float:
        """One number of the regimes table."""
        return self.parameters.value("regimes", regime, quantity)

    def lapsed(self, cut: slice) -> Flags:
        """Years in which care went wrong, for the draws `cut`: (years, forecasts, draws)."""
        return self.chosen[:, :, cut] > 0
