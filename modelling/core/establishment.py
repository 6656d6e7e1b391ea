"""Which species establish and stay: species x draws through the years, for one site.

Each step is a module: `scenario` what is asked, `species` traits and seed, `aftercare` and `sward` the ground they
meet, `rattle` and `arrivals` what comes between, `chances` what is left to each class, `stand` the species of a
class; here they are put together, block by block of draws, for two forecasts side by side: the plan is kept, and
care lapses as groups usually let it. Structure and numbers: the model card beside the reference tables.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from modelling.core.arrivals import ArrivalModel
from modelling.core.chances import Chances
from modelling.core.distributions import Array
from modelling.core.draws import Draws, Flags
from modelling.core.parameters import ParameterSet
from modelling.core.rattle import RattleModel
from modelling.core.scenario import (
    FORECASTS,
    KEPT,
    USUAL,
    Care,
    Ground,
    Planting,
    Preparation,
    Sowing,
    Taxon,
    Zone,
)
from modelling.core.species import CLASSES, GRASSES, RATTLE, SeedOnSite, all_traits, site_quality
from modelling.core.stand import Buffers, Stand, StandModel
from modelling.core.sward import Sward, SwardModel
from modelling.core.timelines import Timeline, TimelineSums

__all__ = [
    "CLASSES",
    "FORECASTS",
    "KEPT",
    "USUAL",
    "Care",
    "Establishment",
    "Ground",
    "Planting",
    "Preparation",
    "Sowing",
    "Taxon",
    "Timeline",
    "Zone",
    "establish",
    "site_quality",
]


@dataclass(frozen=True, slots=True)
class Establishment:
    """Result of one run; arrays (forecasts, years, draws) unless said otherwise, zones averaged by area.

    Parameters
    ----------
    species, sown_species
        Species expected in a quadrat of the stated area, mean over many quadrats: all vascular plants; sown and
        planted ones.
    species_1m2
        All vascular plants always at 1 m2 (or the whole site where it is smaller).
    rattle
        Yellow rattle, plants per m2.
    rattle_held
        Whether yellow rattle holds, bool.
    crop
        Standing crop in June, g/m2.
    timelines
        One for each taxon, from the first draws; empty where not asked for.
    orchids_by_year
        Chance that an orchid has arrived by itself, shape (years,).
    inputs
        Draws that may drive the outcome, `group/name` -> (draws,).
    """

    species: Array
    sown_species: Array
    species_1m2: Array
    rattle: Array
    rattle_held: Flags
    crop: Array
    timelines: tuple[Timeline, ...]
    orchids_by_year: Array
    inputs: dict[str, Array]


def establish(
    parameters: ParameterSet,
    *,
    ground: Ground,
    taxa: tuple[Taxon, ...],
    zones: tuple[Zone, ...],
    care: Care,
    years: int,
    random_seed: int,
    world_seed: int,
    first_summer: int,
    quadrat_area_m2: float = 1.0,
    timelines: bool = True,
) -> Establishment:
    """Follow sown, planted and arriving species for `years` summers on one site.

    Parameters
    ----------
    parameters
        Reference tables.
    ground
        Site draws; their length is the number of draws.
    taxa
        Everything sown or planted, yellow rattle included.
    zones
        Shares of the net area, adding up to 1.
    care
        Yearly care; the second forecast lets it lapse now and then.
    years
        1 to the years of noise in the reference tables (10).
    random_seed, world_seed
        See `sampling`.
    first_summer
        Calendar year of year 1 (weather is shared by calendar year).
    quadrat_area_m2
        Area for the species counts; thresholds are always judged at 1 m2.
    timelines
        Whether to follow each taxon for the timelines.

    Returns
    -------
    Establishment
        Draws by forecast and year; the first draws of a longer run are the draws of a shorter one.

    Raises
    ------
    ValueError
        If `years` is beyond the years of noise, which would then be drawn otherwise.
    """
    longest = int(parameters.value(Draws.TABLE, "run", "noise_years"))
    if not 1 <= years <= longest:
        raise ValueError(f"years: read {years}; the model follows 1 to {longest} summers")
    n = ground.p_index.size
    run = _Run(
        Draws(parameters, world_seed, n),
        Draws(parameters, random_seed, n),
        ground, taxa, zones, care, years, first_summer, quadrat_area_m2, timelines,
    )  # fmt: skip
    for low in range(0, n, run.block_draws):
        run.block(slice(low, min(low + run.block_draws, n)))
    return run.result()


class _Run:
    """One run: what is drawn once, and the result as it fills up."""

    def __init__(
        self,
        world: Draws,
        site: Draws,
        ground: Ground,
        taxa: tuple[Taxon, ...],
        zones: tuple[Zone, ...],
        care: Care,
        years: int,
        first_summer: int,
        quadrat_area_m2: float,
        timelines: bool,
    ) -> None:
        self.world, self.ground, self.years = world, ground, years
        unit = min(1, ground.area_m2)
        area = min(quadrat_area_m2, ground.area_m2)
        #: areas in which species are counted: the one asked for, then the one of thresholds and timelines
        self.areas_m2 = (area,) if area == unit else (area, unit)
        self.block_draws = int(world.value("run", "block_draws"))
        blocks = int(world.value("run", "timeline_blocks")) if timelines else 0
        #: draws that the timelines follow
        self.followed = min(blocks * self.block_draws, world.n)
        self.traits = all_traits(world)
        seed_on_site = SeedOnSite(world, site, ground)
        self.sward = SwardModel(world, site, ground, zones, care, years, first_summer)
        self.arrivals = ArrivalModel(world, ground.distance_m, ground.area_m2, self.traits["reliable"])
        rattle = next((taxon for taxon in taxa if taxon.model_class == RATTLE), None)
        self.rattle = RattleModel(world, site, seed_on_site, self.sward, rattle) if rattle else None
        by_class = {name: tuple(taxon for taxon in taxa if taxon.model_class == name) for name in CLASSES}
        self.stands = [
            StandModel(world, site, seed_on_site, self.traits[name], members, ground, zones, years, self.followed)
            for name, members in by_class.items()
            if members
        ]
        self.buffers = Buffers(self.stands, int(world.value("run", "noise_years")), self.block_draws)
        self.sums = [TimelineSums(m.taxa, years, self.sward.zone_shares, self.followed) for m in self.stands]
        self.grass_already_there = world.row("residents", "sown_grass_already_there_share")
        self.held_density = max(world.value(RATTLE, "held_density"), 1 / ground.area_m2)
        names = ("species", "sown_species", "species_1m2", "rattle", "crop")
        arrays = np.zeros((len(names), len(FORECASTS), years, world.n))
        self.species, self.sown_species, self.species_1m2, self.density, self.crop = arrays

    def block(self, cut: slice) -> None:
        """Follow the draws `cut` and write their part of the result."""
        sward = Sward(self.sward, cut)
        zone_mean = self.sward.zone_mean
        sown = [np.zeros_like(sward.crop) for _ in self.areas_m2]
        if self.rattle is not None and self.rattle.sown:
            density = self.rattle.walk(sward)
            self.density[:, :, cut] = zone_mean(density)
            sown = [density / (density + 1 / area) for area in self.areas_m2]
        chances = Chances(sward)
        grasses = [np.zeros_like(sward.crop) for _ in self.areas_m2]
        for model, sums in zip(self.stands, self.sums, strict=True):
            followed = sums if cut.start < self.followed else None
            stand = Stand(model, chances, self.areas_m2, followed, self.buffers)
            for position, seen in enumerate(stand.walk()):
                sown[position] += seen
                if model.traits.name in GRASSES:
                    grasses[position] += seen
        arrived = self.arrivals.seen(chances, self.areas_m2)
        known = self.grass_already_there[cut] / 2
        total = [
            zone_mean(sown[i] + np.maximum(arrived[i] + sward.residents(area) - known * grasses[i], 0))
            for i, area in enumerate(self.areas_m2)
        ]
        self.sown_species[:, :, cut] = zone_mean(sown[0])
        self.species[:, :, cut], self.species_1m2[:, :, cut] = total[0], total[-1]
        self.crop[:, :, cut] = zone_mean(sward.crop)

    def result(self) -> Establishment:
        """The filled arrays as one result."""
        held = self.density >= self.held_density
        lines = [line for sums in self.sums for line in sums.lines()]
        if self.followed and self.rattle is not None:
            lines.insert(0, self._rattle_line(self.rattle, held))
        return Establishment(
            species=self.species,
            sown_species=self.sown_species,
            species_1m2=self.species_1m2,
            rattle=self.density,
            rattle_held=held,
            crop=self.crop,
            timelines=tuple(lines),
            orchids_by_year=self.arrivals.orchids(self.years),
            inputs=self._inputs(),
        )

    def _rattle_line(self, rattle: RattleModel, held: Flags) -> Timeline:
        """Timeline of yellow rattle, from all draws."""
        seen = (self.density / (self.density + 1)).mean(axis=-1)
        present = (self.density * self.ground.area_m2 >= rattle.fate).mean(axis=-1)
        present = np.maximum(present, held.mean(axis=-1))
        # where first-year mowing starts in spring none comes into flower
        flower = seen * (1 - (self.sward.mown_early * self.sward.zone_shares).sum(axis=-1))
        return Timeline(rattle.taxon.key, present, seen, flower, self.density.mean(axis=-1))

    def _inputs(self) -> dict[str, Array]:
        """Draws that may drive the outcome."""
        reliable = self.traits["reliable"]
        inputs = {
            "site_quality/quality": self.ground.quality,
            "fertility/crop": self.ground.crop_g_per_m2,
            "fertility/p_index": self.ground.p_index,
            "fertility/competition": self.sward.competition_slope,
            "species/reliable": reliable.establishment,
            "species/slow": self.traits["slow"].establishment,
            "species/grass": self.traits["grass"].establishment,
            "species/hurdle": reliable.hurdle,
            "species/survival": reliable.survival,
            "species/recruits": reliable.recruits,
            "species/ceiling": reliable.ceiling,
            "ground/microsites": self.sward.microsites_short_sward,
            "ground/bare": self.sward.history.bare[0, 0],
            "residents/broadleaf": self.ground.residents_broadleaf,
            "residents/grass": self.ground.residents_grass,
            "neighbours/distance": self.arrivals.nearness,
            "aftercare/lapses": self.sward.aftercare.lapse_chance,
            "weather/first": self.sward.weather[0],
        }
        if self.rattle is not None and self.rattle.sown:
            inputs["rattle/establishment"] = self.rattle.plants_per_seed
            inputs["rattle/suppression"] = self.rattle.max_loss
        return inputs
