"""Asking people in by a letter with a link that works once."""

import logging
import re
from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.core import mail
from django.test import Client

from projects.choices import Via
from projects.contracts.accounts import Newcomer
from projects.contracts.networks import InvitationNew
from projects.errors import Gone, NotAllowed, NotFound, RuleBroken, WrongState
from projects.models import AuditEntry, Group, Invitation, Membership, NetworkMembership, User
from projects.rules.access import PUBLIC_ACTOR, Actor
from projects.selectors import people
from projects.services import invitations
from tests.projects.accounts.conftest import all_text, holding, settle
from tests.projects.county import PASSWORD, join, person
from tests.projects.services.test_job_rivals import side_by_side

NOW = datetime(2026, 9, 1, 12, 0, tzinfo=UTC)
DAY = timedelta(days=1)
NEW = "piran.sedge@example.org"


def ask(village, by=None, email=NEW, now=NOW, **more):
    actor = village.as_(by or village.lead)
    asked = InvitationNew(email=email, **({"group_id": village.group.public_id} | more))
    return invitations.invitation_create(actor=actor, asked=asked, now=now)


@pytest.fixture
def noon():
    with time_machine.travel(NOW, tick=False) as clock:
        yield clock


def link_in(page):
    return re.search(r"http://testserver(/invitation/[-\w]+/)", page)[1]


# ------------------------------------------------------------------ inviting


def test_a_lead_invites_and_the_letter_holds_the_link_that_the_page_shows_once(village, signed_in, noon):
    browser = signed_in(village.lead)
    response = browser.post(
        f"/groups/{village.group.public_id}/invite/", {"email": "Piran.Sedge@example.org ", "role": "member"}
    )
    page = response.content.decode()
    assert response.status_code == 200
    assert "The letter went out." in page
    (letter,) = mail.outbox
    assert letter.to == [NEW]
    assert letter.subject == "You are invited to Gullhaven Meadow Makers on Forbcast"
    assert f"http://testserver{link_in(page)}" in letter.body
    assert "Wenna Marsh invites you to the group Gullhaven Meadow Makers (Saltmere), as member." in letter.body
    # 14 days, told in the time people live by
    assert "until 15 September 2026, 13:00" in letter.body
    row = Invitation.objects.get()
    assert (row.email, row.role, row.group, row.expires_at) == (NEW, "member", village.group, NOW + 14 * DAY)
    assert response.headers["Cache-Control"] == "no-store"


def test_only_a_digest_of_the_link_is_kept_and_the_audit_has_no_address(village):
    row, secret = ask(village)
    assert len(secret) >= 43
    assert holding(secret) == []
    assert holding(NEW) == ["projects_invitation"]
    entry = AuditEntry.objects.first()
    assert (entry.act, entry.noun, entry.object_id) == ("invitation_create", "invitation", row.public_id)
    assert (entry.actor, entry.group, entry.network, entry.via) == (
        village.lead, village.group, village.network, Via.PAGE,
    )  # fmt: skip


@pytest.mark.parametrize("who", ["lead", "coordinator"])
def test_leads_and_coordinators_invite_to_a_group(village, who):
    ask(village, by=getattr(village, who))
    assert Invitation.objects.count() == 1


@pytest.mark.parametrize("who", ["member", "stranger", "operator"])
def test_others_do_not(village, signed_in, who):
    before = all_text()
    with pytest.raises(NotAllowed):
        ask(village, by=getattr(village, who))
    assert all_text() == before
    page = signed_in(getattr(village, who)).get(f"/groups/{village.group.public_id}/invite/")
    assert page.status_code == 403
    assert "You may not do this" in page.content.decode()


def test_a_visitor_is_asked_to_sign_in(village, client):
    response = client.get(f"/groups/{village.group.public_id}/invite/")
    assert response.headers["Location"].startswith("/sign-in/?next=")
    with pytest.raises(NotAllowed):
        invitations.invitation_create(
            actor=PUBLIC_ACTOR, asked=InvitationNew(email=NEW, group_id=village.group.public_id), now=NOW
        )


