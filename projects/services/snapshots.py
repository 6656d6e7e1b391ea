"""Snapshots: all open tables as they are on one day, with checksums, kept for good so that they can be cited."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final
from uuid import UUID

import orjson
from django.conf import settings
from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from modelling.release import RELEASE
from projects.choices import ExportForm, ExportTable
from projects.contracts.exports import SnapshotNew
from projects.errors import WrongState
from projects.models import Job, Network, Snapshot, SnapshotFile
from projects.rules.access import Actor, demand
from projects.rules.exports import FORMS, MOST_SNAPSHOTS_A_DAY
from projects.selectors import exports as reads
from projects.selectors.records import Told
from projects.services.audit import record
from projects.services.base import found, person, save_new
from projects.services.export_parts import Hold, NoRoom, Parts, digest, make, no_half
from projects.services.exports import check_payload
from projects.services.jobs import job_create

SNAPSHOT: Final = "snapshot"
#: which keys are told, and the tables that come of them
_TOLD: Final = {
    ExportTable.SITES.value: frozenset({"sites"}),
    ExportTable.PROJECTS.value: frozenset({"projects"}),
    ExportTable.RETURNS.value: frozenset({"returns", "events", "records", "facts"}),
}
_ARCHIVE: Final = frozenset({"events", "records", "facts"})
_DAY: Final = timedelta(days=1)


def snapshot_ask(*, actor: Actor, asked: SnapshotNew, now: datetime) -> Snapshot:
    """Have a snapshot made of a network, or of all.

    For those who answer for the network's figures, coordinators and analysts, and for all networks operators: what is
    in it anybody may have, but it takes up the disk for good and bears the network's name when it is cited.
    """
    owner = person(actor)
    with transaction.atomic():
        network = found(Network, Q(), asked.network_id, "network", hold=True) if asked.network_id is not None else None
        demand(actor, "snapshot.create", network_id=network.pk if network is not None else None)
        if Snapshot.objects.filter(network=network, created_at__gt=now - _DAY).count() >= MOST_SNAPSHOTS_A_DAY:
            raise WrongState(f"{MOST_SNAPSHOTS_A_DAY} snapshots were asked for within a day; each is kept for good.")
        row = save_new(
            Snapshot(
                network=network, name=asked.name, about=asked.about, created_by_id=owner, release=RELEASE,
                created_at=now, updated_at=now,
            )
        )  # fmt: skip
        total = sum(reads.things(table, network, None).count() for table in _TOLD)
        row.job = job_create(
            kind=SNAPSHOT,
            payload={"snapshot": str(row.public_id), "total": max(total, 1)},
            actor_label="a snapshot of the records",
            actor_id=owner,
            network=network,
            now=now,
        )
        row.save(update_fields=["job"])
        record(actor, now, "snapshot_ask", "snapshot", row.public_id, network=network, after={"name": row.name})
    return row


def check_snapshot(payload: Any) -> int:
    """Return how much there is to do; raises JobRefused if the payload names no snapshot."""
    return check_payload(payload, "snapshot")


def snapshot_make(job: Job, lease: Hold) -> dict[str, Any]:
    """Make the files of a snapshot; called again, it goes on from the parts that are there."""
    row = Snapshot.objects.select_related("network").get(public_id=UUID(job.payload["snapshot"]))
    parts = Parts(Path(settings.EXPORTS_DIR) / "snapshots" / f"{row.public_id}.parts")
    if row.made_at is None:
        try:
            files = _make(row, parts, job, lease)
        except NoRoom:
            parts.clear()
            _take_away(reads.snapshot_folder(row))
            raise
        _publish(row, parts, files)
        row.refresh_from_db()
    parts.clear()
    return {"snapshot": str(row.public_id), "files": row.files.count()}


def _publish(row: Snapshot, parts: Parts, files: list[SnapshotFile]) -> None:
    now = timezone.now()
    with transaction.atomic():
        if Snapshot.objects.select_for_update().get(pk=row.pk).made_at is not None:
            return
        for file in files:
            file.save()
        licences = {network.name: network.licence for network in reads.networks_in(row.network)}
        Snapshot.objects.filter(pk=row.pk).update(made_at=now, updated_at=now, sites=parts.sites, licences=licences)


def _make(row: Snapshot, parts: Parts, job: Job, lease: Hold) -> list[SnapshotFile]:
    keys = parts.plan(lambda: {table: reads.keys_for(table, row.network, None) for table in _TOLD})
    parts.fill(keys, lambda table, some: reads.rows_for(table, some, _TOLD[table]), lease, job.progress_total)
    folder, on = reads.snapshot_folder(row), timezone.localdate(job.created_at)
    # of an attempt that ended before its files were told of
    _take_away(folder)
    files = []
    for table in ExportTable:
        for form in sorted(FORMS[table]):
            name = f"{table.value}.{reads.ending_of(form)}" if form != ExportForm.DARWIN_CORE else "darwin-core.zip"
            tables = _ARCHIVE if form == ExportForm.DARWIN_CORE else frozenset({table.value})
            chosen: Iterator[Told] = (told for told in parts.rows() if told[0] in tables)
            rows: Iterator[Any] = chosen if form == ExportForm.DARWIN_CORE else (one for _, one in chosen)
            made = make(folder / name, reads.writer_for(table, form, row.network, on), rows, f".{job.lease_token}")
            files.append(
                SnapshotFile(
                    snapshot=row, name=name, media_type=reads.media_type_of(form), rows=made.rows,
                    size_bytes=made.size_bytes, sha256=made.sha256,
                )
            )  # fmt: skip
            lease.progress(job.progress_total)
    files.append(_dictionary(row, folder))
    try:
        parts.still_shown()
    except BaseException:
        _take_away(folder)
        raise
    for file in files:
        (folder / file.name).chmod(0o400)
    return files


def _dictionary(row: Snapshot, folder: Path) -> SnapshotFile:
    path = folder / "dictionary.json"
    text = orjson.dumps(reads.dictionary() | {"about": reads.about_of(row.network)}, option=orjson.OPT_INDENT_2)
    with no_half(path) as file:
        file.write(text)
    return SnapshotFile(
        snapshot=row, name=path.name, media_type="application/json", rows=0, size_bytes=len(text), sha256=digest(path)
    )


def _take_away(folder: Path) -> None:
    for path in folder.glob("*"):
        path.unlink(missing_ok=True)
