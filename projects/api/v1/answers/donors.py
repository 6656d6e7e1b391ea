"""Donor meadows, agreements and harvests."""

from datetime import date
from typing import Any
from uuid import UUID

from projects.api.v1.answers.base import Answer, Named, NounAnswer, named, named_if_any, noun
from projects.choices import Publicity
from projects.contracts.donors import DM2_PER_M2
from projects.models import DonorAgreement, DonorMeadow, Harvest
from projects.rules.access import Actor, may
from projects.rules.harvests import ripe_in
from projects.rules.lots import MG_PER_G

MINUTES_PER_HOUR = 60


class DonorPlantAnswer(Answer):
    """One kind that grows there."""

    taxon: str
    cover_percent: float
    ripe_months: list[int]
    """Months, 1 to 12, in which its seed is usually ripe; from memory."""


class AgreementAnswer(NounAnswer):
    """What was agreed about a donor meadow."""

    signed_on: date
    starts_on: date
    ends_on: date
    ended_on: date | None
    window_opens: str
    window_closes: str
    part: str
    area_m2: float
    methods: list[str]
    wants_back: str
    cut_by: str | None
    consents: list[str]
    name_told: bool


class DonorAnswer(NounAnswer):
    """A donor meadow."""

    network: Named
    name: str
    site: Named | None
    """None too where the site is private."""
    village: Named | None
    habitat: str
    area_m2: float
    plants: list[DonorPlantAnswer]
    weeds: list[str]
    note: str
    owner: str | None
    """Null for all but the coordinators."""
    owner_contact: str | None
    agreements: list[AgreementAnswer] | None
    """Null for all but the coordinators."""
    last_harvest_on: date | None


class HarvestAnswer(NounAnswer):
    """One day of taking seed."""

    donor: Named
    group: Named | None
    on: date
    method: str
    area_m2: float
    person_hours: float
    machine_hours: float
    fresh_g: float
    weather: str
    note: str
    cautions: list[str]
    """Codes of what spoke against it."""
    reason: str
    lot_id: UUID


def agreement_answer(row: DonorAgreement) -> dict[str, Any]:
    return _agreement(row).model_dump(mode="json")


def _agreement(row: DonorAgreement) -> AgreementAnswer:
    return AgreementAnswer(
        **noun(row),
        signed_on=row.signed_on,
        starts_on=row.starts_on,
        ends_on=row.ends_on,
        ended_on=row.ended_on,
        window_opens=row.window_opens,
        window_closes=row.window_closes,
        part=row.part,
        area_m2=row.area_dm2 / DM2_PER_M2,
        methods=row.methods,
        wants_back=row.wants_back,
        cut_by=row.cut_by or None,
        consents=row.consents,
        name_told=row.name_told,
    )


def donor_answer(actor: Actor, row: DonorMeadow) -> dict[str, Any]:
    """A donor meadow, prefetched as by `donor_list`."""
    private = may(actor, "owner.read", network_id=row.network_id)
    site = row.site if row.site is not None and (private or row.site.publicity != Publicity.PRIVATE) else None
    found = DonorAnswer(
        **noun(row),
        network=named(row.network),
        name=row.name,
        site=named_if_any(site),
        village=named_if_any(row.village),
        habitat=row.habitat,
        area_m2=row.area_dm2 / DM2_PER_M2,
        plants=[
            DonorPlantAnswer(taxon=p.taxon, cover_percent=p.cover_percent, ripe_months=list(ripe_in(p.taxon)))
            for p in row.plants.all()
        ],
        weeds=row.weeds,
        note=row.note,
        owner=row.owner if private else None,
        owner_contact=row.owner_contact if private else None,
        agreements=[_agreement(one) for one in row.agreements.all()] if private else None,
        last_harvest_on=max((one.on for one in row.harvests.all()), default=None),
    )
    return found.model_dump(mode="json")


def harvest_answer(row: Harvest) -> dict[str, Any]:
    found = HarvestAnswer(
        **noun(row),
        donor=named(row.donor),
        group=named_if_any(row.group),
        on=row.on,
        method=row.method,
        area_m2=row.area_dm2 / DM2_PER_M2,
        person_hours=row.person_minutes / MINUTES_PER_HOUR,
        machine_hours=row.machine_minutes / MINUTES_PER_HOUR,
        fresh_g=row.fresh_mg / MG_PER_G,
        weather=row.weather,
        note=row.note,
        cautions=row.cautions,
        reason=row.reason,
        lot_id=row.lot.public_id,
    )
    return found.model_dump(mode="json")
