"""Yearly care: cuts, grazing and where the cuttings go, filled in where left open."""

from __future__ import annotations

from calendar import month_name
from typing import Final

from modelling.core.brief import Brief, has_short_lived
from modelling.core.plan import Grazing, Step, YearlyCare
from modelling.core.scale import fits_operation, tiny
from modelling.core.units import MONTHS_PER_YEAR

SHEARS: Final = {"prepare": "prepare_cut_shears", "first": "first_year_cut_shears", "yearly": "yearly_cut_shears"}
YEARLY_CUT: Final = {
    "hand": "yearly_cut_scythe",
    "pedestrian": "yearly_cut_strimmer",
    "tractor": "yearly_cut_tractor_bale",
}
FIRST_YEAR_CUT: Final = {
    "hand": "first_year_cut_scythe",
    "pedestrian": "first_year_cut_strimmer",
    "tractor": "first_year_cut_tractor",
}


def yearly_care(brief: Brief, kind: str, scale: str, steps: tuple[Step, ...]) -> YearlyCare:
    """Yearly care, complete, with what was taken where it was left open."""
    asked = brief.plan.aftercare
    default = brief.parameters.nouns["site_kinds"][kind]
    grazing = asked.aftermath_grazing or Grazing()
    cuts = cuts_of(brief, kind, grazing)
    arisings = asked.arisings or default["default_arisings"]
    if asked.arisings is None and cuts:
        brief.assume("plan.aftercare.arisings", "Cuttings", brief.word("arisings", arisings).lower())
    disposal = asked.disposal or default["default_disposal"]
    if asked.disposal is None and arisings == "removed" and cuts:
        brief.assume("plan.aftercare.disposal", "Where the cuttings go", brief.word("disposal", disposal).lower())
    first = asked.first_year_cuts
    short_lived = has_short_lived(brief, steps)
    many = brief.value("cut", "many_first_year_cuts")
    if first is None:
        sown = any(step.seed for step in steps)
        name = "first_year_cuts_with_rattle" if short_lived else "first_year_cuts_without_rattle"
        first = int(brief.value("cut", name)) if sown and cuts else min(len(cuts), 1)
        if sown:
            why = (
                "after yellow rattle and annuals have shed seed" if short_lived else "whenever the growth is knee high"
            )
            brief.assume("plan.aftercare.first_year_cuts", "Cuts in the first year", f"{first}, {why}")
    elif first >= many and short_lived:
        brief.warn(
            "first_year_mowing_takes_rattle",
            "/plan/aftercare/first_year_cuts",
            f"{first} cuts in the first year start in April and take yellow rattle and annuals before they shed "
            "seed; 2 or fewer come after.",
        )
    shut = shut_up(brief, cuts)
    by = scale if scale == "tractor" else "pedestrian"
    if by == "pedestrian" and fits_operation(brief, YEARLY_CUT["pedestrian"]):
        by = "hand"
    return YearlyCare(
        first_year_cuts=first,
        cuts=cuts,
        shut_up=shut,
        arisings=arisings,
        disposal=disposal,
        grazing=grazing,
        refuge_share=asked.refuge_share,
        regime=regime_of(brief, cuts, grazing),
        cut_operation=(SHEARS["yearly"] if tiny(brief) else YEARLY_CUT[by]) if cuts else None,
        first_year_operation=(SHEARS["first"] if tiny(brief) else FIRST_YEAR_CUT[by]) if first else None,
    )


def grazed_months(grazing: Grazing) -> set[int]:
    """Months in which stock are there; they may stay over New Year."""
    if grazing.by == "none":
        return set()
    months = grazing.to_month - grazing.from_month
    return {(grazing.from_month - 1 + i) % MONTHS_PER_YEAR + 1 for i in range(months % MONTHS_PER_YEAR + 1)}


def growing_months(brief: Brief, cuts: tuple[tuple[int, int], ...]) -> range:
    """Months from spring in which the meadow grows up: to its last cut, or through high summer without one."""
    spring, july = int(brief.value("cut", "spring_to_month")), int(brief.value("cut", "early_before_month"))
    shut = brief.plan.aftercare.shut_up_on
    start = spring if shut is None else max(shut.month, spring)
    cut_in = [month for month, _ in cuts if month > spring]
    return range(start, max(cut_in) if cut_in else july + 1)


