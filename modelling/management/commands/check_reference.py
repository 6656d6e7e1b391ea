"""The reference tables, checked: no number without unit and source."""

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from modelling.core.parameters import read_folder
from modelling.selectors import REFERENCE


class Command(BaseCommand):
    """Check every row of the reference tables, and list what is wrong."""

    help = "Check the reference tables in a folder (default: the project's own) and list every fault."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("folder", nargs="?", type=Path, default=REFERENCE, help="folder of the tables")

    def handle(self, *args: Any, folder: Path, **options: Any) -> None:
        if not folder.is_dir():
            raise CommandError(f"{folder} is no folder.")
        found, faults = read_folder(folder)
        for fault in faults:
            self.stderr.write(str(fault))
        numbers = len(found.numbers) + sum(len(packs) for packs in found.packs.values())
        words = sum(len(rows) for rows in found.nouns.values())
        self.stdout.write(
            f"{numbers:,} numbers, {words:,} rows of words, {len(found.sources):,} sources, "
            f"{len(faults):,} faults; checksum {found.checksum}"
        )
        if faults:
            sys.exit(1)
