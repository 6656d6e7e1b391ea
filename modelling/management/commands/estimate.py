"""The same estimate as the API gives, in the terminal."""

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

import orjson
from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from modelling import services
from modelling.errors import RequestRefused
from modelling.report import estimate_text

STDIN = "-"


class Command(BaseCommand):
    """Print what one site needs, costs and becomes."""

    help = "Read a request as the API takes it, and print its estimate: as text, or as canonical JSON."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", help="request in JSON; - reads standard input")
        parser.add_argument("--json", action="store_true", help="print the answer as the API gives it")

    def handle(self, *args: Any, file: str, **options: Any) -> None:
        try:
            asked, lowered = services.fit_draws(services.read_estimate(read(file)), settings.LARGEST_CALL_CELLS)
            answer = services.estimate_now(asked, today=timezone.localdate(), lowered=lowered)
        except RequestRefused as refused:
            for error in refused.errors:
                self.stderr.write(f"{error.pointer or '/'}: {error.detail}")
            sys.exit(1)
        if options["json"]:
            self.stdout.write(services.canonical_text(answer))
        else:
            self.stdout.write(estimate_text(answer), ending="")


def read(file: str) -> Any:
    """Return the JSON in a file; raises CommandError if there is none."""
    try:
        raw = sys.stdin.buffer.read() if file == STDIN else Path(file).read_bytes()
    except OSError as error:
        raise CommandError(f"{file} cannot be read: {error.strerror}.") from error
    try:
        return orjson.loads(raw)
    except orjson.JSONDecodeError as error:
        name = "Standard input" if file == STDIN else file
        raise CommandError(f"{name} is not JSON: {error.msg}, at line {error.lineno}, column {error.colno}.") from error
