"""Which species establish and stay: species x draws through the years, for one site.

Array conventions: float64; species first, then case, draws last. A *case* is one zone of the site under one
forecast (0: the plan is kept; 1: as groups usually manage), numbered zone x 2 + forecast. Sward quantities have
no species axis. Densities are plants per m2; inside the kernel a species' density is scaled by its ceiling.

Structure and numbers: the model card beside the reference tables. Years count summers from the first after the
first sowing; year 1 is the summer in which the first seedlings are seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from modelling.core.distributions import Array, expit, logit
from modelling.core.parameters import ParameterSet
from modelling.core.sampling import draw, exponentials, normals, stream, uniforms

#: draws handled at a time: bounds the memory, and is part of the model (the yearly noise is drawn block by block)
BLOCK: Final = 500
#: years of noise drawn whatever the horizon, so that a shorter horizon shifts nothing
MAX_YEARS: Final = 10
#: blocks from which species timelines are taken (shares and means only)
TIMELINE_BLOCKS: Final = 2
KEPT: Final = 0
USUAL: Final = 1
FORECASTS: Final = ("if_kept", "as_usual")

#: classes in kernel order: grasses together, slow species last
CLASSES: Final = ("reliable", "pioneer", "legume", "annual", "grass", "slow_grass", "slow")
RATTLE: Final = "rattle"
GRASSES: Final = ("grass", "slow_grass")
SLOW: Final = ("slow_grass", "slow")
_BASE: Final = {"slow_grass": "slow"}
_OWN_ESTABLISHMENT: Final = ("reliable", "slow", "grass")


@dataclass(frozen=True, slots=True)
class Taxon:
    """What the kernel needs to know of a taxon; Ellenberg values are None where unknown."""

    key: str
    model_class: str
    chill_needed: bool
    first_flower_year: int
    ellenberg_f: float | None = None
    ellenberg_r: float | None = None
    ellenberg_l: float | None = None
    ellenberg_n: float | None = None


@dataclass(frozen=True, slots=True)
class Ground:
    """Draws that describe the site, each of shape (draws,) unless said otherwise.

    crop_g_per_m2: June standing crop without any preparation; p_index: continuous Olsen P index; wetness_f,
    reaction_r, light_l: Ellenberg steps; quality: log of recruits; residents: species per m2; bare_share: before
    preparation; distance_m: to flower-rich land. `tall`: closed tall sward. `on_arable`: former crop.
    """

    area_m2: float
    tall: bool
    on_arable: bool
    crop_g_per_m2: Array
    p_index: Array
    wetness_f: Array
    reaction_r: Array
    light_l: Array
    quality: Array
    residents_broadleaf: Array
    residents_grass: Array
    bare_share: Array
    distance_m: Array


@dataclass(frozen=True, slots=True)
class Preparation:
    """Work on the ground before the summer `year`; arrays of shape (draws,), shares 0 to 1."""

    year: int
    bare_share: Array
    crop_lowered_share: Array
    residents_kept_share: Array
    opens_tall_sward: bool


@dataclass(frozen=True, slots=True)
class Sowing:
    """Live seeds per m2 by taxon that can come up from the summer `year` on.

    `late`: sown after winter chill began, so that chill-needing seed waits and yellow rattle fails.
    `mown_early`: first-year mowing starts in spring and takes annuals and rattle before they shed seed.
    """

    year: int
    live_seeds_per_m2: dict[str, float]
    late: bool = False
    mown_early: bool = False


@dataclass(frozen=True, slots=True)
class Planting:
    """Plug plants per m2 by taxon, planted before or in the summer `year`."""

    year: int
    plugs_per_m2: dict[str, float]


@dataclass(frozen=True, slots=True)
class Zone:
    """A share of the net area with its own history."""

    area_share: float
    preparations: tuple[Preparation, ...] = ()
    sowings: tuple[Sowing, ...] = ()
    plantings: tuple[Planting, ...] = ()


@dataclass(frozen=True, slots=True)
class Care:
    """Yearly care: regime key of the reference tables, first-year cuts, share left uncut as a refuge."""

    regime: str
    first_year_cuts: float
    refuge_share: float = 0.0


@dataclass(frozen=True, slots=True)
class Timeline:
    """Per taxon, forecast and year, shares of draws or means: shape (forecasts, years)."""

    taxon: str
    chance_present: Array
    chance_seen_per_m2: Array
    chance_in_flower_per_m2: Array
    plants_per_m2: Array


@dataclass(frozen=True, slots=True)
class Establishment:
    """Result of one run. Arrays (forecasts, years, draws) unless said otherwise.

    species, sown_species: mean over many quadrats of the stated area, all vascular plants and sown ones seen.
    species_1m2: total always at 1 m2 (or the whole site where it is smaller). rattle: plants per m2 (site mean).
    rattle_held: bool. crop: standing crop g/m2. colour: share of ground showing a flower of an annual in year 1,
    shape (draws,). orchids_by_year: chance that an orchid has arrived by itself, shape (years,).
    """

    species: Array
    sown_species: Array
    species_1m2: Array
    rattle: Array
    rattle_held: np.ndarray
    crop: Array
    timelines: tuple[Timeline, ...]
    orchids_by_year: Array
    inputs: dict[str, Array]


class Biology:
    """Draws of what is true of the species everywhere; shape (classes, draws) or (draws,)."""

    def __init__(self, parameters: ParameterSet, world_seed: int, n: int) -> None:
        def row(subject: str, quantity: str) -> Array:
            return draw(parameters.number("establishment", subject, quantity), world_seed, n)

        def fixed(subject: str, quantity: str) -> float:
            return parameters.value("establishment", subject, quantity)

        def ratio(name: str, quantity: str) -> float:
            found = parameters.find("establishment", name, quantity)
            return 1.0 if found is None else found.middle

        def offset(name: str, quantity: str) -> float:
            found = parameters.find("establishment", name, quantity)
            return 0.0 if found is None else found.middle

        base_e = {name: row(name, "establishment_share") for name in _OWN_ESTABLISHMENT}
        base_pi = {name: logit(row(name, "passes_hurdle_share")) for name in _OWN_ESTABLISHMENT}
        survival = logit(row("reliable", "survival_share"))
        recruits = row("reliable", "local_recruits")
        ceiling = row("reliable", "ceiling")
        base = [name if name in _OWN_ESTABLISHMENT else _BASE.get(name, "reliable") for name in CLASSES]
        self.establishment = np.stack(
            [base_e[b] * ratio(c, "establishment_ratio") for c, b in zip(CLASSES, base, strict=True)]
        )
        self.hurdle = np.stack(
            [base_pi[b] + offset(c, "hurdle_offset") for c, b in zip(CLASSES, base, strict=True)]
        )
        self.survival = np.stack([expit(survival + offset(c, "survival_offset")) for c in CLASSES])
        self.survival[CLASSES.index("annual")] = 0.0
        self.local_recruits = np.stack([recruits * ratio(c, "local_recruits_ratio") for c in CLASSES])
        self.ceiling = np.stack([ceiling * ratio(c, "ceiling_ratio") for c in CLASSES])
        self.noise = np.array([fixed(c, "yearly_noise") for c in CLASSES])
        self.first = np.array([fixed(c, "germinates_first_year_share") for c in CLASSES])
        self.later = np.array([fixed(c, "germinates_later_share") for c in CLASSES])
        self.species_spread = row("all", "species_spread")
        self.seed_spread = row("all", "seed_count_spread")
        self.cap = fixed("all", "establishment_cap")
        self.finite_limit_m2 = fixed("all", "finite_site_limit")
        self.seen_without_flower = fixed("slow", "seen_without_flower_share")
        for quantity in (
            "competition_slope", "microsite_half_share", "microsites_short_sward", "microsites_tall_sward",
            "adult_competition_exponent",
        ):  # fmt: skip
            setattr(self, quantity, row("ground", quantity))
        self.mowing_hold = row("ground", "mowing_hold_share")
        self.left = row("arisings", "left_recruits_ratio")
        self.sheep = row("grazing", "sheep_forb_survival")
        self.plug_survival = row("plugs", "survival_share")
        self.rattle_establishment = row(RATTLE, "establishment_share")
        self.rattle_hurdle = logit(row(RATTLE, "passes_hurdle_share"))
        self.rattle_max_loss = row(RATTLE, "max_crop_loss_share")
        self.rattle_gap = row(RATTLE, "gap_share")
        self.strip_spread = row("arrival", "spread_from_strip")
        self.fixed = fixed

    competition_slope: Array
    microsite_half_share: Array
    microsites_short_sward: Array
    microsites_tall_sward: Array
    adult_competition_exponent: Array


def site_quality(parameters: ParameterSet, random_seed: int, n: int) -> Array:
    """Log of recruits against the reference, shape (n,): a mixture of ordinary and poor sites."""

    def value(quantity: str) -> float:
        return parameters.value("establishment", "site", quantity)

    poor = uniforms(random_seed, "site/poor", n) < value("poor_share")
    z = normals(random_seed, "site/quality", n)
    return np.where(poor, value("poor_mean"), value("good_mean")) + value("quality_sd") * z


def _mismatch(parameters: ParameterSet, taxon: Taxon, ground: Ground) -> Array:
    """Ellenberg steps by which the site lies outside what the taxon tolerates, shape (draws,)."""
    width = parameters.value("establishment", "site", "tolerance_width")
    total = np.zeros_like(ground.p_index)
    for own, site, one_sided in (
        (taxon.ellenberg_f, ground.wetness_f, False),
        (taxon.ellenberg_r, ground.reaction_r, False),
        (taxon.ellenberg_l, ground.light_l, True),
    ):
        if own is None:
            continue
        gap = own - site
        total += np.maximum((gap if one_sided else np.abs(gap)) - width, 0)
    return total


def hurdle_chance(
    parameters: ParameterSet, biology: Biology, taxon: Taxon, ground: Ground, world_seed: int
) -> Array:
    """Chance that seed of the taxon can establish on the site at all, shape (draws,)."""
    n = ground.p_index.size

    def row(quantity: str) -> Array:
        return draw(parameters.number("establishment", "site", quantity), world_seed, n)

    def value(quantity: str) -> float:
        return parameters.value("establishment", "site", quantity)

    rattle = taxon.model_class == RATTLE
    start = biology.rattle_hurdle if rattle else biology.hurdle[CLASSES.index(taxon.model_class)]
    fertility = np.zeros(n)
    if not rattle:
        own = value("fertility_neutral_n") if taxon.ellenberg_n is None else taxon.ellenberg_n
        weight = max(1 + (value("fertility_neutral_n") - own) / value("fertility_n_scale"), 0.0)
        fertility = value("hurdle_per_p_index") * weight * np.maximum(ground.p_index - 1, 0)
    misfit = row("mismatch_logit_per_step") * _mismatch(parameters, taxon, ground)
    return expit(start + row("quality_on_hurdle") * ground.quality - fertility - misfit)


def germination_weights(first: float, later: float, wait: int, kept: float, years: int) -> Array:
    """Share of the live seed that comes up in each year after sowing, shape (years,).

    `wait` whole years pass first, after which `kept` of the seed is left; then `first` comes up at once and the
    rest at the rate `later` a year.
    """
    weights = np.zeros(years)
    waiting = kept
    for year in range(wait, years):
        share = first if year == wait else later
        weights[year] = waiting * share
        waiting -= weights[year]
    return weights


class _Regimes:
    """Regime factors as arrays (forecasts, years, draws), lapses of care included."""

    QUANTITIES: Final = (
        "crop_factor", "bare_share", "seed_return_share", "rattle_seed_return_share", "arisings_left", "sheep",
        "managed",
    )  # fmt: skip

    def __init__(
        self, parameters: ParameterSet, care: Care, random_seed: int, n: int, years: int, biology: Biology
    ) -> None:
        keys = [care.regime, "uncut", "cut_left", "early_cut"]
        lapse = draw(parameters.number("establishment", "aftercare", "lapse_chance"), random_seed, n)
        uncut = parameters.value("establishment", "aftercare", "lapse_uncut_share")
        left = parameters.value("establishment", "aftercare", "lapse_left_share")
        chosen = np.zeros((len(FORECASTS), years, n), dtype=np.intp)
        for year in range(years):
            which = uniforms(random_seed, "aftercare/which", n, str(year))
            kind = 1 + (which >= uncut).astype(np.intp) + (which >= uncut + left)
            lapsed = uniforms(random_seed, "aftercare/lapse", n, str(year)) < lapse
            chosen[USUAL, year] = np.where(lapsed, kind, 0)
        self.lapse_chance = lapse
        self.lapsed = chosen > 0
        self.factor = {
            quantity: np.array([parameters.value("regimes", key, quantity) for key in keys])[chosen]
            for quantity in self.QUANTITIES
        }
        left_flag = self.factor["arisings_left"]
        self.left_recruits = 1 + left_flag * (biology.left - 1)
        exponent = parameters.value("establishment", "arisings", "left_survival_exponent")
        self.left_survival = self.left_recruits**exponent
        self.forb_survival = 1 + self.factor["sheep"] * (biology.sheep - 1)


def _bare_and_crop(
    biology: Biology, ground: Ground, zones: tuple[Zone, ...], years: int
) -> tuple[Array, Array, Array]:
    """Per zone, year and draw: bare share by preparation, crop ratio, and share of residents kept.

    Each of shape (zones, years, draws). Bare ground of preparation stays open in part for some years; the crop is
    low right after preparation and comes back, slowly after stripping; residents return.
    """
    n = ground.p_index.size
    bare = np.zeros((len(zones), years, n))
    crop = np.ones_like(bare)
    kept = np.ones_like(bare)
    carry = biology.fixed("ground", "bare_carry_share")
    lost = biology.fixed("ground", "crop_lost_by_bare_share")
    recovery = biology.fixed("ground", "crop_recovery")
    stripping_recovery = biology.fixed("ground", "stripping_recovery")
    return_time = biology.fixed("residents", "return_time")
    for index, zone in enumerate(zones):
        start = Preparation(1, ground.bare_share, np.zeros(n), np.ones(n), opens_tall_sward=False)
        for event in (start, *zone.preparations):
            for year in range(event.year, years + 1):
                since = year - event.year
                open_now = event.bare_share if since == 0 else carry * event.bare_share * np.exp(-float(since))
                here = bare[index, year - 1]
                np.subtract(1, (1 - here) * (1 - open_now), out=here)
                crop[index, year - 1] *= (1 - lost * event.bare_share * np.exp(-since / recovery)) * (
                    1 - event.crop_lowered_share * np.exp(-since / stripping_recovery)
                )
                kept[index, year - 1] *= 1 - (1 - event.residents_kept_share) * np.exp(-since / return_time)
    return bare, crop, kept


def _open_from(zone: Zone, tall: bool) -> int:
    """First year in which a tall sward has been opened by preparation; beyond the horizon if never."""
    if not tall:
        return 1
    return min((p.year for p in zone.preparations if p.opens_tall_sward), default=MAX_YEARS + 1)


def establish(  # noqa: PLR0915 - one loop over the years reads better whole
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
        1 to 10.
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
        Zones averaged by area.
    """
    n = ground.p_index.size
    biology = Biology(parameters, world_seed, n)
    regimes = _Regimes(parameters, care, random_seed, n, years, biology)
    plants = tuple(
        sorted((t for t in taxa if t.model_class != RATTLE), key=lambda t: (CLASSES.index(t.model_class), t.key))
    )
    kernel = _Kernel(
        parameters, biology, regimes, ground, plants, zones, care, years, random_seed, world_seed, first_summer
    )
    rattle_taxon = next((t for t in taxa if t.model_class == RATTLE), None)
    kernel.prepare_rattle(rattle_taxon)
    return kernel.run(quadrat_area_m2, timelines, rattle_taxon)


