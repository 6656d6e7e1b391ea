"""The published sowing trials, run through the product's own establishment core.

Each study is written as the sites, mixes and management that its summary describes, as far as it does; what
it leaves open is assumed or spread over the draws, and said so in `fixtures/calibration/published.csv`, which
also holds the published values, their sources and their independence groups. `compare` sets the model's draws
beside them. The mean over many quadrats is what the trials report, and what the core returns.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from modelling.core.distributions import Array, expit, logit
from modelling.core.establishment import (
    KEPT,
    USUAL,
    Care,
    Establishment,
    Ground,
    Planting,
    Preparation,
    Sowing,
    Taxon,
    Zone,
    establish,
    site_quality,
)
from modelling.core.parameters import ParameterSet
from modelling.core.sampling import draw, normals, uniforms

REFERENCE: Final = Path(__file__).parent / "reference"
PUBLISHED: Final = Path(__file__).parents[1] / "fixtures" / "calibration" / "published.csv"
DRAWS: Final = 2000
CALIBRATION: Final = "calibration"
RATTLE: Final = "rattle"
#: plants per m2 are read off a quadrat so small that nothing is ever seen twice
_SPECK_M2: Final = 1e-6
_FAR_M: Final = 1e5


@dataclass(frozen=True, slots=True)
class Published:
    """One published figure: what it is, where it comes from, and how far the translation may be off.

    `tolerance` is a standard deviation on the scale named by `scale` (sqrt, log, logit or none).
    """

    key: str
    kind: str
    group: str
    statistic: str
    value: float
    unit: str
    tolerance: float
    scale: str
    author: str
    year: str
    journal: str
    translation: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """A published figure beside the model's 10, 50 and 90 % points, tolerance included.

    `inside_bare` judges the same without the tolerance.
    """

    published: Published
    low: float
    middle: float
    high: float
    inside_bare: bool

    @property
    def inside(self) -> bool:
        """Whether the published value lies within the model's 80 % interval."""
        return self.low <= self.published.value <= self.high


def read_published(path: Path = PUBLISHED) -> tuple[Published, ...]:
    """Read the published figures; ValueError names a line that has no number where one is due."""
    with path.open(encoding="utf-8", newline="") as file:
        return tuple(_published(row, line) for line, row in enumerate(csv.DictReader(file), start=2))


def _published(row: dict[str, str], line: int) -> Published:
    try:
        value, tolerance = float(row["value"]), float(row["tolerance"])
    except ValueError as error:
        raise ValueError(
            f"published.csv, line {line} ({row['key']}): value and tolerance must be numbers; read "
            f"{row['value']!r} and {row['tolerance']!r}"
        ) from error
    return Published(
        key=row["key"],
        kind=row["kind"],
        group=row["group"],
        statistic=row["statistic"],
        value=value,
        unit=row["unit"],
        tolerance=tolerance,
        scale=row["scale"],
        author=row["author"],
        year=row["year"],
        journal=row["journal"],
        translation=row["translation"],
    )


def mix(prefix: str, **counts: int) -> tuple[Taxon, ...]:
    """Unnamed species, so many of each model class; nothing is known of what soil they like."""
    flower_year = {"annual": 1, RATTLE: 1, "slow": 4, "slow_grass": 3}
    return tuple(
        Taxon(f"{prefix}_{name}_{i}", name, name == "slow", flower_year.get(name, 2))
        for name, count in counts.items()
        for i in range(count)
    )


RATTLE_TAXON: Final = Taxon("rattle", RATTLE, True, 1)