@pytest.mark.parametrize("who", ["coordinator", "operator"])
def test_coordinators_and_operators_invite_to_the_network(village, signed_in, who):
    response = signed_in(getattr(village, who)).post(
        "/networks/saltmere/invite/", {"email": NEW, "role": "coordinator"}
    )
    assert response.status_code == 200
    row = Invitation.objects.get()
    assert (row.group, row.network, row.role) == (None, village.network, "coordinator")


@pytest.mark.parametrize("who", ["lead", "member", "stranger"])
def test_nobody_else_invites_to_the_network(village, signed_in, who):
    before = Invitation.objects.count()
    browser = signed_in(getattr(village, who))
    assert browser.get("/networks/saltmere/invite/").status_code == 403
    assert browser.post("/networks/saltmere/invite/", {"email": NEW, "role": "coordinator"}).status_code == 403
    assert Invitation.objects.count() == before


@pytest.mark.parametrize("path", ["/groups/0b5cf33c-55b4-4a3e-9c64-9eb6d5d1f7b1/invite/", "/networks/nowhere/invite/"])
def test_what_there_is_not_cannot_be_invited_to(village, signed_in, path):
    assert signed_in(village.coordinator).get(path).status_code == 404


@pytest.mark.parametrize(
    ("more", "pointer", "code"),
    [
        ({"role": "coordinator"}, "/role", "unknown_word"),
        ({"group_id": None, "network_id": "network", "role": "lead"}, "/role", "unknown_word"),
        ({"group_id": None}, "/group_id", "contradiction"),
        ({"network_id": "network"}, "/group_id", "contradiction"),
        ({"email": "jory.lanthorn@example.org"}, "/email", "taken"),
        ({"group_id": None, "network_id": "network", "role": "coordinator", "email": "tamsin.oake@example.org"},
         "/email", "taken"),
    ],
)  # fmt: skip
def test_an_invitation_that_makes_no_sense_is_refused(village, more, pointer, code):
    if "network_id" in more:
        more = more | {"network_id": village.network.public_id}
    before = all_text()
    with pytest.raises(RuleBroken) as refusal:
        ask(village, by=village.coordinator, **more)
    assert [(error.pointer, error.code) for error in refusal.value.errors] == [(pointer, code)]
    assert all_text() == before


def test_a_wrong_address_is_refused_beside_its_field_and_kept(village, signed_in):
    response = signed_in(village.lead).post(
        f"/groups/{village.group.public_id}/invite/", {"email": "piran", "role": "lead"}
    )
    page = response.content.decode()
    assert response.status_code == 422
    assert "&#x27;piran&#x27; is no e-mail address; one looks like wenna@example.org." in page
    assert 'value="piran"' in page
    assert mail.outbox == []


def test_inviting_again_makes_the_earlier_link_work_no_longer(village):
    first, old = ask(village)
    ask(village, role="lead")
    first.refresh_from_db()
    assert (first.withdrawn_at, first.email) == (NOW, "")
    with pytest.raises(Gone):
        people.invitation_shown(old, NOW)


def test_with_the_mail_server_away_the_invitation_stands_and_the_page_says_so(village, signed_in, settings, noon):
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 9
    page = (
        signed_in(village.lead)
        .post(f"/groups/{village.group.public_id}/invite/", {"email": NEW, "role": "member"})
        .content.decode()
    )
    assert "The letter could not be sent. The invitation stands all the same: hand over the link." in page
    assert Client().get(link_in(page)).status_code == 200


