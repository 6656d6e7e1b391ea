"""Lots of seed: taken in, changed in words, weighed, used, put on hold, divided and blended."""

from __future__ import annotations

from datetime import datetime
from typing import Final
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from modelling.selectors import taxon_row
from projects.choices import LotOrigin, SeedAct, SeedState
from projects.contracts.base import given, pence
from projects.contracts.lots import LotBlend, LotChange, LotMove, LotNew, LotSplit, milligrams
from projects.errors import WrongState, broken
from projects.models import LotPart, Network, SeedEntry, SeedLot
from projects.rules.access import Actor, demand, visible_in_network
from projects.rules.lots import oldest, together, weight
from projects.services import ledger
from projects.services.audit import record, snapshot
from projects.services.base import found, save_changed, save_new, unchanged_since

#: share by which a weight before may differ from what should be there before it is asked about
_SAME_WEIGHT: Final = 1 / 20
_STATES: Final = {"drying": SeedState.DRYING, "dried": SeedState.DRY}


def lot_create(*, actor: Actor, asked: LotNew, now: datetime) -> SeedLot:
    """Take in seed that was bought or given."""
    with transaction.atomic():
        network = found(Network, Q(), asked.network_id, "network")
        demand(actor, "lot.create", network_id=network.pk)
        for position, entry in enumerate(asked.declared):
            known_plant(entry.taxon, f"/declared/{position}/taxon")
        amount = milligrams(asked.grams)
        lot = SeedLot(
            network=network,
            declared=[entry.model_dump() for entry in asked.declared],
            price_pence_per_kg=None if asked.gbp_per_kg is None else pence(asked.gbp_per_kg),
            **{
                name: getattr(asked, name)
                for name in (
                    "name", "origin", "state", "supplier", "provenance", "harvested_on", "storage", "sacks", "chaffy",
                    "note",
                )
            },
        )  # fmt: skip
        made(ledger.deed(actor, now, None), lot, amount)
    return lot


def known_plant(taxon: str, at: str) -> None:
    """Raise RuleBroken for what is no key of the plant list."""
    if taxon_row(taxon) is None:
        text = f"{taxon!r} is not a plant known here. The list is at /api/v1/vocabularies/."
        raise broken(at, "unknown_plant", text, taxon, "a key of the plant list")


def made(deed: ledger.Deed, lot: SeedLot, amount_mg: int, other: SeedLot | None = None) -> SeedLot:
    """Save a new lot of so much with the first line of its history."""
    lot.made_mg = lot.balance_mg = amount_mg
    lot.created_by_id, lot.created_at, lot.updated_at = deed.actor.user_id, deed.now, deed.now
    save_new(lot)
    ledger.begin(deed, lot, other)
    record(
        deed.actor, deed.now, "lot_create", "lot", lot.public_id, network=lot.network_id,
        after={"name": lot.name, "origin": lot.origin, "state": lot.state, "made_mg": amount_mg},
    )  # fmt: skip
    return lot


def lot_change(*, actor: Actor, public_id: UUID, asked: LotChange, if_version: int | None, now: datetime) -> SeedLot:
    """Change what is said of a lot."""
    with transaction.atomic():
        lot = _held(actor, public_id, "lot.change")
        unchanged_since(lot, if_version)
        before = snapshot(lot)
        values = given(asked)
        if "gbp_per_kg" in values:
            price = values.pop("gbp_per_kg")
            lot.price_pence_per_kg = None if price is None else pence(price)
        for name, value in values.items():
            if value is not None:
                setattr(lot, name, value)
        save_changed(lot, now)
        record(
            actor, now, "lot_change", "lot", lot.public_id, network=lot.network_id, before=before, after=snapshot(lot)
        )
    return lot


def _held(actor: Actor, public_id: UUID, act: str) -> SeedLot:
    lot = found(SeedLot, visible_in_network(actor), public_id, "lot of seed", hold=True)
    demand(actor, act, network_id=lot.network_id)
    return lot


