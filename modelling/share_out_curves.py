"""What a project gains from seed: the model's own forecast at a few rates, worked out before any seed is shared.

Each rate is an estimate of the same plan in the same worlds, sown with so much of a brush-harvested mixture and nothing
else; the gain is the species-rich ground to be expected in the headline summer, with aftercare as it usually goes,
beyond what a trace of seed would bring. Between the rates the sharing draws straight lines, and over points that are
not concave the least concave line.
"""

from __future__ import annotations

from datetime import date
from typing import Any, Final

from modelling import arrays, contracts
from modelling.appraisal_parts import species_rich
from modelling.contracts.requests import LEAST_KG
from modelling.core.appraisal import rich_ha
from modelling.core.establishment import USUAL
from modelling.core.estimate import estimate
from modelling.core.units import G_PER_KG, M2_PER_HA
from modelling.errors import refusing
from modelling.selectors import parameters
from modelling.share_out_parts import MG_PER_KG

#: mixture that the rates are sown with: seed of ordinary worth
MIX: Final = "brush_harvested_neutral"
#: grams in a square metre
RATES: Final = (0.5, 1.0, 2.0, 3.0, 4.0)
#: of which less is not worth sowing, and more is not taken
LEAST_RATE: Final = 0.5
MOST_RATE: Final = 4.0
DRAWS: Final = 500


def gain_points(request: contracts.EstimateRequest, *, today: date) -> list[dict[str, Any]]:
    """Points of what a project gains: milligrams of seed and m2 of species-rich ground, rising.

    Raises
    ------
    RequestRefused
        If the plan cannot be carried out as it stands.
    """
    trace = _rich_m2(request, LEAST_KG, today)
    out = []
    for rate in RATES:
        kg = rate * area_m2(request) / G_PER_KG
        gain = max(_rich_m2(request, max(kg, LEAST_KG), today) - trace, 0.0)
        out.append({"mg": max(round(kg * MG_PER_KG), 1), "gain_m2": round(gain, 3)})
    # a patch so small that two rates are the same milligram has one point of the two
    return list({point["mg"]: point for point in out}.values())


def area_m2(request: contracts.EstimateRequest) -> float:
    """Ground that is to be sown, m2."""
    return request.site.net_area_m2 or request.site.area_m2


def _rich_m2(request: contracts.EstimateRequest, kg: float, today: date) -> float:
    """Species-rich ground to be expected with so much seed, m2."""
    known = parameters()
    question = arrays.question_of(request, _sown(request.plan, kg), DRAWS, request.as_of or today)
    with refusing():
        found = estimate(known, question, detailed=False)
    species = found.outcome.species_1m2[USUAL, found.headline_index]
    return float(rich_ha(species, found.plan.net_m2, species_rich(known).middle).mean()) * M2_PER_HA


def _sown(plan: contracts.Plan, kg: float) -> contracts.Plan:
    """A plan with its seed replaced; of sowings on the same ground the first has it."""
    if plan.steps is None:
        return plan.model_copy(update={"seed": (contracts.SeedItem(mix=MIX, kg=kg),)})
    steps, zones = [], set()
    for step in plan.steps:
        if step.seed is None:
            steps.append(step)
        elif step.zone is None or step.zone not in zones:
            zones.add(step.zone)
            share = max(kg * step.area_share, LEAST_KG)
            steps.append(step.model_copy(update={"seed": (contracts.SeedItem(mix=MIX, kg=share),)}))
    return plan.model_copy(update={"steps": tuple(steps)})
