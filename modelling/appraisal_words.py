"""A bid in plain sentences: what it asks, whether that fits the work, what it will bring, and what to ask about it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from modelling import wording
from modelling.core.units import M2_PER_HA


def sentences(answer: Mapping[str, Any]) -> list[str]:
    """Three or four sentences from an appraisal without its sentences."""
    out = [_asks(answer), _brings(answer)]
    moved = [project for project in answer["projects"] if project["moved_to"] is not None]
    if moved:
        first = min(project["moved_to"] for project in moved)
        out.append(f"As planned it would start before there is money: here it starts on {wording.day(first)}.")
    out.append(_things(answer))
    return out


def _things(answer: Mapping[str, Any]) -> str:
    flags = len(answer["flags"])
    asked = sum(flag["can_answer"] for flag in answer["flags"])
    if not flags:
        return "Nothing in it needs asking about."
    if flags == 1:
        return f"One thing to look at{'; the group can answer it' if asked else ''}."
    who = "all of which" if asked == flags else f"{wording.count(asked)} of which"
    return f"{wording.count(flags).capitalize()} things to look at, {who} the group can answer."


def _asks(answer: Mapping[str, Any]) -> str:
    cost, value = answer["cost"], answer["value"]
    area = wording.area(value["area_ha"] * M2_PER_HA)
    asked = f"£{cost['grant_gbp']:,.2f} is asked for {area} of meadow"
    cash = cost["cash"]
    modelled = cash["modelled_gross"]
    if not modelled["p90_gbp"]:
        return f"{asked}, for work that costs no cash."
    below = cash["share_below_gross"]
    fits = f"within that, dearer than {wording.percent(below)} of the draws"
    if cash["claimed_gross_gbp"] < modelled["p10_gbp"]:
        fits = "below that"
    elif cash["claimed_gross_gbp"] > modelled["p90_gbp"]:
        fits = "above that"
    claimed = f"£{cash['claimed_gross_gbp']:,.2f}"
    return (
        f"{asked}. The same work costs {wording.pounds(modelled['p10_gbp'], modelled['p90_gbp'])} in cash with VAT by "
        f"the model; the {claimed} claimed for it is {fits}."
    )


def _brings(answer: Mapping[str, Any]) -> str:
    outcome, projects = answer["outcome"], answer["projects"]
    usual = outcome["rich_ha_as_usual"]["mean"]
    kept = outcome["rich_ha_if_kept"]["mean"]
    if len(projects) == 1:
        (project,) = projects
        species = project["species_per_m2_as_usual"]
        return (
            f"In its {wording.ordinal(project['headline_year'])} summer it should hold "
            f"{wording.between(species['p10'], species['p90'])} species per m² as groups usually manage, with "
            f"{wording.chance(project['chance_species_rich_as_usual'])} of {outcome['species_rich_from']:g}; "
            f"{wording.chance(project['chance_species_rich_if_kept'])} if the yearly care is kept."
        )
    return (
        f"Of {wording.area(answer['value']['area_ha'] * M2_PER_HA)} in {wording.count(len(projects))} projects, "
        f"{wording.area(usual * M2_PER_HA)} can be expected to hold {outcome['species_rich_from']:g} species per m² as "
        f"groups usually manage, and {wording.area(kept * M2_PER_HA)} if the yearly care is kept."
    )


def seen(on: date, summer: int, species: Mapping[str, float] | None) -> str:
    """What can be seen by one report."""
    when = wording.day(on)
    if summer < 1:
        return f"By {when} there is work to show, and no summer yet."
    if species is None:
        return f"By {when} it is past the summers that were forecast."
    held = wording.between(species["p10"], species["p90"])
    early = " Perennials flower from the second summer." if summer == 1 else ""
    return f"By {when}, after {wording.count(summer)} summer{'' if summer == 1 else 's'}: {held} species per m².{early}"


def promised_chance(what: str, kept: float | None, usual: float | None) -> str:
    """A promise and its chances."""
    if kept is None or usual is None:
        return f"{what}: the model cannot tell."
    return f"{what}: {wording.chance(usual)} as groups usually manage, {wording.chance(kept)} if the care is kept."
