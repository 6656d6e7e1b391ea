"""The sown and planted species of one class through the years: growth, spread, and what a recorder sees.

Arrays have shape (species, zones, forecasts, draws), or broadcast to it. The state of a species is its plants per
m2 over its ceiling.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from modelling.core.chances import Chances
from modelling.core.distributions import Array
from modelling.core.draws import Draws
from modelling.core.sampling import stream
from modelling.core.scenario import FORECASTS, Ground, Taxon, Zone
from modelling.core.species import SLOW, SeedOnSite, Traits, germination_weights
from modelling.core.timelines import TimelineSums


class StandModel:
    """Everything about the species of one class that is drawn once for the run.

    Parameters
    ----------
    world, site
        Draws under the county's and under the site's seed.
    seed_on_site
        How much of the seed establishes.
    traits
        Traits of the class.
    taxa
        Species of the class.
    ground, zones
        The scenario.
    years
        Summers to follow.
    followed
        Draws, from the first, that the timelines follow.
    """

    def __init__(
        self,
        world: Draws,
        site: Draws,
        seed_on_site: SeedOnSite,
        traits: Traits,
        taxa: tuple[Taxon, ...],
        ground: Ground,
        zones: tuple[Zone, ...],
        years: int,
        followed: int,
    ) -> None:
        self.world, self.site, self.traits, self.taxa = world, site, traits, taxa
        self.ground, self.zones, self.years = ground, zones, years
        self.zone_shares = np.array([zone.area_share for zone in zones])
        #: state per live seed at the reference bed, (species, draws)
        self.per_seed = np.empty((len(taxa), world.n))
        for row, taxon in zip(self.per_seed, taxa, strict=True):
            np.divide(seed_on_site.plants_per_seed(taxon, traits), traits.ceiling, out=row)
        self.seeds = self._seeds()
        self.plugs = self._plugs()
        #: state per plug, (draws,)
        self.per_plug = world.row("plugs", "survival_share") / traits.ceiling
        self.spread = world.row("arrival", "spread_from_strip")
        #: whether the plants on the site are so few that they are counted one by one
        self.finite = ground.area_m2 < world.value("all", "finite_site_limit")
        #: state below which there is no plant on the site, (species, draws that need it)
        self.fate = self._fate(world.n if self.finite else followed)
        self.existing = self._existing() if ground.on_arable else None
        self.noise_streams = [stream(site.seed, "year_noise", taxon.key) for taxon in taxa]
        self.noise_shape = int(world.value("run", "noise_years")), int(world.value("run", "block_draws"))

    def _seeds(self) -> Array:
        """Seeds per m2 that come up, (years, species, zones)."""
        seeds = np.zeros((self.years, len(self.taxa), len(self.zones)))
        waiting_kept = self.world.value("ground", "spring_sown_chill_kept_share")
        for index, zone in enumerate(self.zones):
            for sowing in zone.sowings:
                left = max(self.years - sowing.year + 1, 0)
                for i, taxon in enumerate(self.taxa):
                    wait = int(sowing.late and taxon.chill_needed)
                    weights = germination_weights(
                        self.traits.germinates_first,
                        self.traits.germinates_later,
                        wait,
                        waiting_kept if wait else 1,
                        left,
                    )
                    seeds[self.years - left :, i, index] += sowing.live_seeds_per_m2.get(taxon.key, 0) * weights
        return seeds

    def _plugs(self) -> Array:
        """Plug plants per m2, (years, species, zones)."""
        plugs = np.zeros((self.years, len(self.taxa), len(self.zones)))
        for index, zone in enumerate(self.zones):
            for planting in zone.plantings:
                if planting.year <= self.years:
                    for i, taxon in enumerate(self.taxa):
                        plugs[planting.year - 1, i, index] += planting.plugs_per_m2.get(taxon.key, 0)
        return plugs

    def _existing(self) -> Array:
        """State of the species that former arable ground already carries, (species, draws)."""
        share = self.world.row("background", "already_there_share")
        state = np.empty_like(self.per_seed)
        for row, taxon in zip(state, self.taxa, strict=True):
            there = self.site.uniforms("background", taxon.key) < share
            row[:] = there * self.site.row("background", "density", taxon.key) / self.traits.ceiling
        return state

    def _fate(self, n: int) -> Array:
        """Each species' luck as a standard exponential number of plants on the site, as state: (species, n)."""
        site = replace(self.site, n=n)
        plants = np.array([site.exponentials("finite_site", taxon.key) for taxon in self.taxa])
        return plants / (self.traits.ceiling[:n] * self.ground.area_m2)

    def noise(self, width: int) -> Array:
        """Yearly factors of the next block of `width` draws, (species, years, draws).

        A whole block of all years is drawn whatever is used of it, so that neither a shorter horizon nor fewer
        draws shift a draw.
        """
        z = np.empty((len(self.taxa), *self.noise_shape))
        for i, generator in enumerate(self.noise_streams):
            generator.standard_normal(out=z[i])
        z = z[:, : self.years, :width]
        z *= self.traits.noise
        return np.exp(z, out=z)