class _Kernel:
    """The loop over blocks and years. Built once per run; holds the run's draws."""

    def __init__(
        self,
        parameters: ParameterSet,
        biology: Biology,
        regimes: _Regimes,
        ground: Ground,
        plants: tuple[Taxon, ...],
        zones: tuple[Zone, ...],
        care: Care,
        years: int,
        random_seed: int,
        world_seed: int,
        first_summer: int,
    ) -> None:
        self.parameters, self.biology, self.regimes, self.ground = parameters, biology, regimes, ground
        self.plants, self.zones, self.care, self.years = plants, zones, care, years
        self.random_seed, self.world_seed = random_seed, world_seed
        self.n = n = ground.p_index.size
        self.n_cases = len(zones) * len(FORECASTS)
        self.zone_of = np.repeat(np.arange(len(zones)), len(FORECASTS))
        self.forecast_of = np.tile(np.arange(len(FORECASTS)), len(zones))
        self.class_of = np.array([CLASSES.index(t.model_class) for t in plants], dtype=np.intp)
        self.bare, self.crop, self.kept = _bare_and_crop(biology, ground, zones, years)
        noise = biology.fixed("weather", "yearly_noise")
        self.weather = np.stack(
            [
                np.exp(noise * normals(world_seed, "weather", n, str(first_summer + year)))
                for year in range(years)
            ]
        )
        self.scaled_seed_share = self._species_share()
        self.seed_by_year = self._seed_by_year()
        self.plugs_by_year = self._plugs_by_year()
        self.existing = self._existing()
        self.noise_streams = [stream(random_seed, "year_noise", t.key) for t in plants]
        self.finite = ground.area_m2 < biology.finite_limit_m2
        self.fate = np.stack([exponentials(random_seed, "finite_site", n, t.key) for t in plants]) if plants else None
        grass = [i for i, t in enumerate(plants) if t.model_class in GRASSES]
        self.grasses = slice(grass[0], grass[-1] + 1) if grass else slice(0, 0)
        slow = [i for i, t in enumerate(plants) if t.model_class in SLOW]
        self.slow = slice(slow[0], len(plants)) if slow else slice(len(plants), len(plants))
        self.prepare_arrivals()
        self.grass_already_there = draw(
            parameters.number("establishment", "residents", "sown_grass_already_there_share"), world_seed, n
        )
        self.volunteers = draw(
            parameters.number("establishment", "volunteers", "species_on_bare"), world_seed, n
        )

    def _species_share(self) -> Array:
        """Established share per live seed at the reference bed, over the ceiling: (species, draws)."""
        biology, n = self.biology, self.n
        out = np.empty((len(self.plants), n))
        for i, taxon in enumerate(self.plants):
            c = self.class_of[i]
            chance = hurdle_chance(self.parameters, biology, taxon, self.ground, self.world_seed)
            passes = uniforms(self.random_seed, "hurdle", n, taxon.key) < chance
            own = normals(self.world_seed, "species", n, taxon.key)
            share = np.minimum(
                biology.establishment[c] * np.exp(biology.species_spread * own), biology.cap
            ) * np.exp(self.ground.quality)
            count = np.exp(biology.seed_spread * normals(self.random_seed, "seed_count", n, taxon.key))
            out[i] = share * count * passes / biology.ceiling[c]
        return out

    def _seed_by_year(self) -> Array:
        """Seeds per m2 that come up in each year: (years, species, cases)."""
        out = np.zeros((self.years, len(self.plants), self.n_cases))
        kept = self.biology.fixed("ground", "spring_sown_chill_kept_share")
        for zone_index, zone in enumerate(self.zones):
            for sowing in zone.sowings:
                for i, taxon in enumerate(self.plants):
                    seeds = sowing.live_seeds_per_m2.get(taxon.key, 0.0)
                    left = self.years - sowing.year + 1
                    if not seeds or left <= 0:
                        continue
                    c = self.class_of[i]
                    wait = int(sowing.late and taxon.chill_needed)
                    weights = germination_weights(
                        self.biology.first[c], self.biology.later[c], wait, kept if wait else 1.0, left
                    )
                    out[sowing.year - 1 :, i, self.zone_of == zone_index] += (seeds * weights)[:, None]
        return out

    def _plugs_by_year(self) -> Array:
        """Plug plants per m2 by year: (years, species, cases)."""
        out = np.zeros((self.years, len(self.plants), self.n_cases))
        for zone_index, zone in enumerate(self.zones):
            for planting in zone.plantings:
                for i, taxon in enumerate(self.plants):
                    count = planting.plugs_per_m2.get(taxon.key, 0.0)
                    if count and planting.year <= self.years:
                        out[planting.year - 1, i, self.zone_of == zone_index] += count
        return out

    def _existing(self) -> Array | None:
        """Plants of the listed species already in former arable ground, over the ceiling: (species, draws)."""
        if not self.ground.on_arable or not self.plants:
            return None
        n = self.n
        share = draw(
            self.parameters.number("establishment", "background", "already_there_share"), self.world_seed, n
        )
        density = self.parameters.number("establishment", "background", "density")
        out = np.empty((len(self.plants), n))
        for i, taxon in enumerate(self.plants):
            there = uniforms(self.random_seed, "background", n, taxon.key) < share
            out[i] = there * draw(density, self.random_seed, n, taxon.key) / self.biology.ceiling[self.class_of[i]]
        return out

    def prepare_arrivals(self) -> None:
        """Draws for species that come by themselves from flower-rich land nearby."""
        b, n = self.biology, self.n
        scale = draw(self.parameters.number("establishment", "arrival", "distance_scale"), self.world_seed, n)
        self.nearness = np.exp(-self.ground.distance_m / scale)
        self.arrival_hazard = b.fixed("arrival", "hazard") * self.nearness
        self.arrival_pool = b.fixed("arrival", "pool")
        self.founders_per_m2 = b.fixed("arrival", "founders") / self.ground.area_m2
        hazard = draw(self.parameters.number("establishment", "arrival", "orchid_hazard"), self.world_seed, n)
        wait = b.fixed("arrival", "orchid_wait")
        counted = np.maximum(np.arange(1, self.years + 1) - wait, 0)
        self.orchids = (1 - (1 - hazard * self.nearness) ** counted[:, None]).mean(axis=-1)

    def prepare_rattle(self, taxon: Taxon | None) -> None:
        """Yellow rattle: seeds by year (years, cases), established share per seed and yearly noise (draws)."""
        self.rattle_seeds = np.zeros((self.years, self.n_cases))
        self.rattle_mown = np.zeros((self.years, self.n_cases), dtype=bool)
        self.sown_year = np.zeros((self.years, self.n_cases), dtype=bool)
        n = self.n
        for zone_index, zone in enumerate(self.zones):
            for sowing in zone.sowings:
                if sowing.year > self.years:
                    continue
                here = self.zone_of == zone_index
                self.sown_year[sowing.year - 1, here] = True
                self.rattle_mown[sowing.year - 1, here] |= sowing.mown_early
                if taxon is not None and not sowing.late:
                    self.rattle_seeds[sowing.year - 1, here] += sowing.live_seeds_per_m2.get(taxon.key, 0.0)
        self.has_rattle = bool(self.rattle_seeds.any())
        key = RATTLE
        sd = self.biology.fixed(RATTLE, "yearly_noise")
        self.rattle_noise = np.stack(
            [np.exp(sd * normals(self.random_seed, "rattle_noise", n, str(y))) for y in range(self.years)]
        )
        if taxon is None:
            self.rattle_share = np.zeros(n)
            self.rattle_fate = np.ones(n)
            return
        chance = hurdle_chance(self.parameters, self.biology, taxon, self.ground, self.world_seed)
        passes = uniforms(self.random_seed, "hurdle", n, taxon.key) < chance
        count = np.exp(self.biology.seed_spread * normals(self.random_seed, "seed_count", n, taxon.key))
        self.rattle_share = np.minimum(self.biology.rattle_establishment, 1) * passes * count
        self.rattle_fate = exponentials(self.random_seed, "finite_site", n, key)

    def run(self, quadrat_area_m2: float, timelines: bool, rattle_taxon: Taxon | None) -> Establishment:
        """All blocks, then the result."""
        shape = (len(FORECASTS), self.years, self.n)
        out = {name: np.zeros(shape) for name in ("species", "sown", "one", "rattle", "crop")}
        held = np.zeros(shape, dtype=bool)
        follow = _Follow(self.plants, self.years)
        for number, low in enumerate(range(0, self.n, BLOCK)):
            high = min(low + BLOCK, self.n)
            block = _Block(self, low, high, quadrat_area_m2)
            block.run(out, held, follow if timelines and number < TIMELINE_BLOCKS else None)
        lines = follow.lines()
        if timelines and rattle_taxon is not None:
            lines = (self._rattle_line(rattle_taxon, out["rattle"], held), *lines)
        return Establishment(
            species=out["species"],
            sown_species=out["sown"],
            species_1m2=out["one"],
            rattle=out["rattle"],
            rattle_held=held,
            crop=out["crop"],
            timelines=lines,
            orchids_by_year=self.orchids,
            inputs=self.drivers(),
        )

    def _rattle_line(self, taxon: Taxon, density: Array, held: np.ndarray) -> Timeline:
        seen = (density / (1 + density)).mean(axis=-1)
        present = (density * self.ground.area_m2 >= self.rattle_fate).mean(axis=-1)
        return Timeline(taxon.key, np.maximum(present, held.mean(axis=-1)), seen, seen, density.mean(axis=-1))

    def drivers(self) -> dict[str, Array]:
        """Draws that may drive the outcome, `group/name` -> (draws,)."""
        b = self.biology
        found = {
            "site_quality/quality": self.ground.quality,
            "fertility/crop": self.ground.crop_g_per_m2,
            "fertility/p_index": self.ground.p_index,
            "fertility/competition": b.competition_slope,
            "species/reliable": b.establishment[0],
            "species/slow": b.establishment[CLASSES.index("slow")],
            "species/grass": b.establishment[CLASSES.index("grass")],
            "species/hurdle": b.hurdle[0],
            "species/survival": b.survival[0],
            "species/recruits": b.local_recruits[0],
            "species/ceiling": b.ceiling[0],
            "ground/microsites": b.microsites_short_sward,
            "ground/bare": self.bare[0, 0],
            "residents/broadleaf": self.ground.residents_broadleaf,
            "residents/grass": self.ground.residents_grass,
            "neighbours/distance": self.nearness,
            "aftercare/lapses": self.regimes.lapse_chance,
            "weather/first": self.weather[0],
        }
        if self.has_rattle:
            found["rattle/establishment"] = self.rattle_share
            found["rattle/suppression"] = b.rattle_max_loss
        return found


