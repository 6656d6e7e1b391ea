"""The place: its kind and sward where not given, and whether to sow there at all."""

from __future__ import annotations

from modelling.core.brief import INTEREST, MEMORY, STRIPPING, Brief, p_index_of


def kind_of(brief: Brief) -> str:
    if brief.site.kind is not None:
        return brief.site.kind
    area = brief.site.area_m2
    kind = "green"
    if area < brief.value("kind", "garden_below"):
        kind = "garden"
    elif area >= brief.value("kind", "field_from"):
        kind = "field"
    brief.assume("site.kind", "Kind of place", f"{brief.word('kind', kind)}, judged by the size alone", MEMORY)
    return kind


def sward_of(brief: Brief, kind: str) -> str:
    if brief.site.sward is not None:
        return brief.site.sward
    sward = brief.parameters.nouns["site_kinds"][kind]["default_sward"]
    count, interest = brief.site.resident_species_per_m2, brief.site.existing_interest or ()
    if (count is not None and count >= brief.value("advice", "rich_turf_species")) or "rich_turf" in interest:
        sward = "flower_rich"
    elif tested_index(brief) >= brief.value("advice", "high_p_index") and sward == "species_poor":
        sward = "improved_grass"
    elif brief.site.last_use in {"arable", "garden_bed"}:
        sward = "bare_or_arable"
    elif brief.site.last_use == "mown_lawn":
        sward = "short_turf"
    brief.assume("site.sward", "What grows there now", brief.word("sward", sward))
    return sward


def tested_index(brief: Brief) -> int:
    """P index of a soil test; below 0 where there is none."""
    if brief.site.soil_p_index is not None:
        return brief.site.soil_p_index
    olsen = brief.site.olsen_p_mg_per_l
    return -1 if olsen is None else p_index_of(brief.parameters, olsen)


def likely_p_index(brief: Brief, sward: str) -> float:
    """Most likely P index, for advice and choice of mix only; the forecast draws it."""
    if brief.site.soil_p_index is not None:
        return float(brief.site.soil_p_index)
    olsen = brief.site.olsen_p_mg_per_l
    if olsen is None:
        subject = f"last_use:{brief.site.last_use}" if brief.site.last_use else f"sward:{sward}"
        row = brief.parameters.number("site_values", subject, "olsen_p")
        olsen = row.middle
        brief.assume(
            "site.olsen_p_mg_per_l",
            "Soil phosphorus (Olsen P)",
            f"not tested: taken as {row.low:.0f} to {row.high:.0f} mg/l, most likely about {olsen:.0f}",
            row.confidence,
        )
    return float(p_index_of(brief.parameters, olsen))


def note_unknowns(brief: Brief) -> None:
    """Say what was drawn from a prior."""
    site = brief.site
    for given, where, label, words in (
        (site.soil_ph, "site.soil_ph", "Soil pH", "not known: from rather sour to limy, most likely slightly sour"),
        (site.wetness, "site.wetness", "Wetness", "not known: mostly neither dry nor wet"),
        (site.shade, "site.shade", "Shade", "not known: mostly open"),
        (
            site.distance_to_flower_rich_m,
            "site.distance_to_flower_rich_m",
            "Distance to flower-rich land",
            "not known: some 200 m to 4 km",
        ),
        (
            site.standing_crop_g_per_m2,
            "site.standing_crop_g_per_m2",
            "Standing crop in June",
            "not measured: drawn from the soil phosphorus",
        ),
        (
            site.resident_species_per_m2,
            "site.resident_species_per_m2",
            "Species there now",
            "not counted: drawn from the kind of grass",
        ),
    ):
        if given is None:
            brief.assume(where, label, words, MEMORY)


def strips(brief: Brief) -> bool:
    """Whether the plan as asked takes off turf or topsoil."""
    asked = [*(brief.plan.preparation or ()), *(step.operation for step in brief.plan.steps or ())]
    return any(key in STRIPPING for key in asked)


def verdict_on(brief: Brief, sward: str, p_index: float) -> str:
    """Whether to sow at all."""
    interest = brief.site.existing_interest or ()
    count = brief.site.resident_species_per_m2
    rich = brief.value("advice", "rich_turf_species")
    if sward == "flower_rich" or any(x in INTEREST for x in interest) or (count is not None and count >= rich):
        if "orchids" in interest:
            brief.reasons.append("Orchids are there already; sowing and scarifying can do them harm.")
        if "waxcaps" in interest:
            brief.reasons.append("Waxcap fungi mark old, undisturbed grass; leave the turf whole.")
        if sward == "flower_rich" or "rich_turf" in interest or (count is not None and count >= rich):
            brief.reasons.append(
                f"With {rich:.0f} or more kinds in a square metre the ground is already rich: change the cutting first."
            )
        return "not_here"
    crop = brief.site.standing_crop_g_per_m2
    rich_soil = tested_index(brief) >= brief.value("advice", "high_p_index")
    if rich_soil and strips(brief):
        brief.reasons.append(
            f"The soil is rich in phosphorus (index {p_index:.0f}). Stripping takes the richest of it off: test what "
            "is left before you buy seed."
        )
    elif rich_soil:
        brief.reasons.append(
            f"The soil is rich in phosphorus (index {p_index:.0f}); strong grass will crowd most seedlings out."
        )
        brief.reasons.append(
            "Taking hay lowers phosphorus only over decades; stripping the turf and topsoil works at once, at a price."
        )
        return "lower_fertility_first"
    if crop is not None and crop > brief.value("advice", "high_crop") and not strips(brief):
        brief.reasons.append(f"A standing crop of {crop:.0f} g/m² in June is too strong for most meadow flowers.")
        return "lower_fertility_first"
    unseen = brief.site.existing_interest is None and sward != "bare_or_arable"
    if unseen or "not_looked" in interest:
        brief.reasons.append(
            "Nobody has said what is there already: walk the ground in May and June before disturbing it."
        )
        return "look_first"
    return "sow"


def crew_of(brief: Brief, kind: str) -> tuple[int, float]:
    crew = brief.plan.crew
    volunteers, hours = crew.volunteers, crew.hours_per_session
    if volunteers is None:
        volunteers = int(brief.parameters.value("site_values", f"kind:{kind}", "volunteers"))
        brief.assume("plan.crew.volunteers", "Crew", f"{volunteers} people asked, some of whom will not come")
    if hours is None:
        hours = brief.parameters.value("site_values", f"kind:{kind}", "hours_per_session")
        brief.assume("plan.crew.hours_per_session", "Length of a session", f"{hours:g} hours")
    return volunteers, hours
