"""Everything it takes to look at Forbcast on one's own machine, in one command."""

import socket
from argparse import ArgumentParser
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.core.servers.basehttp import run
from django.core.wsgi import get_wsgi_application

HOST = "127.0.0.1"


class Command(BaseCommand):
    """Prepare the database and serve the pages and the API on this machine."""

    help = "Prepare the database, then serve Forbcast on this machine until Ctrl-C."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="port to serve on (default 8000)")

    def handle(self, *args: Any, port: int, **options: Any) -> None:
        refuse_taken(port)
        call_command("migrate", verbosity=0)
        self.stdout.write(f"Forbcast is at http://{HOST}:{port}/ and its API at http://{HOST}:{port}/api/v1/")
        self.stdout.write("Nobody else can reach it. Ctrl-C stops it.")
        try:
            run(HOST, port, get_wsgi_application(), threading=True)
        except KeyboardInterrupt:
            self.stdout.write("Stopped.")


def refuse_taken(port: int) -> None:
    """Raise CommandError if something else already serves on the port."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError as error:
            raise CommandError(
                f"Port {port} is taken ({error.strerror}). Choose another: --port {port + 1}"
            ) from error
