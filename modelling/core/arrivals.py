"""Species that come by themselves from flower-rich land nearby."""

from __future__ import annotations

import numpy as np

from modelling.core.chances import Chances
from modelling.core.distributions import Array
from modelling.core.draws import Draws
from modelling.core.species import Traits


class ArrivalModel:
    """What is drawn once for the run; arrays of shape (draws,).

    Each species of a pool arrives in a managed year with a chance that falls with the distance; less ground than a
    field catches fewer. It starts with a few plants on the whole site and grows as reliable forbs do.

    Parameters
    ----------
    world
        Draws under the county's seed.
    distance_m
        Distance to flower-rich land.
    area_m2
        Net area of the site.
    traits
        Traits of reliable forbs.
    """

    def __init__(self, world: Draws, distance_m: Array, area_m2: float, traits: Traits) -> None:
        self.world, self.traits = world, traits
        self.nearness = np.exp(-distance_m / world.row("arrival", "distance_scale"))
        self.hazard = world.value("arrival", "hazard") * self.nearness
        share_of_field = min(area_m2 / world.value("arrival", "field_area"), 1)
        self.pool = world.value("arrival", "pool") * share_of_field ** world.value("arrival", "area_exponent")
        self.founders_per_m2 = world.value("arrival", "founders") / area_m2

    def orchids(self, years: int) -> Array:
        """Chance that an orchid has arrived by each year, shape (years,); they come late and only by themselves."""
        hazard = self.world.row("arrival", "orchid_hazard") * self.nearness
        counted = np.maximum(np.arange(1, years + 1) - self.world.value("arrival", "orchid_wait"), 0)
        return np.asarray((1 - (1 - hazard) ** counted[:, None]).mean(axis=-1))

    def seen(self, chances: Chances, areas_m2: tuple[float, ...]) -> list[Array]:
        """Arrived species expected in a quadrat: for each area (years, zones, forecasts, draws)."""
        stay, _ = chances.of(self.traits)
        sward = chances.sward
        ceiling = self.traits.ceiling[sward.cut]
        hazard = self.hazard[sward.cut] * sward.managed[:, None]
        still_away = np.cumprod(1 - hazard, axis=0)
        arriving = self.pool * hazard
        arriving[1:] *= still_away[:-1]
        found = [np.zeros_like(stay) for _ in areas_m2]
        #: plants over the ceiling, by year of arrival
        state, work = np.empty_like(stay), np.empty_like(stay)
        for year in range(len(stay)):
            there, buffer = state[:year], work[:year]
            there *= stay[year]
            there /= np.add(there, 1, out=buffer)
            state[year] = self.founders_per_m2 / ceiling
            there, buffer = state[: year + 1], work[: year + 1]
            for area, seen in zip(areas_m2, found, strict=True):
                np.add(there, 1 / (ceiling * area), out=buffer)
                np.divide(there, buffer, out=buffer)
                buffer *= arriving[: year + 1]
                buffer.sum(axis=0, out=seen[year])
        return found
