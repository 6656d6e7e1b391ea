"""What is true of the species: classes, their traits, and how much of the seed establishes on a site.

A class is a way of life; species of one class share the traits and differ by one draw of their own. Traits of a
class without a row of its own are those of a base class times a ratio (or plus an offset on the log-odds scale).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from modelling.core.distributions import Array, expit, logit
from modelling.core.draws import Draws, Flags
from modelling.core.parameters import ParameterSet
from modelling.core.scenario import Ground, Taxon

CLASSES: Final = ("reliable", "pioneer", "legume", "annual", "grass", "slow_grass", "slow")
RATTLE: Final = "rattle"
ANNUAL: Final = "annual"
GRASSES: Final = ("grass", "slow_grass")
SLOW: Final = ("slow_grass", "slow")

#: the class that every ratio and offset starts from, unless the class is listed below
COMMON_BASE: Final = "reliable"
#: class -> base class for establishment and hurdle
SEED_BASE: Final = {"slow": "slow", "slow_grass": "slow", "grass": "grass"}


@dataclass(frozen=True, slots=True)
class Traits:
    """Traits of one class; arrays of shape (draws,), the rest plain numbers.

    Parameters
    ----------
    name
        One of `CLASSES`.
    establishment
        Established plants per live seed at the reference bed (fully bare, no competition).
    hurdle
        Log odds that seed can establish at all on a site of quality 0 and P index 1 or less.
    survival
        Share of plants alive a year later without competition.
    recruits
        New plants per plant and year at the reference bed.
    ceiling
        Plants of one species per m2 that the ground carries.
    noise
        Standard deviation of the yearly logarithm of a species' growth.
    germinates_first, germinates_later
        Share of the waiting seed that comes up in the first and in each later year.
    seen_without_flower
        Chance that a plant not in flower is noticed, against one in flower.
    bare_half_share
        Bare share at which half of the microsites are had; None where any microsite will do.
    """

    name: str
    establishment: Array
    hurdle: Array
    survival: Array
    recruits: Array
    ceiling: Array
    noise: float
    germinates_first: float
    germinates_later: float
    seen_without_flower: float
    bare_half_share: float | None


def all_traits(world: Draws) -> dict[str, Traits]:
    """Traits of every class of `CLASSES`, drawn with the county's seed."""
    bases = (COMMON_BASE, *dict.fromkeys(SEED_BASE.values()))
    establishment = {base: world.row(base, "establishment_share") for base in bases}
    hurdle = {base: logit(world.row(base, "passes_hurdle_share")) for base in bases}
    survival = logit(world.row(COMMON_BASE, "survival_share"))
    recruits = world.row(COMMON_BASE, "local_recruits")
    ceiling = world.row(COMMON_BASE, "ceiling")

    def of(name: str) -> Traits:
        base = SEED_BASE.get(name, COMMON_BASE)
        lives = expit(survival + world.value_or(name, "survival_offset", 0))
        open_ground = world.parameters.find(Draws.TABLE, name, "bare_half_share")
        return Traits(
            name=name,
            establishment=establishment[base] * world.value_or(name, "establishment_ratio", 1),
            hurdle=hurdle[base] + world.value_or(name, "hurdle_offset", 0),
            survival=np.zeros(world.n) if name == ANNUAL else lives,
            recruits=recruits * world.value_or(name, "local_recruits_ratio", 1),
            ceiling=ceiling * world.value_or(name, "ceiling_ratio", 1),
            noise=world.value(name, "yearly_noise"),
            germinates_first=world.value(name, "germinates_first_year_share"),
            germinates_later=world.value(name, "germinates_later_share"),
            seen_without_flower=world.value_or(name, "seen_without_flower_share", 1),
            bare_half_share=None if open_ground is None else open_ground.middle,
        )

    return {name: of(name) for name in CLASSES}


def site_quality(parameters: ParameterSet, random_seed: int, n: int) -> Array:
    """Logarithm of recruits against the reference, shape (n,): a mixture of ordinary and poor sites."""
    site = Draws(parameters, random_seed, n)
    poor = site.uniforms("site/poor") < site.value("site", "poor_share")
    mean = np.where(poor, site.value("site", "poor_mean"), site.value("site", "good_mean"))
    return mean + site.value("site", "quality_sd") * site.normals("site/quality")