class _Follow:
    """Sums for the timelines over the first blocks."""

    def __init__(self, plants: tuple[Taxon, ...], years: int) -> None:
        self.plants = plants
        shape = (len(plants), len(FORECASTS), years)
        self.present, self.seen = np.zeros(shape), np.zeros(shape)
        self.flower, self.density = np.zeros(shape), np.zeros(shape)
        self.draws = 0

    def lines(self) -> tuple[Timeline, ...]:
        if not self.draws:
            return ()
        d = self.draws
        return tuple(
            Timeline(t.key, self.present[i] / d, self.seen[i] / d, self.flower[i] / d, self.density[i] / d)
            for i, t in enumerate(self.plants)
        )


class _Block:
    """One block of draws through all years."""

    def __init__(self, kernel: _Kernel, low: int, high: int, quadrat_area_m2: float) -> None:
        self.k, self.low, self.high = kernel, low, high
        self.cut = slice(low, high)
        self.width = high - low
        site_m2 = kernel.ground.area_m2
        self.area = min(quadrat_area_m2, site_m2)
        self.unit = min(1.0, site_m2)
        self.two_areas = self.area != self.unit
        s, c, d = len(kernel.plants), kernel.n_cases, self.width
        self.state = np.zeros((s, c, d))
        self.work = np.empty((s, c, d))
        self.other = np.empty((s, c, d))
        if kernel.existing is not None:
            self.state += kernel.existing[:, None, self.cut]
        self.noise = self._noise()
        self.share = kernel.scaled_seed_share[:, self.cut]
        ceiling = kernel.biology.ceiling[:, self.cut]
        self.ceiling = ceiling[kernel.class_of] if s else np.zeros((0, d))
        zone_shares = np.array([z.area_share for z in kernel.zones])
        self.zone_weight = zone_shares[kernel.zone_of]

    def _noise(self) -> Array:
        """Yearly factors of each species: (species, years, draws of the block)."""
        k = self.k
        z = np.empty((len(k.plants), MAX_YEARS, BLOCK))
        for i, generator in enumerate(k.noise_streams):
            generator.standard_normal(out=z[i])
        z = z[:, : k.years, : self.width]
        z *= k.biology.noise[k.class_of][:, None, None]
        return np.exp(z, out=z)

    def regime(self, name: str, year: int) -> Array:
        """A regime factor of one year as (cases, draws)."""
        return self.k.regimes.factor[name][:, year, self.cut][self.k.forecast_of]

    def run(self, out: dict[str, Array], held: np.ndarray, follow: _Follow | None) -> None:
        """Walk through the years and write this block's part of the result."""
        k, b, cut = self.k, self.k.biology, self.cut
        shape = (k.n_cases, self.width)
        rattle = _Rattle(self, shape)
        tall = np.full(shape, k.ground.tall)
        open_from = np.array([_open_from(z, k.ground.tall) for z in k.zones])[k.zone_of]
        history: list[Array] = []
        arrivals = _Arrivals(self)
        managed_years = np.zeros(shape)
        for year in range(k.years):
            tall &= ((year + 1) < open_from)[:, None]
            lapsed = k.regimes.lapsed[:, year, cut][k.forecast_of]
            crop = (
                k.ground.crop_g_per_m2[cut] * self.regime("crop_factor", year) * k.crop[k.zone_of, year][:, cut]
            )
            mowing = k.sown_year[year][:, None] & ~lapsed
            hold = b.mowing_hold[cut] * (
                1 - np.exp(-k.care.first_year_cuts / b.fixed("ground", "mowing_half_cuts"))
            )
            crop_felt = crop * np.where(mowing, 1 - hold, 1)
            bare = np.maximum(self.regime("bare_share", year), k.bare[k.zone_of, year][:, cut])
            gap = rattle.felt / b.rattle_max_loss[cut] * b.rattle_gap[cut]
            bare = np.minimum(bare + gap, 1)
            floor = np.where(tall, b.microsites_tall_sward[cut], b.microsites_short_sward[cut])
            half = b.microsite_half_share[cut]
            micro = floor + (1 - floor) * bare * (1 + half) / (bare + half)
            if k.has_rattle:
                lost = rattle.step(year, crop, crop_felt, micro)
                crop = crop * (1 - lost)
                crop_felt = crop_felt * (1 - lost)
            stay, come = self.classes(year, crop_felt, micro, bare)
            self.grow(year, stay, come)
            managed_years += np.where(self.regime("managed", year) > 0, 1, -1)
            arrivals.step(stay[0], self.regime("managed", year))
            history.append(self.state.copy() if follow is not None else self.state[k.slow].copy())
            self.observe(year, history, rattle.density, crop, arrivals, managed_years, out, held, follow)
            tall = self.regime("managed", year) == 0
        if follow is not None:
            follow.draws += self.width

    def classes(self, year: int, crop_felt: Array, micro: Array, bare: Array) -> tuple[Array, Array]:
        """What stays and what comes, by class: two arrays (classes, cases, draws).

        `stay`: plants next year per plant now (survival and local recruits). `come`: recruits per established
        share of seed. Both carry the year's weather.
        """
        k, b, cut = self.k, self.k.biology, self.cut
        slope = b.competition_slope[cut] / b.fixed("ground", "competition_reference")
        pressure = slope * crop_felt
        seedlings = np.exp(-pressure)
        adults = np.exp(-b.adult_competition_exponent[cut] * pressure)
        slow_adults = adults ** b.fixed("ground", "adult_competition_slow_ratio")
        left = k.regimes.left_recruits[:, year, cut][k.forecast_of]
        left_survival = k.regimes.left_survival[:, year, cut][k.forecast_of]
        forb = k.regimes.forb_survival[:, year, cut][k.forecast_of]
        weather = k.weather[year, cut]
        returned = self.regime("seed_return_share", year)
        annual_half = b.fixed("annual", "bare_half_share")
        open_annual = (bare / (bare + annual_half)) ** 2
        open_pioneer = bare / (bare + b.fixed("pioneer", "bare_half_share"))
        mown = np.where(k.rattle_mown[year], 0.0, 1.0)[:, None]
        stay, come = np.empty((len(CLASSES), *crop_felt.shape)), np.empty((len(CLASSES), *crop_felt.shape))
        for c, name in enumerate(CLASSES):
            site = {"pioneer": open_pioneer, "annual": open_annual}.get(name, micro)
            held = (slow_adults if name in SLOW else adults) * left_survival
            if name not in GRASSES:
                held = held * forb
            local = b.local_recruits[c, cut] * site * seedlings * returned * left
            if name == "annual":
                local = local * mown
            stay[c] = (b.survival[c, cut] * held + local) * weather
            come[c] = (micro if name == "annual" else site) * seedlings * left * weather
        return stay, come

    def grow(self, year: int, stay: Array, come: Array) -> None:
        """One year of every sown or planted species: survivors, local recruits, seed, plugs, then the ceiling."""
        k = self.k
        if not k.plants:
            return
        state, work, other = self.state, self.work, self.other
        np.take(stay, k.class_of, axis=0, out=work)
        state *= work
        state *= self.noise[:, year][:, None, :]
        seeds = k.seed_by_year[year]
        if seeds.any():
            np.take(come, k.class_of, axis=0, out=work)
            work *= seeds[:, :, None]
            work *= self.share[:, None, :]
            state += work
        plugs = k.plugs_by_year[year]
        if plugs.any():
            alive = k.biology.plug_survival[self.cut] / self.ceiling
            state += plugs[:, :, None] * alive[:, None, :]
        if len(k.zones) > 1:
            self.spread(come)
        np.add(state, 1, out=other)
        state /= other
        if k.finite:
            self.count_one_by_one()

    def spread(self, come: Array) -> None:
        """Seed from zones of the same site that hold more; a uniform site split in two stays as it was."""
        k = self.k
        mean = np.zeros((len(FORECASTS), len(k.plants), self.width))
        for case in range(k.n_cases):
            mean[k.forecast_of[case]] += self.zone_weight[case] * self.state[:, case]
        np.take(come, k.class_of, axis=0, out=self.work)
        self.work *= k.biology.strip_spread[self.cut]
        for case in range(k.n_cases):
            denser = np.maximum(mean[k.forecast_of[case]] - self.state[:, case], 0)
            self.state[:, case] += self.work[:, case] * denser

    def count_one_by_one(self) -> None:
        """On a small site a species with less than a plant to its name is gone; the mean is kept."""
        k = self.k
        plants = self.state * self.ceiling[:, None, :] * k.ground.area_m2
        assert k.fate is not None  # noqa: S101 - for the type checker: there are plants
        alive = plants >= k.fate[:, None, self.cut]
        chance = -np.expm1(-plants)
        self.state *= alive
        np.divide(self.state, chance, out=self.state, where=alive & (chance > 0))

    def flowering(self, history: list[Array], year: int, rows: slice, offset: int) -> Array:
        """Plants old enough to flower, over the ceiling: (species of `rows`, cases, draws)."""
        k = self.k
        now = history[year][rows]
        out = np.zeros_like(now)
        for j in range(now.shape[0]):
            taxon = k.plants[offset + j]
            lag = taxon.first_flower_year - 1
            if lag <= 0:
                out[j] = now[j]
            elif year >= lag:
                survival = k.biology.survival[k.class_of[offset + j], self.cut] ** lag
                np.minimum(now[j], history[year - lag][rows][j] * survival, out=out[j])
        return out

    def observe(
        self, year: int, history: list[Array], rattle: Array, crop: Array, arrivals: _Arrivals,
        managed_years: Array, out: dict[str, Array], held: np.ndarray, follow: _Follow | None,
    ) -> None:  # fmt: skip
        """Count what a recorder would see this year and write it to the result, zones averaged by area."""
        k, cut = self.k, self.cut
        seen, flower = self.state, None
        if follow is not None:
            flower = self.flowering(history, year, slice(None), 0)
            slow_flower = flower[k.slow]
        else:
            slow_flower = self.flowering(history, year, slice(None), k.slow.start)
        hidden = k.biology.seen_without_flower
        slow_seen = slow_flower + hidden * (self.state[k.slow] - slow_flower)
        areas = (self.area, self.unit) if self.two_areas else (self.area,)
        totals = []
        for area in areas:
            np.multiply(seen, (self.ceiling * area)[:, None, :], out=self.work)
            self.work[k.slow] = slow_seen * (self.ceiling[k.slow] * area)[:, None, :]
            np.add(self.work, 1, out=self.other)
            self.work /= self.other
            if follow is not None and area == self.unit:
                self.follow(follow, year, flower)
            sown = self.work.sum(axis=0)
            grasses = self.work[k.grasses].sum(axis=0)
            rattle_seen = rattle * area / (1 + rattle * area)
            sown += rattle_seen
            there = k.grass_already_there[cut]
            others = self.residents(year, area, managed_years) + arrivals.seen(area)
            totals.append((sown, sown - there / 2 * grasses + others))
        for forecast in range(len(FORECASTS)):
            rows = k.forecast_of == forecast
            weight = self.zone_weight[rows][:, None]
            out["sown"][forecast, year, cut] = (weight * totals[0][0][rows]).sum(axis=0)
            out["species"][forecast, year, cut] = (weight * totals[0][1][rows]).sum(axis=0)
            out["one"][forecast, year, cut] = (weight * totals[-1][1][rows]).sum(axis=0)
            mean = (weight * rattle[rows]).sum(axis=0)
            out["rattle"][forecast, year, cut] = mean
            enough = np.maximum(k.biology.fixed(RATTLE, "held_density"), 1 / k.ground.area_m2)
            held[forecast, year, cut] = mean >= enough
            out["crop"][forecast, year, cut] = (weight * crop[rows]).sum(axis=0)

    def follow(self, follow: _Follow, year: int, flower: Array | None) -> None:
        """Add this block to the timelines; `work` holds the chance of being seen in the unit area."""
        k = self.k
        density = self.state * self.ceiling[:, None, :]
        present = density * k.ground.area_m2 >= (1 if k.fate is None else k.fate[:, None, self.cut])
        assert flower is not None  # noqa: S101 - for the type checker: timelines always follow flowering
        blooming = flower * (self.ceiling * self.unit)[:, None, :]
        blooming /= 1 + blooming
        for case in range(k.n_cases):
            f, weight = k.forecast_of[case], self.zone_weight[case]
            follow.present[:, f, year] += weight * present[:, case].sum(axis=-1)
            follow.seen[:, f, year] += weight * self.work[:, case].sum(axis=-1)
            follow.flower[:, f, year] += weight * blooming[:, case].sum(axis=-1)
            follow.density[:, f, year] += weight * density[:, case].sum(axis=-1)

    def residents(self, year: int, area: float, managed_years: Array) -> Array:
        """Species that were there before, and those that come up from bare soil, in `area` m2: (cases, draws)."""
        k, b, cut = self.k, self.k.biology, self.cut
        gain, loss = b.fixed("residents", "yearly_gain_managed"), b.fixed("residents", "yearly_loss_unmanaged")
        trend = 1 + np.where(managed_years > 0, gain, loss) * managed_years
        kept = k.kept[k.zone_of, year][:, cut]
        broad, grass = (
            b.fixed("residents", "area_exponent_broadleaf"),
            b.fixed("residents", "area_exponent_grass"),
        )
        there = k.ground.residents_broadleaf[cut] * area**broad + k.ground.residents_grass[cut] * area**grass
        volunteers = k.volunteers[cut]
        fade = np.exp(-year / b.fixed("volunteers", "fade"))
        opened = k.bare[k.zone_of, 0][:, cut] if year == 0 else k.bare[k.zone_of].max(axis=1)[:, cut]
        return np.asarray(there * kept * trend + volunteers * opened * fade * area**broad)


