"""A village with one group, and everybody in it."""

from dataclasses import dataclass

import pytest
from django.core import mail
from django.db import connection
from django.test import Client

from projects.models import Group, Network, User
from projects.selectors.actors import actor_of
from tests.projects.county import PASSWORD, appoint, empty_network, join, person


@dataclass
class Village:
    network: Network
    group: Group
    operator: User
    coordinator: User
    lead: User
    member: User
    stranger: User

    def as_(self, user):
        return actor_of(User.objects.get(pk=user.pk))


def settle():
    network = empty_network()
    found = Village(
        network=network,
        group=Group.objects.create(network=network, name="Gullhaven Meadow Makers"),
        operator=person("Orla Quill", is_operator=True),
        coordinator=person("Tamsin Oake"),
        lead=person("Wenna Marsh"),
        member=person("Jory Lanthorn"),
        stranger=person("Ada Thistlewood"),
    )
    appoint(found.coordinator, network)
    join(found.lead, found.group, "lead")
    join(found.member, found.group)
    return found


@pytest.fixture
def village(db):
    return settle()


@pytest.fixture
def signed_in():
    """A browser in which somebody is signed in."""

    def sign_in(user):
        browser = Client(raise_request_exception=True)
        assert browser.login(username=user.email, password=PASSWORD)
        return browser

    return sign_in


@pytest.fixture
def post():
    """The letters that went out; each as (to, subject, first address in it)."""

    def letters():
        return [
            (
                message.to[0],
                message.subject,
                next(w for w in message.body.split() if "://" in w) if "://" in message.body else "",
            )
            for message in mail.outbox
        ]

    return letters


def all_text():
    """Every row of every table, as text."""
    found = {}
    with connection.cursor() as cursor:
        for table in sorted(connection.introspection.table_names()):
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)}")  # noqa: S608 - names from the database
            found[table] = sorted(map(repr, cursor.fetchall()))
    return found


def holding(word):
    """The tables in which a word stands, whatever its case."""
    return [table for table, rows in all_text().items() if any(word.lower() in row.lower() for row in rows)]
