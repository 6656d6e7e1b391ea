"""Yearly care: cuts, grazing and where the cuttings go, filled in where left open."""

from __future__ import annotations

from calendar import month_name
from typing import Final

from modelling.core.brief import Brief, has_short_lived
from modelling.core.plan import Grazing, Step, YearlyCare
from modelling.core.scale import fits_operation, tiny

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
    month, day = int(brief.value("cut", "shut_up_month")), int(brief.value("cut", "shut_up_day"))
    shut = (month, day) if cuts else None
    in_spring = [cut for cut in cuts if cut[0] <= brief.value("cut", "spring_to_month")]
    if in_spring and len(in_spring) < len(cuts):
        # the spring cut is the last before the meadow grows up
        shut = max(in_spring[-1], (month, day))
    if asked.shut_up_on is not None:
        shut = (asked.shut_up_on.month, asked.shut_up_on.day)
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
        regime=regime_of(brief, cuts, arisings, grazing),
        cut_operation=(SHEARS["yearly"] if tiny(brief) else YEARLY_CUT[by]) if cuts else None,
        first_year_operation=(SHEARS["first"] if tiny(brief) else FIRST_YEAR_CUT[by]) if first else None,
    )


def cuts_of(brief: Brief, kind: str, grazing: Grazing) -> tuple[tuple[int, int], ...]:
    """Month and day of each yearly cut, in order."""
    asked = brief.plan.aftercare
    day = int(brief.value("cut", "default_day"))
    if asked.cut_on is not None:
        return tuple(sorted((on.month, on.day) for on in asked.cut_on))
    if asked.cut_month is not None:
        return tuple(sorted((month, day) for month in asked.cut_month))
    if grazing.by != "none" and grazing.from_month < brief.value("cut", "early_before_month"):
        return ()
    month = int(brief.parameters.value("site_values", f"kind:{kind}", "cut_month"))
    brief.assume("plan.aftercare.cut_month", "Yearly cut", f"one cut a year, about {day} {month_name[month]}")
    return ((month, day),)


def regime_of(brief: Brief, cuts: tuple[tuple[int, int], ...], arisings: str, grazing: Grazing) -> str:
    """The management class of the reference tables nearest to the plan."""
    if not cuts:
        if grazing.by == "none":
            return "uncut"
        return "summer_sheep" if grazing.by == "sheep" else "summer_cattle"
    if arisings == "left":
        return "cut_left"
    early = (int(brief.value("cut", "early_before_month")), 1)
    shed = (early[0], int(brief.value("cut", "shed_by_day")))
    spring = (int(brief.value("cut", "spring_to_month")) + 1, 1)
    in_spring = [cut for cut in cuts if cut < spring]
    in_summer = [cut for cut in cuts if spring <= cut < shed]
    late = [cut for cut in cuts if cut >= shed]
    if in_spring and in_summer:
        return "spring_summer"
    if in_spring and late:
        return "spring_autumn"
    if in_summer:
        if in_summer[0] < early:
            return "summer" if late else "early_cut"
        return "early_july"
    return "hay_aftermath" if grazing.by != "none" else "hay"