def test_without_a_mail_server_the_page_says_so(village, signed_in, settings, noon, capsys):
    settings.EMAIL_BACKEND = "django.core.mail.backends.console.EmailBackend"
    browser, path = signed_in(village.lead), f"/groups/{village.group.public_id}/invite/"
    assert "This server sends no letters: you are shown a link" in browser.get(path).content.decode()
    page = browser.post(path, {"email": NEW, "role": "member"}).content.decode()
    assert "This server sends no letters: hand over the link." in page
    assert link_in(page) in capsys.readouterr().out


# ------------------------------------------------------------------ withdrawing, running out


def test_open_invitations_are_listed_and_withdrawn(village, signed_in, noon):
    row, secret = ask(village)
    browser, path = signed_in(village.lead), f"/groups/{village.group.public_id}/invite/"
    assert NEW in browser.get(path).content.decode()
    response = browser.post(f"/invitations/{row.public_id}/withdraw/")
    assert response.headers["Location"] == path
    page = browser.get(path).content.decode()
    assert "The invitation is withdrawn; its link works no longer." in page
    assert NEW not in page
    assert holding(NEW) == []
    gone = Client().get(f"/invitation/{secret}/")
    assert gone.status_code == 410
    assert "This invitation was withdrawn." in gone.content.decode()
    assert browser.post(f"/invitations/{row.public_id}/withdraw/").status_code == 409


@pytest.mark.parametrize(("who", "error"), [("member", NotFound), ("stranger", NotFound), ("operator", NotFound)])
def test_nobody_else_withdraws_one(village, who, error):
    row, _ = ask(village)
    before = all_text()
    with pytest.raises(error):
        invitations.invitation_withdraw(actor=village.as_(getattr(village, who)), public_id=row.public_id, now=NOW)
    assert all_text() == before


def test_a_lead_of_one_group_sees_nothing_of_the_invitations_of_another(village):
    other = Group.objects.create(network=village.network, name="Brackwater Verges")
    neighbour = person("Ned Farrow")
    join(neighbour, other, "lead")
    row, _ = ask(village)
    actor = village.as_(neighbour)
    assert list(people.invitation_list(actor)) == []
    with pytest.raises(NotAllowed):
        people.invitation_list(actor, group=village.group)
    with pytest.raises(NotFound):
        invitations.invitation_withdraw(actor=actor, public_id=row.public_id, now=NOW)


def test_a_coordinators_invitation_is_withdrawn_by_the_operator(village):
    row, _ = ask(village, by=village.coordinator, group_id=None, network_id=village.network.public_id, role="analyst")
    invitations.invitation_withdraw(actor=village.as_(village.operator), public_id=row.public_id, now=NOW)
    row.refresh_from_db()
    assert (row.withdrawn_at, row.email) == (NOW, "")


def test_after_14_days_it_is_over_and_its_address_forgotten(village, client, noon):
    _, secret = ask(village)
    noon.move_to(NOW + 14 * DAY - timedelta(seconds=1))
    assert client.get(f"/invitation/{secret}/").status_code == 200
    noon.move_to(NOW + 14 * DAY)
    response = client.get(f"/invitation/{secret}/")
    assert response.status_code == 410
    assert "This invitation has run out: it held for 14 days." in response.content.decode()
    assert holding(NEW) == ["projects_invitation"]
    assert invitations.invitations_forget_expired(now=NOW + 14 * DAY) == 1
    assert holding(NEW) == []
    assert invitations.invitations_forget_expired(now=NOW + 14 * DAY) == 0


def test_the_next_invitation_forgets_the_addresses_of_those_that_ran_out(village):
    ask(village)
    ask(village, email="other@example.org", now=NOW + 15 * DAY)
    assert holding(NEW) == []


# ------------------------------------------------------------------ accepting


