"""Lots of seed, their history, counts and promises; weights in grams, whole milligrams."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

import orjson

from modelling.contracts import LotContent
from modelling.contracts.sacks import SackAnswer
from modelling.lot_contents import LotContents
from projects.api.v1.answers.base import Answer, Named, NounAnswer, named, named_if_any, noun
from projects.models import GerminationTest, LotCount, LotPart, SeedEntry, SeedLot, SeedPromise
from projects.rules.lots import MG_PER_G

PENCE = 100


class LotPartAnswer(Answer):
    """What came out of another lot."""

    lot: Named
    grams: float


class DeclaredAnswer(Answer):
    """One kind on a supplier's label."""

    taxon: str
    percent: float


class LotAnswer(NounAnswer):
    """A lot of seed."""

    network: Named
    name: str
    origin: str
    donor: Named | None
    """Null too where its owner did not agree to be named."""
    supplier: str
    provenance: str
    harvested_on: date | None
    state: str
    storage: str
    sacks: int
    chaffy: bool
    declared: list[DeclaredAnswer]
    gbp_per_kg: float | None
    on_hold: bool
    hold_reason: str
    grams_in: float
    """All that ever came in."""
    grams_left: float
    grams_promised: float
    grams_free: float
    """Left, and not promised."""
    parts: list[LotPartAnswer]
    note: str


class SeedEntryAnswer(Answer):
    """One line of a lot's history."""

    number: int
    act: str
    on: date
    grams: float
    grams_change: float
    grams_left: float
    grams_promised: float
    other_lot: Named | None
    promise_id: UUID | None
    """Null for those outside its group."""
    reason: str
    at: datetime


class History(Answer):
    """The history of a lot, from its beginning; nothing in it is ever changed."""

    results: list[SeedEntryAnswer]


class CountAnswer(Answer):
    """A count with what the model said of it, served as it is stored."""

    id: UUID
    number: int
    counted_on: date
    holds: bool
    """Whether the lot was weighed differently since, so that it no longer describes it: then false."""
    answer_checksum: str
    """SHA-256 of the answer as canonical JSON."""
    answer: SackAnswer


class Counts(Answer):
    """Counts of a lot, the latest first."""

    results: list[CountAnswer]


class GerminationAnswer(Answer):
    """Seeds of one kind set to germinate."""

    id: UUID
    taxon: str
    on: date
    germinated: int
    tested: int


class GerminationTests(Answer):
    """Germination tests of a lot, the latest first."""

    results: list[GerminationAnswer]


class ContentAnswer(LotContent):
    """One kind in a lot, by its 10, 50 and 90 % points."""

    basis: str
    """counted, declared by the supplier, or donor: guessed from what grows there and how it was harvested."""


class ContentsAnswer(Answer):
    """What is in a lot, as far as is known today; a plan that names the lot is estimated with it."""

    kinds: list[ContentAnswer]


class PromiseAnswer(NounAnswer):
    """Seed promised to a group."""

    lot: Named
    group: Named
    project: Named | None
    by: date | None
    note: str
    grams_promised: float
    grams_released: float
    grams_handed_over: float
    grams_returned: float
    grams_sown: float
    grams_owed: float
    """Neither handed over nor taken back yet."""


def lot_answer(row: SeedLot, parts: list[LotPart], donors: set[int]) -> dict[str, Any]:
    """A lot; its donor is told where its key is among those that the caller sees."""
    donor = row.harvest.donor if row.harvest is not None and row.harvest.donor_id in donors else None
    found = LotAnswer(
        **noun(row),
        network=named(row.network),
        donor=named_if_any(donor),
        declared=[DeclaredAnswer(**entry) for entry in row.declared],
        gbp_per_kg=None if row.price_pence_per_kg is None else row.price_pence_per_kg / PENCE,
        on_hold=row.held_at is not None,
        grams_in=row.made_mg / MG_PER_G,
        grams_left=row.balance_mg / MG_PER_G,
        grams_promised=row.promised_mg / MG_PER_G,
        grams_free=(row.balance_mg - row.promised_mg) / MG_PER_G,
        parts=[LotPartAnswer(lot=named(part.parent), grams=part.amount_mg / MG_PER_G) for part in parts],
        **{
            name: getattr(row, name)
            for name in (
                "name", "origin", "supplier", "provenance", "harvested_on", "state", "storage", "sacks", "chaffy",
                "hold_reason", "note",
            )
        },
    )  # fmt: skip
    return found.model_dump(mode="json")


def history_answer(rows: list[SeedEntry], groups: set[int]) -> dict[str, Any]:
    """A history; promises are told where their group's key is among those whose promises the caller sees."""
    lines = [
        SeedEntryAnswer(
            number=row.number,
            act=row.act,
            on=row.on,
            grams=row.amount_mg / MG_PER_G,
            grams_change=row.balance_change_mg / MG_PER_G,
            grams_left=row.balance_mg / MG_PER_G,
            grams_promised=row.promised_mg / MG_PER_G,
            other_lot=named_if_any(row.other),
            promise_id=row.promise.public_id if row.promise is not None and row.promise.group_id in groups else None,
            reason=row.reason if row.promise is None or row.promise.group_id in groups else "",
            at=row.created_at,
        )
        for row in rows
    ]
    return History(results=lines).model_dump(mode="json")


def count_answer(row: LotCount, treatments: int) -> dict[str, Any]:
    # built by hand: the stored answer is given as it is
    return {
        "id": str(row.public_id),
        "number": row.number,
        "counted_on": row.counted_on.isoformat(),
        "holds": row.treatments == treatments,
        "answer_checksum": row.answer_checksum,
        "answer": orjson.loads(row.answer),
    }


def germination_answer(row: GerminationTest) -> dict[str, Any]:
    found = GerminationAnswer(
        id=row.public_id, taxon=row.taxon, on=row.on, germinated=row.germinated, tested=row.tested
    )
    return found.model_dump(mode="json")


def contents_answer(contents: LotContents) -> dict[str, Any]:
    return {"kinds": [kind.as_dict() for kind in contents.kinds]}


def promise_answer(row: SeedPromise) -> dict[str, Any]:
    found = PromiseAnswer(
        **noun(row),
        lot=named(row.lot),
        group=named(row.group),
        project=named_if_any(row.project),
        by=row.by,
        note=row.note,
        grams_promised=row.promised_mg / MG_PER_G,
        grams_released=row.released_mg / MG_PER_G,
        grams_handed_over=row.handed_mg / MG_PER_G,
        grams_returned=row.returned_mg / MG_PER_G,
        grams_sown=row.sown_mg / MG_PER_G,
        grams_owed=row.owed_mg / MG_PER_G,
    )
    return found.model_dump(mode="json")