def germination_weights(first: float, later: float, wait: int, kept: float, years: int) -> Array:
    """Share of the live seed that comes up in each year after sowing.

    Parameters
    ----------
    first, later
        Share of the waiting seed that comes up in its first and in each later year, 0 to 1.
    wait
        Whole years in which nothing comes up.
    kept
        Share of the seed that is left after the wait.
    years
        Years to follow.

    Returns
    -------
    Array
        Shape (years,); adds up to `kept` at most.
    """
    weights = np.zeros(years)
    waiting = kept
    for year in range(wait, years):
        weights[year] = waiting * (first if year == wait else later)
        waiting -= weights[year]
    return weights


class SeedOnSite:
    """How much of the seed of a taxon establishes on one site; arrays of shape (draws,).

    The hurdle is passed or not, once for a species and a draw: log odds = the class's own + effect of site quality
    - effect of fertility - effect of mismatch. Fertility counts per P index above 1, more for species of poor soil
    (low Ellenberg N), not at all for rattle, whose trouble with fertile ground runs through the crop.
    """

    def __init__(self, world: Draws, site: Draws, ground: Ground) -> None:
        self.world, self.site, self.ground = world, site, ground
        self.tolerance_width = world.value("site", "tolerance_width")
        self.neutral_n = world.value("site", "fertility_neutral_n")
        self.n_scale = world.value("site", "fertility_n_scale")
        self.cap = world.value("all", "establishment_cap")
        self.species_spread = world.row("all", "species_spread")
        self.seed_spread = world.row("all", "seed_count_spread")
        self.misfit_per_step = world.row("site", "mismatch_logit_per_step")
        self.quality = world.row("site", "quality_on_hurdle") * ground.quality
        self.recruits = np.exp(ground.quality)
        self.fertility = world.value("site", "hurdle_per_p_index") * np.maximum(ground.p_index - 1, 0)

    def mismatch(self, taxon: Taxon) -> Array:
        """Ellenberg steps by which the site lies outside what the taxon tolerates; extra light harms nobody."""
        steps = np.zeros(self.world.n)
        width = self.tolerance_width
        if taxon.ellenberg_f is not None:
            steps += np.maximum(np.abs(taxon.ellenberg_f - self.ground.wetness_f) - width, 0)
        if taxon.ellenberg_r is not None:
            gap = np.abs(taxon.ellenberg_r - self.ground.reaction_r)
            steps += np.maximum(gap - width - taxon.extra_reaction_width, 0)
        if taxon.ellenberg_l is not None:
            steps += np.maximum(taxon.ellenberg_l - self.ground.light_l - width, 0)
        return steps

    def hurdle_chance(self, taxon: Taxon, log_odds: Array) -> Array:
        """Chance that seed of the taxon can establish on the site at all, from its class's `log_odds`."""
        odds = log_odds + self.quality - self.misfit_per_step * self.mismatch(taxon)
        if taxon.model_class != RATTLE:
            own = self.neutral_n if taxon.ellenberg_n is None else taxon.ellenberg_n
            odds -= max(1 + (self.neutral_n - own) / self.n_scale, 0) * self.fertility
        return expit(odds)

    def passes(self, taxon: Taxon, log_odds: Array) -> Flags:
        """Whether seed of the taxon can establish on the site."""
        return self.site.uniforms("hurdle", taxon.key) < self.hurdle_chance(taxon, log_odds)

    def seed_count(self, taxon: Taxon) -> Array:
        """Live seeds truly sown, over the number stated."""
        return np.exp(self.seed_spread * self.site.normals("seed_count", taxon.key))

    def plants_per_seed(self, taxon: Taxon, traits: Traits) -> Array:
        """Established plants per stated live seed at the reference bed."""
        own = np.exp(self.species_spread * self.world.normals("species", taxon.key))
        share = np.minimum(traits.establishment * own, self.cap) * self.recruits
        return share * self.seed_count(taxon) * self.passes(taxon, traits.hurdle)
