"""Promises of seed: made of dry lots that are not on hold, handed over, taken back, brought back, sown."""

from __future__ import annotations

from datetime import datetime
from typing import Final
from uuid import UUID, uuid4

from django.db import transaction
from django.db.models import F, Q

from projects.choices import SeedAct, SeedState
from projects.contracts.lots import PromiseMove, PromiseNew, milligrams
from projects.errors import WrongState, broken
from projects.models import Group, MeadowProject, SeedLot, SeedPromise
from projects.rules.access import Actor, demand, visible_in_network, visible_inner, visible_projects
from projects.rules.lots import weight
from projects.services import ledger
from projects.services.audit import record
from projects.services.base import found, save_new, unchanged_since


def promise_make(*, actor: Actor, lot_id: UUID, asked: PromiseNew, now: datetime) -> tuple[SeedPromise, bool]:
    """Promise seed of a lot to a group, and hand it over at once if so asked.

    Returns
    -------
    tuple
        The promise, and whether it is new.
    """
    with transaction.atomic():
        lot = found(SeedLot, visible_in_network(actor), lot_id, "lot of seed", hold=True)
        demand(actor, "seed_promise.make", network_id=lot.network_id)
        if asked.submission_id is not None:
            there = lot.promises.filter(submission_id=asked.submission_id).first()
            if there is not None:
                return there, False
        group = found(Group, Q(network=lot.network_id, closed_at__isnull=True), asked.group_id, "group")
        project = None
        if asked.project_id is not None:
            seen = visible_projects(actor) & Q(group=group)
            project = found(MeadowProject, seen, asked.project_id, "project of the group")
        deed = ledger.deed(actor, now, asked.on, asked.note)
        _may_go(lot)
        amount = milligrams(asked.grams)
        ledger.enough(lot, amount)
        row = save_new(
            SeedPromise(
                network_id=lot.network_id,
                lot=lot,
                group=group,
                project=project,
                submission_id=asked.submission_id or uuid4(),
                by=asked.by,
                note=asked.note,
                promised_mg=amount,
                created_by_id=actor.user_id,
                created_at=now,
                updated_at=now,
            )
        )
        ledger.write(deed, lot, SeedAct.PROMISED, amount, promised=amount, promise=row)
        _audited(deed, row, "promise_make", amount)
        if asked.handed_over:
            _moved(deed, lot, row, "handed_over", amount)
    return row, True


def _may_go(lot: SeedLot) -> None:
    ledger.not_on_hold(lot)
    if lot.state != SeedState.DRY:
        raise WrongState(
            f"{lot.name} is {lot.get_state_display().lower()}: nobody knows what it will weigh. "
            "Dry and weigh it, then promise of it."
        )


_COLUMN: Final = {
    "handed_over": "handed_mg", "released": "released_mg", "returned": "returned_mg", "sown": "sown_mg",
}  # fmt: skip
_OWED: Final = frozenset({"handed_over", "released"})


def promise_move(
    *, actor: Actor, public_id: UUID, asked: PromiseMove, if_version: int | None, now: datetime
) -> SeedPromise:
    """Hand over promised seed or take the promise back; bring seed back; tell that it was sown."""
    with transaction.atomic():
        row = found(SeedPromise, visible_inner(actor), public_id, "promise of seed")
        act = "seed_promise.make" if asked.to in _OWED else "seed_promise.sow"
        demand(actor, act, group_id=row.group_id, network_id=row.network_id)
        lot = ledger.held([row.lot])[row.lot_id]
        row = found(SeedPromise, visible_inner(actor), public_id, "promise of seed", hold=True)
        if ledger.done_before(lot, asked.submission_id):
            return row
        unchanged_since(row, if_version)
        left, told = (row.owed_mg, "still promised") if asked.to in _OWED else (row.out_mg, "with the group")
        amount = left if asked.grams is None else milligrams(asked.grams)
        if not left:
            raise WrongState(f"Nothing of this promise is {told}.")
        if amount > left:
            raise broken("/grams", "not_enough", f"{weight(left)} are {told}.", asked.grams, f"at most {weight(left)}")
        deed = ledger.deed(actor, now, asked.on, asked.reason, asked.submission_id)
        if asked.to == "handed_over":
            ledger.not_on_hold(lot)
        _moved(deed, lot, row, asked.to, amount)
    return row


def _moved(deed: ledger.Deed, lot: SeedLot, row: SeedPromise, to: str, amount: int) -> None:
    column = _COLUMN[to]
    SeedPromise.objects.filter(pk=row.pk).update(
        version=F("version") + 1, updated_at=deed.now, **{column: F(column) + amount}
    )
    row.refresh_from_db()
    balance = {"handed_over": -amount, "returned": amount}.get(to, 0)
    promised = -amount if to in _OWED else 0
    ledger.write(deed, lot, SeedAct(to), amount, balance=balance, promised=promised, promise=row)
    _audited(deed, row, f"promise_{to}", amount)


def _audited(deed: ledger.Deed, row: SeedPromise, act: str, amount: int) -> None:
    record(
        deed.actor, deed.now, act, "promise", row.public_id, network=row.network_id, group=row.group_id,
        after={"amount_mg": amount, "promised_mg": row.promised_mg, "handed_mg": row.handed_mg},
    )  # fmt: skip
