"""The sward through the years: standing crop, bare ground, places for seedlings, and the plants already there.

Nothing here has a species axis. Arrays of a block have shape (years, zones, forecasts, draws), or broadcast to it.
"""

from __future__ import annotations

import numpy as np

from modelling.core.aftercare import Aftercare
from modelling.core.distributions import Array
from modelling.core.draws import Draws, Flags
from modelling.core.scenario import Care, Ground, Preparation, Zone


class History:
    """What preparation does to each zone: arrays (years, zones, draws).

    Attributes
    ----------
    bare
        Bare share by preparation. A year after the work a part of it (`bare_carry_share`) is carried on, closing by
        e each year from the work on. Works add up as independent shares do.
    crop
        Crop against the crop without preparation. It comes back with the time `crop_recovery` after baring and
        `stripping_recovery` after stripping.
    kept
        Share of the residents that are there; those lost come back with the time `return_time`.
    """

    def __init__(self, world: Draws, ground: Ground, zones: tuple[Zone, ...], years: int) -> None:
        carry = world.value("ground", "bare_carry_share")
        lost = world.value("ground", "crop_lost_by_bare_share")
        recovery = world.value("ground", "crop_recovery")
        stripping_recovery = world.value("ground", "stripping_recovery")
        return_time = world.value("residents", "return_time")
        self.bare = np.zeros((years, len(zones), world.n))
        self.crop = np.ones_like(self.bare)
        self.kept = np.ones_like(self.bare)
        nothing = np.zeros(world.n)
        before = Preparation(1, ground.bare_share, nothing, 1 - nothing, opens_tall_sward=False)
        for index, zone in enumerate(zones):
            for work in (before, *zone.preparations):
                for year in range(work.year - 1, years):
                    since = year - (work.year - 1)
                    open_share = carry * np.exp(-since) if since else 1
                    self.bare[year, index] = 1 - (1 - self.bare[year, index]) * (1 - open_share * work.bare_share)
                    self.crop[year, index] *= (1 - lost * np.exp(-since / recovery) * work.bare_share) * (
                        1 - np.exp(-since / stripping_recovery) * work.crop_lowered_share
                    )
                    self.kept[year, index] *= 1 - np.exp(-since / return_time) * (1 - work.residents_kept_share)


class SwardModel:
    """Everything about the sward that is drawn once for the run; arrays of shape (draws,) unless said otherwise.

    Parameters
    ----------
    world, site
        Draws under the county's and under the site's seed.
    ground, zones, care
        The scenario.
    years
        Summers to follow.
    first_summer
        Calendar year of year 1; sites share the weather of a calendar year.
    """

    def __init__(
        self,
        world: Draws,
        site: Draws,
        ground: Ground,
        zones: tuple[Zone, ...],
        care: Care,
        years: int,
        first_summer: int,
    ) -> None:
        self.ground, self.zones, self.care, self.years = ground, zones, care, years
        self.value = world.value
        self.aftercare = Aftercare(site, care, years)
        self.history = History(world, ground, zones, years)
        noise = world.value("weather", "yearly_noise")
        #: (years, draws)
        self.weather = np.exp(
            noise * np.stack([world.normals("weather", str(first_summer + year)) for year in range(years)])
        )
        self.competition_slope = world.row("ground", "competition_slope")
        self.competition_per_g = self.competition_slope / world.value("ground", "competition_reference")
        self.microsite_half_share = world.row("ground", "microsite_half_share")
        self.microsites_short_sward = world.row("ground", "microsites_short_sward")
        self.microsites_tall_sward = world.row("ground", "microsites_tall_sward")
        self.adult_exponent = world.row("ground", "adult_competition_exponent")
        self.slow_adult_exponent = self.adult_exponent * world.value("ground", "adult_competition_slow_ratio")
        self.mowing_hold = world.row("ground", "mowing_hold_share") * (
            1 - np.exp(-care.first_year_cuts / world.value("ground", "mowing_half_cuts"))
        )
        self.left_recruits = world.row("arisings", "left_recruits_ratio")
        self.left_survival = self.left_recruits ** world.value("arisings", "left_survival_exponent")
        self.sheep_survival = world.row("grazing", "sheep_forb_survival")
        self.volunteers = world.row("volunteers", "species_on_bare")
        #: shares of the area, (zones,)
        self.zone_shares = np.array([zone.area_share for zone in zones])
        #: first year in which a tall sward is open, (zones,)
        self.open_from = np.array([self._open_from(zone) for zone in zones])
        #: years with a sowing, and those whose first-year mowing starts in spring: bool (years, zones)
        self.sown = np.zeros((years, len(zones)), dtype=bool)
        self.mown_early = np.zeros((years, len(zones)), dtype=bool)
        for index, zone in enumerate(zones):
            for sowing in zone.sowings:
                if sowing.year <= years:
                    self.sown[sowing.year - 1, index] = True
                    self.mown_early[sowing.year - 1, index] |= sowing.mown_early

    def _open_from(self, zone: Zone) -> int:
        if not self.ground.tall:
            return 1
        works = (work.year for work in zone.preparations if work.opens_tall_sward)
        return min(works, default=self.years + 1)

    def zone_mean(self, values: Array) -> Array:
        """Mean over the zones by area: (years, zones, forecasts, draws) -> (forecasts, years, draws)."""
        return np.asarray((self.zone_shares[:, None, None] * values).sum(axis=1).swapaxes(0, 1))


