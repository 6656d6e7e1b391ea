"""Everything from one database into another, such as from the embedded one to a server's, and proof that it arrived."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import orjson
from django.apps import apps
from django.core.management.color import no_style
from django.db import DEFAULT_DB_ALIAS, connections, models, transaction
from django.db.migrations.recorder import MigrationRecorder
from django.db.utils import ConnectionHandler

from projects.errors import WrongState

SOURCE: Final = "moved_from"
_ROWS: Final = 500
#: filled by migrating, alike everywhere
_MADE_BY_MIGRATING: Final = frozenset({"contenttypes", "auth"})


@dataclass(frozen=True)
class Moved:
    """What came over."""

    tables: int
    rows: int


def tables() -> list[type[models.Model]]:
    """Every table with rows of people or of the service."""
    return [
        model
        for model in apps.get_models(include_auto_created=True)
        if model._meta.app_label not in _MADE_BY_MIGRATING and model._meta.managed and not model._meta.proxy
    ]


def all_move(source: dict[str, Any]) -> Moved:
    """Copy every row of the database so described into the one in use, all or nothing.

    Raises
    ------
    WrongState
        If the two were not migrated alike, the one in use is not empty, or a table did not arrive as it was.
    """
    connections.settings[SOURCE] = ConnectionHandler({DEFAULT_DB_ALIAS: source}).settings[DEFAULT_DB_ALIAS]
    try:
        return _move()
    finally:
        connections[SOURCE].close()
        del connections[SOURCE]
        del connections.settings[SOURCE]


def _move() -> Moved:
    if _applied(SOURCE) != _applied(DEFAULT_DB_ALIAS):
        raise WrongState("The two databases are not migrated alike: run migrate of this release on both, then again.")
    every = tables()
    for model in every:
        if model._base_manager.using(DEFAULT_DB_ALIAS).exists():
            raise WrongState(f"The database in use has rows already, in {model._meta.db_table}; it must be a new one.")
    rows = 0
    # keys that point in a circle are looked at when the transaction ends
    with transaction.atomic(using=SOURCE), transaction.atomic():
        for model in every:
            for block in _blocks(model):
                model._base_manager.using(DEFAULT_DB_ALIAS).bulk_create(block)
                rows += len(block)
        for model in every:
            if checksum(model, SOURCE) != checksum(model, DEFAULT_DB_ALIAS):
                raise WrongState(f"{model._meta.db_table} did not arrive as it was; nothing has been moved.")
        target = connections[DEFAULT_DB_ALIAS]
        with target.cursor() as cursor:
            for statement in target.ops.sequence_reset_sql(no_style(), every):
                cursor.execute(statement)
    return Moved(len(every), rows)


def _applied(alias: str) -> set[tuple[str, str]]:
    return set(MigrationRecorder(connections[alias]).applied_migrations())


def _blocks(model: type[models.Model]) -> Iterator[list[models.Model]]:
    block: list[models.Model] = []
    for row in model._base_manager.using(SOURCE).order_by("pk").iterator(chunk_size=_ROWS):
        block.append(row)
        if len(block) == _ROWS:
            yield block
            block = []
    if block:
        yield block


def checksum(model: type[models.Model], alias: str) -> str:
    """SHA-256 of all rows of a table in the order of their keys, alike whatever database keeps them."""
    found = hashlib.sha256()
    names = [field.attname for field in model._meta.concrete_fields]
    # collations differ between databases, so texts are put in order here
    rows = model._base_manager.using(alias).order_by("pk").values_list(*names)
    lines = (orjson.dumps(row, default=_plain, option=orjson.OPT_SORT_KEYS) for row in rows.iterator(chunk_size=_ROWS))
    for line in sorted(lines) if not isinstance(model._meta.pk, models.AutoField) else lines:
        found.update(line)
    return found.hexdigest()


def _plain(value: object) -> str:
    return bytes(value).hex() if isinstance(value, bytes | memoryview) else str(value)
