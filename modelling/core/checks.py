"""Questions to the asker: odd rates, bad timing, too little bare soil; and dates that cannot be."""

from __future__ import annotations

from calendar import month_name
from datetime import timedelta
from typing import Final

from modelling.core.brief import RATTLE_TAXON, Brief, after_christmas, bare_after, has_short_lived, season_of, sown_late
from modelling.core.care import cut_early, grazed_in_summer, too_late
from modelling.core.errors import InputError
from modelling.core.plan import Step, YearlyCare
from modelling.core.seed import contents, usual_rate
from modelling.core.units import G_PER_KG, kg_per_ha

#: asked only of land that was not sown or ploughed for years
SCREENING: Final = "field_screening"
CULTIVATED: Final = ("bare_or_arable", "improved_grass")
_RESIDENTS: Final = ("resident_broadleaf", "resident_grass")


def check_rates(brief: Brief, steps: tuple[Step, ...], net_m2: float, bare: bool) -> None:
    """Ask about rates far from the usual; a slip of units is the likeliest cause."""
    far = brief.value("advice", "rate_far_from_usual")
    number = 0
    for step in steps:
        for place, item in enumerate(step.seed or ()):
            rate = item.kg * G_PER_KG / (net_m2 * step.area_share)
            usual = usual_rate(brief.parameters, item, bare)
            pointer = f"/plan/seed/{number}/kg"
            if brief.plan.steps is not None:
                pointer = f"{_pointer(brief.plan.steps, step)}/seed/{place}/kg"
            number += 1
            low, high = usual.low or 0.0, usual.high or 0.0
            shown = (
                f"{rate:.3g} g/m² ({kg_per_ha(rate):.3g} kg/ha); usual is {low:g} to {high:g} g/m² "
                f"({kg_per_ha(low):g} to {kg_per_ha(high):g} kg/ha)"
            )
            if rate > usual.middle * far:
                text = f"Much more seed than usual: {shown}. Check grams against kilograms, and acres against hectares."
            elif rate < low / 2:
                text = f"Much less seed than usual: {shown}. Check grams against kilograms, and acres against hectares."
            else:
                continue
            brief.warn("seed_rate_unusual", pointer, text)


def check_steps(brief: Brief, steps: tuple[Step, ...]) -> None:
    """Refuse an impossible order of dates: ground prepared for seed only after the seed is down."""
    given = brief.plan.steps
    if given is None:
        return
    seasons = [season_of(s.on, brief.parameters) for s in given if s.seed or s.plugs]
    if not seasons:
        return
    for index, step in enumerate(given):
        if step.operation is None:
            continue
        row = brief.parameters.nouns["operations"][step.operation]
        opens = brief.parameters.find("operation_values", step.operation, "bare_share") is not None
        if not (row["stage"] == "preparation" and opens and row["disturbs_soil"] == "yes"):
            continue
        season = season_of(step.on, brief.parameters)
        later = [s for s in given if (s.seed or s.plugs) and s.on >= step.on and _same_ground(s, step)]
        earlier = [
            s
            for s in given
            if s.seed and s.on < step.on and season_of(s.on, brief.parameters) == season and _same_ground(s, step)
        ]
        earlier = [s for s in earlier if not any(_same_ground(s, again) for again in later)]
        if earlier:
            raise InputError(
                ("plan", "steps", index, "on"),
                "dates_out_of_order",
                f"{row['label']} on {step.on.isoformat()} comes after the seed sown on "
                f"{earlier[-1].on.isoformat()} and would destroy it; prepare the ground before sowing.",
                value=step.on.isoformat(),
                expected=f"a date on or before {earlier[-1].on.isoformat()}",
            )


def annuals_only(brief: Brief, steps: tuple[Step, ...]) -> bool:
    """Whether cornfield annuals are all that is sown, and nothing is planted."""
    nouns = brief.parameters.nouns
    items = [item for step in steps for item in step.seed or ()]
    kinds = {
        nouns["mixes"][item.mix]["kind"] == "annuals"
        if item.mix is not None
        else all(nouns["taxa"][taxon]["model_class"] == "annual" for taxon in contents(brief.parameters, item)[0])
        for item in items
    }
    return kinds == {True} and not any(step.plugs for step in steps)


