"""A worker without Celery."""

import signal
import threading
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from projects import worker
from projects.services import jobs


class Command(BaseCommand):
    """Do the jobs that are due, and wait for more."""

    help = "Do the jobs that are due, and wait for more until Ctrl-C; the job in hand is finished first, or given back."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--once", action="store_true", help="stop when nothing is due")

    def handle(self, *args: Any, once: bool, **options: Any) -> None:
        if once:
            made = jobs.jobs_run_due(clock=timezone.now)
            self.stdout.write(f"{made} {'attempt' if made == 1 else 'attempts'} made; nothing more is due.")
            return
        stop = threading.Event()

        def stopping(number: int, frame: object) -> None:
            stop.set()
            jobs.stopping.set()
            jobs.wake.set()

        signal.signal(signal.SIGINT, stopping)
        signal.signal(signal.SIGTERM, stopping)
        self.stdout.write("Working. Ctrl-C stops after the job in hand.")
        self.stdout.flush()
        worker.work(stop)
        self.stdout.write("Stopped.")
