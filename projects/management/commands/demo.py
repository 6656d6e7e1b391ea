"""Everything it takes to look at Forbcast on one's own machine, in one command."""

import socket
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.core.servers.basehttp import run
from django.core.wsgi import get_wsgi_application

from projects.errors import WrongState
from projects.services import demo
from projects.worker import start_beside_the_server

HOST = "127.0.0.1"
PORT = 8000
TRIED = 50
QUESTION = "fixtures/worked_examples/churchyard.json"
STORY = (
    "The churchyard of Harrow Fold, an invented parish: 180 m² of rank grass, eight\n"
    "people for three hours, a borrowed scarifier, £150. What do they need, and what will grow?"
)


class Command(BaseCommand):
    """Prepare the database, show one estimate, make the invented county, and serve all of it on this machine."""

    help = "Prepare the database, show a worked estimate, make an invented county, then serve Forbcast until Ctrl-C."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, help=f"port to serve on (default {PORT}, or the next free one)")
        parser.add_argument("--no-serve", action="store_true", help="stop before serving")
        parser.add_argument("--no-county", action="store_true", help="leave the invented county out")

    def handle(self, *args: Any, port: int | None, no_serve: bool, no_county: bool, **options: Any) -> None:
        if not no_serve:
            port = free_port() if port is None else refuse_taken(port)
        self.say("Preparing the database.")
        call_command("migrate", verbosity=0)
        self.say("Working out one estimate.")
        self.say(f"\n{STORY}\n\n")
        call_command("estimate", str(settings.BASE_DIR / QUESTION), stdout=self.stdout)
        self.say(f"\nThe same again: manage.py estimate {QUESTION}\n")
        if not no_county:
            self.county()
        if port is None or no_serve:
            return
        if port != PORT:
            self.say(f"Serving on port {port}.")
        self.say(f"Forbcast is at http://{HOST}:{port}/ and its API at http://{HOST}:{port}/api/v1/")
        self.say("Nobody else can reach it. Ctrl-C stops it.")
        application = get_wsgi_application()
        start_beside_the_server()
        try:
            run(HOST, port, application, threading=True)
        except KeyboardInterrupt:
            self.say("Stopped.")

    def county(self) -> None:
        """Make the invented county and say who can sign in; a database with networks of its own is left alone."""
        try:
            if not demo.is_loaded():
                self.say("Making the invented county of Saltmere, once: less than a minute.")
            call_command("load_demo", stdout=self.stdout)
        except (CommandError, WrongState) as refusal:
            self.say(f"Without the invented county. {refusal}")
        self.say("")

    def say(self, text: str) -> None:
        """Print at once, also where nobody watches a terminal."""
        self.stdout.write(text)
        self.stdout.flush()


def refuse_taken(port: int) -> int:
    """Return the port; raises CommandError if it cannot be served on."""
    if not 1 <= port <= 65_535:
        raise CommandError(f"Port {port} is none; ports go from 1 to 65535.")
    fault = taken(port)
    if fault:
        raise CommandError(f"Port {port} is taken ({fault}). Leave --port out, and a free one is looked for.")
    return port


def free_port() -> int:
    """Return the usual port, or the next one that nothing serves on; raises CommandError if there is none."""
    for port in range(PORT, PORT + TRIED):
        if not taken(port):
            return port
    raise CommandError(f"Ports {PORT} to {PORT + TRIED - 1} are all taken. Choose one with --port.")


def taken(port: int) -> str:
    """Return why a port cannot be served on; empty if it can."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError as error:
            return error.strerror or str(error)
    return ""