def test_somebody_new_chooses_name_and_password_and_is_in(village, client, noon):
    _, secret = ask(village)
    page = client.get(f"/invitation/{secret}/").content.decode()
    assert f"Wenna Marsh invites {NEW} to the group Gullhaven Meadow Makers in Saltmere, as member." in page
    response = client.post(f"/invitation/{secret}/", {"name": "Piran Sedge", "password": "three wet geese"})
    assert (response.status_code, response.headers["Location"]) == (302, "/home/")
    user = User.objects.get(email=NEW)
    assert (user.name, user.is_operator) == ("Piran Sedge", False)
    assert user.check_password("three wet geese")
    membership = Membership.objects.get(user=user)
    assert (membership.group, membership.role, membership.since, membership.until) == (
        village.group, "member", NOW, None,
    )  # fmt: skip
    assert "Piran Sedge" in client.get("/account/").content.decode()
    row = Invitation.objects.get()
    assert (row.accepted_by, row.accepted_at, row.email) == (user, NOW, "")
    assert list(AuditEntry.objects.filter(actor__isnull=False).order_by("pk").values_list("act", "actor")) == [
        ("invitation_create", village.lead.pk),
        ("account_create", user.pk),
        ("invitation_accept", user.pk),
    ]
    assert holding("Piran Sedge") == ["projects_user"]


@pytest.mark.parametrize(
    ("name", "password", "told"),
    [
        ("", "three wet geese", "This is empty; write at least one letter."),
        ("Piran\x00", "three wet geese", "a character that cannot be shown (U+0000)"),
        ("Piran\x1b[2J", "three wet geese", "a character that cannot be shown (U+001B)"),
        ("P" * 101, "three wet geese", "At most 100 characters are allowed."),
        ("Piran Sedge", "barns", "This is too short: at least 10 characters are needed."),
        ("Piran Sedge", "passwordpassword"[:8] + "12", "This is one of the passwords that are tried first"),
        ("Piran Sedge", "piran.sedge@example", "This is too much like your name or your address"),
        ("Piran Sedge", "g" * 201, "at most 200 are taken."),
        ("Piran Sedge", "", "Write the password."),
    ],
)
def test_a_name_or_password_that_will_not_do_is_told_and_nothing_is_made(village, client, noon, name, password, told):
    _, secret = ask(village)
    before = all_text()
    response = client.post(f"/invitation/{secret}/", {"name": name, "password": password})
    assert response.status_code == 422
    assert told in response.content.decode()
    assert all_text() == before


def test_somebody_with_an_account_signs_in_and_joins(village, client, noon):
    _, secret = ask(village, email="ada.thistlewood@example.org", role="lead")
    path = f"/invitation/{secret}/"
    page = client.get(path).content.decode()
    assert "There is an account with this address. Sign in with it" in page
    # the form of somebody new is not taken either
    assert client.post(path, {"name": "Ada", "password": "three wet geese"}).headers["Location"].startswith("/sign-in/")
    sign_in = re.search(r'<a href="(/sign-in/\?next=[^"]+)"', page)[1]
    response = client.post("/sign-in/", {"email": village.stranger.email, "password": PASSWORD, "next": path})
    assert sign_in.endswith(path.replace("/", "%2F"))
    assert response.headers["Location"] == path
    assert '<button type="submit">Accept</button>' in client.get(path).content.decode()
    assert client.post(path).headers["Location"] == "/home/"
    assert Membership.objects.get(user=village.stranger).role == "lead"
    assert User.objects.count() == 5


def test_somebody_elses_invitation_is_not_taken(village, signed_in, noon):
    _, secret = ask(village)
    browser, before = signed_in(village.stranger), all_text()
    page = browser.get(f"/invitation/{secret}/").content.decode()
    assert "You are signed in as ada.thistlewood@example.org, and the invitation is for another address." in page
    response = browser.post(f"/invitation/{secret}/", {"name": "Ada", "password": "three wet geese"})
    assert response.status_code == 403
    assert all_text() == before


