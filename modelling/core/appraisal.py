"""The arithmetic of appraising a bid: claims against draws, summers within a time, and a plan moved to its season."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from modelling.core import ground as site_ground
from modelling.core.cost import FIRST_YEAR, SETUP
from modelling.core.distributions import Array
from modelling.core.draws import Draws
from modelling.core.estimate import Estimate
from modelling.core.parameters import ParameterSet
from modelling.core.plan import SeedItem, Step
from modelling.core.seed import contents
from modelling.core.species import SeedOnSite
from modelling.core.units import ha


def share_below(draws: Array, claim: float) -> float:
    """Share of the draws below a claim; draws equal to it count half, so that a sure sum claimed exactly is 1/2."""
    return float((draws < claim).mean() + (draws == claim).mean() / 2)


def rich_ha(species_per_m2: Array, area_m2: float, least_species: float) -> Array:
    """Species-rich hectares in each draw: all of the ground, or none of it."""
    return np.asarray(ha(area_m2) * (species_per_m2 >= least_species))


def summers_by(first_summer: int, month: int, day: int, on: date) -> int:
    """Summers that are past by a day, the first counted: a summer is past from a month and day of its year on."""
    return max(on.year - first_summer + ((on.month, on.day) >= (month, day)), 0)


def times_within(stage: str, summers: int) -> int:
    """How often work of a stage falls within so many summers: setup once, the first year's care once, then yearly."""
    if stage == SETUP:
        return 1
    return min(summers, 1) if stage == FIRST_YEAR else max(summers - 1, 0)


def in_season(parameters: ParameterSet, steps: Sequence[Step], allowed: date) -> tuple[Step, ...]:
    """Steps that start on or after a day, in the first season that is possible; the same steps if they do already.

    They are put off by days where the last sowing or planting then still falls into the usual autumn, and otherwise by
    whole years.
    """
    if not steps or min(step.on for step in steps) >= allowed:
        return tuple(steps)
    late = allowed - min(step.on for step in steps)
    sown = [step.on for step in steps if step.seed or step.plugs]
    last = max(sown or [step.on for step in steps]) + late
    first_month = parameters.value("planning", "window", "autumn_from_month")
    end_month = parameters.value("planning", "window", "autumn_to_month")
    if first_month <= last.month < end_month:
        return tuple(replace(step, on=step.on + timedelta(days=late.days)) for step in steps)
    years = 1
    while min(site_ground.shifted(step, years).on for step in steps) < allowed:
        years += 1
    return tuple(site_ground.shifted(step, years) for step in steps)


@dataclass(frozen=True, slots=True)
class Misfit:
    """Seed of one item whose plants do not suit the ground: its share by weight of pure seed, and the mean steps."""

    item: SeedItem
    share: float
    steps: float


def misfits(parameters: ParameterSet, result: Estimate, items: Iterable[SeedItem], least_steps: float) -> list[Misfit]:
    """For each item, how much of its seed stands at least so many Ellenberg steps outside what its plant tolerates.

    Steps are those of wetness, reaction and light together, mean over the draws of the site.
    """
    q = result.question
    ground = site_ground.ground_of(parameters, q.site, result.plan, q.random_seed, q.world_seed, q.draws)
    on_site = SeedOnSite(Draws(parameters, q.world_seed, q.draws), Draws(parameters, q.random_seed, q.draws), ground)
    out = []
    for item in items:
        shares: Mapping[str, float] = contents(parameters, item)[0]
        steps = {key: float(on_site.mismatch(site_ground.taxon_of(parameters, key)).mean()) for key in shares}
        outside = {key: share for key, share in shares.items() if steps[key] >= least_steps}
        share = sum(outside.values())
        mean = sum(steps[key] * part for key, part in outside.items()) / share if share else 0.0
        out.append(Misfit(item, share, mean))
    return out
