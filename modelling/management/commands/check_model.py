"""The published trials beside what the model gives for them before it has learnt from any county."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from modelling.core.parameters import load
from modelling.trials import DRAWS, REFERENCE, behaviour, compare, markdown, text


class Command(BaseCommand):
    """Run the calibration trials through the model and print the table."""

    help = "Run the published sowing trials through the model; print its 10, 50 and 90 % points beside them."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--draws", type=int, default=DRAWS, help=f"draws (default {DRAWS})")
        parser.add_argument("--markdown", action="store_true", help="print Markdown, as in the model card")

    def handle(self, *args: Any, draws: int, **options: Any) -> None:
        parameters = load(REFERENCE)
        found = compare(parameters, draws)
        if options["markdown"]:
            self.stdout.write(f"{markdown(found)}\n\n{behaviour(parameters, draws)}")
        else:
            self.stdout.write(text(found))
