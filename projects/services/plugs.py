"""Plug plants: sown, pricked out, lost, promised, handed over. Never more is promised than lives."""

from __future__ import annotations

from datetime import date, datetime
from uuid import UUID

from django.db import transaction
from django.db.models import F, Q
from django.utils import timezone

from modelling.selectors import taxon_row
from projects.choices import PlugAct, PlugState
from projects.contracts.plugs import PlugBatchNew, PlugNoted, PlugPromiseMove, PlugPromiseNew
from projects.errors import WrongState, broken
from projects.models import Group, MeadowProject, Network, PlugBatch, PlugEvent, PlugPromise, SeedLot
from projects.rules.access import Actor, demand, visible_in_network, visible_projects
from projects.services.audit import record, snapshot
from projects.services.base import found, save_changed, save_new, unchanged_since


def batch_create(*, actor: Actor, network_id: UUID, asked: PlugBatchNew, now: datetime) -> PlugBatch:
    """Add a batch with the first line of its history."""
    with transaction.atomic():
        network = found(Network, Q(), network_id, "network")
        demand(actor, "plug.create", network_id=network.pk)
        if taxon_row(asked.taxon) is None:
            text = f"{asked.taxon!r} is not a plant known here. The list is at /api/v1/vocabularies/."
            raise broken("/taxon", "unknown_plant", text, asked.taxon, "a key of the plant list")
        _not_to_come(asked.sown_on, "/sown_on", now)
        if asked.ready_on is not None and asked.ready_on < asked.sown_on:
            ready = asked.ready_on.isoformat()
            text = f"{ready} is before it was sown, {asked.sown_on.isoformat()}."
            raise broken("/ready_on", "out_of_range", text, ready, f"{asked.sown_on.isoformat()} or later")
        lot = SeedLot.objects.filter(network=network, public_id=asked.lot_id).first() if asked.lot_id else None
        if asked.lot_id and lot is None:
            text = f"The network has no lot {asked.lot_id}."
            raise broken("/lot_id", "unknown", text, str(asked.lot_id), "one of its lots")
        group = Group.objects.filter(network=network, public_id=asked.group_id).first() if asked.group_id else None
        if asked.group_id and group is None:
            text = f"The network has no group {asked.group_id}."
            raise broken("/group_id", "unknown", text, str(asked.group_id), "one of its groups")
        row = save_new(
            PlugBatch(
                network=network, group=group, lot=lot, taxon=asked.taxon, seed_from=asked.seed_from,
                sown_on=asked.sown_on, sown_count=asked.sown_count, ready_on=asked.ready_on, note=asked.note,
                created_by_id=actor.user_id, created_at=now, updated_at=now,
            )
        )  # fmt: skip
        _entry(actor, row, PlugAct.SOWN, asked.sown_count, asked.sown_on, now)
        record(actor, now, "plugs_create", "plugs", row.public_id, network=network, after=snapshot(row))
    return row


def batch_note(*, actor: Actor, batch_id: UUID, asked: PlugNoted, now: datetime) -> PlugBatch:
    """Note plants potted on or lost.

    A loss is a fact and is never refused for what was promised: where too few are left, the latest promises are
    shortened, and the history says so.
    """
    with transaction.atomic():
        row = _batch(actor, batch_id)
        demand(actor, "plug.tell", group_id=row.group_id, network_id=row.network_id)
        _not_to_come(asked.on, "/on", now)
        if asked.on < row.sown_on:
            on, sown = asked.on.isoformat(), row.sown_on.isoformat()
            raise broken("/on", "out_of_range", f"{on} is before it was sown, {sown}.", on, f"{sown} or later")
        if asked.what == PlugAct.PRICKED_OUT:
            left = row.sown_count - row.pricked_out
            if asked.count > left:
                text = f"{row.sown_count} were sown and {row.pricked_out} potted on; {asked.count} more cannot be."
                raise broken("/count", "out_of_range", text, asked.count, f"at most {left}")
            _add(row, pricked_out=asked.count, alive=asked.count)
        else:
            here = row.alive - row.handed_over
            if asked.count > here:
                text = f"{here} are here; {asked.count} cannot have died."
                raise broken("/count", "out_of_range", text, asked.count, f"at most {here}")
            _shorten(actor, row, row.promised - (row.alive - asked.count), asked.on, now)
            _add(row, lost=asked.count, alive=-asked.count)
        _entry(actor, row, PlugAct(asked.what), asked.count, asked.on, now, note=asked.note)
        _touch(actor, row, f"plugs_{asked.what}", {"count": asked.count}, now)
    return row