def grazed_in_summer(brief: Brief, cuts: tuple[tuple[int, int], ...], grazing: Grazing) -> bool:
    """Whether stock are there while the meadow grows up, and take flower and seed with the grass."""
    return bool(grazed_months(grazing) & {*growing_months(brief, cuts)})


def cut_early(brief: Brief, cut: tuple[int, int]) -> bool:
    """Whether a cut comes between spring and the day by which yellow rattle has shed its seed."""
    july, day = int(brief.value("cut", "early_before_month")), int(brief.value("cut", "shed_by_day"))
    return brief.value("cut", "spring_to_month") < cut[0] and cut < (july, day)


def shut_up(brief: Brief, cuts: tuple[tuple[int, int], ...]) -> tuple[int, int] | None:
    """Day from which the meadow is left to grow up to its cut; none where no cut follows."""
    month, day = int(brief.value("cut", "shut_up_month")), int(brief.value("cut", "shut_up_day"))
    shut = (month, day)
    in_spring = [cut for cut in cuts if cut[0] <= brief.value("cut", "spring_to_month")]
    if in_spring:
        # the spring cut is the last before the meadow grows up
        shut = max(in_spring[-1], shut)
    asked = brief.plan.aftercare.shut_up_on
    if asked is not None:
        shut = (asked.month, asked.day)
    if any(cut > shut for cut in cuts):
        return shut
    if asked is not None and cuts:
        brief.warn(
            "shut_up_after_cut",
            "/plan/aftercare/shut_up_on",
            f"The meadow is to be shut up from {asked.day} {asked:%B}, and no cut comes after that day in the year.",
        )
    return None


def cuts_of(brief: Brief, kind: str, grazing: Grazing) -> tuple[tuple[int, int], ...]:
    """Month and day of each yearly cut, in order."""
    asked = brief.plan.aftercare
    day = int(brief.value("cut", "default_day"))
    if asked.cut_on is not None:
        return tuple(sorted((on.month, on.day) for on in asked.cut_on))
    if asked.cut_month is not None:
        return tuple(sorted((month, day) for month in asked.cut_month))
    if grazed_in_summer(brief, (), grazing):
        stock = brief.word("grazing", grazing.by).lower()
        brief.assume("plan.aftercare.cut_month", "Yearly cut", f"none: the {stock} take the growth in summer")
        return ()
    month = int(brief.parameters.value("site_values", f"kind:{kind}", "cut_month"))
    brief.assume("plan.aftercare.cut_month", "Yearly cut", f"one cut a year, about {day} {month_name[month]}")
    return ((month, day),)


def regime_of(brief: Brief, cuts: tuple[tuple[int, int], ...], grazing: Grazing) -> str:
    """The management class of the reference tables nearest to the plan, by its dates."""
    if grazed_in_summer(brief, cuts, grazing):
        return "summer_sheep" if grazing.by == "sheep" else "summer_cattle"
    spring, july = int(brief.value("cut", "spring_to_month")), int(brief.value("cut", "early_before_month"))
    autumn = int(brief.value("cut", "late_autumn_month"))
    in_spring = [cut for cut in cuts if cut[0] <= spring]
    in_summer = [cut for cut in cuts if cut_early(brief, cut)]
    after = [cut for cut in cuts if cut not in in_spring and cut not in in_summer]
    if in_spring and in_summer:
        return "spring_summer"
    if in_summer:
        if in_summer[0][0] < july:
            return "summer" if after else "early_cut"
        return "early_july"
    if not after:
        return "winter_topped" if in_spring or grazing.by != "none" else "uncut"
    if in_spring and not too_late(brief, after[0]):
        return "spring_autumn"
    if after[0][0] >= autumn:
        return "late_autumn"
    if grazing.by == "none":
        return "hay"
    return "hay_aftermath" if grazing.by == "sheep" else "hay_aftermath_cattle"


def too_late(brief: Brief, cut: tuple[int, int]) -> bool:
    """Whether the ground is often too wet by then to take the cuttings off."""
    return cut > (int(brief.value("cut", "too_late_month")), int(brief.value("cut", "too_late_day")))
