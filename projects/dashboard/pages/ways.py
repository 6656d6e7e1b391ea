"""Other ways to do it: the plans that the estimate page sets beside the one asked for."""

from collections.abc import Iterable, Mapping
from typing import Any

from projects.dashboard.pages.estimate import Answer

PLUG_SPECIES = 4
PLUGS_PER_M2 = 0.5
MOST_PLUGS_M2 = 1000.0  # On more ground, so many plugs are not what groups plant.
MUCH_RATTLE_G_PER_M2 = 1.0
RATTLE = "rhinanthus_minor"


def other_ways(asked: Mapping[str, Any], answer: Answer, mixes: Iterable[str]) -> dict[str, Any]:
    """Return the comparison to ask for: the plan as it is, and the changes that groups argue about.

    Changing the mowing only and waiting a year are added by the service.

    Parameters
    ----------
    asked
        The estimate request, as the API would be sent it.
    answer
        Its answer: what the service planned where the request left it open.
    mixes
        Keys of the mixes; any other seed is of one plant.
    """
    plan = dict(asked.get("plan", {}))
    area_m2 = answer["plan"]["net_area_m2"]
    known = set(mixes)
    seed = [
        {"mix" if line["key"] in known else "taxon": line["key"], "kg": line["kg"]} for line in answer["seed"]["items"]
    ]
    options = [{"name": "As planned", "plan": plan}]
    done = {step["operation"] or "" for step in answer["plan"]["steps"]}
    if not any(operation.startswith("strip_turf") for operation in done):
        options.append({"name": "Strip the turf first", "plan": {**plan, "preparation": [_stripping(area_m2)]}})
    if seed:
        without = [item for item in seed if item.get("taxon") != RATTLE]
        more = {"taxon": RATTLE, "kg": area_m2 * MUCH_RATTLE_G_PER_M2 / 1000}
        options.append({"name": "More yellow rattle, 1 g/m²", "plan": {**plan, "seed": [*without, more]}})
        if without and without != seed:
            options.append({"name": "No yellow rattle added", "plan": {**plan, "seed": without}})
        plugs = _plugs(answer, area_m2)
        if plugs and not plan.get("plugs"):
            count = sum(plug["count"] for plug in plugs)
            options.append(
                {"name": f"Add {count:,} plugs of slow species", "plan": {**plan, "seed": seed, "plugs": plugs}}
            )
    same = {name: asked[name] for name in ("horizon_years", "random_seed", "world_seed", "as_of") if name in asked}
    return {"site": asked["site"], "options": options, **same}


def _stripping(area_m2: float) -> str:
    """Return how turf comes off an area of this size without wearing people out."""
    if area_m2 < 60:
        return "strip_turf_hand"
    return "strip_turf_machine" if area_m2 < 1500 else "strip_turf_excavator"


def _plugs(answer: Answer, area_m2: float) -> list[dict[str, Any]]:
    """Return plugs of the sown species least likely to be seen from seed in the last year."""
    sown = {taxon["taxon"] for taxon in answer["seed"]["taxa"] if taxon["live_seeds_per_m2"]}
    slow = sorted(
        (taxon for taxon in answer["taxa"] if taxon["taxon"] in sown and taxon["taxon"] != RATTLE),
        key=lambda taxon: (taxon["chance_seen_per_m2"][-1], taxon["taxon"]),
    )[:PLUG_SPECIES]
    if area_m2 > MOST_PLUGS_M2:
        return []
    count = int(area_m2 * PLUGS_PER_M2 // max(len(slow), 1))
    return [{"taxon": taxon["taxon"], "count": count} for taxon in slow] if count else []