@dataclass(frozen=True)
class Bench:
    """Where the trials are run: reference tables, number of draws, and seeds.

    `world_seed` moves what is true of the species; each site of a trial gets its own number and weather.
    """

    parameters: ParameterSet
    draws: int
    world_seed: int = 1

    def row(self, table: str, subject: str, quantity: str, site: int | None = None) -> Array:
        """Draws of one reference number, for all sites or for one."""
        seed = self.world_seed if site is None else self.random_seed(site)
        return draw(self.parameters.number(table, subject, quantity), seed, self.draws)

    def random_seed(self, site: int) -> int:
        """Seed of one site of a trial."""
        return 1000 * self.world_seed + site

    def full(self, value: float) -> Array:
        return np.full(self.draws, float(value))

    def between(self, name: str, low: float, high: float, site: int = 0) -> Array:
        """Uniform draws for what a summary leaves open."""
        return low + (high - low) * uniforms(self.random_seed(site), f"trial/{name}", self.draws)

    def ground(
        self,
        site: int = 1,
        *,
        crop: float | None = None,
        p_index: float = 1.0,
        bare: float | Array = 0.05,
        area: float = 1000.0,
        arable: bool = False,
        tall: bool = False,
        grasses_counted: bool = True,
        quality: Array | None = None,
    ) -> Ground:
        """A trial site, of unknown quality unless it is given.

        Without a stated `crop` (g/m2) it follows from the P index, as for a site of the product.
        """
        value = self.parameters.value
        if crop is None:
            line = value("establishment", "ground", "crop_at_index_0") + p_index * value(
                "establishment", "ground", "crop_per_index"
            )
            standing = line * self.row("establishment", "ground", "crop_spread", site)
        else:
            standing = crop * self.row("establishment", "ground", "crop_measured_spread", site)
        sward = "sward:bare_or_arable" if arable else "sward:species_poor"
        grasses = self.row("site_values", sward, "resident_grass")
        return Ground(
            area_m2=area,
            tall=tall,
            on_arable=arable,
            crop_g_per_m2=standing,
            p_index=self.full(p_index),
            wetness_f=self.full(5),
            reaction_r=self.full(5.6),
            light_l=self.full(7.3),
            quality=(site_quality(self.parameters, self.random_seed(site), self.draws) if quality is None else quality),
            residents_broadleaf=self.row("site_values", sward, "resident_broadleaf"),
            residents_grass=grasses if grasses_counted else np.zeros(self.draws),
            bare_share=bare if isinstance(bare, np.ndarray) else self.full(bare),
            distance_m=self.full(_FAR_M),
        )

    def work(self, operation: str, year: int = 1) -> Preparation:
        """Preparation with an operation of the reference tables, drawn from its ranges."""
        lowered = self.parameters.find("operation_values", operation, "crop_lowered_share")
        return Preparation(
            year=year,
            bare_share=self.row("operation_values", operation, "bare_share"),
            crop_lowered_share=(self.full(0) if lowered is None else draw(lowered, self.world_seed, self.draws)),
            residents_kept_share=self.row("operation_values", operation, "residents_kept_share"),
            opens_tall_sward=True,
        )

    def bared(self, share: float, year: int = 1) -> Preparation:
        """A stated share of bare ground; residents lose what the trial tables say of harrowing."""
        kept = self.row("operation_values", "scarify_rake", "residents_kept_share")
        return Preparation(year, self.full(share), self.full(0), kept, opens_tall_sward=True)

    def run(
        self,
        ground: Ground,
        taxa: tuple[Taxon, ...],
        sowings: Iterable[Sowing] = (),
        *,
        site: int = 1,
        regime: str = "hay",
        years: int = 2,
        quadrat: float = 1.0,
        works: tuple[Preparation, ...] = (),
        cuts: float = 0.0,
        refuge: float = 0.0,
        plantings: tuple[Planting, ...] = (),
    ) -> Establishment:
        """Run one site of a trial; first-year mowing only where the summary reports it."""
        return self.run_zones(
            ground,
            taxa,
            (Zone(1.0, works, tuple(sowings), plantings),),
            site=site,
            care=Care(regime, cuts, refuge),
            years=years,
            quadrat=quadrat,
        )

    def run_zones(
        self,
        ground: Ground,
        taxa: tuple[Taxon, ...],
        zones: tuple[Zone, ...],
        *,
        site: int,
        care: Care,
        years: int,
        quadrat: float,
    ) -> Establishment:
        return establish(
            self.parameters,
            ground=ground,
            taxa=taxa,
            zones=zones,
            care=care,
            years=years,
            random_seed=self.random_seed(site),
            world_seed=self.world_seed,
            first_summer=1990 + site,
            quadrat_area_m2=quadrat,
            timelines=False,
        )


def sow(year: int = 1, late: bool = False, **rates: tuple[tuple[Taxon, ...], float]) -> Sowing:
    """One sowing: groups of taxa, each with its live seeds per m2 and species."""
    return Sowing(year, {t.key: rate for taxa, rate in rates.values() for t in taxa}, late)


def _sown(result: Establishment) -> Array:
    """Sown species seen, yellow rattle not counted, if kept: (years, draws); for quadrats of 1 m2."""
    rattle = result.rattle[KEPT]
    return np.asarray(result.sown_species[KEPT] - rattle / (1 + rattle))


def _mean(arrays: Iterable[Array]) -> Array:
    return np.asarray(np.mean(list(arrays), axis=0))