class Sward:
    """The sward of the draws `cut` through all years; yellow rattle may still lower the crop and open gaps.

    Attributes
    ----------
    crop
        Standing crop in June, g/m2.
    crop_felt
        The crop as seedlings feel it: first-year mowing holds it down.
    bare
        Bare share of the ground.
    floor
        Microsites without any bare ground, against a bare bed.
    """

    def __init__(self, model: SwardModel, cut: slice) -> None:
        self.model, self.cut = model, cut
        history, care = model.history, model.aftercare
        crop_factor = care.factor("crop_factor", cut)[:, None]
        self.crop = model.ground.crop_g_per_m2[cut] * crop_factor * history.crop[:, :, None, cut]
        mowing = model.sown[:, :, None, None] & ~care.lapsed(cut)[:, None]
        self.crop_felt = self.crop * np.where(mowing, 1 - model.mowing_hold[cut], 1)
        self.bare = np.maximum(care.factor("bare_share", cut)[:, None], history.bare[:, :, None, cut])
        #: whether anybody cuts or grazes, (years, forecasts, draws)
        self.managed = care.factor("managed", cut)
        self.floor = np.where(self._tall(), model.microsites_tall_sward[cut], model.microsites_short_sward[cut])

    def _tall(self) -> Flags:
        """Whether the sward stands closed and tall: until opened or managed, and again after a year without care."""
        uncared = np.full_like(self.managed, self.model.ground.tall, dtype=bool)
        uncared[1:] = self.managed[:-1] == 0
        year = np.arange(1, self.model.years + 1)[:, None]
        return uncared[:, None] & (year < self.model.open_from)[:, :, None, None]

    def pressure(self, crop: Array) -> Array:
        """Competition: slope x crop over the reference crop, without unit."""
        return self.model.competition_per_g[self.cut] * crop

    def microsites(self, bare: Array, floor: Array) -> Array:
        """Places for a seedling, 1 on a bare bed: floor + (1 - floor) b (1 + h) / (b + h), b bare, h the half share."""
        half = self.model.microsite_half_share[self.cut]
        return floor + (1 - floor) * bare * (1 + half) / (bare + half)

    def residents(self, area_m2: float) -> Array:
        """Species in `area_m2` that were there before or came up from bared soil.

        Residents gain or lose a share for each year managed more or less than not. Those that come up from the soil
        go with the ground that was ever bare, and fade over the years since.
        """
        model, cut, value = self.model, self.cut, self.model.value
        years_managed = np.cumsum(np.where(self.managed > 0, 1, -1), axis=0)
        gain, loss = value("residents", "yearly_gain_managed"), value("residents", "yearly_loss_unmanaged")
        trend = 1 + np.where(years_managed > 0, gain, loss) * years_managed
        broadleaf_in_area = area_m2 ** value("residents", "area_exponent_broadleaf")
        grass_in_area = area_m2 ** value("residents", "area_exponent_grass")
        there = model.ground.residents_broadleaf[cut] * broadleaf_in_area
        there = there + model.ground.residents_grass[cut] * grass_in_area
        faded = np.exp(-np.arange(model.years) / value("volunteers", "fade"))[:, None, None]
        opened = np.maximum.accumulate(model.history.bare[:, :, cut] / faded, axis=0) * faded
        new = model.volunteers[cut] * broadleaf_in_area * opened
        species: Array = there * model.history.kept[:, :, None, cut] * trend[:, None] + new[:, :, None]
        return species
