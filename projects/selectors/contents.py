"""What is in a lot: counted, declared by a supplier, from its parts, or guessed from where it was taken."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any, Final
from uuid import UUID

import orjson
from django.db.models import QuerySet

from modelling.lot_contents import LotContents, contents_of, merged, test_days
from projects.errors import NotFound
from projects.models import GerminationTest, LotCount, SeedLot
from projects.rules.access import Actor
from projects.rules.lots import years_in_store
from projects.selectors.lots import lot_get

#: blends of blends that are followed to their parts
_DEEPEST: Final = 6


def counts_of(actor: Actor, lot_id: UUID) -> QuerySet[LotCount]:
    """Counts of a lot, the latest first."""
    return lot_get(actor, lot_id).counts.order_by("-number")


def count_get(actor: Actor, lot_id: UUID, public_id: UUID) -> LotCount:
    """One count; raises NotFound."""
    row = counts_of(actor, lot_id).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no count {public_id} of this lot.")
    return row


def count_now(lot: SeedLot) -> LotCount | None:
    """The latest count that still describes a lot: none was weighed differently since."""
    rows: list[LotCount] = sorted(lot.counts.all(), key=lambda row: -row.number)
    return next((row for row in rows if row.treatments == lot.treatments), None)


def tests_now(lot: SeedLot, today: date) -> list[dict[str, Any]]:
    """Germination tests that are as good as made now: the latest of each kind, added up with none."""
    since = today - timedelta(days=test_days())
    latest: dict[str, GerminationTest] = {}
    for test in sorted(lot.germination_tests.all(), key=lambda test: (test.on, test.pk)):
        if since <= test.on <= today:
            latest[test.taxon] = test
    return [
        {"taxon": taxon, "germinated": test.germinated, "tested": test.tested} for taxon, test in sorted(latest.items())
    ]


def contents_now(lot: SeedLot, today: date, depth: int = 0) -> LotContents:
    """What is in a lot, as far as is known: its own count first, the rest by the next best."""
    years = years_in_store(lot.harvested_on, today)
    parts = list(lot.parts.select_related("parent__harvest__donor")) if depth < _DEEPEST else []
    if parts and count_now(lot) is None:
        return merged([(contents_now(part.parent, today, depth + 1), part.amount_mg) for part in parts])
    count = count_now(lot)
    harvest = lot.harvest
    plants = harvest.donor.plants.all() if harvest is not None else ()
    return contents_of(
        samples=None if count is None else orjson.loads(count.request)["samples"],
        declared={entry["taxon"]: entry["percent"] for entry in lot.declared},
        cover={plant.taxon: plant.cover_percent for plant in plants},
        method=harvest.method if harvest is not None else "",
        years_in_store=years,
        tests=tests_now(lot, today),
    )
