"""Plug plants."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from projects.api.v1.answers.base import Answer, Named, NounAnswer, named, named_if_any, noun
from projects.models import PlugBatch, PlugEvent, PlugPromise
from projects.selectors.plugs import plant_names, plant_note


class PlugBatchAnswer(NounAnswer):
    """Plants of one kind sown on one day."""

    network: Named
    group: Named | None
    """Who looks after it; None for the network."""
    taxon: str
    english_name: str
    scientific_name: str
    plant_note: str
    """What the model's plant list says of it, such as that it does poorly from seed."""
    lot: Named | None
    seed_from: str
    sown_on: date
    sown_count: int
    ready_on: date | None
    pricked_out: int
    lost: int
    alive: int
    """Pricked out less lost; those handed over are counted in."""
    promised: int
    """Of those alive; those handed over are counted in."""
    handed_over: int
    free: int
    note: str


def batch_answer(row: PlugBatch) -> dict[str, Any]:
    english, scientific = plant_names(row.taxon)
    found = PlugBatchAnswer(
        **noun(row),
        network=named(row.network),
        group=named_if_any(row.group),
        taxon=row.taxon,
        english_name=english,
        scientific_name=scientific,
        plant_note=plant_note(row.taxon),
        lot=named_if_any(row.lot),
        seed_from=row.seed_from,
        sown_on=row.sown_on,
        sown_count=row.sown_count,
        ready_on=row.ready_on,
        pricked_out=row.pricked_out,
        lost=row.lost,
        alive=row.alive,
        promised=row.promised,
        handed_over=row.handed_over,
        free=row.alive - row.promised,
        note=row.note,
    )
    return found.model_dump(mode="json")


class PlugEventAnswer(Answer):
    """Something that happened to a batch."""

    what: str
    count: int
    on: date
    note: str
    written_at: datetime


class PlugEvents(Answer):
    """The history of a batch, in order."""

    results: list[PlugEventAnswer]


def events_answer(rows: list[PlugEvent]) -> dict[str, Any]:
    found = [
        PlugEventAnswer(what=row.what, count=row.count, on=row.on, note=row.note, written_at=row.created_at)
        for row in rows
    ]
    return PlugEvents(results=found).model_dump(mode="json")


class PlugPromiseAnswer(NounAnswer):
    """Plants of a batch promised to a project."""

    batch_id: UUID
    taxon: str
    group: Named
    project: Named
    count: int
    fewer: int
    """Plants that died after they were promised."""
    state: str
    handed_over_on: date | None


def promise_answer(row: PlugPromise) -> dict[str, Any]:
    found = PlugPromiseAnswer(
        **noun(row),
        batch_id=row.batch.public_id,
        taxon=row.batch.taxon,
        group=named(row.group),
        project=named(row.project),
        count=row.count,
        fewer=row.fewer,
        state=row.state,
        handed_over_on=row.handed_over_on,
    )
    return found.model_dump(mode="json")
