"""From a site and a full plan to what the establishment kernel needs: site draws, zones and yearly care."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

import numpy as np

from modelling.core.brief import STRIPPING, season_of, sown_late
from modelling.core.distributions import Array, interpolate
from modelling.core.errors import InputError
from modelling.core.establishment import Care, Ground, Planting, Preparation, Sowing, Taxon, Zone, site_quality
from modelling.core.parameters import ParameterSet
from modelling.core.plan import FullPlan, Site, Step
from modelling.core.sampling import draw, uniforms
from modelling.core.seed import live_by_taxon
from modelling.core.units import DAYS_PER_YEAR, MONTHS_PER_YEAR, day_in

#: strips or zones that one plan may have
MOST_ZONES: Final = 6
#: draws over which a sowing's live seeds are averaged, whatever the run's own: a shorter run is a longer one's start
MEAN_DRAWS: Final = 4000
#: shares written with three figures may add up to so much more than the whole
ROUNDED_SHARES: Final = 0.005
DAYS_PER_MONTH: Final = DAYS_PER_YEAR / MONTHS_PER_YEAR
#: operations that let seed reach the soil of a tall sward even if it has not been cut first
OPENING: Final = (
    *STRIPPING, "smother_sheet", "rotavate_pedestrian", "rotavate_tractor", "power_harrow_tractor",
    "spray_off_contractor",
)  # fmt: skip
COVERED: Final = "smother_sheet"


def p_index_draws(parameters: ParameterSet, site: Site, sward: str, random_seed: int, n: int) -> Array:
    """Continuous Olsen P index of the site: straight lines between the middles of the bands. Shape (draws,)."""
    if site.soil_p_index is not None:
        return np.maximum(site.soil_p_index - 1 / 2 + uniforms(random_seed, "site/p_index", n), 0)
    if site.olsen_p_mg_per_l is not None:
        spread = draw(parameters.number("establishment", "site", "olsen_test_spread"), random_seed, n)
        olsen = site.olsen_p_mg_per_l * spread
    else:
        subject = f"last_use:{site.last_use}" if site.last_use else f"sward:{sward}"
        olsen = draw(parameters.number("site_values", subject, "olsen_p"), random_seed, n, "unknown")
    middles: list[float] = []
    while True:
        band = parameters.find("soil_bands", "olsen_p", f"index_{len(middles)}")
        if band is None:
            break
        middles.append(band.middle)
    return interpolate(olsen, middles, [float(i) for i in range(len(middles))])


def ground_of(
    parameters: ParameterSet, site: Site, plan: FullPlan, random_seed: int, world_seed: int, n: int
) -> Ground:
    """Site draws of shape (draws,); what is not known comes from a prior."""

    def value(subject: str, quantity: str) -> float:
        return parameters.value("establishment", subject, quantity)

    def drawn(table: str, subject: str, quantity: str, seed: int = random_seed) -> Array:
        return draw(parameters.number(table, subject, quantity), seed, n)

    sward = f"sward:{plan.sward}"
    p_index = p_index_draws(parameters, site, plan.sward, random_seed, n)
    if site.standing_crop_g_per_m2 is not None:
        crop = site.standing_crop_g_per_m2 * drawn("establishment", "ground", "crop_measured_spread")
    else:
        line = value("ground", "crop_at_index_0") + value("ground", "crop_per_index") * p_index
        ratio = parameters.value("site_values", sward, "crop_ratio")
        crop = line * ratio * drawn("establishment", "ground", "crop_spread")
    if site.wetness is not None:
        wetness = drawn("site_values", f"wetness:{site.wetness}", "ellenberg_f")
    else:
        wetness = drawn("establishment", "site", "wetness_unknown")
    if site.shade is not None:
        light = drawn("site_values", f"shade:{site.shade}", "ellenberg_l")
    else:
        light = drawn("establishment", "site", "light_unknown")
    if site.soil_ph is not None:
        reaction = np.full(n, value("site", "reaction_intercept") + value("site", "reaction_slope") * site.soil_ph)
    else:
        reaction = drawn("establishment", "site", "reaction_unknown")
    broadleaf = drawn("site_values", sward, "resident_broadleaf")
    grass = drawn("site_values", sward, "resident_grass")
    if site.resident_species_per_m2 is not None:
        counted = site.resident_species_per_m2 * drawn("establishment", "residents", "counted_spread")
        share = broadleaf / (broadleaf + grass)
        broadleaf, grass = counted * share, counted * (1 - share)
    if site.distance_to_flower_rich_m is not None:
        distance = np.full(n, site.distance_to_flower_rich_m)
    else:
        distance = drawn("establishment", "arrival", "distance_unknown")
    return Ground(
        area_m2=plan.net_m2,
        tall=parameters.value("site_values", sward, "tall") > 0,
        on_arable=parameters.value("site_values", sward, "on_arable") > 0,
        crop_g_per_m2=crop,
        p_index=p_index,
        wetness_f=wetness,
        reaction_r=reaction,
        light_l=light,
        quality=site_quality(parameters, random_seed, n) + drawn("establishment", "site", "group_site_shift"),
        residents_broadleaf=broadleaf,
        residents_grass=grass,
        bare_share=drawn("site_values", sward, "bare_share"),
        distance_m=distance,
    )


@dataclass(frozen=True, slots=True)
class Patch:
    """A share of the net area and the steps that happen on it, by date."""

    area_share: float
    steps: tuple[Step, ...]


def patches(parameters: ParameterSet, plan: FullPlan) -> tuple[Patch, ...]:
    """Split the net area by the steps' shares.

    Steps on the whole area happen everywhere. Steps with a zone name happen on that zone. Steps on a share without
    a name are a strip; strips of different seasons are different ground, one after the other.

    Raises
    ------
    InputError
        If the strips and zones together are more than the whole, or too many.
    """
    whole = [step for step in plan.steps if step.area_share == 1 and step.zone is None]
    groups: dict[tuple[str, float, int], list[Step]] = {}
    for step in plan.steps:
        if step.area_share == 1 and step.zone is None:
            continue
        key = (
            (step.zone, 0.0, 0)
            if step.zone is not None
            else ("", step.area_share, _season(parameters, step, plan.steps))
        )
        groups.setdefault(key, []).append(step)
    if len(groups) > MOST_ZONES:
        raise InputError(
            ("plan", "steps"),
            "too_many_zones",
            f"the steps make {len(groups)} strips or zones; at most {MOST_ZONES} can be followed.",
            value=len(groups),
            expected=f"at most {MOST_ZONES}; give steps on the same ground the same zone name",
        )
    shares = {key: max(step.area_share for step in steps) for key, steps in groups.items()}
    covered = sum(shares.values())
    if covered > 1 + ROUNDED_SHARES:
        raise InputError(
            ("plan", "steps"),
            "area_shares_exceed_whole",
            f"the strips and zones add up to {covered:.4g} of the area, more than the whole.",
            value=covered,
            expected="shares that add up to 1 or less; give steps on the same ground the same zone name",
        )
    # six times 0.166667 is the whole
    shares = {key: share / max(covered, 1) for key, share in shares.items()}
    out = [Patch(shares[key], tuple(sorted([*whole, *steps], key=lambda s: s.on))) for key, steps in groups.items()]
    rest = 1 - covered
    if rest > np.finfo(np.float32).eps:
        out.append(Patch(rest, tuple(whole)))
    return tuple(out)


def _season(parameters: ParameterSet, step: Step, steps: Iterable[Step]) -> int:
    """Season of the sowing or planting that a strip's step belongs to."""
    following = [s for s in steps if (s.seed or s.plugs) and s.on >= step.on and s.area_share == step.area_share]
    return season_of(min((s.on for s in following), default=step.on), parameters)


