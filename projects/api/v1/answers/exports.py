"""Files of records, and snapshots."""

from datetime import datetime
from typing import Any
from uuid import UUID

from projects.api.v1.answers.base import Answer, Named, NounAnswer, named_if_any, noun
from projects.choices import LICENCES, Licence
from projects.models import Export, Snapshot
from projects.selectors.exports import no_longer_shown


class ExportAnswer(NounAnswer):
    """A file that was asked for."""

    table: str
    form: str
    network: Named | None
    """Null for all networks."""
    year: int | None
    state: str
    """waiting, running, failed, made, or deleted once its time was over."""
    job: UUID
    rows: int | None
    size_bytes: int | None
    sha256: str
    expires_at: datetime | None
    file: str
    """Address of the file."""


class SnapshotFileAnswer(Answer):
    """A file of a snapshot; it never changes."""

    name: str
    media_type: str
    rows: int
    size_bytes: int
    sha256: str
    address: str


class LicenceAnswer(Answer):
    """What the rows of a network go out under."""

    network: str
    licence: str
    address: str


class SnapshotAnswer(NounAnswer):
    """All open tables of a network, or of all, as they were on one day."""

    name: str
    about: str
    network: Named | None
    """Null for all networks."""
    made_at: datetime
    release: str
    licences: list[LicenceAnswer]
    cite_as: str
    no_longer_shown: int | None
    """Sites in it that are not shown any more, or by a larger square only; in the list of snapshots null."""
    note: str
    files: list[SnapshotFileAnswer]


class ColumnAnswer(Answer):
    """One column."""

    name: str
    type: str
    """text, integer, number or date."""
    unit: str | None
    meaning: str
    darwin_core: str | None
    """The term of Darwin Core that says the same."""


class TableAnswer(Answer):
    """One table."""

    name: str
    about: str
    forms: list[str]
    columns: list[ColumnAnswer]


class LicenceNamed(Answer):
    """An open licence."""

    id: str
    address: str


class DictionaryAnswer(Answer):
    """What is in each column of each table."""

    tables: list[TableAnswer]
    licences: list[LicenceNamed]


def export_answer(row: Export, address: str) -> dict[str, Any]:
    job = row.job
    if job is None:
        raise ValueError("An export has no job.")
    state = "deleted" if row.deleted_at is not None else "made" if row.made_at is not None else job.state
    found = ExportAnswer(
        **noun(row), table=row.table, form=row.form, network=named_if_any(row.network), year=row.year, state=state,
        job=job.public_id, rows=row.rows, size_bytes=row.size_bytes, sha256=row.sha256, expires_at=row.expires_at,
        file=f"{address}exports/{row.public_id}/file/",
    )  # fmt: skip
    return found.model_dump(mode="json")


def snapshot_answer(row: Snapshot, address: str, *, whole: bool = False) -> dict[str, Any]:
    made_at = row.made_at
    if made_at is None:
        raise ValueError("A snapshot that is not made has no answer.")
    own = f"{address}snapshots/{row.public_id}/"
    hidden = no_longer_shown(row.sites) if whole else None
    found = SnapshotAnswer(
        **noun(row), name=row.name, about=row.about, network=named_if_any(row.network), made_at=made_at,
        release=row.release,
        licences=[
            LicenceAnswer(network=name, licence=licence, address=LICENCES[Licence(licence)])
            for name, licence in sorted(row.licences.items())
        ],
        cite_as=cited(row, own), no_longer_shown=hidden, note=note_of(hidden),
        files=[
            SnapshotFileAnswer(
                name=file.name, media_type=file.media_type, rows=file.rows, size_bytes=file.size_bytes,
                sha256=file.sha256, address=f"{own}files/{file.name}/",
            )
            for file in row.files.all()
        ],
    )  # fmt: skip
    return found.model_dump(mode="json")


def cited(row: Snapshot, address: str) -> str:
    """How a snapshot is cited."""
    holders = ", ".join(sorted(row.licences))
    return f"{holders} ({row.made_at:%Y}): {row.name}. Snapshot of {row.made_at:%-d %B %Y}. {address}"


def note_of(hidden: int | None) -> str:
    """What became of the sites in a snapshot since."""
    if not hidden:
        return ""
    sites = "1 site in it is" if hidden == 1 else f"{hidden} sites in it are"
    return (
        f"{sites} not shown any more as on that day. The files stay as they were cited; please use what is shown now "
        "where the place matters. Places that were private were never in it."
    )
