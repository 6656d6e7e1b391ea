"""Lots of seed for tests, in the invented county."""

from __future__ import annotations

from typing import Any

from projects.contracts.base import read_as
from projects.contracts.lots import LotBlend, LotMove, LotNew, LotSplit, PromiseMove, PromiseNew
from projects.models import Group, SeedLot, SeedPromise
from projects.services import lots, seed_promises
from tests.projects.county import NOW, County

MAKERS, VERGES = "Gullhaven Meadow Makers", "Brackwater Verges"


def lot(county: County, name: str = "Sack of the ness", grams: float = 1000.0, **more: Any) -> SeedLot:
    """A lot that was bought; dry unless something else is said."""
    said = {"network_id": str(county.network.public_id), "name": name, "origin": "bought", "grams": grams, **more}
    return lots.lot_create(actor=county.as_(county.coordinator), asked=read_as(LotNew, said), now=NOW)


def move(county: County, row: SeedLot, act: str, grams: float | None = None, **more: Any) -> SeedLot:
    """Something that happens to a lot, as its coordinator says."""
    said = {"act": act, **more} | ({} if grams is None else {"grams": grams})
    return lots.lot_move(
        actor=county.as_(county.coordinator), public_id=row.public_id, asked=read_as(LotMove, said), if_version=None,
        now=NOW,
    )  # fmt: skip


def promise(county: County, row: SeedLot, grams: float, group: Group | None = None, **more: Any) -> SeedPromise:
    """Seed promised to the meadow makers, or to another group."""
    to = group or county.groups[MAKERS]
    asked = read_as(PromiseNew, {"group_id": str(to.public_id), "grams": grams, **more})
    return seed_promises.promise_make(
        actor=county.as_(county.coordinator), lot_id=row.public_id, asked=asked, now=NOW
    )[0]  # fmt: skip


def promise_move(county: County, row: SeedPromise, to: str, grams: float | None = None, **more: Any) -> SeedPromise:
    """What becomes of a promise."""
    said = {"to": to, **more} | ({} if grams is None else {"grams": grams})
    return seed_promises.promise_move(
        actor=county.as_(county.coordinator), public_id=row.public_id, asked=read_as(PromiseMove, said),
        if_version=None, now=NOW,
    )  # fmt: skip


def split(county: County, row: SeedLot, name: str, grams: float, **more: Any) -> SeedLot:
    """A part of a lot as its own."""
    return lots.lot_split(
        actor=county.as_(county.coordinator), public_id=row.public_id,
        asked=read_as(LotSplit, {"name": name, "grams": grams, **more}), now=NOW,
    )[0]  # fmt: skip


def blend(county: County, name: str, *parts: tuple[SeedLot, float], **more: Any) -> SeedLot:
    """Parts of lots mixed."""
    said = {"name": name, "parts": [{"lot_id": str(row.public_id), "grams": grams} for row, grams in parts], **more}
    return lots.lot_blend(
        actor=county.as_(county.coordinator), network_id=county.network.public_id, asked=read_as(LotBlend, said),
        now=NOW,
    )[0]  # fmt: skip
