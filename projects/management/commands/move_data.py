"""From the laptop's database to a server's."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from config.settings import environment
from projects.errors import WrongState
from projects.services import moving


class Command(BaseCommand):
    """Copy every row of an SQLite file into the database in use, which must be migrated and empty."""

    help = (
        "Copy every row of an SQLite file into the database that DATABASE_URL names, which must be migrated and empty; "
        "compares every row afterwards, and moves all or nothing. The file is only read. Stop the service before."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="the SQLite file, such as .forbcast/forbcast.sqlite3")

    def handle(self, *args: Any, file: Path, **options: Any) -> None:
        if not file.is_file():
            raise CommandError(f"There is no file {file}.")
        try:
            moved = moving.all_move(environment.sqlite(file))
        except WrongState as refusal:
            raise CommandError(refusal.detail) from refusal
        self.stdout.write(f"{moved.rows:,} rows of {moved.tables} tables are here, each compared with where it was.")
