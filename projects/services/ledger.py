"""The ledger of seed: every milligram that comes or goes, in one UPDATE of running totals and one line of history.

A lot is held before its promises, and several lots in the order of their keys.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from uuid import UUID, uuid4

from django.db.models import F
from django.utils import timezone

from projects.choices import SeedAct
from projects.errors import WrongState, broken
from projects.models import SeedEntry, SeedLot, SeedPromise
from projects.rules.access import Actor
from projects.rules.lots import weight


@dataclass(frozen=True)
class Deed:
    """One act on seed: who, when, and whatever the lines of its history share."""

    actor: Actor
    now: datetime
    on: date
    reason: str = ""
    submission_id: UUID | None = None
    act_id: UUID = field(default_factory=uuid4)


def deed(actor: Actor, now: datetime, on: date | None, reason: str = "", submission_id: UUID | None = None) -> Deed:
    """Return the act of a day, today if none is said; raises RuleBroken for a day to come."""
    today = timezone.localdate(now)
    if on is not None and on > today:
        said = on.isoformat()
        raise broken("/on", "in_future", f"{said} is still to come.", said, "a day up to today")
    return Deed(actor, now, on or today, reason, submission_id)


def held(lots: Iterable[SeedLot]) -> dict[int, SeedLot]:
    """Lock lots in the order of their keys and return them as they are now, by key."""
    keys = sorted({lot.pk for lot in lots})
    rows = SeedLot.objects.select_for_update(of=("self",)).filter(pk__in=keys).order_by("pk")
    return {row.pk: row for row in rows}


def done_before(lot: SeedLot, submission_id: UUID | None) -> bool:
    """Say whether an act of this id was done on the lot already."""
    return submission_id is not None and lot.entries.filter(submission_id=submission_id).exists()


def enough(lot: SeedLot, amount_mg: int, at: str = "/grams") -> None:
    """Raise RuleBroken unless so much of a lot is there and not promised."""
    free = lot.balance_mg - lot.promised_mg
    if amount_mg <= free:
        return
    told = f"{weight(lot.balance_mg)} of {lot.name} are left"
    told += f", {weight(lot.promised_mg)} of them promised" if lot.promised_mg else ""
    raise broken(
        at, "not_enough", f"{told}: {weight(amount_mg)} cannot go.", amount_mg / 1000, f"at most {weight(free)}"
    )


def not_on_hold(lot: SeedLot) -> None:
    """Raise WrongState for a lot that has to be looked at first."""
    if lot.held_at is not None:
        raise WrongState(f"{lot.name} is on hold: {lot.hold_reason} Look at it, then take it off hold with a reason.")


def write(
    deed: Deed, lot: SeedLot, act: SeedAct, amount_mg: int = 0, *, balance: int = 0, promised: int = 0,
    promise: SeedPromise | None = None, other: SeedLot | None = None,
) -> SeedEntry:  # fmt: skip
    """Change a lot's totals by so much, and add the line that tells of it.

    The totals move by `x = x + n`, under the CHECKs that nothing is promised twice and nothing comes from nowhere; the
    line holds what there was afterwards.
    """
    SeedLot.objects.filter(pk=lot.pk).update(
        balance_mg=F("balance_mg") + balance,
        gone_mg=F("gone_mg") - balance,
        promised_mg=F("promised_mg") + promised,
        entries_numbered=F("entries_numbered") + 1,
        version=F("version") + 1,
        updated_at=deed.now,
    )
    lot.refresh_from_db(fields=["balance_mg", "gone_mg", "promised_mg", "entries_numbered", "version", "updated_at"])
    return _line(deed, lot, act, amount_mg, balance, promised, promise, other)


def begin(deed: Deed, lot: SeedLot, other: SeedLot | None = None) -> SeedEntry:
    """Add the first line of a lot that was just made."""
    SeedLot.objects.filter(pk=lot.pk).update(entries_numbered=1)
    lot.entries_numbered = 1
    return _line(deed, lot, SeedAct.MADE, lot.made_mg, lot.made_mg, 0, None, other)


def _line(
    deed: Deed, lot: SeedLot, act: SeedAct, amount_mg: int, balance: int, promised: int,
    promise: SeedPromise | None, other: SeedLot | None,
) -> SeedEntry:  # fmt: skip
    row = SeedEntry(
        lot=lot,
        number=lot.entries_numbered,
        act_id=deed.act_id,
        submission_id=deed.submission_id,
        act=act,
        on=deed.on,
        amount_mg=amount_mg,
        balance_change_mg=balance,
        promised_change_mg=promised,
        balance_mg=lot.balance_mg,
        promised_mg=lot.promised_mg,
        other=other,
        promise=promise,
        reason=deed.reason,
        created_by_id=deed.actor.user_id,
        created_at=deed.now,
    )
    row.save()
    return row
