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
from modelling.core.species import ANNUAL, SLOW, SeedOnSite, Traits, germination_weights
from modelling.core.timelines import TimelineSums


def _years_to_flower(taxon: Taxon) -> int:
    """Whole years between seedling and first flower."""
    return max(taxon.first_flower_year - 1, 0)


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
        self.world, self.site, self.traits = world, site, traits
        self.taxa = taxa = tuple(sorted(taxa, key=_years_to_flower))
        self.ground, self.zones, self.years = ground, zones, years
        lags = [_years_to_flower(taxon) for taxon in self.taxa]
        #: years between seedling and first flower -> the species that take so long
        self.members_by_lag: dict[int, slice] = {
            lag: slice(lags.index(lag), lags.index(lag) + lags.count(lag)) for lag in lags
        }
        #: years back to the state that flowering asks for, this year included
        self.kept_years = max(lags) + 1
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

    def noise(self, out: Array) -> Array:
        """Fill `out`, (species, years, draws), with the yearly factors of the next block and return those in use.

        A whole block of all years is drawn whatever is used of it, so that neither a shorter horizon nor fewer
        draws shift a draw.
        """
        for row, generator in zip(out, self.noise_streams, strict=True):
            generator.standard_normal(out=row)
        factors = out[:, : self.years]
        factors *= self.traits.noise
        return np.exp(factors, out=factors)


class Buffers:
    """Memory for one class in one block of draws, lent to the classes in turn.

    Touching fresh memory takes longer than the sums done in it.

    Attributes
    ----------
    noise
        (species, years of noise, draws)
    states
        (years that are kept, species, zones, forecasts, draws)
    seedlings
        (species, zones, 1, draws)
    work, flower, visible
        (species, zones, forecasts, draws)
    """

    def __init__(self, stands: list[StandModel], noise_years: int, draws: int) -> None:
        species = max((len(stand.taxa) for stand in stands), default=0)
        kept = max((stand.kept_years for stand in stands), default=0)
        zones = max((len(stand.zones) for stand in stands), default=0)
        self.noise = np.empty((species, noise_years, draws))
        self.states = np.empty((kept, species, zones, len(FORECASTS), draws))
        self.seedlings = np.empty((species, zones, 1, draws))
        self.work = np.empty((species, zones, len(FORECASTS), draws))
        self.flower, self.visible = np.empty_like(self.work), np.empty_like(self.work)


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
    buffers
        Memory to work in.
    """

    def __init__(
        self,
        model: StandModel,
        chances: Chances,
        areas_m2: tuple[float, ...],
        sums: TimelineSums | None,
        buffers: Buffers,
    ) -> None:
        self.model, self.cut, self.sums = model, chances.cut, sums
        self.stay, self.come = chances.of(model.traits)
        width = self.stay.shape[-1]
        species = len(model.taxa)
        self.noise = model.noise(buffers.noise[:species])[..., :width]
        self.ceiling = model.traits.ceiling[self.cut]
        self.mown_early = chances.sward.model.mown_early
        #: state at which half of the quadrats of an area hold the species
        self.half_seen = [1 / (self.ceiling * area) for area in areas_m2]
        #: years between seedling and first flower -> share of the plants that live that long
        self.lives = {lag: model.traits.survival[self.cut] ** lag for lag in model.members_by_lag}
        #: states of the last years, as many as the slowest species takes to flower; year y at y modulo the number
        self.states = buffers.states[: model.kept_years, :species, ..., :width]
        self.states[-1] = 0 if model.existing is None else model.existing[:, None, None, self.cut]
        self.seedlings = buffers.seedlings[:species, ..., :width]
        self.work = buffers.work[:species, ..., :width]
        self.flower = buffers.flower[:species, ..., :width]
        self.visible = buffers.visible[:species, ..., :width]

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

    def whole_plants(self, now: Array) -> Array:
        """On a small site, 0 where the species has less than a plant to its name, else what keeps the mean."""
        alive = now >= self.model.fate[:, None, None, self.cut]
        chance = -np.expm1(now * (-self.model.ground.area_m2 * self.ceiling))
        return np.divide(alive, chance, out=np.zeros_like(now), where=alive & (chance > 0))

    def flowering(self, year: int, now: Array) -> Array:
        """State of the plants old enough to flower: those of their first possible year that live on, at most."""
        flower = self.flower
        for lag, members in self.model.members_by_lag.items():
            if year < lag:
                flower[members] = 0
            else:
                np.multiply(self.state(year - lag)[members], self.lives[lag], out=flower[members])
                np.minimum(now[members], flower[members], out=flower[members])
        if self.model.traits.name == ANNUAL:
            flower *= ~self.mown_early[year][:, None, None]
        return flower

    def observe(self, year: int, now: Array, totals: list[Array]) -> None:
        """Species seen in a quadrat of each area, V / (V + half) with V the plants that catch the eye, summed."""
        work, overlooked = self.work, self.model.traits.name in SLOW
        flower = self.flowering(year, now) if overlooked or self.sums is not None else now
        expected = now
        if self.model.finite:
            whole = self.whole_plants(now)
            now = now * whole
            flower = flower * whole
        visible = now
        if overlooked:
            visible = np.subtract(now, flower, out=self.visible)
            visible *= self.model.traits.seen_without_flower
            visible += flower
        for half, total in zip(self.half_seen, totals, strict=True):
            np.add(visible, half, out=work)
            np.divide(visible, work, out=work)
            work.sum(axis=0, out=total)
        if self.sums is not None:
            self.follow(self.sums, year, expected, now, flower)

    def follow(self, sums: TimelineSums, year: int, expected: Array, now: Array, flower: Array) -> None:
        """Add the year to the timelines; `work` holds the chance of being seen in the last area."""
        work = self.work
        sums.add(sums.seen, year, work)
        sums.add(sums.present, year, np.greater_equal(expected, self.model.fate[:, None, None, self.cut], out=work))
        np.divide(flower, np.add(flower, self.half_seen[-1], out=work), out=work)
        sums.add(sums.flower, year, work)
        sums.add(sums.density, year, np.multiply(now, self.ceiling, out=work))