def _ratio(above: Array, below: Array) -> Array:
    """Draw by draw; not a number where there is nothing below the line."""
    return np.divide(above, below, out=np.full(above.shape, np.nan), where=below > 0)


Statistics = dict[str, Array]


def little_wittenham(b: Bench, variant: int) -> Statistics:
    forbs = mix("lw", reliable=8, legume=1, slow=1)
    ground = b.ground(crop=450, bare=0.06)

    def forbs_sown(rattle: float, years: int = 4) -> Establishment:
        first = Sowing(1, {RATTLE_TAXON.key: rattle})
        return b.run(ground, (*forbs, RATTLE_TAXON), (first, sow(3, forbs=(forbs, 40))), years=years)

    # the trial's rattle stood thick when the forbs were sown; in the model it takes so much seed to get there
    with_rattle, without = forbs_sown(2000, 6), forbs_sown(0)
    thin, thick = forbs_sown(2.7), forbs_sown(69)
    forb_counts = _sown(with_rattle)
    after, before = forb_counts[2:4].mean(axis=0), _sown(without)[2:4].mean(axis=0)
    return {
        "pywell_2004_forbs_with_rattle": after,
        "pywell_2004_forbs_without_rattle": before,
        "pywell_2004_best_treatment": forb_counts[2:].max(axis=0),
        "pywell_2004_rattle_ratio": _ratio(after, before),
        "pywell_2004_rattle_rate_gap": _ratio(thin.rattle[KEPT, 3], thick.rattle[KEPT, 3]),
    }


def north_wyke_edgcott(b: Bench, variant: int) -> Statistics:
    forbs, grasses = mix("nw", reliable=14, pioneer=1, legume=2, slow=2), mix("nw", grass=6)

    def total(rattle: float) -> Array:
        sowing = sow(forbs=(forbs, 18), grasses=(grasses, 350), rattle=((RATTLE_TAXON,), rattle))
        return _mean(
            b.run(
                b.ground(site, crop=550, p_index=2),
                (*forbs, *grasses, RATTLE_TAXON),
                (sowing,),
                site=site,
                works=(b.work("power_harrow_tractor"),),
                years=4,
            )
            .species[KEPT]
            .mean(axis=0)
            for site in (1, 2)
        )

    with_rattle, without = total(66), total(0)
    return {
        "pywell_2007_total_with_rattle": with_rattle,
        "pywell_2007_total_without_rattle": without,
        "pywell_2007_rattle_ratio": with_rattle / without,
    }


def six_grassland_sites(b: Bench, variant: int) -> Statistics:
    """Plots of 24 m2 of which an unknown part was looked at: a third of the draws each at three areas."""
    area = (7.5, 12.0, 19.0)[variant]
    forbs, grasses = mix("six", reliable=16, pioneer=1, legume=2, slow=3), mix("six", grass=6)
    sowing = sow(forbs=(forbs, 20), grasses=(grasses, 200))
    sowing_forbs = sow(forbs=(forbs, 20))

    def treatment(p_index: float, works: tuple[Preparation, ...], sown: bool) -> tuple[Array, Array]:
        broad, grass = [], []
        for site in range(1, 7):

            def count(with_grasses: bool, site: int = site) -> Array:
                ground = b.ground(site, p_index=3, grasses_counted=with_grasses)
                ground = _replace_index(ground, p_index)
                taxa = () if not sown else (*forbs, *grasses) if with_grasses else forbs
                sowings = () if not sown else (sowing if with_grasses else sowing_forbs,)
                return b.run(ground, taxa, sowings, site=site, works=works, quadrat=area).species[KEPT]

            everything, broadleaved = count(True), count(False)
            broad.append(broadleaved)
            grass.append(everything - broadleaved)
        return _mean(broad), _mean(grass)

    control_broad, control_grass = treatment(3, (), sown=False)
    strip_broad, strip_grass = treatment(2, (b.work("strip_turf_machine"),), sown=True)
    till_broad, till_grass = treatment(3, (b.work("rotavate_tractor"),), sown=True)
    return {
        "hopkins_1999_control_broadleaf": control_broad[0],
        "hopkins_1999_control_grass": control_grass[0],
        "hopkins_1999_stripped_broadleaf": strip_broad[0],
        "hopkins_1999_stripped_grass": strip_grass[0],
        "hopkins_1999_stripped_broadleaf_two_years": strip_broad.mean(axis=0),
        "hopkins_1999_stripped_grass_two_years": strip_grass.mean(axis=0),
        "hopkins_1999_cultivated_broadleaf_two_years": till_broad.mean(axis=0),
        "hopkins_1999_cultivated_grass_two_years": till_grass.mean(axis=0),
        "hopkins_1999_stripped_to_control": strip_broad[0] / control_broad[0],
        "hopkins_1999_stripped_to_cultivated": strip_broad.mean(axis=0) / till_broad.mean(axis=0),
    }


