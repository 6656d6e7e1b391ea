"""Yellow rattle through the years, on the cut part and in an uncut refuge.

An annual that lives on the roots of its neighbours: the more host there is the better it grows, up to a point of
fertility; it lowers the crop, runs short of host, and falls back. Without seed shed it is gone.
"""

from __future__ import annotations

import numpy as np

from modelling.core.distributions import Array, logit
from modelling.core.draws import Draws
from modelling.core.scenario import Taxon
from modelling.core.species import RATTLE, SeedOnSite
from modelling.core.sward import Sward, SwardModel


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
        self.world, self.sward, self.taxon = world, sward, taxon
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
        Share of the crop that earlier years' rattle costs this year.
    """

    def __init__(self, model: RattleModel, sward: Sward) -> None:
        self.model, self.sward, self.cut = model, sward, sward.cut
        self.refuge = sward.model.care.refuge_share
        shares = [1 - self.refuge, self.refuge] if self.refuge else [1]
        self.part_share = np.array(shares)[:, None, None, None]
        self.rain = np.zeros((len(shares), *sward.crop.shape[1:]))
        self.soil = np.zeros_like(self.rain)
        self.felt = np.zeros(sward.crop.shape[1:])
        self.returned = self._returned()

    def value(self, quantity: str) -> float:
        """A plain number of yellow rattle."""
        return self.model.world.value(RATTLE, quantity)

    def _returned(self) -> Array:
        """Share of the seed that is shed before the cut, (years, parts, zones, forecasts, draws)."""
        care, mown_early = self.sward.model.aftercare, self.sward.model.mown_early[:, :, None, None]
        cut_part = care.factor("rattle_seed_return_share", self.cut)[:, None]
        early = care.regime_value("early_cut", "rattle_seed_return_share")
        cut_part = np.where(mown_early, np.minimum(cut_part, early), cut_part)
        uncut = np.full_like(cut_part, care.regime_value("uncut", "rattle_seed_return_share"))
        return np.stack([cut_part, uncut][: len(self.part_share)], axis=1)

    def step(self, year: int) -> Array:
        """One year: the gaps of earlier rattle, this year's plants, their seed, and the crop they cost."""
        sward, most = self.sward, self.model.max_loss[self.cut]
        sward.bare[year] = np.minimum(sward.bare[year] + self.felt / most * self.model.gap_share[self.cut], 1)
        come = (self.model.seeds[year][:, None, None] + self.rain + self.soil) * self.growth(year)
        plants = come / (1 + come / self.value("ceiling"))
        density: Array = (self.part_share * plants).sum(axis=0)
        alive = density * sward.model.ground.area_m2 >= self.model.fate[self.cut]
        density *= alive
        self.shed(year, plants * alive)
        loss = most * density / (density + self.value("half_density"))
        lost = np.maximum(self.felt, self.value("suppression_now_share") * loss)
        sward.crop[year] *= 1 - lost
        sward.crop_felt[year] *= 1 - lost
        memory = self.value("suppression_memory_share")
        self.felt = memory * self.felt + (1 - memory) * loss
        return density

    def growth(self, year: int) -> Array:
        """Plants per seed: microsites, shade, too rich a crop, host found and not yet exhausted, noise, weather."""
        sward, felt, cut = self.sward, self.felt, self.cut
        host = sward.crop[year] * (1 - felt)
        shade = self.value("competition_exponent") * sward.pressure(sward.crop_felt[year] * (1 - felt))
        too_rich = np.maximum(host - self.value("crop_limit"), 0) / self.value("crop_limit_scale")
        found = host**2 / (host**2 + self.value("host_half_crop") ** 2)
        fresh = (1 - self.value("host_exhaustion_share") * felt / self.model.max_loss[cut]) ** 2
        luck = self.model.plants_per_seed[cut] * self.model.noise[year, cut] * sward.model.weather[year, cut]
        places = sward.microsites(sward.bare[year], sward.floor[year])
        growth: Array = places * np.exp(-shade - too_rich) * found * fresh * luck
        return growth

    def shed(self, year: int, plants: Array) -> None:
        """Seed shed this year by `plants` per m2 of each part, and what is left of last year's in the soil."""
        self.soil = self.value("soil_seed_share") * self.rain
        self.rain = self.value("seeds_per_plant") * plants * self.returned[year]
        if self.refuge:
            spill = self.value("refuge_spill_share") * self.rain[1]
            self.rain[1] -= spill
            self.rain[0] += spill * self.refuge / (1 - self.refuge)
