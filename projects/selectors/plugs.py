"""Reads of plug plants."""

from __future__ import annotations

from uuid import UUID

from django.db.models import QuerySet

from modelling.selectors import taxon_row
from projects.choices import PlugState
from projects.errors import NotFound
from projects.models import MeadowProject, Network, PlugBatch, PlugEvent, PlugPromise
from projects.rules.access import Actor, demand, group_in, may, visible_in_network, visible_inner


def batch_list(actor: Actor) -> QuerySet[PlugBatch]:
    """Batches of the networks to whose groups the actor belongs, or that they coordinate."""
    return PlugBatch.objects.filter(visible_in_network(actor)).select_related("network", "group", "lot")


def batches_of(actor: Actor, network: Network) -> QuerySet[PlugBatch]:
    """Batches of a network; raises NotAllowed for strangers."""
    demand(actor, "plug.read", group_id=group_in(actor, network.pk), network_id=network.pk)
    return batch_list(actor).filter(network=network)


def batch_get(actor: Actor, public_id: UUID) -> PlugBatch:
    """One batch; raises NotFound."""
    row = batch_list(actor).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no batch of plugs {public_id}, or none that you may see.")
    return row


def events_of(actor: Actor, batch: PlugBatch) -> QuerySet[PlugEvent]:
    """What happened to a batch, in order. Whose promise it was is told with the promise."""
    return batch.events.order_by("pk")


def promises_of(actor: Actor, batch: PlugBatch) -> QuerySet[PlugPromise]:
    """Promises of a batch to the actor's groups; all of them for coordinators."""
    return promise_list(actor).filter(batch=batch)


def promise_list(actor: Actor) -> QuerySet[PlugPromise]:
    """Promises the actor may read of."""
    return PlugPromise.objects.filter(visible_inner(actor)).select_related("batch__network", "group", "project")


def promise_get(actor: Actor, public_id: UUID) -> PlugPromise:
    """One promise; raises NotFound."""
    row = promise_list(actor).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no promise of plugs {public_id}, or none that you may see.")
    return row


def promises_of_project(actor: Actor, project: MeadowProject) -> list[PlugPromise]:
    """Promises of plugs to a project that hold or went; raises NotAllowed for strangers."""
    demand(actor, "project.read_detail", group_id=project.group_id, network_id=project.network_id)
    return list(promise_list(actor).filter(project=project).exclude(state=PlugState.WITHDRAWN))


def projects_to_promise(actor: Actor, network: Network) -> QuerySet[MeadowProject]:
    """Projects plants can be promised to, by name; none for others than coordinators."""
    if not may(actor, "plug.promise", network_id=network.pk):
        return MeadowProject.objects.none()
    rows = MeadowProject.objects.filter(network=network).exclude(stage="handed_over")
    return rows.select_related("group").order_by("name", "pk")


def plant_names(taxon: str) -> tuple[str, str]:
    """The English and the scientific name of a plant of the list."""
    row = taxon_row(taxon) or {}
    return str(row.get("english_name", "")), str(row.get("scientific_name", taxon))


def plant_note(taxon: str) -> str:
    """What the model's plant list says of a plant, such as that it does poorly from seed."""
    return str((taxon_row(taxon) or {}).get("note", ""))


def batches_that_do_not_add_up() -> list[PlugBatch]:
    """Batches whose running totals differ from their history, which must never be."""
    wrong = []
    for batch in PlugBatch.objects.order_by("pk"):
        sums: dict[str, int] = {}
        for what, count in batch.events.values_list("what", "count"):
            sums[what] = sums.get(what, 0) + count
        taken = sums.get("withdrawn", 0) + sums.get("shortened", 0)
        told = (
            sums.get("pricked_out", 0),
            sums.get("lost", 0),
            sums.get("promised", 0) - taken,
            sums.get("handed_over", 0),
        )
        if told != (batch.pricked_out, batch.lost, batch.promised, batch.handed_over):
            wrong.append(batch)
    return wrong