def _replace_index(ground: Ground, p_index: float) -> Ground:
    """The same ground with another P index but the crop it had (the work itself lowers the crop)."""
    values = {name: getattr(ground, name) for name in Ground.__dataclass_fields__}
    return Ground(**{**values, "p_index": np.full_like(ground.p_index, p_index)})


def craibstone(b: Bench, variant: int) -> Statistics:
    forbs, grasses = mix("cr", reliable=7, legume=1, slow=2), mix("cr", grass=4)
    taxa = (*forbs, *grasses)
    ground = b.ground(crop=500, bare=1.0, arable=True)
    regimes = {
        "cattle": "summer_cattle",
        "sheep": "summer_sheep",
        "cut_removed": "hay",
        "cut_left": "cut_left",
    }

    def sixth_year(regime: str, sowings: tuple[Sowing, ...]) -> Array:
        return b.run(ground, taxa, sowings, regime=regime, years=6).sown_species[KEPT, 5]

    sowing = sow(late=True, forbs=(forbs, 32), grasses=(grasses, 520))
    sown = {name: sixth_year(key, (sowing,)) for name, key in regimes.items()}
    unsown = {name: sixth_year(key, ()) for name, key in regimes.items()}
    pooled = {name: (sown[name] + unsown[name]) / 2 for name in regimes}
    return {
        "warren_2002_sown": _mean(sown.values()),
        "warren_2002_unsown": _mean(unsown.values()),
        **{f"warren_2002_{name}": value for name, value in pooled.items()},
        "warren_2002_removed_to_left": _ratio(pooled["cut_removed"], pooled["cut_left"]),
        "warren_2002_cattle_to_sheep": _ratio(pooled["cattle"], pooled["sheep"]),
    }


def stevenson_chalk(b: Bench, variant: int) -> Statistics:
    """A wild harvest: species uneven; seeds per gram unknown: a third of the draws each at half, one and two."""
    taxa = mix("st", reliable=26, pioneer=6, legume=4, slow=7, slow_grass=4)
    per_gram = 24 * (0.5, 1.0, 2.0)[variant]
    uneven = np.exp(np.linspace(-1.5, 1.5, 7)[np.arange(len(taxa)) % 7])
    uneven /= uneven.mean()

    def chalk_species(grams: float) -> Array:
        seeds = {t.key: grams * per_gram * float(u) for t, u in zip(taxa, uneven, strict=True)}
        sowings = (Sowing(1, seeds),) if grams else ()
        ground = b.ground(crop=250, bare=1.0, arable=True)
        return b.run(ground, taxa, sowings, years=1, quadrat=2).sown_species[KEPT, 0]

    low, high = chalk_species(0.1), chalk_species(4)
    return {
        "stevenson_1995_lowest_rate": low,
        "stevenson_1995_highest_rate": high,
        "stevenson_1995_unsown": chalk_species(0),
        "stevenson_1995_rate_ratio": high / low,
    }


def white_carpathians(b: Bench, variant: int) -> Statistics:
    herbs, grasses = mix("wc", reliable=14, legume=3, slow=3), mix("wc", grass=7)
    taxa = (*herbs, *grasses)

    def sown(keys: tuple[Taxon, ...], site: int, quadrat: float) -> Array:
        sowing = sow(
            herbs=(tuple(t for t in keys if t in herbs), 40), grasses=(tuple(t for t in keys if t in grasses), 150)
        )
        ground = b.ground(site, crop=400, bare=1.0, arable=True, area=10_000)
        return b.run(ground, keys, (sowing,), site=site, years=5, quadrat=quadrat).sown_species[KEPT, 4]

    missed = [np.prod([1 - sown((taxon,), site, 22.5) for site in range(1, 6)], axis=0) for taxon in taxa]
    return {
        "jongepierova_2007_share": sown(taxa, 1, 1100) / len(taxa),
        "white_carpathians_2013_landscape": 1 - _mean(missed),
    }


def oulu(b: Bench, variant: int) -> Statistics:
    taxa = mix("ou", reliable=5, slow=3)
    result = b.run(b.ground(crop=300), taxa, (sow(all=(taxa, 40)),), works=(b.bared(0.25),), years=3, quadrat=2.5)
    return {"hellstrom_2009_ten_plots": result.sown_species[KEPT, 2]}


