"""The first account of a server, or one more operator."""

import getpass
import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from config.settings import environment
from modelling.errors import RequestRefused
from projects.contracts.accounts import AccountNew
from projects.contracts.base import read_as
from projects.errors import Refused
from projects.models import User
from projects.rules.access import SERVER
from projects.services.accounts import operator_make

VARIABLE = "FORBCAST_OPERATOR_PASSWORD"


class Command(BaseCommand):
    """Make an operator."""

    help = (
        "Make an operator of this server: somebody who sets up networks and invites their coordinators. "
        "Who has an account already keeps its name and password. "
        f"Else a password is asked for, or read from {VARIABLE}."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("email", help="the address to sign in with")
        parser.add_argument("--name", default="", help="what others see; left out, what stands before the @")

    def handle(self, *args: Any, email: str, name: str, **options: Any) -> None:
        try:
            asked = read_as(AccountNew, {"email": email, "name": name or email.partition("@")[0][:100]})
            there = User.objects.filter(email=asked.email).exists()
            user, new = operator_make(
                actor=SERVER, asked=asked, password="" if there else _password(), now=timezone.now()
            )
        except (RequestRefused, Refused) as refusal:
            raise CommandError("; ".join(error.detail for error in refusal.errors) or str(refusal)) from refusal
        done = "has an account now" if new else "had an account already; name and password stay"
        self.stdout.write(f"{user.email} {done}, and is an operator. Sign in at /sign-in/.")


def _password() -> str:
    given = environment.text(VARIABLE)
    if given:
        return given
    if not sys.stdin.isatty():
        raise CommandError(f"There is nobody to ask for a password: say it in {VARIABLE}.")
    first = getpass.getpass("A password, at least 10 characters: ")
    if getpass.getpass("The same again: ") != first:
        raise CommandError("The two are not the same. Nothing was made.")
    return first