def check_past(brief: Brief, steps: tuple[Step, ...]) -> None:
    """Ask about work before the day of the estimate: a slip of the year is the likeliest cause."""
    pointers = [
        ("/plan/sow_on" if brief.plan.steps is None else f"{_pointer(brief.plan.steps, step)}/on", step.on)
        for step in steps
        if (step.seed or step.plugs) and step.on < brief.as_of
    ]
    for pointer, on in sorted(set(pointers)):
        brief.warn(
            "before_the_estimate",
            pointer,
            f"{on.day} {on:%B %Y} was before the day of this estimate, {brief.as_of.day} {brief.as_of:%B %Y}. If it is "
            "still to come, check the year.",
        )


def check_residents(brief: Brief, sward: str) -> None:
    """Ask where the kinds counted there do not fit what is said to grow there."""
    told, said = brief.site.resident_species_per_m2, brief.site.sward
    if told is None or said is None:
        return
    rows = [brief.parameters.find("site_values", f"sward:{sward}", name) for name in _RESIDENTS]
    low = sum((row.low or 0.0) for row in rows if row is not None)
    high = sum((row.high or 0.0) for row in rows if row is not None)
    far = brief.value("advice", "residents_far_from_usual")
    if low / far <= told <= high * far:
        return
    brief.warn(
        "residents_do_not_fit",
        "/site/resident_species_per_m2",
        f"{brief.word('sward', sward)} usually holds about {low:.0f} to {high:.0f} kinds in a square metre, and "
        f"{told:g} are said. Look again at which of the two is right: it decides whether to sow at all.",
    )


def check_disturbed(brief: Brief, verdict: str, steps: tuple[Step, ...]) -> None:
    """Say what the figures leave out where old turf would be opened."""
    rows = [brief.parameters.nouns["operations"][step.operation] for step in steps if step.operation]
    if verdict == "not_here" and any(row["disturbs_soil"] == "yes" for row in rows):
        brief.warn(
            "old_turf_disturbed",
            "/plan/preparation" if brief.plan.steps is None else "/plan/steps",
            "Most of the kinds forecast grow there already. What opening old turf destroys (orchids, fungi, roots of "
            "many years) is not in the figures, so they are no reason to do it.",
        )


def check_permissions(brief: Brief, kind: str, sward: str, steps: tuple[Step, ...]) -> None:
    """Ask where the first work comes sooner than the permission for such a place usually does."""
    digs = [
        step.on
        for step in steps
        if step.operation and brief.parameters.nouns["operations"][step.operation]["disturbs_soil"] == "yes"
    ]
    first = min(digs, default=None)
    if first is None or first < brief.as_of:
        return
    for row in brief.parameters.nouns["permissions"].values():
        if row["site_kind"] != kind or (row["key"] == SCREENING and sward in CULTIVATED):
            continue
        lead = brief.parameters.find("planning", "permission_lead", row["key"])
        if lead is None or brief.as_of + timedelta(days=lead.low or lead.middle) <= first:
            continue
        usual = brief.as_of + timedelta(days=lead.middle)
        brief.warn(
            "permission_takes_longer",
            "/plan",
            f"{row['label']}: asked for on {brief.as_of.day} {brief.as_of:%B %Y}, it is likely to be there by about "
            f"{usual:%B %Y}, and soil would be opened on {first.day} {first:%B %Y}. Nothing is dug before it is there "
            "in writing: if it is late, sow the autumn after.",
        )


