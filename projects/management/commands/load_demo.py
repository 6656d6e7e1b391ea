"""The invented county of Saltmere, for trying things out."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import connection

from projects.errors import WrongState
from projects.services import demo


class Command(BaseCommand):
    """Fill an empty database with an invented county; again, it changes nothing."""

    help = "Fill an empty database with an invented county and its people, who all have one known password."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--force",
            action="store_true",
            help="also into another database than SQLite; anybody who can reach it can then sign in",
        )

    def handle(self, *args: Any, force: bool, **options: Any) -> None:
        try:
            if not demo.is_loaded() and connection.vendor != "sqlite" and not force:
                raise CommandError(
                    f"The invented county’s people have a known password, and this database ({connection.vendor}) "
                    "may serve others. With --force it is loaded all the same."
                )
            demo.county_load()
        except WrongState as refusal:
            raise CommandError(refusal.detail) from refusal
        self.stdout.write(f"Saltmere, an invented county in the sea, is there: {demo.all_of_it()}.")
        self.stdout.write(f"It is told up to {demo.REFERENCE_DAY:%-d %B %Y}.")
        self.stdout.write(f"Sign in as one of these people; the password of all is “{demo.PASSWORD}”.")
        width = max(len(person.email) for person in demo.cast())
        for person in demo.cast():
            self.stdout.write(f"  {person.email:{width}}  {person.name}, {person.what}")
