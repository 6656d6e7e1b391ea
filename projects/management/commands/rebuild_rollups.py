"""Make the sums of agreed returns again."""

from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from projects.services.rollups import rollups_rebuild


class Command(BaseCommand):
    """Make the sums kept beside agreed returns again, such as after a new release judges them otherwise."""

    help = "Make the sums kept beside agreed returns again from what was sent; says how many were wrong."

    def handle(self, *args: Any, **options: Any) -> None:
        there, wrong = rollups_rebuild(now=timezone.now())
        self.stdout.write(f"{there} agreed {'return' if there == 1 else 'returns'}; {wrong} had other sums or none.")
