"""Reads of exports and snapshots: who has which, where the files lie, and what they are made of."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any, Final
from uuid import UUID

from django.conf import settings
from django.db.models import Q, QuerySet

from projects.choices import LICENCES, ExportForm, ExportTable, Licence, Publicity
from projects.errors import Gone, NotFound, WrongState
from projects.formats import CSV, DarwinCore, GeoJson, Parquet, Writer, columns_of
from projects.formats.columns import ABOUT, TABLES, Row
from projects.formats.darwin import DataSet
from projects.models import Export, MeadowProject, Network, ReturnVersion, ShieldedTaxon, Site, Snapshot
from projects.rules.access import Actor, visible_exports
from projects.rules.exports import FORMS
from projects.selectors.records import (
    Told,
    chunks,
    data_set_of,
    keys_of,
    open_projects,
    open_sites,
    open_versions,
    project_rows,
    records_in,
    site_rows,
    told,
)

#: what one name of a row is in each table
KEYS: Final[Mapping[str, str]] = {
    "sites": "site_id", "projects": "project_id", "returns": "return_id", "records": "occurrence_id",
}  # fmt: skip
#: ids asked for in one query
_AT_ONCE: Final = 500
_OF_ARCHIVE: Final = frozenset({"events", "records", "facts"})


# ------------------------------------------------------------------ what a file is made of


def things(table: str, network: Network | None, year: int | None) -> QuerySet[Any]:
    """The sites, projects or versions that a table is made of."""
    match table:
        case ExportTable.SITES:
            return open_sites(network)
        case ExportTable.PROJECTS:
            return open_projects(network)
    return open_versions(network, year)


def size_of(table: str, network: Network | None, year: int | None) -> int:
    """How many records, returns, projects or sites an export is of."""
    found = things(table, network, year)
    return records_in(found) if table in {ExportTable.RECORDS, ExportTable.FACTS} else found.count()


def keys_for(table: str, network: Network | None, year: int | None) -> list[int]:
    """Their keys, fixed from now on."""
    return keys_of(things(table, network, year))


def tables_of(table: str, form: str) -> frozenset[str]:
    """The tables of rows that a file needs."""
    return _OF_ARCHIVE if form == ExportForm.DARWIN_CORE else frozenset({table})


def rows_for(table: str, keys: Sequence[int], tables: frozenset[str]) -> Iterator[Told]:
    """The rows of these keys."""
    match table:
        case ExportTable.SITES:
            return (("sites", row) for row in site_rows(keys))
        case ExportTable.PROJECTS:
            return (("projects", row) for row in project_rows(keys))
    return told(keys, tables)


def writer_for(table: str, form: str, network: Network | None, made_on: date) -> Writer | DarwinCore:
    """What writes a table in a form."""
    about = about_of(network)
    match form:
        case ExportForm.PARQUET:
            return Parquet(columns_of(table), about)
        case ExportForm.GEOJSON:
            return GeoJson(columns_of(table), about, KEYS[table])
        case ExportForm.DARWIN_CORE:
            return DarwinCore(data_set_of(network, made_on) if network is not None else _data_set_of_all(made_on))
    return CSV(columns_of(table))


def networks_in(network: Network | None) -> list[Network]:
    """The network, or all of them."""
    return [network] if network is not None else list(Network.objects.order_by("pk"))


def licences_of(network: Network | None) -> list[str]:
    """The licences that rows go out under, the one that asks most first."""
    held = {row.licence for row in networks_in(network)}
    return [licence for licence in (Licence.CC_BY, Licence.OGL, Licence.CC0) if licence in held] or [Licence.CC_BY]


def about_of(network: Network | None) -> dict[str, str]:
    """What a file says of itself."""
    licences = licences_of(network)
    return {
        "title": f"Meadow records of {network.name if network is not None else 'all networks'}",
        "licence": ", ".join(licences),
        "licence_address": ", ".join(LICENCES[Licence(licence)] for licence in licences),
        "attribution": ", ".join(row.name for row in networks_in(network)),
    }


def _data_set_of_all(made_on: date) -> DataSet:
    about, licence = about_of(None), licences_of(None)[0]
    text = "Agreed yearly returns of meadows that are shown to everybody. Each row names its own licence and network."
    return DataSet(
        "urn:forbcast:all-networks", about["title"], text, about["licence"], LICENCES[Licence(licence)],
        about["attribution"] or "Forbcast", made_on,
    )  # fmt: skip


def dictionary() -> dict[str, Any]:
    """What is in each column of each table, in which unit, and which forms there are."""
    return {
        "tables": [
            {
                "name": table,
                "about": ABOUT[table],
                "forms": sorted(FORMS[table]),
                "columns": [
                    {
                        "name": column.name, "type": column.kind, "unit": column.unit or None,
                        "meaning": column.meaning, "darwin_core": column.term or None,
                    }
                    for column in columns
                ],
            }
            for table, columns in TABLES.items()
        ],
        "licences": [{"id": licence.value, "address": LICENCES[licence]} for licence in Licence],
    }  # fmt: skip


# ------------------------------------------------------------------ what may still be shown


def sites_shown(table: str, keys: Sequence[int]) -> dict[str, int]:
    """The sites that these rows tell of, each with the side of the square it is shown by."""
    sides: dict[str, int] = {}
    for chunk in chunks(keys, _AT_ONCE):
        match table:
            case ExportTable.SITES:
                inside = Q(pk__in=chunk)
            case ExportTable.PROJECTS:
                inside = Q(pk__in=MeadowProject.objects.filter(pk__in=chunk).values("site"))
            case _:
                inside = Q(pk__in=ReturnVersion.objects.filter(pk__in=chunk).values("outcome__project__site"))
        shown = Site.objects.exclude(publicity=Publicity.PRIVATE).filter(inside)
        sides |= {str(key): side or 0 for key, side in shown.values_list("public_id", "shown_side_m")}
    return sides


def no_longer_shown(sites: Mapping[str, int]) -> int:
    """How many of these sites are not shown any more, or by a larger square only."""
    hidden = 0
    for chunk in chunks(list(sites), _AT_ONCE):
        asked = [UUID(key) for key in chunk]
        shown = Site.objects.exclude(publicity=Publicity.PRIVATE).filter(public_id__in=asked)
        now = {str(key): side or 0 for key, side in shown.values_list("public_id", "shown_side_m")}
        hidden += sum(key not in now or now[key] > sites[key] for key in chunk)
    return hidden


def shielded_since(network: Network | None, moment: datetime) -> bool:
    """Whether a plant came to be shown coarsely, or more so, since."""
    rows = ShieldedTaxon.objects.filter(updated_at__gt=moment)
    return (rows if network is None else rows.filter(network=network)).exists()


# ------------------------------------------------------------------ exports


def export_list(actor: Actor) -> QuerySet[Export]:
    """Files that the actor asked for."""
    return Export.objects.filter(visible_exports(actor)).select_related("network", "job").defer("sites")


def export_get(actor: Actor, public_id: UUID) -> Export:
    """One of them; raises NotFound."""
    row = export_list(actor).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no export {public_id}, or none that you may see.")
    return row


def ending_of(form: str) -> str:
    """How the name of a file ends."""
    return {
        ExportForm.CSV: CSV.ending, ExportForm.PARQUET: Parquet.ending, ExportForm.GEOJSON: GeoJson.ending,
        ExportForm.DARWIN_CORE: DarwinCore.ending,
    }[ExportForm(form)]  # fmt: skip


def media_type_of(form: str) -> str:
    """What a file is."""
    return {
        ExportForm.CSV: CSV.media_type, ExportForm.PARQUET: Parquet.media_type, ExportForm.GEOJSON: GeoJson.media_type,
        ExportForm.DARWIN_CORE: DarwinCore.media_type,
    }[ExportForm(form)]  # fmt: skip


def export_path(row: Export) -> Path:
    """Where the file of an export lies."""
    return Path(settings.EXPORTS_DIR) / f"{row.public_id}.{ending_of(row.form)}"


def export_file(actor: Actor, public_id: UUID, now: datetime) -> tuple[Export, Path]:
    """An export whose file can be fetched; raises WrongState where it is not made yet, Gone where it is no more."""
    row = export_get(actor, public_id)
    if row.made_at is None or row.expires_at is None:
        raise WrongState("The file is not made yet; its job tells how far it has come.")
    path = export_path(row)
    if row.deleted_at is not None or row.expires_at <= now or not path.exists():
        raise Gone(f"The file was kept until {row.expires_at:%-d %B %Y}. Ask for it again.")
    if no_longer_shown(row.sites) or shielded_since(row.network, row.created_at):
        raise Gone("Something in this file is not shown as it was when it was made. Ask for it again.")
    return row, path


# ------------------------------------------------------------------ snapshots


def snapshot_list(actor: Actor) -> QuerySet[Snapshot]:
    """Snapshots that are made; everybody may read them."""
    rows = Snapshot.objects.filter(made_at__isnull=False).defer("sites")
    return rows.select_related("network").prefetch_related("files")


def snapshot_get(actor: Actor, public_id: UUID) -> Snapshot:
    """One snapshot; raises NotFound."""
    row = snapshot_list(actor).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no snapshot {public_id}, or it is not made yet.")
    return row


def snapshot_folder(row: Snapshot) -> Path:
    """Where the files of a snapshot lie."""
    return Path(settings.EXPORTS_DIR) / "snapshots" / str(row.public_id)


def snapshot_file(actor: Actor, public_id: UUID, name: str) -> tuple[Any, Path]:
    """One file of a snapshot; raises NotFound."""
    snapshot = snapshot_get(actor, public_id)
    row = snapshot.files.filter(name=name).first()
    if row is None:
        raise NotFound(f"The snapshot has no file {name[:60]!r}.")
    return row, snapshot_folder(snapshot) / row.name


def rows_of_parts(rows: Iterator[Told], tables: frozenset[str]) -> Iterator[Row]:
    """Rows of some tables among others."""
    return (row for table, row in rows if table in tables)
