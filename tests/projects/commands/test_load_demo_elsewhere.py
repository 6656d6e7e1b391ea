"""`manage.py load_demo` leaves alone every database that is somebody's."""

from datetime import UTC, datetime
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from projects.contracts.networks import NetworkNew
from projects.models import AuditEntry, Network, User
from projects.rules.access import SERVER
from projects.services import networks

NOW = datetime(2026, 11, 1, 10, 0, tzinfo=UTC)


def network(name, slug):
    return networks.network_create(actor=SERVER, asked=NetworkNew(name=name, slug=slug), now=NOW)


def nothing_but(*slugs):
    """Whether the networks are these, with the one act each that made them, and nobody has an account."""
    return (
        sorted(Network.objects.values_list("slug", flat=True)) == sorted(slugs)
        and AuditEntry.objects.count() == len(slugs)
        and not User.objects.exists()
    )


def test_a_database_with_networks_of_its_own(db):
    network("Another Shire", "another")
    with pytest.raises(CommandError, match=r"networks of its own \(Another Shire\).*empty database only"):
        call_command("load_demo", force=True)
    assert nothing_but("another")


def test_a_county_of_the_same_name_that_is_not_whole(db):
    network("Saltmere", "saltmere")
    with pytest.raises(CommandError, match=r"here in part only: .* Begin again with an empty database"):
        call_command("load_demo", force=True)
    assert nothing_but("saltmere")


def test_a_database_with_an_account_of_the_same_address(db):
    User.objects.create(email="wenna@example.org", name="Somebody else")
    with pytest.raises(CommandError, match=r"account of wenna@example\.org already"):
        call_command("load_demo", force=True)
    assert (User.objects.get().name, Network.objects.count()) == ("Somebody else", 0)


def test_the_demo_goes_on_without_the_county(db):
    network("Another Shire", "another")
    out = StringIO()
    call_command("demo", no_serve=True, stdout=out)
    assert "Without the invented county. This database has networks of its own (Another Shire)." in out.getvalue()
    assert "The same again: manage.py estimate" in out.getvalue()
    assert nothing_but("another")


def test_the_demo_can_leave_it_out(db):
    out = StringIO()
    call_command("demo", no_serve=True, no_county=True, stdout=out)
    assert "Saltmere" not in out.getvalue()
    assert nothing_but()


@pytest.mark.postgres
def test_a_database_that_may_serve_others_takes_it_only_by_force(db):
    assert connection.vendor == "postgresql"
    with pytest.raises(CommandError, match=r"known password, and this database \(postgresql\) may serve others"):
        call_command("load_demo")
    assert nothing_but()