def test_a_member_is_told_so_and_nothing_changes(village, signed_in, noon):
    _, secret = ask(village, email=village.stranger.email)
    join(village.stranger, village.group)
    browser, before = signed_in(village.stranger), all_text()
    assert "You have this already" in browser.get(f"/invitation/{secret}/").content.decode()
    response = browser.post(f"/invitation/{secret}/")
    assert response.status_code == 409
    assert "Nothing was changed." in response.content.decode()
    assert all_text() == before


def test_a_role_in_the_network_is_taken(village):
    _, secret = ask(
        village, by=village.operator, email=village.stranger.email, group_id=None,
        network_id=village.network.public_id, role="assessor",
    )  # fmt: skip
    invitations.invitation_accept(actor=village.as_(village.stranger), secret=secret, now=NOW)
    held = NetworkMembership.objects.get(user=village.stranger)
    assert (held.network, held.role, held.since) == (village.network, "assessor", NOW)


def test_a_used_one_says_so(village, client, noon):
    _, secret = ask(village)
    invitations.invitation_accept_new(
        secret=secret, asked=Newcomer(name="Piran Sedge"), password="three wet geese", now=NOW
    )
    for response in (client.get(f"/invitation/{secret}/"), client.post(f"/invitation/{secret}/")):
        assert response.status_code == 410
        assert "This invitation has been used." in response.content.decode()


def test_that_of_a_closed_group_says_so(village, client, noon):
    _, secret = ask(village)
    Group.objects.update(closed_at=NOW)
    assert "The group of this invitation has closed." in client.get(f"/invitation/{secret}/").content.decode()


def test_an_unknown_link_is_404(client, db):
    for secret in ("x", "a" * 43, "a" * 5000):
        assert client.get(f"/invitation/{secret}/").status_code == 404


def test_the_secret_of_an_open_link_stays_out_of_the_log_and_of_other_hosts(village, client, noon, caplog):
    _, secret = ask(village)
    logging.getLogger("django").addHandler(caplog.handler)
    try:
        response = client.post(f"/invitation/{secret}/", {"name": "", "password": ""})
    finally:
        logging.getLogger("django").removeHandler(caplog.handler)
    assert response.status_code == 422
    assert secret not in caplog.text
    assert response.headers["Referrer-Policy"] == "same-origin"
    assert response.headers["Cache-Control"] == "no-store"


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("new", [True, False], ids=["new", "known"])
def test_of_two_who_accept_the_same_invitation_one_comes_in(new):
    village = settle()
    _, secret = ask(village, email=NEW if new else village.stranger.email)
    actor = village.as_(village.stranger)

    def accept():
        try:
            if new:
                invitations.invitation_accept_new(
                    secret=secret, asked=Newcomer(name="Piran Sedge"), password="three wet geese", now=NOW
                )
            else:
                invitations.invitation_accept(actor=actor, secret=secret, now=NOW)
        except (Gone, WrongState) as refusal:
            return type(refusal)
        return "in"

    assert sorted(side_by_side(2, accept), key=str) == [Gone, "in"]
    assert Membership.objects.filter(group=village.group, until__isnull=True).count() == 3
    assert User.objects.count() == 5 + new
    assert AuditEntry.objects.filter(act="invitation_accept").count() == 1


def test_a_token_without_the_scope_to_write_invites_nobody(village):
    lead = village.as_(village.lead)
    reader = Actor(user_id=lead.user_id, groups=lead.groups, scopes=frozenset({"read"}))
    with pytest.raises(NotAllowed, match="This token may read only"):
        invitations.invitation_create(
            actor=reader, asked=InvitationNew(email=NEW, group_id=village.group.public_id), now=NOW
        )
    assert Invitation.objects.count() == 0


def test_a_hundred_are_open_at_most(village):
    for number in range(100):
        ask(village, email=f"person{number}@example.org")
    with pytest.raises(RuleBroken, match="100 invitations are open"):
        ask(village)
    assert Invitation.objects.count() == 100
    # one that replaces another is no more
    ask(village, email="person7@example.org")
