"""Fill in what a plan leaves open: preparation and its scale, seed, dates, yearly care.

Every choice is recorded as an assumption, so that the answer says what was planned by the service.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Final

from modelling.core.brief import RATTLE_TAXON, SMOTHERING, STRIPPING, Brief, bare_after, season_of, sown_late
from modelling.core.care import SHEARS, yearly_care
from modelling.core.checks import (
    check_disturbed,
    check_ground,
    check_past,
    check_permissions,
    check_rates,
    check_residents,
    check_steps,
)
from modelling.core.parameters import ParameterSet
from modelling.core.place import crew_of, kind_of, likely_p_index, note_unknowns, sward_of, verdict_on
from modelling.core.plan import FullPlan, Plan, SeedItem, Site, Step
from modelling.core.scale import CUT_FIRST, OPEN_UP, fits_operation, scale_of, tiny
from modelling.core.seed import contents, kg_for, packs_of, usual_rate

SOWN_WITH: Final = {"hand": "sow_hand", "tractor": "sow_tractor_broadcast"}
ROLLED_WITH: Final = {"hand": "roll_or_tread_hand", "tractor": "roll_tractor"}
LOOK: Final = "look_and_list"
SURVEY: Final = "summer_walk"
PLANT: Final = "plant_plugs_hand"
INTO_SWARD: Final = {
    "shade": "woodland_edge_flowers",
    "wet": "wet_ground_flowers",
    "damp": "damp_flowers_with_rattle",
    "lime": "chalk_flowers_with_rattle",
    "rank": "robust_flowers",
    "usual": "neutral_flowers_with_rattle",
}
ON_BARE: Final = {
    "shade": "woodland_edge",
    "wet": "damp_meadow",
    "damp": "damp_meadow",
    "lime": "chalk_and_limestone",
    "acid": "acid_meadow",
    "usual": "neutral_meadow",
}
#: without yellow rattle, which fails without a winter in the ground: (into a sward, on bare ground)
IN_SPRING: Final = (
    {"usual": "robust_flowers", "damp": "wet_ground_flowers", "lime": "chalk_and_limestone"},
    {"damp": "clay_meadow", "wet": "wet_ground_flowers"},
)


def ground_class(brief: Brief, sward: str) -> str:
    site = brief.site
    if site.shade == "shade":
        return "shade"
    if site.wetness in {"wet", "damp"}:
        return site.wetness
    if site.soil_ph is not None and site.soil_ph >= brief.value("soil", "lime_rich_from"):
        return "lime"
    if site.soil_ph is not None and site.soil_ph < brief.value("soil", "acid_below"):
        return "acid"
    return "rank" if sward == "rank_grass" else "usual"


def seed_for(
    brief: Brief, sward: str, on_bare: bool, net_m2: float, p_index: float, sow_on: date
) -> tuple[SeedItem, ...]:
    """The service's own choice of seed for the whole net area."""
    table = ON_BARE if on_bare else INTO_SWARD
    late = sown_late(sow_on, brief.parameters)
    if late:
        table = table | IN_SPRING[on_bare]
    mix = table.get(ground_class(brief, sward), table["usual"])
    item = SeedItem(mix=mix, kg=1.0)
    rate = usual_rate(brief.parameters, item, on_bare)
    items = [SeedItem(mix=mix, kg=kg_for(rate.middle, net_m2))]
    label = brief.parameters.nouns["mixes"][mix]["label"]
    words = f"{label}, {rate.middle:g} g/m² (usual {rate.low:g} to {rate.high:g})"
    shares, inert = contents(brief.parameters, item)
    grassy = not on_bare and sward not in {"bare_or_arable", "flower_rich"}
    if late:
        words += "; no yellow rattle, which fails when it is sown in spring: add it in autumn"
    elif grassy and p_index < brief.value("advice", "high_p_index"):
        in_mix = rate.middle * shares.get(RATTLE_TAXON, 0.0) * (1 - inert)
        missing = brief.value("rattle", "top_up") - in_mix
        smallest = min(pack.size for pack in packs_of(brief.parameters, "seed_rattle"))
        if kg_for(missing, net_m2) > smallest / 2:
            items.append(SeedItem(taxon=RATTLE_TAXON, kg=kg_for(missing, net_m2)))
            words += f", and {missing:.2g} g/m² of yellow rattle to weaken the grass"
    brief.assume("plan.seed", "Seed", words, rate.confidence)
    return tuple(items)


def sowing_day(brief: Brief, smother: bool) -> date:
    """The next sensible autumn day to sow."""
    if brief.plan.sow_on is not None:
        return brief.plan.sow_on
    month, day = int(brief.value("window", "autumn_sow_month")), int(brief.value("window", "autumn_sow_day"))
    lead = brief.value("window", "smother_before_sowing" if smother else "lead_time")
    ready = brief.as_of + timedelta(days=lead)
    usual = date(brief.as_of.year, month, day)
    last = date(brief.as_of.year, int(brief.value("window", "autumn_to_month")), 1)
    if ready <= usual:
        chosen = usual
    elif ready <= last:
        chosen = ready
    else:
        chosen = date(brief.as_of.year + 1, month, day)
    brief.assume("plan.sow_on", "Sowing day", f"{chosen.day} {chosen:%B %Y}, in the usual autumn window")
    return chosen


def preparation_of(brief: Brief, sward: str, scale: str) -> tuple[str, ...]:
    if brief.plan.preparation is not None:
        return brief.plan.preparation
    if sward == "bare_or_arable":
        keys: tuple[str, ...] = (OPEN_UP["tractor" if scale == "tractor" else "hand"],)
    elif sward == "short_turf":
        keys = (OPEN_UP[scale],)
    else:
        cut = SHEARS["prepare"] if tiny(brief) else CUT_FIRST[scale]
        keys = (cut, OPEN_UP[scale])
    words = ", then ".join(brief.parameters.nouns["operations"][key]["label"].lower() for key in keys)
    brief.assume("plan.preparation", "Preparation", words)
    return keys