def _shorten(actor: Actor, row: PlugBatch, missing: int, on: date, now: datetime) -> None:
    """Take so many back from open promises, the latest first."""
    for promise in row.promises.filter(state=PlugState.PROMISED).order_by("-created_at", "-pk"):
        if missing <= 0:
            return
        fewer = min(missing, promise.count)
        promise.count -= fewer
        promise.fewer += fewer
        if promise.count == 0:
            promise.state = PlugState.WITHDRAWN
        save_changed(promise, now)
        _add(row, promised=-fewer)
        _entry(actor, row, PlugAct.SHORTENED, fewer, on, now, promise)
        missing -= fewer


def plugs_promise(*, actor: Actor, batch_id: UUID, asked: PlugPromiseNew, now: datetime) -> PlugPromise:
    """Promise plants of a batch to a project; no more than live and are not promised yet."""
    with transaction.atomic():
        row = _batch(actor, batch_id)
        demand(actor, "plug.promise", network_id=row.network_id)
        seen = visible_projects(actor) & Q(network=row.network_id)
        project = MeadowProject.objects.filter(seen, public_id=asked.project_id).first()
        if project is None:
            text = f"The network has no project {asked.project_id}."
            raise broken("/project_id", "unknown", text, str(asked.project_id), "one of its projects")
        left = row.alive - row.promised
        if asked.count > left:
            text = f"{row.alive} live and {row.promised} of them are promised; {asked.count} more cannot be."
            raise broken("/count", "out_of_range", text, asked.count, f"at most {left}")
        promise = save_new(
            PlugPromise(
                batch=row, group_id=project.group_id, network_id=row.network_id, project=project, count=asked.count,
                created_by_id=actor.user_id, created_at=now, updated_at=now,
            )
        )  # fmt: skip
        _add(row, promised=asked.count)
        _entry(actor, row, PlugAct.PROMISED, asked.count, timezone.localdate(now), now, promise)
        _touch(actor, row, "plugs_promise", {"count": asked.count, "promise": str(promise.public_id)}, now)
    return promise


def promise_move(
    *, actor: Actor, public_id: UUID, asked: PlugPromiseMove, if_version: int | None, now: datetime
) -> PlugPromise:
    """Hand promised plants over, or take the promise back."""
    with transaction.atomic():
        first = found(PlugPromise, visible_in_network(actor), public_id, "promise of plugs", with_=("batch",))
        row = _batch(actor, first.batch.public_id)
        promise = PlugPromise.objects.select_for_update().get(pk=first.pk)
        demand(actor, "plug.hand_over", network_id=row.network_id)
        unchanged_since(promise, if_version)
        if promise.state != PlugState.PROMISED:
            raise WrongState(f"This is {promise.get_state_display().lower()} already.")
        today = timezone.localdate(now)
        if asked.to == PlugState.HANDED_OVER:
            promise.handed_over_on = today
            _add(row, handed_over=promise.count)
        else:
            _add(row, promised=-promise.count)
        promise.state = asked.to
        save_changed(promise, now)
        _entry(actor, row, PlugAct(asked.to), promise.count, today, now, promise)
        _touch(actor, row, f"plugs_{asked.to}", {"count": promise.count, "promise": str(promise.public_id)}, now)
    return promise


def _batch(actor: Actor, public_id: UUID) -> PlugBatch:
    return found(PlugBatch, visible_in_network(actor), public_id, "batch of plugs", hold=True)


def _add(row: PlugBatch, **changes: int) -> None:
    """Change running totals by one UPDATE, in which the database looks at what must hold together."""
    PlugBatch.objects.filter(pk=row.pk).update(**{name: F(name) + count for name, count in changes.items()})
    row.refresh_from_db(fields=list(changes))


def _touch(actor: Actor, row: PlugBatch, act: str, told: dict[str, object], now: datetime) -> None:
    PlugBatch.objects.filter(pk=row.pk).update(version=F("version") + 1, updated_at=now)
    row.refresh_from_db(fields=["version", "updated_at"])
    record(actor, now, act, "plugs", row.public_id, network=row.network_id, after=told)


def _entry(
    actor: Actor, row: PlugBatch, what: PlugAct, count: int, on: date, now: datetime,
    promise: PlugPromise | None = None, note: str = "",
) -> None:  # fmt: skip
    save_new(
        PlugEvent(
            batch=row, what=what, count=count, on=on, promise=promise, note=note, created_by_id=actor.user_id,
            created_at=now,
        )
    )  # fmt: skip


def _not_to_come(on: date, pointer: str, now: datetime) -> None:
    if on > timezone.localdate(now):
        text = f"{on.isoformat()} is still to come."
        raise broken(pointer, "in_future", text, on.isoformat(), "a day up to today")
