"""Harvests: what was taken on a day, held against what was agreed and what the meadow can spare; each makes a lot."""

from __future__ import annotations

from datetime import datetime
from typing import Final
from uuid import UUID, uuid4

from django.db import transaction
from django.db.models import Q

from modelling.errors import FieldError
from projects.choices import LotOrigin, SeedState
from projects.contracts.donors import DM2_PER_M2, HarvestNew
from projects.contracts.lots import milligrams
from projects.errors import RuleBroken, broken
from projects.models import DonorMeadow, Group, Harvest, SeedLot
from projects.rules.access import Actor, demand, group_in, may, visible_donors
from projects.rules.harvests import Taken, cautions
from projects.selectors.donors import agreed_of, running, taken_of
from projects.services import ledger
from projects.services.audit import record
from projects.services.base import found, save_new
from projects.services.lots import made

MINUTES_PER_HOUR: Final = 60


def harvest_add(*, actor: Actor, donor_id: UUID, asked: HarvestNew, now: datetime) -> tuple[Harvest, bool]:
    """Note a harvest and make its lot of fresh seed; with the same submission id again, give the one there is.

    Returns
    -------
    tuple
        The harvest, and whether it is new.

    Raises
    ------
    RuleBroken
        For each thing that speaks against it, unless a coordinator says why it was done all the same.
    """
    with transaction.atomic():
        donor = found(DonorMeadow, visible_donors(actor), donor_id, "donor meadow", hold=True)
        group = None
        if asked.group_id is not None:
            group = found(Group, Q(network=donor.network_id, closed_at__isnull=True), asked.group_id, "group")
        own = group.pk if group is not None else group_in(actor, donor.network_id)
        demand(actor, "harvest.add", group_id=own, network_id=donor.network_id)
        if asked.submission_id is not None:
            there = donor.harvests.filter(submission_id=asked.submission_id).first()
            if there is not None:
                return there, False
        deed = ledger.deed(actor, now, asked.on)
        area = round(asked.area_m2 * DM2_PER_M2)
        if area > donor.area_dm2:
            whole = donor.area_dm2 / DM2_PER_M2
            raise broken(
                "/area_m2", "out_of_range", f"The meadow has {whole:g} m².", asked.area_m2, f"at most {whole:g}"
            )
        said = _spoken_against(actor, donor, asked, area)
        harvest = save_new(
            Harvest(
                network_id=donor.network_id,
                donor=donor,
                agreement=running(donor, asked.on),
                group=group,
                submission_id=asked.submission_id or uuid4(),
                on=asked.on,
                method=asked.method,
                area_dm2=area,
                person_minutes=round(asked.person_hours * MINUTES_PER_HOUR),
                machine_minutes=round(asked.machine_hours * MINUTES_PER_HOUR),
                fresh_mg=milligrams(asked.fresh_g),
                weather=asked.weather,
                note=asked.note,
                cautions=said,
                reason=asked.reason,
                created_by_id=actor.user_id,
                created_at=now,
                updated_at=now,
            )
        )
        record(
            actor, now, "harvest_add", "harvest", harvest.public_id, network=donor.network_id, group=group,
            after={"donor": str(donor.public_id), "on": str(asked.on), "fresh_mg": harvest.fresh_mg, "cautions": said},
        )  # fmt: skip
        lot = SeedLot(
            network_id=donor.network_id,
            name=asked.lot_name,
            origin=LotOrigin.HARVESTED,
            harvest=harvest,
            provenance=asked.provenance,
            harvested_on=asked.on,
            state=SeedState.FRESH,
            storage=asked.storage,
            sacks=asked.sacks,
            chaffy=True,
        )
        made(deed, lot, harvest.fresh_mg)
    return harvest, True


def _spoken_against(actor: Actor, donor: DonorMeadow, asked: HarvestNew, area: int) -> list[str]:
    """Codes of what speaks against a harvest, all of it allowed."""
    plants = list(donor.plants.values_list("taxon", flat=True))
    said = cautions(
        Taken(asked.on, asked.method, area), donor.area_dm2, plants, agreed_of(donor), taken_of(donor)
    )  # fmt: skip
    asking = [one for one in said if one.asks]
    if asking and not (asked.reason and may(actor, "harvest.allow", network_id=donor.network_id)):
        expected = "a reason, from a coordinator"
        faults = [FieldError(one.pointer, one.code, one.text, None, expected) for one in asking]
        text = "Something speaks against this harvest. A coordinator who decides otherwise says why, in reason."
        raise RuleBroken(text, faults)
    return [one.code for one in said]