def days_before(brief: Brief, operation: str) -> int:
    """Days before sowing on which a preparation is done."""
    row = brief.parameters.nouns["operations"][operation]
    name = "open_before_sowing"
    if operation == SMOTHERING:
        name = "smother_before_sowing"
    elif operation in STRIPPING:
        name = "strip_before_sowing"
    elif row["cuts_sward"] == "yes":
        name = "cut_before_sowing"
    return int(brief.value("window", name))


def steps_of(brief: Brief, sward: str, scale: str, net_m2: float, p_index: float, verdict: str) -> tuple[Step, ...]:
    """All dated steps, given ones first."""
    if brief.plan.steps is not None:
        return with_sowing_work(brief, brief.plan.steps, scale, net_m2)
    seed, plugs = brief.plan.seed, brief.plan.plugs
    asked = seed is not None or plugs is not None or brief.plan.preparation is not None
    if not asked and verdict == "not_here":
        brief.assume("plan.seed", "Seed", "none: what is there already comes first")
        return ()
    if seed == () and not plugs and not brief.plan.preparation:
        return ()
    keys = preparation_of(brief, sward, scale) if seed != () or brief.plan.preparation else ()
    sow_on = sowing_day(brief, SMOTHERING in keys)
    bare = sward == "bare_or_arable" or bare_after(brief.parameters, list(keys)) > 1 - brief.value(
        "advice", "little_bare_share"
    )
    if seed is None:
        seed = seed_for(brief, sward, bare, net_m2, p_index, sow_on)
    given = brief.plan.preparation is not None
    out = [Step(sow_on - timedelta(days=days_before(brief, key)), operation=key, given=given) for key in keys]
    if seed:
        out.append(Step(sow_on, seed=seed, given=brief.plan.seed is not None))
    if plugs:
        out.append(Step(sow_on, plugs=plugs))
    return with_sowing_work(brief, tuple(out), scale, net_m2)


def with_sowing_work(brief: Brief, steps: tuple[Step, ...], scale: str, net_m2: float) -> tuple[Step, ...]:
    """Add the work of sowing, treading in and planting where the steps do not name it."""
    named = {step.operation for step in steps if step.operation}
    out = list(steps)
    by_tractor = scale == "tractor" and net_m2 >= brief.value("scale", "tractor_sowing_from")
    how = "tractor" if by_tractor and not fits_operation(brief, SOWN_WITH["tractor"]) else "hand"
    planted = set()
    for step in steps:
        common = {"on": step.on, "area_share": step.area_share, "zone": step.zone, "given": False}
        if step.seed and not named & {*SOWN_WITH.values()}:
            out.append(Step(operation=SOWN_WITH[how], **common))  # type: ignore[arg-type]
            if not named & {*ROLLED_WITH.values()}:
                out.append(Step(operation=ROLLED_WITH[how], **common))  # type: ignore[arg-type]
        if step.plugs and PLANT not in named and (step.on, step.zone, step.area_share) not in planted:
            planted.add((step.on, step.zone, step.area_share))
            out.append(Step(operation=PLANT, **common))  # type: ignore[arg-type]
    return tuple(sorted(out, key=lambda s: s.on))


def work_out(parameters: ParameterSet, site: Site, plan: Plan, as_of: date) -> FullPlan:
    """Fill in everything that `plan` leaves open for `site`, as of a day."""
    brief = Brief(parameters, site, plan, as_of)
    kind = kind_of(brief)
    sward = sward_of(brief, kind)
    p_index = likely_p_index(brief, sward)
    note_unknowns(brief)
    verdict = verdict_on(brief, sward, p_index)
    volunteers, hours = crew_of(brief, kind)
    scale, why = scale_of(brief, site.net_m2, volunteers, hours)
    steps = steps_of(brief, sward, scale, site.net_m2, p_index, verdict)
    check_steps(brief, steps)
    care = yearly_care(brief, kind, scale, steps)
    operations = [step.operation for step in steps if step.operation]
    bare = sward == "bare_or_arable" or bare_after(parameters, operations) > 1 - brief.value(
        "advice", "little_bare_share"
    )
    check_rates(brief, steps, site.net_m2, bare)
    check_ground(brief, sward, steps, care, operations)
    check_past(brief, steps)
    check_residents(brief, sward)
    check_disturbed(brief, verdict, steps)
    check_permissions(brief, kind, sward, steps)
    sowings = [step for step in steps if step.seed or step.plugs]
    first = min((season_of(step.on, parameters) for step in sowings), default=season_of(as_of, parameters))
    need = []
    for step in steps:
        for item in step.seed or ():
            rate = usual_rate(parameters, item, bare)
            low, middle, high = (
                kg_for(x, site.net_m2 * step.area_share) for x in (rate.low or 0.0, rate.middle, rate.high or 0.0)
            )
            need.append((item.key, low, middle, high))
    return FullPlan(
        kind=kind,
        sward=sward,
        last_use=site.last_use,
        net_m2=site.net_m2,
        steps=steps,
        care=care,
        volunteers=volunteers,
        hours_per_session=hours,
        kit_to_hand=plan.kit_to_hand,
        budget_gbp=plan.budget_gbp,
        first_summer=first,
        scale=scale,
        scale_reason=why,
        verdict=verdict,
        reasons=tuple(brief.reasons),
        seed_need=tuple(need),
        assumptions=tuple(brief.assumptions),
        warnings=tuple(brief.warnings),
    )