def lot_move(*, actor: Actor, public_id: UUID, asked: LotMove, if_version: int | None, now: datetime) -> SeedLot:
    """Weigh a lot again, use, spill or discard of it, put it on hold or take it off."""
    with transaction.atomic():
        lot = _held(actor, public_id, "lot.move")
        if ledger.done_before(lot, asked.submission_id):
            return lot
        unchanged_since(lot, if_version)
        deed = ledger.deed(actor, now, asked.on, asked.reason, asked.submission_id)
        amount = 0 if asked.grams is None else milligrams(asked.grams)
        match asked.act:
            case "drying" | "dried" | "cleaned":
                entry = _weighed(deed, lot, asked, amount)
            case "held" | "cleared":
                entry = hold(deed, lot, asked.act == "held")
            case _:
                if asked.act == "used":
                    ledger.not_on_hold(lot)
                ledger.enough(lot, amount)
                entry = ledger.write(deed, lot, SeedAct(asked.act), amount, balance=-amount)
        _audited(deed, lot, "lot_move", entry)
    return lot


def _weighed(deed: ledger.Deed, lot: SeedLot, asked: LotMove, now_mg: int) -> SeedEntry | None:
    if asked.act == "drying":
        if lot.state != SeedState.FRESH:
            raise WrongState(f"{lot.name} is not fresh: it is {lot.get_state_display().lower()}.")
        SeedLot.objects.filter(pk=lot.pk).update(state=SeedState.DRYING)
        lot.state = SeedState.DRYING
        return ledger.write(deed, lot, SeedAct.DRIED, lot.balance_mg)
    if asked.act == "dried" and lot.state == SeedState.DRY:
        raise WrongState(f"{lot.name} is dry already.")
    before = lot.balance_mg
    if asked.grams_before is not None and abs(milligrams(asked.grams_before) - before) > before * _SAME_WEIGHT:
        raise broken(
            "/grams_before", "contradiction", f"There should be {weight(before)} of {lot.name}. Note first what came "
            "or went.", asked.grams_before, f"about {weight(before)}",
        )  # fmt: skip
    if now_mg > before:
        how = "Dry seed weighs less than fresh" if asked.act == "dried" else "Clean seed weighs less than before"
        raise broken(
            "/grams", "out_of_range", f"{how}: there were {weight(before)} of {lot.name}.", asked.grams,
            f"at most {weight(before)}",
        )  # fmt: skip
    if now_mg < lot.promised_mg:
        raise broken(
            "/grams", "not_enough", f"{weight(lot.promised_mg)} of {lot.name} are promised: take a promise back first.",
            asked.grams, f"at least {weight(lot.promised_mg)}",
        )  # fmt: skip
    state = _STATES.get(asked.act, lot.state)
    SeedLot.objects.filter(pk=lot.pk).update(state=state, treatments=lot.treatments + 1)
    lot.state, lot.treatments = state, lot.treatments + 1
    return ledger.write(deed, lot, SeedAct(asked.act), before - now_mg, balance=now_mg - before)


def hold(deed: ledger.Deed, lot: SeedLot, on: bool) -> SeedEntry | None:
    """Put a lot on hold, or take it off; None where it stands so already."""
    if on == (lot.held_at is not None):
        return None
    lot.held_at, lot.hold_reason = (deed.now, deed.reason) if on else (None, "")
    SeedLot.objects.filter(pk=lot.pk).update(held_at=lot.held_at, hold_reason=lot.hold_reason)
    return ledger.write(deed, lot, SeedAct.HELD if on else SeedAct.CLEARED)


def _audited(deed: ledger.Deed, lot: SeedLot, act: str, entry: SeedEntry | None) -> None:
    if entry is None:
        return
    record(
        deed.actor, deed.now, act, "lot", lot.public_id, network=lot.network_id,
        after={
            "act": entry.act, "amount_mg": entry.amount_mg, "balance_mg": entry.balance_mg,
            "promised_mg": entry.promised_mg, "entry": entry.number,
        },
    )  # fmt: skip


