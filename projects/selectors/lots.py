"""Reads of lots of seed, of their history and of what is promised of them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from uuid import UUID

from django.db.models import F, Q, QuerySet, Sum

from projects.choices import Stage
from projects.errors import NotFound
from projects.models import Group, LotPart, MeadowProject, Network, SeedEntry, SeedLot, SeedPromise
from projects.rules.access import Actor, demand, group_in, may, visible_in_network, visible_inner


def lot_list(actor: Actor) -> QuerySet[SeedLot]:
    """Lots of the networks whose groups the actor belongs to."""
    return SeedLot.objects.filter(visible_in_network(actor)).select_related("network", "harvest__donor")


def lot_get(actor: Actor, public_id: UUID) -> SeedLot:
    """One lot; raises NotFound."""
    row = lot_list(actor).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no lot of seed {public_id}, or none that you may see.")
    return row


def entries_of(lot: SeedLot) -> QuerySet[SeedEntry]:
    """The history of a lot, which somebody may see who sees the lot."""
    return lot.entries.select_related("other", "promise__group").order_by("number")


def parts_of(lots: list[SeedLot]) -> dict[int, list[LotPart]]:
    """What each lot is made of, by its key."""
    found = defaultdict(list)
    for part in LotPart.objects.filter(lot__in=lots).select_related("parent").order_by("pk"):
        found[part.lot_id].append(part)
    return found


def promise_list(actor: Actor) -> QuerySet[SeedPromise]:
    """Promises to the actor's groups, and all of the networks they coordinate."""
    return SeedPromise.objects.filter(visible_inner(actor)).select_related("lot", "group", "project", "network")


def promises_open(actor: Actor, groups: Iterable[Group]) -> dict[int, list[SeedPromise]]:
    """Promises with something to fetch or to tell of, by the key of their group: one query for all of them."""
    settled = Q(promised_mg=F("released_mg") + F("handed_mg"), handed_mg=F("returned_mg") + F("sown_mg"))
    found = defaultdict(list)
    for row in promise_list(actor).filter(group__in=[group.pk for group in groups]).exclude(settled):
        found[row.group_id].append(row)
    return found


def projects_to_promise(actor: Actor, network: Network) -> QuerySet[MeadowProject]:
    """Projects seed can be promised to, by name; none for others than coordinators."""
    if not may(actor, "seed_promise.make", network_id=network.pk):
        return MeadowProject.objects.none()
    rows = MeadowProject.objects.filter(network=network).exclude(stage=Stage.HANDED_OVER)
    return rows.select_related("group").order_by("name", "pk")


def promise_get(actor: Actor, public_id: UUID) -> SeedPromise:
    """One promise; raises NotFound."""
    row = promise_list(actor).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no promise of seed {public_id}, or none that you may see.")
    return row


def lots_that_do_not_add_up() -> list[UUID]:
    """Lots whose running totals differ from what their history, their promises or their parts come to; none, ever."""
    wrong = set()
    entries = SeedEntry.objects.values("lot").annotate(
        balance=Sum("balance_change_mg"), promised=Sum("promised_change_mg")
    )
    by_entries = {row["lot"]: (row["balance"], row["promised"]) for row in entries}
    owed = SeedPromise.objects.values("lot").annotate(owed=Sum(F("promised_mg") - F("released_mg") - F("handed_mg")))
    by_promises = {row["lot"]: row["owed"] for row in owed}
    came = {row["lot"]: row["whole"] for row in LotPart.objects.values("lot").annotate(whole=Sum("amount_mg"))}
    for lot in SeedLot.objects.all():
        told = by_entries.get(lot.pk, (0, 0))
        if told != (lot.balance_mg, lot.promised_mg) or by_promises.get(lot.pk, 0) != lot.promised_mg:
            wrong.add(lot.public_id)
        if lot.made_mg != came.get(lot.pk, lot.made_mg):
            wrong.add(lot.public_id)
    return sorted(wrong)


def groups_told(actor: Actor, entries: list[SeedEntry]) -> set[int]:
    """Keys of the groups of such a history whose promises the actor may read."""
    return {
        row.promise.group_id
        for row in entries
        if row.promise is not None
        and may(actor, "seed_promise.read", group_id=row.promise.group_id, network_id=row.promise.network_id)
    }


def lots_of(actor: Actor, network: Network) -> list[SeedLot]:
    """Lots of a network; raises NotAllowed outside it."""
    demand(actor, "lot.read", group_id=group_in(actor, network.pk), network_id=network.pk)
    return list(lot_list(actor).filter(network=network))