def closing_months(parameters: ParameterSet, start: date, end: date) -> float:
    """Growing months between two days, in which prepared ground closes again."""
    first = int(parameters.value("planning", "window", "growing_from_month"))
    last = int(parameters.value("planning", "window", "growing_to_month"))
    growing = sum(first <= date.fromordinal(day).month <= last for day in range(start.toordinal(), end.toordinal()))
    return growing / DAYS_PER_MONTH


class Zoner:
    """Turns patches into zones of the kernel."""

    def __init__(
        self, parameters: ParameterSet, plan: FullPlan, ground: Ground, random_seed: int, world_seed: int
    ) -> None:
        self.parameters, self.plan, self.ground = parameters, plan, ground
        self.random_seed, self.world_seed = random_seed, world_seed
        self.n = ground.p_index.size
        self.live: dict[str, Array] = {}
        self.plugs: dict[str, int] = {}

    def year(self, on: date) -> int:
        """Year of the forecast in which something done on a day first shows."""
        return max(season_of(on, self.parameters) - self.plan.first_summer + 1, 1)

    def drawn(self, operation: str, quantity: str, default: float) -> Array:
        found = self.parameters.find("operation_values", operation, quantity)
        return np.full(self.n, default) if found is None else draw(found, self.random_seed, self.n)

    def preparation(self, steps: list[Step], until: date | None) -> Preparation | None:
        """Several operations as one, decayed to the day of sowing `until`."""
        if not steps:
            return None
        closed, standing, kept = np.ones(self.n), np.ones(self.n), np.ones(self.n)
        closing = draw(
            self.parameters.number("establishment", "ground", "bare_closing_per_month"), self.world_seed, self.n
        )
        opened = not self.ground.tall
        for step in steps:
            operation = step.operation or ""
            row = self.parameters.nouns["operations"][operation]
            bare = self.drawn(operation, "bare_share", 0.0)
            opened = opened or row["cuts_sward"] == "yes" or operation in OPENING
            if not opened:
                bare = bare * self.parameters.value("establishment", "ground", "scarifying_in_tall_sward_ratio")
            if until is not None and operation != COVERED:
                bare = bare * (1 - closing) ** closing_months(self.parameters, step.on, until)
            closed *= 1 - bare
            standing *= 1 - self.drawn(operation, "crop_lowered_share", 0.0)
            kept *= self.drawn(operation, "residents_kept_share", 1.0)
        year = self.year(until if until is not None else steps[-1].on)
        return Preparation(year, 1 - closed, 1 - standing, kept, opens_tall_sward=opened)

    def bare_at_start(self) -> list[Preparation]:
        """Former crop or bare soil: few residents at first, the rest come by themselves over some years."""
        if not self.ground.on_arable:
            return []
        row = self.parameters.number("site_values", f"sward:{self.plan.sward}", "residents_at_start_share")
        none = np.zeros(self.n)
        return [Preparation(1, none, none, draw(row, self.random_seed, self.n), opens_tall_sward=True)]

    def zone(self, patch: Patch) -> Zone:
        """One patch as a zone."""
        waiting: list[Step] = []
        preparations = self.bare_at_start()
        sowings: list[Sowing] = []
        plantings: list[Planting] = []
        many = self.parameters.value("planning", "cut", "many_first_year_cuts")
        for step in patch.steps:
            if step.operation is not None:
                if self.parameters.nouns["operations"][step.operation]["stage"] == "preparation":
                    waiting.append(step)
                continue
            ready = self.preparation(waiting, step.on)
            if ready is not None:
                preparations.append(ready)
            waiting = []
            year, new = self.year(step.on), self.first(step)
            area = self.plan.net_m2 * step.area_share
            if step.seed:
                live = live_by_taxon(self.parameters, step.seed, area, self.world_seed, max(self.n, MEAN_DRAWS))
                for taxon, seeds in live.items():
                    drawn = seeds[: self.n] * step.area_share * new
                    self.live[taxon] = self.live.get(taxon, np.zeros(self.n)) + drawn
                means = {taxon: float(seeds[:MEAN_DRAWS].mean()) for taxon, seeds in live.items()}
                mown = self.plan.care.first_year_cuts >= many
                sowings.append(Sowing(year, means, sown_late(step.on, self.parameters), mown))
            for plug in step.plugs or ():
                plantings.append(Planting(year, {plug.taxon: plug.count / area}))
                self.plugs[plug.taxon] = self.plugs.get(plug.taxon, 0) + round(plug.count * new)
        last = self.preparation(waiting, None)
        if last is not None:
            preparations.append(last)
        return Zone(patch.area_share, tuple(preparations), tuple(sowings), tuple(plantings))

    def first(self, step: Step) -> float:
        """1 the first time a step is met (a step on the whole area is met once for each zone), else 0."""
        seen = id(step) in self._met
        self._met.add(id(step))
        return 0.0 if seen else 1.0

    def zones(self) -> tuple[Zone, ...]:
        """All zones of the plan."""
        self._met: set[int] = set()
        return tuple(self.zone(patch) for patch in patches(self.parameters, self.plan))


