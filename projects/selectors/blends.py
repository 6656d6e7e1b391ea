"""A blend of seed for a project, from what the network's store has free and what may be bought."""

from __future__ import annotations

from datetime import date
from typing import Any, Final

from django.db.models import F

from modelling.arrays import rounded
from modelling.blends import blend, read_blend, targets_of
from modelling.contracts.blends import MOST_LOTS, BlendWanted
from projects.choices import SeedState
from projects.models import MeadowProject, SeedLot
from projects.rules.access import Actor, demand, visible_in_network
from projects.rules.lots import MG_PER_KG
from projects.selectors.contents import contents_now
from projects.selectors.model_inputs import site_facts

PENCE: Final = 100
_FACTS: Final = ("sward", "wetness", "shade", "soil_p_index")


def free_lots(actor: Actor, network_id: int) -> list[SeedLot]:
    """Dry lots of a network that are not on hold and have something free, the largest first."""
    rows = SeedLot.objects.filter(visible_in_network(actor), network=network_id, state=SeedState.DRY)
    rows = rows.filter(held_at__isnull=True, balance_mg__gt=F("promised_mg")).select_related("harvest__donor")
    rows = rows.prefetch_related("counts", "germination_tests")
    return list(rows.order_by(F("promised_mg") - F("balance_mg"), "pk")[:MOST_LOTS])


def blend_for(actor: Actor, project: MeadowProject, wanted: BlendWanted, today: date) -> dict[str, Any]:
    """The best blend for a project's ground; nothing is promised by asking.

    Raises
    ------
    RequestRefused
        For mixes and kinds that are not known.
    """
    demand(actor, "seed_blend.read", group_id=project.group_id, network_id=project.network_id)
    lots = []
    for lot in free_lots(actor, project.network_id):
        contents = contents_now(lot, today).for_request()
        if contents:
            free = (lot.balance_mg - lot.promised_mg) / MG_PER_KG
            price = (lot.price_pence_per_kg or 0) / PENCE
            lots.append({"lot": str(lot.public_id), "kg": free, "gbp_per_kg": price, "contents": contents})
    question = _question(project, wanted, today) | {"lots": lots}
    answer: dict[str, Any] = rounded(blend(read_blend(question)))
    return answer


def targets_for(actor: Actor, project: MeadowProject, today: date) -> tuple[dict[str, float], list[str]]:
    """What the tables aim at for a project's ground, and what is to be said of it."""
    demand(actor, "seed_blend.read", group_id=project.group_id, network_id=project.network_id)
    return targets_of(read_blend(_question(project, BlendWanted(), today)))


def _question(project: MeadowProject, wanted: BlendWanted, today: date) -> dict[str, Any]:
    """What is wanted, for this ground."""
    facts = site_facts(project.site, today)
    return {
        **wanted.model_dump(mode="json", exclude_none=True),
        **{name: facts[name] for name in _FACTS if name in facts},
        "area_m2": facts.get("net_area_m2", facts["area_m2"]),
    }