def wytham_margins(b: Bench, variant: int) -> Statistics:
    """On half of the draws the species may already be in the soil, as they are on former crops."""
    taxa = mix("wy", reliable=12, pioneer=2, legume=1, slow=2)
    sowing = sow(forbs=(taxa, 40))
    regimes = {
        "spring_and_autumn_cut": "spring_autumn",
        "uncut": "uncut",
        "summer_cut": "summer",
        "spring_and_summer_cut": "spring_summer",
    }
    margin = b.ground(p_index=3, bare=1.0, arable=variant == 0)
    counts = {
        name: b.run(margin, taxa, (sowing,), regime=key, years=5, quadrat=0.5).sown_species[KEPT]
        for name, key in regimes.items()
    }
    turf = b.ground(p_index=3, bare=0.0)
    strip = 0.9

    def in_turf(regime: str) -> Array:
        """What shows in the turf: the whole less what the strip shows by itself."""
        ploughed = Preparation(1, b.full(1), b.full(0), b.full(0), opens_tall_sward=True)
        zones = (Zone(strip, (ploughed,), (sowing,)), Zone(1 - strip))
        care = Care(regime, 0)
        both = b.run_zones(turf, taxa, zones, site=1, care=care, years=5, quadrat=0.5)
        alone = b.run_zones(turf, taxa, (Zone(1.0, (ploughed,), (sowing,)),), site=1, care=care, years=5, quadrat=0.5)
        difference = both.sown_species[KEPT] - strip * alone.sown_species[KEPT]
        return np.maximum(difference.mean(axis=0) / (1 - strip), 0)

    later = {name: count[1:].mean(axis=0) for name, count in counts.items()}
    return {
        "smith_1999_first_year": counts["spring_and_autumn_cut"][0],
        **{f"smith_1999_{name}": value for name, value in later.items()},
        "smith_1999_spread_into_turf": _mean(in_turf(key) for key in regimes.values()),
        "smith_1999_cut_to_uncut": _ratio(later["spring_and_autumn_cut"], later["uncut"]),
    }


def kiehl_review(b: Bench, variant: int) -> Statistics:
    def share(site: int) -> Array:
        prefix = f"ki{site}"
        forbs, grasses = mix(prefix, reliable=18, pioneer=1, legume=3, slow=4), mix(prefix, grass=6)
        taxa = (*forbs, *grasses)
        sowing = sow(forbs=(forbs, 30), grasses=(grasses, 100))
        arable = site % 2 == 0
        ground = b.ground(site, crop=400, p_index=2, bare=1.0 if arable else 0.05, arable=arable)
        works = () if arable else (b.bared(0.5),)
        result = b.run(ground, taxa, (sowing,), site=site, works=works, years=7, quadrat=500)
        return np.asarray(result.sown_species[KEPT, 6] / len(taxa))

    return {"kiehl_2010_share": _mean(share(site) for site in range(1, 17))}


def german_strips(b: Bench, variant: int) -> Statistics:
    """Strips of 5 to 50 m2 looked at: a third of the draws each at three areas."""
    quadrat = (7.3, 15.8, 34.0)[variant]
    taxa = mix("ge", reliable=21, pioneer=2, legume=3, slow=4)
    shares, ratios = [], []
    for site in range(1, 21):
        ground = b.ground(site, p_index=3)
        sown = b.run(
            ground,
            taxa,
            (sow(forbs=(taxa, 30)),),
            site=site,
            works=(b.work("rotavate_tractor"),),
            quadrat=quadrat,
        )
        beside = b.run(ground, (), site=site, quadrat=quadrat)
        shares.append(sown.sown_species[KEPT].mean(axis=0) / len(taxa))
        ratios.append(sown.species[KEPT].mean(axis=0) / beside.species[KEPT].mean(axis=0))
    return {"german_strips_share": _mean(shares), "german_strips_ratio": _mean(ratios)}


def mesic_meta_analysis(b: Bench, variant: int) -> Statistics:
    ratios = []
    for site in range(1, 21):
        taxa = mix(f"me{site}", reliable=10, legume=2, slow=3)
        ground = b.ground(site, p_index=2)
        restored = b.run(ground, taxa, (sow(forbs=(taxa, 10)),), site=site, works=(b.bared(0.25),), years=5)
        left_alone = b.run(ground, (), site=site, years=5)
        ratios.append(restored.species[KEPT, 4] / left_alone.species[KEPT, 4])
    return {"slodowicz_2023_ratio": _mean(ratios)}