class _Rattle:
    """Yellow rattle through the years on the cut part and in an uncut refuge; arrays (cases, draws).

    An annual that lives on the roots of its neighbours: the more host there is the better it grows, up to a point
    of fertility; it lowers the crop, runs short of host, and falls back. Without seed shed it is gone.
    """

    def __init__(self, block: _Block, shape: tuple[int, int]) -> None:
        self.block = block
        self.rain = [np.zeros(shape), np.zeros(shape)]
        self.soil = [np.zeros(shape), np.zeros(shape)]
        self.felt = np.zeros(shape)
        self.density = np.zeros(shape)

    def step(self, year: int, crop: Array, crop_felt: Array, micro: Array) -> Array:
        """One year; returns the share of this year's crop that is lost to the rattle."""
        k, b, cut = self.block.k, self.block.k.biology, self.block.cut

        def fixed(quantity: str) -> float:
            return b.fixed(RATTLE, quantity)

        most = b.rattle_max_loss[cut]
        host = crop * (1 - self.felt)
        slope = b.competition_slope[cut] / b.fixed("ground", "competition_reference")
        over = np.maximum(host - fixed("crop_limit"), 0) / fixed("crop_limit_scale")
        growth = micro * np.exp(-fixed("competition_exponent") * slope * crop_felt * (1 - self.felt) - over)
        growth *= host**2 / (host**2 + fixed("host_half_crop") ** 2)
        growth *= (1 - fixed("host_exhaustion_share") * self.felt / most) ** 2
        seedlings = k.rattle_share[cut] * growth * k.rattle_noise[year, cut] * k.weather[year, cut]
        sown = k.rattle_seeds[year][:, None]
        now = []
        for rain, soil in zip(self.rain, self.soil, strict=True):
            come = (sown + rain + soil) * seedlings
            now.append(come / (1 + come / fixed("ceiling")))
        refuge = k.care.refuge_share
        density = (1 - refuge) * now[0] + refuge * now[1]
        alive = density * k.ground.area_m2 >= k.rattle_fate[cut]
        density = density * alive
        self.shed(year, [part * alive for part in now], refuge)
        self.density = density
        loss = most * density / (density + fixed("half_density"))
        lost = np.maximum(self.felt, fixed("suppression_now_share") * loss)
        memory = fixed("suppression_memory_share")
        self.felt = memory * self.felt + (1 - memory) * loss
        return np.asarray(lost)

    def shed(self, year: int, now: list[Array], refuge: float) -> None:
        """Seed shed this year, and what is left of last year's in the soil."""
        k, b = self.block.k, self.block.k.biology
        early = k.parameters.value("regimes", "early_cut", "rattle_seed_return_share")
        full = k.parameters.value("regimes", "uncut", "rattle_seed_return_share")
        returned = self.block.regime("rattle_seed_return_share", year)
        returned = np.where(k.rattle_mown[year][:, None], np.minimum(returned, early), returned)
        per_plant = b.fixed(RATTLE, "seeds_per_plant")
        soil = b.fixed(RATTLE, "soil_seed_share")
        self.soil = [soil * rain for rain in self.rain]
        cut_rain, refuge_rain = now[0] * returned * per_plant, now[1] * full * per_plant
        if refuge:
            spill = b.fixed(RATTLE, "refuge_spill_share") * refuge_rain
            refuge_rain = refuge_rain - spill
            cut_rain = cut_rain + spill * refuge / (1 - refuge)
        self.rain = [cut_rain, refuge_rain]


class _Arrivals:
    """Species that come by themselves from flower-rich land nearby, by year of arrival."""

    def __init__(self, block: _Block) -> None:
        self.block = block
        k = block.k
        self.cohorts = np.zeros((k.years, k.n_cases, block.width))
        self.counts = np.zeros((k.years, k.n_cases, block.width))
        self.year = 0
        self.gone = np.ones((k.n_cases, block.width))

    def step(self, stay: Array, managed: Array) -> None:
        """Let earlier arrivals grow as reliable forbs do, and add this year's."""
        k, cut = self.block.k, self.block.cut
        y = self.year
        grown = self.cohorts[:y]
        grown *= stay
        ceiling = k.biology.ceiling[0, cut]
        grown /= 1 + grown / ceiling
        hazard = k.arrival_hazard[cut] * managed
        self.counts[y] = k.arrival_pool * self.gone * hazard
        self.gone = self.gone * (1 - hazard)
        self.cohorts[y] = k.founders_per_m2
        self.year += 1

    def seen(self, area: float) -> Array:
        """Arrived species expected in a quadrat of `area` m2: (cases, draws)."""
        plants = self.cohorts[: self.year] * area
        return np.asarray((self.counts[: self.year] * plants / (1 + plants)).sum(axis=0))

