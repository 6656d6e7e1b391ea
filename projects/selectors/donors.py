"""Reads of donor meadows, agreements and harvests."""

from __future__ import annotations

from datetime import date
from uuid import UUID

from django.db.models import Q, QuerySet

from projects.errors import NotFound
from projects.models import DonorAgreement, DonorMeadow, Harvest, SeedLot
from projects.rules.access import Actor, visible_donors, visible_inner
from projects.rules.harvests import Agreed, Taken


def donor_list(actor: Actor) -> QuerySet[DonorMeadow]:
    """Donor meadows of the actor's networks; for those who do not coordinate, where the owner agreed to be named."""
    rows = DonorMeadow.objects.filter(visible_donors(actor)).select_related("network", "site", "village")
    return rows.prefetch_related("plants", "agreements", "harvests")


def donor_get(actor: Actor, public_id: UUID) -> DonorMeadow:
    """One donor meadow; raises NotFound."""
    row = donor_list(actor).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no donor meadow {public_id}, or none that you may see.")
    return row


def agreement_get(actor: Actor, public_id: UUID) -> DonorAgreement:
    """One agreement; raises NotFound."""
    seen = DonorMeadow.objects.filter(visible_donors(actor)).values("pk")
    row = DonorAgreement.objects.filter(donor__in=seen, public_id=public_id).select_related("donor").first()
    if row is None:
        raise NotFound(f"There is no agreement {public_id}, or none that you may see.")
    return row


def harvest_list(actor: Actor) -> QuerySet[Harvest]:
    """Harvests of donor meadows that the actor sees, and of their own groups."""
    seen = DonorMeadow.objects.filter(visible_donors(actor)).values("pk")
    rows = Harvest.objects.filter(Q(donor__in=seen) | visible_inner(actor))
    return rows.select_related("donor", "group", "lot")


def running(donor: DonorMeadow, on: date) -> DonorAgreement | None:
    """The agreement that holds on a day, the latest first."""
    rows = donor.agreements.filter(starts_on__lte=on, ends_on__gte=on)
    return rows.filter(Q(ended_on__isnull=True) | Q(ended_on__gte=on)).order_by("-starts_on", "-pk").first()


def agreed_of(donor: DonorMeadow) -> list[Agreed]:
    """A donor's agreements as the rules read them, the latest first."""
    return [
        Agreed(
            row.starts_on, min(row.ends_on, row.ended_on or row.ends_on), row.window_opens, row.window_closes,
            row.area_dm2, tuple(row.methods),
        )
        for row in donor.agreements.order_by("-starts_on", "-pk")
    ]  # fmt: skip


def taken_of(donor: DonorMeadow) -> list[Taken]:
    """A donor's harvests as the rules read them."""
    return [Taken(row.on, row.method, row.area_dm2) for row in donor.harvests.all()]


def donors_seen(actor: Actor, lots: list[SeedLot]) -> list[int]:
    """Keys of the donor meadows of such lots that the actor sees."""
    keys = {lot.harvest.donor_id for lot in lots if lot.harvest is not None}
    if not keys:
        return []
    return list(DonorMeadow.objects.filter(visible_donors(actor), pk__in=keys).values_list("pk", flat=True))