def _plants_per_seed(
    b: Bench,
    ground: Ground,
    taxa: tuple[Taxon, ...],
    year: int,
    *,
    site: int = 1,
    regime: str = "hay",
    cuts: float = 0.0,
) -> Array:
    """Plants per live seed in a year at one seed per m2 and species, shape (draws,)."""
    result = b.run(
        ground,
        taxa,
        (sow(all=(taxa, 1.0)),),
        site=site,
        regime=regime,
        years=year,
        quadrat=_SPECK_M2,
        cuts=cuts,
    )
    return np.asarray(result.sown_species[KEPT, year - 1] / _SPECK_M2 / len(taxa))


def emergence(b: Bench, variant: int) -> Statistics:
    ratio = b.row("establishment", "all", "emergence_ratio")
    eight, four = mix("ho", reliable=8), mix("hu", reliable=4)

    def emerged(taxa: tuple[Taxon, ...], bare: Array, tall: bool = False) -> Array:
        regime = "uncut" if tall else "hay"
        ground = b.ground(crop=0, bare=bare, tall=tall, quality=b.full(0))
        return np.asarray(ratio * _plants_per_seed(b, ground, taxa, 1, regime=regime))

    live = emerged(eight, b.between("live", 0.02, 0.10))
    killed = emerged(eight, b.between("killed", 0.6, 0.9))
    cut = emerged(four, b.between("cut", 0.2, 0.9))
    tall = emerged(four, b.full(0.003), tall=True)
    mown = {cuts: _plants_per_seed(b, b.ground(crop=550), mix("mo", reliable=7), 1, cuts=cuts) for cuts in (26, 3)}
    return {
        "hofmann_2004_emergence_live_sward": live,
        "hofmann_2004_emergence_killed_sward": killed,
        "hofmann_2004_killed_to_live": _ratio(killed, live),
        "hofmann_2004_removed_to_harrowed": _ratio(
            emerged(eight, b.full(1)), emerged(eight, b.between("harrowed", 0.3, 0.7))
        ),
        "hutchings_1996_cut_to_ground": cut,
        "hutchings_1996_tall_vegetation": tall,
        "hutchings_1996_cut_to_tall": _ratio(cut, tall),
        "hofmann_2005_weekly_to_nine_weekly": _ratio(mown[26], mown[3]),
    }


def slow_species(b: Bench, variant: int) -> Statistics:
    """Sites where the species could grow: what the hurdle stops is left out, and quality is the middling one.

    The trial looked for every plant, the core reports those a recorder notices: none flowers so young.
    """
    noticed = b.parameters.value("establishment", "slow", "seen_without_flower_share")

    def per_seed(name: str) -> Array:
        taxon = mix(name, slow=1)
        found = _mean(
            _plants_per_seed(b, b.ground(site, crop=0, bare=0.1, quality=b.full(0)), taxon, 2, site=site)
            for site in (1, 2, 3)
        )
        return np.where(found > 0, found / noticed, np.nan)

    return {"wallin_2009_succisa": per_seed("su"), "wallin_2009_hypochaeris": per_seed("hy")}


def rattle_trials(b: Bench, variant: int) -> Statistics:
    seeds, sites = 1000.0, range(1, 14)
    sowing = Sowing(1, {RATTLE_TAXON.key: seeds})
    losses, shares = [], []
    for site in sites:
        ground = b.ground(site, crop=300)
        works = (b.bared(0.4),) if site % 2 else ()
        with_rattle = b.run(ground, (RATTLE_TAXON,), (sowing,), site=site, works=works)
        without = b.run(ground, (), site=site, works=works)
        losses.append(1 - with_rattle.crop[KEPT, 1] / without.crop[KEPT, 1])
        shares.append(with_rattle.rattle[KEPT, 0] / seeds)
    thin = b.run(b.ground(crop=500, area=1e6), (RATTLE_TAXON,), (Sowing(1, {RATTLE_TAXON.key: 0.5}),), years=4).rattle[
        KEPT
    ]
    # the trial grew; where the hurdle stops rattle there is no rate of growth
    there = thin[0] > 0
    growth = np.full(b.draws, np.nan)
    growth[there] = np.sqrt(np.maximum(thin[3, there], 1e-12) / thin[1, there].clip(1e-12))
    return {
        "hellstrom_2011_host_loss": _mean(losses),
        "hellstrom_2011_rattle_share": _mean(shares),
        "mudrak_2014_growth_at_500": growth,
        "westbury_2006_rattle_held": _mean(
            b.run(
                b.ground(site, crop=600 + 50 * site),
                (RATTLE_TAXON,),
                (Sowing(1, {RATTLE_TAXON.key: seeds}),),
                site=site,
                works=(b.bared(0.4),),
                years=10,
            ).rattle_held[KEPT, 9]
            for site in (1, 2, 3)
        ),
    }