class Stand:
    """The species of one class in one block of draws.

    Parameters
    ----------
    model
        What was drawn for the run.
    chances
        What the sward leaves to them.
    areas_m2
        Quadrat areas for which species are counted; the last is the one of the timelines.
    sums
        Timelines to add to, or None.
    """

    def __init__(
        self, model: StandModel, chances: Chances, areas_m2: tuple[float, ...], sums: TimelineSums | None
    ) -> None:
        self.model, self.cut, self.sums = model, chances.cut, sums
        self.stay, self.come = chances.of(model.traits)
        width = self.stay.shape[-1]
        self.noise = model.noise(width)
        ceiling = model.traits.ceiling[self.cut]
        self.ceiling = ceiling
        #: state at which half of the quadrats of an area hold the species
        self.half_seen = [1 / (ceiling * area) for area in areas_m2]
        #: years between seedling and first flower, by species, and the plants that live that long
        self.lags = [max(taxon.first_flower_year - 1, 0) for taxon in model.taxa]
        survival = model.traits.survival[self.cut]
        self.lives = {lag: survival**lag for lag in set(self.lags)}
        shape = (len(model.taxa), len(model.zones), len(FORECASTS), width)
        #: states of the last years, as many as the slowest species takes to flower; year y at y modulo the number
        self.states = np.zeros((max(self.lags) + 1, *shape))
        if model.existing is not None:
            self.states[-1] = model.existing[:, None, None, self.cut]
        self.work = np.empty(shape)
        self.seedlings = np.empty((*shape[:2], 1, width))

    def walk(self) -> list[Array]:
        """Go through the years; for each area, species seen: (years, zones, forecasts, draws)."""
        seen = [np.empty_like(self.stay) for _ in self.half_seen]
        for year in range(self.model.years):
            now = self.grow(year)
            self.observe(year, now, [totals[year] for totals in seen])
        return seen

    def grow(self, year: int) -> Array:
        """State of the year: survivors and local recruits, seedlings, plugs, spread, then the ceiling."""
        model, work, cut = self.model, self.work, self.cut
        before, now = self.state(year - 1), self.state(year)
        np.multiply(before, self.stay[year], out=now)
        now *= self.noise[:, year, None, None]
        if model.seeds[year].any():
            np.multiply(model.per_seed[:, None, None, cut], model.seeds[year][:, :, None, None], out=self.seedlings)
            np.multiply(self.seedlings, self.come[year], out=work)
            now += work
        if model.plugs[year].any():
            now += model.plugs[year][:, :, None, None] * model.per_plug[cut]
        if len(model.zones) > 1:
            self.spread(year, now)
        np.add(now, 1, out=work)
        now /= work
        if model.finite:
            self.count_one_by_one(now)
        return now

    def state(self, year: int) -> Array:
        """The kept state of a year not too long ago."""
        kept: Array = self.states[year % len(self.states)]
        return kept

    def spread(self, year: int, now: Array) -> None:
        """Seed from zones of the same site that hold more; a uniform site split in two stays as it was."""
        work = np.multiply(now, self.model.zone_shares[:, None, None], out=self.work)
        mean = work.sum(axis=1, keepdims=True)
        np.maximum(np.subtract(mean, now, out=work), 0, out=work)
        work *= self.come[year] * self.model.spread[self.cut]
        now += work

    def count_one_by_one(self, now: Array) -> None:
        """On a small site a species with less than a plant to its name is gone; the mean is kept."""
        alive = now >= self.model.fate[:, None, None, self.cut]
        chance = -np.expm1(now * (-self.model.ground.area_m2 * self.ceiling))
        now *= alive
        np.divide(now, chance, out=now, where=alive & (chance > 0))

    def flowering(self, year: int, now: Array) -> Array:
        """State of the plants old enough to flower: those of their first possible year that live on, at most."""
        flower = np.empty_like(now)
        for i, lag in enumerate(self.lags):
            if year < lag:
                flower[i] = 0
            else:
                np.multiply(self.state(year - lag)[i], self.lives[lag], out=flower[i])
                np.minimum(now[i], flower[i], out=flower[i])
        return flower

    def observe(self, year: int, now: Array, totals: list[Array]) -> None:
        """Species seen in a quadrat of each area, V / (V + half) with V the plants that catch the eye, summed."""
        flower, work, visible = now, self.work, now
        if self.sums is not None or self.model.traits.name in SLOW:
            flower = self.flowering(year, now)
        if self.model.traits.name in SLOW:
            visible = flower + self.model.traits.seen_without_flower * (now - flower)
        for half, total in zip(self.half_seen, totals, strict=True):
            np.add(visible, half, out=work)
            np.divide(visible, work, out=work)
            work.sum(axis=0, out=total)
        if self.sums is not None:
            present = now >= self.model.fate[:, None, None, self.cut]
            self.sums.add(year, present, work, flower / (flower + self.half_seen[-1]), now * self.ceiling)
