"""Rows into the model's own words: the only place that knows both."""

from __future__ import annotations

import copy
from datetime import date
from typing import Any, Final
from uuid import UUID

import orjson

from modelling import services
from modelling.contracts import EstimateRequest
from modelling.errors import FieldError, RequestRefused
from projects.models import MeadowProject, PlanVersion, SeedLot, Site
from projects.selectors.contents import contents_now
from projects.selectors.places import nearest_flower_rich

DM2_PER_M2: Final = 100
CM_PER_M: Final = 100


def site_facts(site: Site, today: date) -> dict[str, Any]:
    """What is known of a site, as `modelling.contracts.Site` reads it; what is not known is left out.

    The soil is that of the latest test for each measure. A distance to flower-rich land that nobody stated is that of
    the nearest the network knows of.
    """
    facts: dict[str, Any] = {
        "area_m2": site.area_dm2 / DM2_PER_M2,
        "net_area_m2": None if site.net_area_dm2 is None else site.net_area_dm2 / DM2_PER_M2,
        "kind": site.kind,
        "wetness": site.wetness,
        "shade": site.shade,
        "sward": site.sward,
        "last_use": site.last_use,
        "resident_species_per_m2": site.resident_species_per_m2,
        "standing_crop_g_per_m2": site.standing_crop_g_per_m2,
        "existing_interest": site.existing_interest or None,
        "gate_width_m": None if site.gate_width_cm is None else site.gate_width_cm / CM_PER_M,
        "slope_degrees": site.slope_degrees,
        "distance_to_flower_rich_m": _distance_m(site, today),
        **soil(site),
    }
    return {name: value for name, value in facts.items() if value is not None and value != ""}


def soil(site: Site) -> dict[str, Any]:
    """The latest pH, and the latest phosphorus, in mg/l rather than as an index where one test gave both."""
    found: dict[str, Any] = {}
    for test in sorted(site.soil_tests.all(), key=lambda test: (test.taken_on, test.pk), reverse=True):
        if "soil_ph" not in found and test.soil_ph is not None:
            found["soil_ph"] = test.soil_ph
        if "olsen_p_mg_per_l" not in found and "soil_p_index" not in found:
            if test.olsen_p_mg_per_l is not None:
                found["olsen_p_mg_per_l"] = test.olsen_p_mg_per_l
            elif test.soil_p_index is not None:
                found["soil_p_index"] = test.soil_p_index
    return found


def _distance_m(site: Site, today: date) -> float | None:
    if site.distance_to_flower_rich_m is not None:
        return float(site.distance_to_flower_rich_m)
    nearest = nearest_flower_rich(site, today)
    return None if nearest is None else float(nearest.distance_m)


def with_contents(network_id: int, plan: dict[str, Any], today: date) -> dict[str, Any]:
    """A plan as JSON, each lot of the network's seed that it names with what is in it, as far as is known on a day.

    Raises
    ------
    RequestRefused
        For a lot that there is not, or of which nothing is known.
    """
    faults = []
    filled = copy.deepcopy(plan)
    places: list[tuple[str, Any]] = [("/plan/seed", filled.get("seed"))]
    places += [(f"/plan/steps/{n}/seed", step.get("seed")) for n, step in enumerate(filled.get("steps") or ())]
    for at, items in places:
        for position, item in enumerate(items or ()):
            if item.get("lot") is None or item.get("contents") is not None:
                continue
            lot = _lot(network_id, item["lot"])
            found = [] if lot is None else contents_now(lot, today).for_request()
            if found:
                item["contents"] = found
                continue
            text = "There is no lot of seed of this id in the network."
            if lot is not None:
                text = f"Nothing is known of what is in {lot.name}: count it, or say what the supplier declares."
            faults.append(FieldError(f"{at}/{position}/lot", "unknown_lot", text, item["lot"], "the id of a known lot"))
    if faults:
        raise RequestRefused(faults)
    return filled


def _lot(network_id: int, public_id: str) -> SeedLot | None:
    try:
        key = UUID(public_id)
    except ValueError:
        return None
    return SeedLot.objects.filter(network=network_id, public_id=key).select_related("harvest__donor").first()


def request_of(project: MeadowProject, plan: PlanVersion, today: date) -> EstimateRequest:
    """The request of a project's forecast: its own random seed, its network's world, as of today.

    Raises
    ------
    RequestRefused
        If the plan and what is known of the site do not fit together.
    """
    return services.read_estimate(
        {
            "site": site_facts(project.site, today),
            "plan": with_contents(project.network_id, orjson.loads(plan.plan), today),
            "random_seed": services.random_seed_of(project.public_id),
            "world_seed": project.network.world_seed,
            "as_of": today.isoformat(),
        }
    )
