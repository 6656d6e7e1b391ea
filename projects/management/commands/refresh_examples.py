"""The examples that people read, made again from the model as it is: run after a change that moves numbers."""

from argparse import ArgumentParser
from io import StringIO
from pathlib import Path
from typing import Any

import orjson
from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from modelling import services
from projects.api.v1.examples import FOLDER, read, shortened

README = settings.BASE_DIR / "README.md"
SNAPSHOT = settings.BASE_DIR / "tests" / "snapshots" / "openapi-v1.yaml"
START = "<!-- printed by: manage.py estimate fixtures/worked_examples/churchyard.json -->\n```text\n"
END = "```\n"


class Command(BaseCommand):
    """Rewrite README's estimate, the answers shown in the API's description, and its snapshot."""

    help = "Rewrite README's estimate, the example answers of the API, and the snapshot of its description."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--check", action="store_true", help="write nothing; fail if a file would change")

    def handle(self, *args: Any, check: bool, **options: Any) -> None:
        files = rewritten()
        stale = [path for path, text in files.items() if not holds(path, text)]
        if check:
            if stale:
                raise CommandError(f"Not as the model has it: {', '.join(map(shown_path, stale))}.")
            self.stdout.write("The examples are as the model has them.")
            return
        for path, text in files.items():
            path.write_text(text, encoding="utf-8", newline="\n")
        # Last, since it holds the answers just written.
        call_command("spectacular", "--validate", "--fail-on-warn", "--file", str(SNAPSHOT))
        self.stdout.write(f"Rewritten: {', '.join(map(shown_path, stale)) or 'nothing'}; {shown_path(SNAPSHOT)}.")


def holds(path: Path, text: str) -> bool:
    return path.is_file() and path.read_text(encoding="utf-8") == text


def shown_path(path: Path) -> str:
    return path.relative_to(settings.BASE_DIR).as_posix()


def rewritten() -> dict[Path, str]:
    """Return what the files should hold: README and the example answers."""
    return {
        README: readme(README.read_text(encoding="utf-8")),
        FOLDER / "churchyard.answer.json": shown(estimate("churchyard")),
        FOLDER / "comparison.answer.json": shown(comparison("comparison")),
    }


def readme(text: str) -> str:
    """Return README's text with the churchyard's estimate as the command prints it."""
    out = StringIO()
    call_command("estimate", str(FOLDER / "churchyard.json"), stdout=out)
    before, start, rest = text.partition(START)
    _, end, after = rest.partition(END)
    if not start or not end:
        raise CommandError(f"README has no block that starts with {START!r} and ends with {END!r}.")
    return before + start + out.getvalue() + end + after


def estimate(name: str) -> dict[str, Any]:
    asked, lowered = services.fit_draws(services.read_estimate(read(name)), settings.LARGEST_CALL_CELLS)
    return services.estimate_now(asked, today=timezone.localdate(), lowered=lowered)


def comparison(name: str) -> dict[str, Any]:
    asked, lowered = services.fit_draws(services.read_comparison(read(name)), settings.LARGEST_CALL_CELLS)
    return services.compare_now(asked, today=timezone.localdate(), lowered=lowered)


def shown(answer: dict[str, Any]) -> str:
    """Return an answer as the description shows it, over many lines so that a change can be read."""
    values = shortened(orjson.loads(services.canonical_text(answer)))
    return orjson.dumps(values, option=orjson.OPT_INDENT_2 | orjson.OPT_SORT_KEYS).decode() + "\n"