def lot_split(*, actor: Actor, public_id: UUID, asked: LotSplit, now: datetime) -> tuple[SeedLot, bool]:
    """Take a part off a lot; it keeps its provenance, its age and, if it was, its being on hold.

    Returns
    -------
    tuple
        The new lot, and whether it is new.
    """
    with transaction.atomic():
        lot = _held(actor, public_id, "lot.move")
        there = _made_before(lot, asked.submission_id)
        if there is not None:
            return there, False
        deed = ledger.deed(actor, now, asked.on, asked.reason, asked.submission_id)
        amount = milligrams(asked.grams)
        ledger.enough(lot, amount)
        child = SeedLot(
            network_id=lot.network_id,
            name=asked.name,
            origin=LotOrigin.SPLIT,
            storage=asked.storage or lot.storage,
            sacks=asked.sacks,
            **{
                name: getattr(lot, name)
                for name in (
                    "supplier", "provenance", "harvested_on", "state", "chaffy", "price_pence_per_kg", "held_at",
                    "hold_reason",
                )
            },
        )  # fmt: skip
        made(_without_id(deed), child, amount, lot)
        LotPart(lot=child, parent=lot, amount_mg=amount).save()
        entry = ledger.write(deed, lot, SeedAct.SPLIT, amount, balance=-amount, other=child)
        _audited(deed, lot, "lot_split", entry)
    return child, True


def _without_id(deed: ledger.Deed) -> ledger.Deed:
    """The same act, for lines of its history that are not looked for by what the sender called it."""
    return ledger.Deed(deed.actor, deed.now, deed.on, deed.reason, None, deed.act_id)


def _made_before(lot: SeedLot, submission_id: UUID | None) -> SeedLot | None:
    if submission_id is None:
        return None
    entry = lot.entries.filter(submission_id=submission_id).select_related("other").first()
    if entry is not None and entry.other is None:
        raise WrongState("This submission id was used for another act on this lot. Send a new one.")
    return None if entry is None else entry.other


def lot_blend(*, actor: Actor, network_id: UUID, asked: LotBlend, now: datetime) -> tuple[SeedLot, bool]:
    """Mix parts of dry lots into a new one, which remembers what it is made of; like `lot_split`.

    The blend weighs what its parts weighed, and what is in it is theirs by weight.
    """
    with transaction.atomic():
        network = found(Network, Q(), network_id, "network")
        demand(actor, "lot.move", network_id=network.pk)
        deed = ledger.deed(actor, now, asked.on, "", asked.submission_id)
        seen = visible_in_network(actor) & Q(network=network)
        rows = ledger.held([found(SeedLot, seen, part.lot_id, "lot of seed") for part in asked.parts])
        by_id = {row.public_id: row for row in rows.values()}
        first = by_id[asked.parts[0].lot_id]
        there = _made_before(first, asked.submission_id)
        if there is not None:
            return there, False
        for position, part in enumerate(asked.parts):
            lot = by_id[part.lot_id]
            ledger.not_on_hold(lot)
            if lot.state != SeedState.DRY:
                raise WrongState(f"{lot.name} is not dry yet: damp seed heats in a sack, and spoils the rest.")
            ledger.enough(lot, milligrams(part.grams), f"/parts/{position}/grams")
        parts = [(by_id[part.lot_id], milligrams(part.grams)) for part in asked.parts]
        child = SeedLot(
            network=network,
            name=asked.name,
            origin=LotOrigin.BLENDED,
            provenance=together([lot.provenance for lot, _ in parts]),
            harvested_on=oldest([lot.harvested_on for lot, _ in parts]),
            state=SeedState.DRY,
            storage=asked.storage,
            sacks=asked.sacks,
            chaffy=any(lot.chaffy for lot, _ in parts),
            price_pence_per_kg=_price(parts),
            note=asked.note,
        )
        made(_without_id(deed), child, sum(amount for _, amount in parts))
        for lot, amount in parts:
            LotPart(lot=child, parent=lot, amount_mg=amount).save()
            entry = ledger.write(deed, lot, SeedAct.BLENDED, amount, balance=-amount, other=child)
            _audited(deed, lot, "lot_blend", entry)
    return child, True


def _price(parts: list[tuple[SeedLot, int]]) -> int | None:
    """What a blend costs a kilogram; None where the price of a part is not known."""
    whole = sum(amount for _, amount in parts)
    prices = [(lot.price_pence_per_kg, amount) for lot, amount in parts]
    known = [(price, amount) for price, amount in prices if price is not None]
    if len(known) < len(prices):
        return None
    return round(sum(price * amount for price, amount in known) / whole)
