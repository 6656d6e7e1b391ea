"""By hand, with walk-behind machines, or by tractor: what the gate, the slope and the size allow."""

from __future__ import annotations

from typing import Final

from modelling.core.brief import Brief

CUT_FIRST: Final = {
    "hand": "prepare_cut_scythe",
    "pedestrian": "prepare_cut_strimmer",
    "tractor": "prepare_cut_tractor",
}
OPEN_UP: Final = {"hand": "scarify_rake", "pedestrian": "scarify_machine", "tractor": "harrow_tractor"}


def fits(brief: Brief, machine: str) -> str:
    """Empty where the machine can work on the site, else why not."""
    gate = brief.parameters.find("machine_values", machine, "gate_width")
    width = brief.site.gate_width_m
    if gate is not None and width is not None and width < gate.middle:
        return f"the gate of {width:g} m is too narrow (about {gate.middle:g} m needed)"
    slope = brief.parameters.find("machine_values", machine, "slope_limit")
    steep = brief.site.slope_degrees
    if slope is not None and steep is not None and steep > slope.middle:
        return f"the slope of {steep:g} degrees is too steep (general limit {slope.middle:g})"
    return ""


def fits_operation(brief: Brief, operation: str) -> str:
    machine = brief.parameters.nouns["operations"][operation]["machine"]
    return fits(brief, machine) if machine else ""


def hand_sessions(brief: Brief, net_m2: float, volunteers: int, hours: float) -> float:
    """Sessions of the crew to cut and open the ground by hand, most likely rates."""
    work = 0.0
    for key in (CUT_FIRST["hand"], OPEN_UP["hand"]):
        work += net_m2 / brief.parameters.value("operation_values", key, "work_rate")
    share = brief.parameters.value("rates", "volunteers", "working_share")
    came = brief.parameters.value("rates", "volunteers", "attendance_share")
    return work / share / (max(volunteers * came, 1) * hours)


def scale_of(brief: Brief, net_m2: float, volunteers: int, hours: float) -> tuple[str, str]:
    """Hand, pedestrian or tractor: the cheapest that the gate, the slope and the size allow, with the reason."""
    no_tractor = fits(brief, "tractor_harrow") or fits(brief, "tractor_cut_collect")
    if not no_tractor and net_m2 < brief.value("scale", "tractor_from"):
        no_tractor = f"{net_m2:g} m² is too small to bring a tractor for"
    no_walk_behind = fits(brief, "pedestrian_scarifier")
    has_kit = "pedestrian_scarifier" in brief.plan.kit_to_hand
    by_hand = hand_sessions(brief, net_m2, volunteers, hours)
    most = brief.value("scale", "most_hand_sessions")
    if not no_tractor:
        return "tractor", "a tractor fits the gate, the slope and the size, and is cheapest for this area"
    if no_walk_behind:
        return "hand", f"by hand: no tractor, since {no_tractor}; no walk-behind machine, since {no_walk_behind}"
    if has_kit:
        return "pedestrian", f"a walk-behind scarifier is to hand; no tractor, since {no_tractor}"
    if by_hand <= 1:
        return "hand", f"the crew can do it by hand in one session; no tractor, since {no_tractor}"
    if by_hand > most:
        return "pedestrian", f"by hand it would take about {by_hand:.0f} sessions; no tractor, since {no_tractor}"
    saved = f"{by_hand:.0f} {'session' if round(by_hand) == 1 else 'sessions'}"
    return "pedestrian", f"a day's hire saves about {saved} by hand; no tractor, since {no_tractor}"


def tiny(brief: Brief) -> bool:
    """Whether the patch is small enough for shears."""
    return brief.site.net_m2 < brief.value("scale", "shears_below") and not brief.plan.kit_to_hand