def check_ground(brief: Brief, sward: str, steps: tuple[Step, ...], care: YearlyCare, operations: list[str]) -> None:
    """Timing and ground faults that the asker should look at."""
    short_lived = has_short_lived(brief, steps)
    for step in steps:
        if not step.seed:
            continue
        pointer = "/plan/sow_on" if brief.plan.steps is None else f"{_pointer(brief.plan.steps, step)}/on"
        taxa = {taxon for item in step.seed for taxon in contents(brief.parameters, item)[0]}
        rattle = RATTLE_TAXON in taxa
        chilled = any(brief.parameters.nouns["taxa"][taxon]["chill_needed"] == "yes" for taxon in taxa)
        if rattle and after_christmas(step.on, brief.parameters):
            brief.warn(
                "rattle_sown_after_christmas",
                pointer,
                f"Sown on {step.on.day} {step.on:%B}: yellow rattle wants its months of cold, and this is late. Sow by "
                "Christmas.",
            )
        if chilled and sown_late(step.on, brief.parameters):
            text = f"Sown on {step.on.day} {step.on:%B}: seed that needs winter chill waits until next year, with loss."
            if rattle:
                text = (
                    f"Sown on {step.on.day} {step.on:%B}: yellow rattle fails without a winter in the ground, and "
                    "other seed that needs chill waits a year. Sow by Christmas."
                )
            brief.warn("sown_late", pointer, text)
    if annuals_only(brief, steps):
        brief.warn(
            "annuals_only",
            "/plan/seed" if brief.plan.steps is None else "/plan/steps",
            "Only cornfield annuals are sown: colour in one summer, gone by the third unless the soil is dug or "
            "ploughed every year. A meadow is made of perennials.",
        )
    if any(step.seed for step in steps):
        bare = bare_after(brief.parameters, operations)
        if bare < brief.value("advice", "little_bare_share") and sward != "bare_or_arable":
            brief.warn(
                "little_bare_soil",
                "/plan/preparation",
                f"Only about {100 * bare:.0f} % of the ground will be bare when the seed falls; a third to a half is "
                "usual.",
            )
    check_cuts(brief, care, short_lived)
    if care.arisings == "left" and care.cuts:
        brief.warn(
            "arisings_left",
            "/plan/aftercare/arisings",
            "Cuttings left lying smother seedlings and feed the grass; rake them off.",
        )
    if care.grazing.by != "none":
        for what, known in (
            ("fence", care.grazing.fence),
            ("water", care.grazing.water),
            ("a grazier", care.grazing.grazier),
        ):
            if known is False:
                brief.warn(
                    "grazing_not_ready",
                    "/plan/aftercare/aftermath_grazing",
                    f"Grazing is planned but there is no {what.removeprefix('a ')}.",
                )


def check_cuts(brief: Brief, care: YearlyCare, short_lived: bool) -> None:
    """Cuts and grazing at a time that harms."""
    spring = brief.value("cut", "spring_to_month")
    early = any(cut_early(brief, cut) for cut in care.cuts)
    if early and short_lived and not care.refuge_share:
        brief.warn(
            "cut_before_seed_shed",
            "/plan/aftercare",
            "The yearly cut comes before yellow rattle has shed its seed (mid July); it dwindles or dies out unless a "
            "strip is left uncut.",
        )
    if care.cuts and care.cuts[-1][0] <= spring and care.regime == "winter_topped":
        brief.warn(
            "cut_only_in_spring",
            "/plan/aftercare",
            "The only cut is in winter or spring, so the meadow stands uncut all summer and nothing is taken off: "
            "grass gains. Cut it in July, August or September too.",
        )
    if care.cuts and not early and all(too_late(brief, cut) for cut in care.cuts if cut[0] > spring):
        late = [cut for cut in care.cuts if cut[0] > spring]
        if late:
            brief.warn(
                "cut_late",
                "/plan/aftercare",
                f"A cut on {late[0][1]} {month_name[late[0][0]]} comes late: what was to be taken off has gone back "
                "to the roots, and the ground is often too wet to carry it off. August or September is better.",
            )
    grazing = care.grazing
    if care.cuts and grazed_in_summer(brief, care.cuts, grazing):
        brief.warn(
            "grazed_while_growing",
            "/plan/aftercare/aftermath_grazing",
            f"{brief.word('grazing', grazing.by)} would be there from {month_name[grazing.from_month]} to "
            f"{month_name[grazing.to_month]}, while the meadow should grow up to its cut: they take the flowers and "
            "the seed. Let them in after the cut, and out before April.",
        )


def _pointer(given: tuple[Step, ...], step: Step) -> str:
    """Pointer to a step where it stands in the request; the plan worked out is in order of dates."""
    return f"/plan/steps/{next(index for index, other in enumerate(given) if other is step)}"


def _same_ground(one: Step, other: Step) -> bool:
    """Whether two steps touch the same ground; strips without a name are the same if they are of one size."""
    if any(step.zone is None and step.area_share == 1 for step in (one, other)):
        return True
    return one.zone == other.zone and (one.zone is not None or one.area_share == other.area_share)
