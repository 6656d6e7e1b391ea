"""The first account of a server."""

import io

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from projects.contracts.accounts import AccountNew
from projects.errors import NotAllowed
from projects.models import AuditEntry, User
from projects.rules.access import PUBLIC_ACTOR
from projects.services.accounts import operator_make
from tests.projects.accounts.conftest import all_text
from tests.projects.county import PASSWORD, empty_network

pytestmark = pytest.mark.django_db
GOOD = "a gate left open"


@pytest.fixture
def password(monkeypatch):
    monkeypatch.setenv("FORBCAST_OPERATOR_PASSWORD", GOOD)


def make(*arguments):
    out = io.StringIO()
    call_command("make_operator", *arguments, stdout=out)
    return out.getvalue()


def test_the_first_operator_is_made_and_can_invite_a_coordinator(password):
    said = make("Orla@Example.org", "--name", "Orla Quill")
    assert said == "orla@example.org has an account now, and is an operator. Sign in at /sign-in/.\n"
    user = User.objects.get()
    assert (user.name, user.is_operator, user.check_password(GOOD)) == ("Orla Quill", True, True)
    entry = AuditEntry.objects.get()
    assert (entry.act, entry.actor, entry.via, entry.object_id) == ("operator_make", None, "command", user.public_id)
    assert GOOD not in str(all_text())
    empty_network()
    browser = Client()
    assert browser.post("/sign-in/", {"email": "orla@example.org", "password": GOOD}).status_code == 302
    response = browser.post("/networks/saltmere/invite/", {"email": "tamsin@example.org", "role": "coordinator"})
    assert "tamsin@example.org is invited" in response.content.decode()


def test_somebody_with_an_account_is_promoted_and_keeps_name_and_password(village):
    said = make("wenna.marsh@example.org", "--name", "Somebody Else")
    assert "had an account already; name and password stay" in said
    user = User.objects.get(pk=village.lead.pk)
    assert (user.name, user.is_operator, user.check_password(PASSWORD)) == ("Wenna Marsh", True, True)
    assert AuditEntry.objects.first().after == {"is_operator": True}


def test_left_out_the_name_is_what_stands_before_the_at(password):
    make("orla.quill@example.org")
    assert User.objects.get().name == "orla.quill"


@pytest.mark.parametrize(
    ("email", "given", "told"),
    [
        ("orla", GOOD, "is no e-mail address"),
        ("orla@example.org", "short", "at least 10 characters are needed"),
        ("orla@example.org", "", "There is nobody to ask for a password"),
    ],
)
def test_what_will_not_do_is_said_and_nothing_is_made(monkeypatch, email, given, told):
    monkeypatch.setenv("FORBCAST_OPERATOR_PASSWORD", given)
    monkeypatch.setattr("sys.stdin", io.StringIO())
    with pytest.raises(CommandError, match=told):
        make(email)
    assert User.objects.count() == AuditEntry.objects.count() == 0


def test_no_page_or_program_can_do_it(village):
    before = all_text()
    for actor in (PUBLIC_ACTOR, village.as_(village.lead), village.as_(village.coordinator)):
        with pytest.raises(NotAllowed):
            operator_make(
                actor=actor,
                asked=AccountNew(email="m@example.org", name="M"),
                password=GOOD,
                now=village.lead.created_at,
            )
    assert all_text() == before