def care_of(plan: FullPlan) -> Care:
    """Yearly care for the kernel."""
    care = plan.care
    return Care(care.regime, care.first_year_cuts, care.refuge_share, care.arisings == "left" and bool(care.cuts))


def taxon_of(parameters: ParameterSet, key: str) -> Taxon:
    """A taxon as the kernel needs it."""
    words = parameters.nouns["taxa"][key]

    def step(letter: str) -> float | None:
        found = parameters.find("taxon_values", key, f"ellenberg_{letter}")
        return None if found is None else found.middle

    flower = parameters.find("taxon_values", key, "first_flower_year")
    reaction = parameters.find("taxon_values", key, "ellenberg_r")
    # a remembered step is one out either way; what is wider than that is the plant's own breadth
    extra = 0.0
    if reaction is not None and reaction.low is not None and reaction.high is not None:
        extra = max((reaction.high - reaction.low) / 2 - 1, 0.0)
    return Taxon(
        key=key,
        model_class=words["model_class"],
        chill_needed=words["chill_needed"] == "yes",
        first_flower_year=2 if flower is None else round(flower.middle),
        ellenberg_f=step("f"),
        ellenberg_r=step("r"),
        ellenberg_l=step("l"),
        ellenberg_n=step("n"),
        extra_reaction_width=extra,
    )


def taxa_of(parameters: ParameterSet, zones: Iterable[Zone]) -> tuple[Taxon, ...]:
    """Every taxon sown or planted, in the order of the reference table."""
    keys: set[str] = set()
    for zone in zones:
        for sowing in zone.sowings:
            keys |= sowing.live_seeds_per_m2.keys()
        for planting in zone.plantings:
            keys |= planting.plugs_per_m2.keys()
    return tuple(taxon_of(parameters, key) for key in parameters.nouns["taxa"] if key in keys)


def shifted(step: Step, years: int) -> Step:
    """A step some years later."""
    return replace(step, on=day_in(step.on.year + years, step.on.month, step.on.day))
