"""Yellow rattle through the years, on the cut part and in an uncut refuge.

An annual that lives on the roots of its neighbours: the more host there is the better it grows, up to a point of
fertility; it lowers the crop, runs short of host, and falls back. Without seed shed it is gone.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from modelling.core.distributions import Array, logit
from modelling.core.draws import Draws
from modelling.core.scenario import Taxon
from modelling.core.species import RATTLE, SeedOnSite
from modelling.core.sward import Sward, SwardModel

#: numbers of yellow rattle that are not drawn
PLAIN: Final = (
    "ceiling", "competition_exponent", "crop_limit", "crop_limit_scale", "half_density", "host_exhaustion_share",
    "host_half_crop", "mown_early_none_cuts", "mown_early_return_share", "refuge_spill_share", "seeds_per_plant",
    "soil_seed_share", "suppression_memory_share", "suppression_now_share",
)  # fmt: skip


class RattleModel:
    """Everything about yellow rattle that is drawn once for the run; arrays of shape (draws,).

    Parameters
    ----------
    world, site
        Draws under the county's and under the site's seed.
    seed_on_site
        How much of the seed establishes.
    sward
        The sward it grows in.
    taxon
        Yellow rattle as sown.
    """

    def __init__(self, world: Draws, site: Draws, seed_on_site: SeedOnSite, sward: SwardModel, taxon: Taxon) -> None:
        self.sward, self.taxon = sward, taxon
        self.value = {quantity: world.value(RATTLE, quantity) for quantity in PLAIN}
        self.max_loss = world.row(RATTLE, "max_crop_loss_share")
        self.gap_share = world.row(RATTLE, "gap_share")
        log_odds = logit(world.row(RATTLE, "passes_hurdle_share"))
        share = np.minimum(world.row(RATTLE, "establishment_share"), 1)
        self.plants_per_seed = share * seed_on_site.passes(taxon, log_odds) * seed_on_site.seed_count(taxon)
        #: expected plants on the site below which there are none
        self.fate = site.exponentials("finite_site", RATTLE)
        #: live seeds per m2, (years, zones)
        self.seeds = np.zeros((sward.years, len(sward.zones)))
        for index, zone in enumerate(sward.zones):
            for sowing in zone.sowings:
                if sowing.year <= sward.years and not sowing.late:
                    self.seeds[sowing.year - 1, index] += sowing.live_seeds_per_m2.get(taxon.key, 0)
        noise = world.value(RATTLE, "yearly_noise")
        self.noise = np.stack([site.normals("rattle_noise", str(year)) for year in range(sward.years)])
        #: yearly factor, (years, draws)
        self.noise = np.exp(noise * self.noise, out=self.noise)

    @property
    def sown(self) -> bool:
        """Whether any seed can come up within the horizon."""
        return bool(self.seeds.any())

    def walk(self, sward: Sward) -> Array:
        """Follow the rattle of one block, lowering the crop of `sward` and opening gaps in it.

        Returns
        -------
        Array
            Plants per m2, mean of cut part and refuge, (years, zones, forecasts, draws).
        """
        rattle = Rattle(self, sward)
        return np.stack([rattle.step(year) for year in range(self.sward.years)])


class Rattle:
    """Yellow rattle of one block of draws; arrays (zones, forecasts, draws), with parts in front where said.

    Parts are the cut part and, if there is one, the refuge.

    Attributes
    ----------
    rain, soil
        Seed shed last year, and left in the soil from the year before, per m2 of the part: (parts, ...).
    felt
        Loss of crop that earlier years' rattle still costs, over the greatest loss there is.
    """

    def __init__(self, model: RattleModel, sward: Sward) -> None:
        self.model, self.sward, cut = model, sward, sward.cut
        self.most, self.gap_share, self.fate = model.max_loss[cut], model.gap_share[cut], model.fate[cut]
        self.refuge = sward.model.care.refuge_share
        shares = [1 - self.refuge, self.refuge] if self.refuge else [1]
        self.part_share = np.array(shares)[:, None, None, None]
        self.rain = np.zeros((len(shares), *sward.crop.shape[1:]))
        self.soil = np.zeros_like(self.rain)
        self.felt = np.zeros(sward.crop.shape[1:])
        self.returned = self._returned()
        #: plants per seed that settles, by luck and weather: (years, draws)
        self.luck = model.plants_per_seed[cut] * model.noise[:, cut] * sward.model.weather[:, cut]

    def _returned(self) -> Array:
        """Share of the seed that is shed before the cut, (years, parts, zones, forecasts, draws)."""
        care, mown_early = self.sward.model.aftercare, self.sward.model.mown_early[:, :, None, None]
        cut_part = care.factor("rattle_seed_return_share", self.sward.cut)[:, None]
        cuts, none_from = self.sward.model.care.first_year_cuts, self.model.value["mown_early_none_cuts"]
        early = 0.0 if cuts >= none_from else self.model.value["mown_early_return_share"]
        cut_part = np.where(mown_early, np.minimum(cut_part, early), cut_part)
        uncut = np.full_like(cut_part, care.regime_value("uncut", "rattle_seed_return_share"))
        return np.stack([cut_part, uncut][: len(self.part_share)], axis=1)

    def step(self, year: int) -> Array:
        """One year: the gaps of earlier rattle, this year's plants, their seed, and the crop they cost."""
        sward, value = self.sward, self.model.value
        sward.bare[year] = np.minimum(sward.bare[year] + self.gap_share * self.felt, 1)
        come = (self.model.seeds[year][:, None, None] + self.rain + self.soil) * self.growth(year)
        plants = come / (1 + come / value["ceiling"])
        density: Array = (self.part_share * plants).sum(axis=0)
        alive = density * sward.model.ground.area_m2 >= self.fate
        density *= alive
        self.shed(year, plants * alive)
        loss = density / (density + value["half_density"])
        left = 1 - self.most * np.maximum(self.felt, value["suppression_now_share"] * loss)
        sward.crop[year] *= left
        sward.crop_felt[year] *= left
        memory = value["suppression_memory_share"]
        self.felt = memory * self.felt + (1 - memory) * loss
        return density

    def growth(self, year: int) -> Array:
        """Plants per seed: microsites, shade, too rich a crop, host found and not yet exhausted, noise, weather."""
        sward, value = self.sward, self.model.value
        left = 1 - self.most * self.felt
        host = sward.crop[year] * left
        shade = value["competition_exponent"] * sward.pressure(sward.crop_felt[year] * left)
        too_rich = np.maximum(host - value["crop_limit"], 0) / value["crop_limit_scale"]
        host *= host
        found = host / (host + value["host_half_crop"] ** 2)
        fresh = (1 - value["host_exhaustion_share"] * self.felt) ** 2
        places = sward.microsites(sward.bare[year], sward.floor[year])
        growth: Array = places * np.exp(-shade - too_rich) * found * fresh * self.luck[year]
        return growth

    def shed(self, year: int, plants: Array) -> None:
        """Seed shed this year by `plants` per m2 of each part, and what is left of last year's in the soil."""
        value = self.model.value
        self.soil = value["soil_seed_share"] * self.rain
        self.rain = value["seeds_per_plant"] * plants * self.returned[year]
        if self.refuge:
            spill = value["refuge_spill_share"] * self.rain[1]
            self.rain[1] -= spill
            self.rain[0] += spill * self.refuge / (1 - self.refuge)