def winter_grazing(b: Bench, variant: int) -> Statistics:
    taxa = mix("wi", reliable=5)
    grazed, not_grazed = (
        _plants_per_seed(b, b.ground(crop=450), taxa, 2, regime=regime) for regime in ("hay_aftermath", "hay")
    )
    return {"silvertown_1992_winter_grazing": _ratio(grazed, not_grazed)}


#: each study with the number of variants over which an unknown of its summary is spread
STUDIES: Final[tuple[tuple[Callable[[Bench, int], Statistics], int], ...]] = (
    (little_wittenham, 1),
    (north_wyke_edgcott, 1),
    (six_grassland_sites, 3),
    (craibstone, 1),
    (stevenson_chalk, 3),
    (white_carpathians, 1),
    (oulu, 1),
    (wytham_margins, 2),
    (kiehl_review, 1),
    (german_strips, 3),
    (mesic_meta_analysis, 1),
    (emergence, 1),
    (slow_species, 1),
    (rattle_trials, 1),
    (winter_grazing, 1),
)


def statistics(parameters: ParameterSet, draws: int = DRAWS) -> Statistics:
    """Run every trial; each statistic has about `draws` draws."""
    out: Statistics = {}
    for study, variants in STUDIES:
        parts = [study(Bench(parameters, draws // variants, 1 + v), v) for v in range(variants)]
        out.update({key: np.concatenate([part[key] for part in parts]) for key in parts[0]})
    return out


def blurred(values: Array, published: Published) -> Array:
    """Draws with the doubt about the translation added, on the row's scale; those without a value left out."""
    kept = values[~np.isnan(values)]
    if published.scale == "none":
        return kept
    noise = published.tolerance * normals(1, f"trial/tolerance/{published.key}", kept.size)
    if published.scale == "sqrt":
        return np.asarray(np.maximum(np.sqrt(np.maximum(kept, 0)) + noise, 0) ** 2)
    if published.scale == "log":
        return np.asarray(kept * np.exp(noise))
    return expit(logit(np.clip(kept, 1e-6, 1 - 1e-6)) + noise)


def compare(parameters: ParameterSet, draws: int = DRAWS) -> tuple[Comparison, ...]:
    """Every published figure beside the model, in the order of the file."""
    found = statistics(parameters, draws)
    out = []
    for published in read_published():
        draws_of_it = found[published.key]
        low, middle, high = np.quantile(blurred(draws_of_it, published), (0.1, 0.5, 0.9))
        bare_low, bare_high = np.nanquantile(draws_of_it, (0.1, 0.9))
        bare = bool(bare_low <= published.value <= bare_high)
        out.append(Comparison(published, float(low), float(middle), float(high), bare))
    return tuple(out)


@dataclass(frozen=True, slots=True)
class Tally:
    """How many published values fall inside: by row, and as the mean over independent groups."""

    inside: int
    rows: int
    inside_bare: int
    group_mean: float
    above_middle: int
    groups: dict[str, tuple[int, int]]


def tally(comparisons: Iterable[Comparison]) -> Tally:
    """Count the calibration rows; rows that restate others are left out."""
    rows = [c for c in comparisons if c.published.kind == CALIBRATION]
    groups: dict[str, tuple[int, int]] = {}
    for c in rows:
        inside, total = groups.get(c.published.group, (0, 0))
        groups[c.published.group] = (inside + c.inside, total + 1)
    return Tally(
        inside=sum(c.inside for c in rows),
        rows=len(rows),
        inside_bare=sum(c.inside_bare for c in rows),
        group_mean=float(np.mean([inside / total for inside, total in groups.values()])),
        above_middle=sum(c.published.value > c.middle for c in rows),
        groups=groups,
    )


def _cited(published: Published) -> str:
    year = f" {published.year}" if published.year else ""
    return f"{published.author}{year}, {published.journal}"


def _short(published: Published) -> str:
    return published.key.replace("_", " ")


def _summary(comparisons: Iterable[Comparison]) -> str:
    found = tally(comparisons)
    return (
        f"{found.inside} of {found.rows} calibration values lie inside the 80 % interval "
        f"({found.inside_bare} without the allowance for doubts about the translation); the mean over "
        f"{len(found.groups)} independent groups is {100 * found.group_mean:.0f} %. "
        f"{found.above_middle} of {found.rows} lie above the model's middle."
    )


def text(comparisons: tuple[Comparison, ...]) -> str:
    """The table for a terminal."""
    width = max(len(c.published.key) for c in comparisons)
    lines = [f"{'':{width}}  published     10 %     50 %     90 %  inside"]
    for c in comparisons:
        mark = "" if c.published.kind == CALIBRATION else "  (check)"
        lines.append(
            f"{c.published.key:{width}}  {c.published.value:9.3g} {c.low:8.2g} {c.middle:8.2g} "
            f"{c.high:8.2g}  {'yes' if c.inside else 'NO'}{mark}"
        )
    return "\n".join([*lines, "", _summary(comparisons)])


def markdown(comparisons: tuple[Comparison, ...]) -> str:
    """The table for the model card: calibration rows, checks, groups."""
    lines = [_summary(comparisons), ""]
    for kind, title in ((CALIBRATION, "Calibration"), ("check", "Checks (they restate rows above or rest on words)")):
        lines += [
            f"**{title}**",
            "",
            "| trial | what | published | model 10–**50**–90 | inside |",
            "|---|---|---|---|---|",
        ]
        lines += [
            f"| {_short(c.published)} | {c.published.statistic} | {c.published.value:.3g} | "
            f"{c.low:.2g}–**{c.middle:.2g}**–{c.high:.2g} | {'yes' if c.inside else 'NO'} |"
            for c in comparisons
            if c.published.kind == kind
        ]
        lines.append("")
    lines += ["**By independent group**", "", "| group | inside | of | source |", "|---|---|---|---|"]
    sources: dict[str, list[str]] = {}
    for c in comparisons:
        cited = _cited(c.published)
        if cited not in sources.setdefault(c.published.group, []):
            sources[c.published.group].append(cited)
    lines += [
        f"| {group.replace('_', ' ')} | {inside} | {total} | {'; '.join(sources[group])} |"
        for group, (inside, total) in tally(comparisons).groups.items()
    ]
    return "\n".join(lines)


def behaviour(parameters: ParameterSet, draws: int = DRAWS) -> str:
    """Markdown: what the model says where no trial gives a size, on a site of 1,000 m2 with half the ground bared."""
    b = Bench(parameters, draws)
    taxa = mix("b", reliable=14, pioneer=1, legume=2, slow=2, grass=6)
    meadow = Sowing(1, {**{t.key: 30.0 for t in taxa}, RATTLE_TAXON.key: 60.0})

    def run(ground: Ground, regime: str = "hay", sowings: tuple[Sowing, ...] = (meadow,)) -> Establishment:
        works = (b.bared(0.5),) if sowings else ()
        return b.run(ground, (*taxa, RATTLE_TAXON), sowings, regime=regime, works=works, years=10)

    def line(label: str, result: Establishment) -> str:
        low, middle, high = np.quantile(result.species[KEPT, 4], (0.1, 0.5, 0.9))
        usual = np.median(result.species[USUAL, 4])
        nine, fifteen = ((result.species_1m2[KEPT, 4] >= n).mean() for n in (9, 15))
        held = [result.rattle_held[forecast, 9].mean() for forecast in (KEPT, USUAL)]
        return (
            f"| {label} | {low:.0f}–**{middle:.0f}**–{high:.0f} | {usual:.0f} | {nine:.2f} | {fifteen:.2f} | "
            f"{held[0]:.2f} | {held[1]:.2f} |"
        )

    lines = [
        "| 25 species at 30 and yellow rattle at 60 live seeds/m2 | species/m2 in year 5, kept, 10–**50**–90 "
        "| the same, as usual | chance of 9 | chance of 15 | rattle held in year 10, kept | as usual |",
        "|---|---|---|---|---|---|---|",
    ]
    lines += [line(f"crop {crop} g/m2", run(b.ground(crop=crop))) for crop in (250, 450, 600, 750)]
    lines += [line(f"P index {p}, crop as it follows", run(b.ground(p_index=p))) for p in (0, 1, 2, 3)]
    lines += [
        line("crop 450, cuttings left", run(b.ground(crop=450), "cut_left")),
        line("crop 450, cut before July", run(b.ground(crop=450), "early_cut")),
        line("crop 450, not cut", run(b.ground(crop=450), "uncut")),
        line("crop 450, nothing sown, mown well", run(b.ground(crop=450), "hay", ())),
        line("crop 450, nothing sown, not cut", run(b.ground(crop=450), "uncut", ())),
    ]
    return "\n".join(lines)
