"""Files of records: asked for, made by a job, deleted when their time is over."""

from __future__ import annotations

import logging
import shutil
from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final
from uuid import UUID

from django.conf import settings
from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from projects.choices import ExportForm, ExportTable
from projects.contracts.exports import ExportNew
from projects.errors import WrongState, broken
from projects.models import Export, Job, Network
from projects.rules.access import Actor, demand
from projects.rules.exports import FORMS, KEPT, MOST_EXPORTS
from projects.rules.jobs import JobRefused
from projects.selectors import exports as reads
from projects.services.audit import record
from projects.services.base import found, person, save_new
from projects.services.export_parts import Hold, Made, NoRoom, Parts, make
from projects.services.jobs import job_create

EXPORT: Final = "export"
#: half files and parts of jobs that nobody took up again are left for so long
_LEFT_LYING: Final = timedelta(days=2)
#: files that one sweep deletes
_AT_ONCE: Final = 500
logger = logging.getLogger(__name__)


def export_checked(asked: ExportNew) -> Network | None:
    """The network that is asked about; raises RuleBroken where a table has no such form or no years."""
    forms = FORMS[asked.table]
    if asked.form not in forms:
        right = ", ".join(sorted(forms))
        text = f"The table {asked.table} has no form {asked.form}; it has {right}."
        raise broken("/form", "contradiction", text, asked.form, right)
    if asked.year is not None and asked.table in {ExportTable.SITES, ExportTable.PROJECTS}:
        text = f"The table {asked.table} is of no year; leave it out."
        raise broken("/year", "contradiction", text, asked.year, "no year")
    return found(Network, Q(), asked.network_id, "network") if asked.network_id is not None else None


def export_ask(*, actor: Actor, asked: ExportNew, now: datetime) -> Export:
    """Ask for a file that is made in the background."""
    owner = person(actor)
    demand(actor, "export.read", owner_id=owner)
    network = export_checked(asked)
    with transaction.atomic():
        held = Q(expires_at__gt=now) | Q(made_at__isnull=True, job__state__in=["waiting", "running"])
        if Export.objects.filter(held, created_by=owner, deleted_at__isnull=True).count() >= MOST_EXPORTS:
            raise WrongState(f"You have {MOST_EXPORTS} files waiting or lying here; they go after {KEPT.days} days.")
        row = save_new(
            Export(
                network=network, table=asked.table, form=asked.form, year=asked.year, created_by_id=owner,
                created_at=now, updated_at=now,
            )
        )  # fmt: skip
        total = reads.things(asked.table, network, asked.year).count()
        row.job = job_create(
            kind=EXPORT,
            payload={"export": str(row.public_id), "total": max(total, 1)},
            actor_label=f"a file of {asked.table}",
            actor_id=owner,
            network=network,
            now=now,
        )
        row.save(update_fields=["job"])
        record(
            actor, now, "export_ask", "export", row.public_id, network=network,
            after={"table": row.table, "form": row.form, "year": row.year},
        )  # fmt: skip
    return row


def check_export(payload: Any) -> int:
    """Return how much there is to do; raises JobRefused if the payload names no export."""
    return check_payload(payload, "export")


def check_payload(payload: Any, noun: str) -> int:
    """Return the total that a payload tells; raises JobRefused if it names no such thing."""
    try:
        UUID(payload[noun])
        total = int(payload["total"])
    except (KeyError, TypeError, ValueError, AttributeError):
        raise JobRefused(f"A job of this kind names its {noun} and how much there is to do.") from None
    return total


def export_make(job: Job, lease: Hold) -> dict[str, Any]:
    """Make the file of an export part by part; called again, it goes on from the parts that are there."""
    row = Export.objects.select_related("network").get(public_id=UUID(job.payload["export"]))
    path, parts = reads.export_path(row), Parts(work_folder(row.public_id))
    if row.made_at is None:
        try:
            made = _make(row, path, parts, job, lease)
        except NoRoom:
            parts.clear()
            raise
        now = timezone.now()
        Export.objects.filter(pk=row.pk, made_at__isnull=True).update(
            rows=made.rows, size_bytes=made.size_bytes, sha256=made.sha256, sites=parts.sites, made_at=now,
            expires_at=now + KEPT, updated_at=now,
        )  # fmt: skip
        row.refresh_from_db()
    parts.clear()
    return {"export": str(row.public_id), "rows": row.rows, "size_bytes": row.size_bytes, "sha256": row.sha256}


def _make(row: Export, path: Path, parts: Parts, job: Job, lease: Hold) -> Made:
    tables = reads.tables_of(row.table, row.form)
    keys = parts.plan(lambda: {row.table: reads.keys_for(row.table, row.network, row.year)})
    parts.fill(keys, lambda table, some: reads.rows_for(table, some, tables), lease, job.progress_total)
    writer = reads.writer_for(row.table, row.form, row.network, timezone.localdate(job.created_at))
    told = parts.rows()
    rows = told if row.form == ExportForm.DARWIN_CORE else reads.rows_of_parts(told, tables)
    made = make(path, writer, rows, f".{job.lease_token}")
    try:
        parts.still_shown()
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return made


def work_folder(public_id: UUID) -> Path:
    """Where the parts of a file lie while it is made."""
    return Path(settings.EXPORTS_DIR) / f"{public_id}.parts"


def exports_forget(*, now: datetime) -> int:
    """Delete files whose time is over, and what was left lying by work that nobody took up again; how many files."""
    gone = 0
    for row in Export.objects.filter(expires_at__lte=now, deleted_at__isnull=True).defer("sites")[:_AT_ONCE]:
        try:
            reads.export_path(row).unlink(missing_ok=True)
        except OSError as error:
            logger.warning("The file of export %s could not be deleted: %s", row.public_id, error)
            continue
        gone += Export.objects.filter(pk=row.pk).update(deleted_at=now, sites={}, updated_at=now)
    before = (now - _LEFT_LYING).timestamp()
    folder = Path(settings.EXPORTS_DIR)
    for path in [*folder.glob("*.parts"), *folder.glob("*.half"), *folder.glob("snapshots/*.parts")]:
        # another worker may be quicker
        with suppress(OSError):
            if path.stat().st_mtime < before:
                if path.is_dir():
                    shutil.rmtree(path)
                else:
                    path.unlink()
    return gone
