"""One's own account: looked at, changed, taken along and taken away."""

import re
import threading
from datetime import UTC, datetime, timedelta

import orjson
import pytest
import time_machine
from django.contrib.sessions.models import Session
from django.core import mail
from django.test import Client

from projects.contracts.accounts import EmailChange, NameChange
from projects.contracts.networks import InvitationNew
from projects.contracts.people import TokenNew
from projects.errors import NotAllowed, RuleBroken
from projects.models import (
    ApiToken,
    AuditEntry,
    Group,
    Invitation,
    Job,
    MeadowProject,
    Membership,
    NetworkMembership,
    RememberedAnswer,
    Site,
    User,
    WorkEntry,
)
from projects.rules.access import PUBLIC_ACTOR
from projects.selectors import people
from projects.services import accounts, invitations, tokens
from tests.projects.accounts.conftest import all_text, holding, settle
from tests.projects.county import PASSWORD, appoint, person
from tests.projects.services.test_job_rivals import side_by_side

NOW = datetime(2026, 9, 1, 12, 0, tzinfo=UTC)
NEW_PASSWORD = "four hedges and a gate"


@pytest.fixture
def noon():
    with time_machine.travel(NOW, tick=False) as clock:
        yield clock


def letters_gone():
    """Wait until letters sent aside are out."""
    for thread in threading.enumerate():
        if thread.name == "letter":
            thread.join()
    return mail.outbox


def erase(village, who, **more):
    given = {"password": PASSWORD, "word": "erase", "caller": "here", "now": NOW} | more
    accounts.account_erase(actor=village.as_(who), **given)


# ------------------------------------------------------------------ looking and changing


def test_the_page_says_who_one_is_and_what_one_holds(village, signed_in):
    appoint(village.lead, village.network, "analyst")
    page = signed_in(village.lead).get("/account/").content.decode()
    for told in ("Wenna Marsh", "wenna.marsh@example.org", "Lead of Gullhaven Meadow Makers, Saltmere",
                 "Analyst of Saltmere"):  # fmt: skip
        assert told in page
    assert "Operator of this server" not in page
    assert "Operator of this server." in signed_in(village.operator).get("/account/").content.decode()


PAGES = [
    "/account/", "/account/name/", "/account/email/", "/account/password/", "/account/export/", "/account/erase/",
    "/account/tokens/",
]  # fmt: skip


@pytest.mark.parametrize("path", PAGES)
def test_every_page_needs_signing_in_and_is_kept_nowhere(village, client, signed_in, path):
    assert client.get(path).headers["Location"].startswith("/sign-in/?next=")
    response = signed_in(village.member).get(path)
    assert (response.status_code, response.headers["Cache-Control"]) == (200, "no-store")


@pytest.mark.parametrize("path", [*PAGES[:4], *PAGES[5:], "/groups/{group}/invite/", "/networks/saltmere/invite/"])
def test_pages_hold_no_inline_script_and_one_heading_and_every_field_has_its_label(village, signed_in, path):
    html = signed_in(village.coordinator).get(path.format(group=village.group.public_id)).content.decode()
    assert not re.findall(r"<style|\sstyle=|\son[a-z]+=[\"']|javascript:", html)
    assert len(re.findall(r"<h1[ >]", html)) == 1
    fields = re.findall(r'<input type="(?:text|email|password|radio|checkbox)"[^>]*\sid="([^"]+)"', html)
    assert set(fields) <= set(re.findall(r'<label[^>]* for="([^"]+)"', html))
    assert fields or path == "/account/"
    assert html.count('<form method="post"') == html.count('name="csrfmiddlewaretoken"') > 0


def test_the_name_is_changed_and_the_audit_does_not_repeat_it(village, signed_in):
    browser = signed_in(village.lead)
    assert 'value="Wenna Marsh"' in browser.get("/account/name/").content.decode()
    assert browser.post("/account/name/", {"name": "  Wenna Sedge "}).headers["Location"] == "/account/"
    assert "Your name is changed." in browser.get("/account/").content.decode()
    user = User.objects.get(pk=village.lead.pk)
    assert (user.name, user.version) == ("Wenna Sedge", 2)
    entry = AuditEntry.objects.first()
    assert (entry.act, entry.noun, entry.object_id, entry.actor) == ("name_change", "account", user.public_id, user)
    assert holding("Wenna Sedge") == ["projects_user"]


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("", "This is empty; write at least one letter."),
        ("Wenna\x00", "a character that cannot be shown (U+0000); leave it out."),
        ("Wenna\nMarsh", "a character that cannot be shown (U+000A); leave it out."),
        ("W" * 101, "At most 100 characters are allowed."),
        ("W" * 121, "At most 120 characters are allowed."),
    ],
)
def test_a_name_that_will_not_do_is_refused_and_kept_to_be_mended(village, signed_in, name, told):
    browser, before = signed_in(village.lead), all_text()
    response = browser.post("/account/name/", {"name": name})
    assert response.status_code == 422
    assert told in response.content.decode()
    assert all_text() == before


def way_in(letter):
    """The path of the link in a letter."""
    return next(word for word in letter.body.split() if "://" in word).removeprefix("http://testserver")


def test_an_address_is_changed_once_it_is_confirmed_there_and_the_old_one_is_told(village, signed_in):
    browser = signed_in(village.lead)
    response = browser.post("/account/email/", {"email": "Wenna@Example.net", "password": PASSWORD})
    assert "A letter is on its way to wenna@example.net." in response.content.decode()
    assert User.objects.get(pk=village.lead.pk).email == "wenna.marsh@example.org"
    (asked,) = letters_gone()
    assert (asked.to, asked.subject) == (["wenna@example.net"], "Is this your new address for Forbcast?")
    # whoever reads the new post need not be signed in
    reader, path = Client(), way_in(asked)
    page = reader.get(path)
    assert (page.status_code, page.headers["Cache-Control"]) == (200, "no-store")
    assert "From now on you sign in with wenna@example.net" in page.content.decode()
    assert User.objects.get(pk=village.lead.pk).email == "wenna.marsh@example.org"
    assert reader.post(path).headers["Location"] == "/sign-in/"
    assert User.objects.get(pk=village.lead.pk).email == "wenna@example.net"
    entry = AuditEntry.objects.first()
    assert (entry.act, entry.object_id, entry.actor) == ("email_change", village.lead.public_id, village.lead)
    letter = letters_gone()[-1]
    assert letter.to == ["wenna.marsh@example.org"]
    assert letter.subject == "Your address at Forbcast was changed"
    # the new one is not told to whoever reads the old post
    assert "example.net" not in letter.body
    assert Client().login(username="wenna@example.net", password=PASSWORD)
    for again in (reader.get(path), reader.post(path)):
        assert again.status_code == 410
        assert "used up or older than a day" in again.content.decode()


def test_a_taken_address_is_answered_alike_and_its_owner_alone_is_told(village, signed_in):
    browser = signed_in(village.lead)
    free = browser.post("/account/email/", {"email": "jory.lanthorn@example.com", "password": PASSWORD})
    assert len(letters_gone()) == 1
    before = all_text()
    taken = browser.post("/account/email/", {"email": "jory.lanthorn@example.org", "password": PASSWORD})
    assert (taken.status_code, free.status_code) == (200, 200)
    assert taken.content.decode() == free.content.decode().replace("example.com", "example.org")
    letter = letters_gone()[-1]
    assert (letter.to, letter.subject) == (["jory.lanthorn@example.org"], "Your address at Forbcast stays yours")
    assert "://" not in letter.body
    assert "Wenna" not in letter.body
    assert all_text() == before


def test_a_new_address_can_be_confirmed_for_a_day_and_not_after_another_password(village, signed_in, noon):
    browser = signed_in(village.lead)

    def ask():
        browser.post("/account/email/", {"email": "wenna@example.net", "password": PASSWORD})
        return way_in(letters_gone()[-1])

    path = ask()
    noon.shift(timedelta(hours=24))
    assert Client().get(path).status_code == 200
    noon.shift(timedelta(seconds=1))
    assert Client().post(path).status_code == 410
    path = ask()
    browser.post("/account/password/", {"password": PASSWORD, "new_password": NEW_PASSWORD})
    assert Client().post(path).status_code == 410
    for wrong in (f"{path[:-2]}x/", "/account/email/x/", "/account/email/%00:%ff:x/"):
        assert Client().get(wrong).status_code == 410
    assert User.objects.get(pk=village.lead.pk).email == "wenna.marsh@example.org"


def test_letters_to_a_new_address_are_counted_for_free_and_taken_alike(village, signed_in, noon, settings):
    settings.THROTTLE = True
    browser = signed_in(village.lead)
    for email in ("wenna@example.net", "jory.lanthorn@example.org"):
        for _ in range(3):
            assert browser.post("/account/email/", {"email": email, "password": PASSWORD}).status_code == 200
        assert browser.post("/account/email/", {"email": email, "password": PASSWORD}).status_code == 429
    assert len(letters_gone()) == 6


@pytest.mark.parametrize(
    ("email", "password", "told"),
    [
        ("wenna@example.net", "wrong", "This is not your password."),
        ("wenna@example.net", "", "Write the password."),
        ("wenna.marsh@example.org", PASSWORD, "This is your address already."),
        ("wenna", PASSWORD, "is no e-mail address"),
    ],
)
def test_an_address_is_not_changed_otherwise(village, signed_in, email, password, told):
    browser, before = signed_in(village.lead), all_text()
    response = browser.post("/account/email/", {"email": email, "password": password})
    assert response.status_code == 422
    assert told in response.content.decode()
    assert f'value="{email}"' in response.content.decode()
    assert all_text() == before
    assert letters_gone() == []


def test_a_new_password_ends_every_other_sign_in_and_not_this_one(village, signed_in):
    here, elsewhere = signed_in(village.lead), signed_in(village.lead)
    response = here.post("/account/password/", {"password": PASSWORD, "new_password": NEW_PASSWORD})
    assert response.headers["Location"] == "/account/"
    assert here.get("/account/").status_code == 200
    assert elsewhere.get("/account/").status_code == 302
    assert User.objects.get(pk=village.lead.pk).check_password(NEW_PASSWORD)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("wrong", NEW_PASSWORD, "This is not your password."),
        (PASSWORD, "ninechars", "at least 10 characters are needed"),
        (PASSWORD, "wenna.marsh1", "too much like your name or your address"),
    ],
)
def test_a_password_is_not_changed_otherwise(village, signed_in, old, new, told):
    browser, before = signed_in(village.lead), all_text()
    response = browser.post("/account/password/", {"password": old, "new_password": new})
    page = response.content.decode()
    assert response.status_code == 422
    assert told in page
    assert new not in page
    assert all_text() == before


def test_a_visitor_changes_nothing(village):
    before = all_text()
    for act in (
        lambda: accounts.name_change(actor=PUBLIC_ACTOR, asked=NameChange(name="Mallory"), now=NOW),
        lambda: accounts.email_ask(
            actor=PUBLIC_ACTOR,
            asked=EmailChange(email="m@example.org"),
            password=PASSWORD,
            caller="x",
            link=str,
            now=NOW,
        ),
        lambda: accounts.account_erase(actor=PUBLIC_ACTOR, password=PASSWORD, word="erase", caller="x", now=NOW),
        lambda: people.account_export(PUBLIC_ACTOR, NOW),
        lambda: tokens.token_create(
            actor=PUBLIC_ACTOR, asked=TokenNew(name="x"), password=PASSWORD, caller="x", now=NOW
        ),
    ):
        with pytest.raises(NotAllowed):
            act()
    assert all_text() == before


# ------------------------------------------------------------------ a new password by letter


def test_a_letter_opens_a_way_to_a_new_password_that_works_once(village, client, signed_in, noon):
    elsewhere = signed_in(village.lead)
    page = client.post("/sign-in/forgotten/", {"email": "Wenna.Marsh@example.org"}).content.decode()
    assert "If an account has the address wenna.marsh@example.org, a letter is on its way" in page
    (letter,) = letters_gone()
    assert (letter.to, letter.subject) == (["wenna.marsh@example.org"], "A new password for Forbcast")
    link = next(word for word in letter.body.split() if word.startswith("http://testserver/sign-in/"))
    path = link.removeprefix("http://testserver")
    shown = client.get(path)
    assert (shown.status_code, shown.headers["Referrer-Policy"], shown.headers["Cache-Control"]) == (
        200, "same-origin", "no-store",
    )  # fmt: skip
    assert client.post(path, {"new_password": "short"}).status_code == 422
    assert client.post(path, {"new_password": NEW_PASSWORD}).headers["Location"] == "/sign-in/"
    assert "Your new password is set. Sign in with it." in client.get("/sign-in/").content.decode()
    assert Client().login(username=village.lead.email, password=NEW_PASSWORD)
    assert elsewhere.get("/account/").status_code == 302
    for again in (client.get(path), client.post(path, {"new_password": "another long one"})):
        assert again.status_code == 410
        assert "used up or older than a day" in again.content.decode()
    assert AuditEntry.objects.first().act == "password_reset"


def test_an_unknown_address_is_answered_alike_and_gets_no_letter(village, client):
    known = client.post("/sign-in/forgotten/", {"email": "wenna.marsh@example.org"}).content.decode()
    unknown = client.post("/sign-in/forgotten/", {"email": "wenna.marsh@example.com"}).content.decode()
    assert unknown.replace("example.com", "example.org") == known
    assert [letter.to for letter in letters_gone()] == [["wenna.marsh@example.org"]]


def test_both_do_the_same_work_before_they_are_answered(village, client, django_assert_num_queries):
    for email in ("wenna.marsh@example.org", "nobody@example.org"):
        with django_assert_num_queries(1):
            client.post("/sign-in/forgotten/", {"email": email})
    letters_gone()


def test_the_way_is_open_for_a_day(village, client, noon):
    client.post("/sign-in/forgotten/", {"email": village.lead.email})
    (letter,) = letters_gone()
    path = next(word for word in letter.body.split() if "/sign-in/" in word).removeprefix("http://testserver")
    noon.shift(timedelta(hours=24))
    assert client.get(path).status_code == 200
    noon.shift(timedelta(seconds=1))
    assert client.get(path).status_code == 410


def test_three_letters_in_a_quarter_of_an_hour_are_enough_for_known_and_unknown_alike(village, client, noon, settings):
    settings.THROTTLE = True
    for email in ("wenna.marsh@example.org", "nobody@example.org"):
        for _ in range(3):
            assert client.post("/sign-in/forgotten/", {"email": email}).status_code == 200
        refused = client.post("/sign-in/forgotten/", {"email": email})
        assert (refused.status_code, refused.headers["Retry-After"]) == (429, "900")
    assert len(letters_gone()) == 3


def test_a_reset_lets_in_somebody_who_was_held_up(village, client, noon, settings):
    settings.THROTTLE = True
    for _ in range(11):
        held_up = client.post("/sign-in/", {"email": village.lead.email, "password": "wrong"})
    assert held_up.status_code == 429
    client.post("/sign-in/forgotten/", {"email": village.lead.email})
    (letter,) = letters_gone()
    path = next(word for word in letter.body.split() if "/sign-in/" in word).removeprefix("http://testserver")
    client.post(path, {"new_password": NEW_PASSWORD})
    assert client.post("/sign-in/", {"email": village.lead.email, "password": NEW_PASSWORD}).status_code == 302


def test_without_a_mail_server_the_page_says_whom_to_ask(village, client, settings, capsys):
    settings.EMAIL_BACKEND = "django.core.mail.backends.console.EmailBackend"
    page = client.post("/sign-in/forgotten/", {"email": village.lead.email}).content.decode()
    assert "This server sends no letters" in page
    assert "ask whoever runs it for the link" in page
    letters_gone()
    assert f"http://testserver/sign-in/{village.lead.public_id}/" in capsys.readouterr().out


@pytest.mark.parametrize("secret", ["x", "abc-def", "a" * 400, "zzzzzzzzzzzzzzzz-0"])
def test_a_made_up_way_leads_nowhere(village, client, secret):
    path = f"/sign-in/{village.lead.public_id}/{secret}/"
    assert client.get(path).status_code == 410
    assert client.post(path, {"new_password": NEW_PASSWORD}).status_code == 410
    assert User.objects.get(pk=village.lead.pk).check_password(PASSWORD)


# ------------------------------------------------------------------ leaving a group


def test_a_member_leaves_after_being_asked_once_more(village, signed_in):
    browser, row = signed_in(village.member), Membership.objects.get(user=village.member)
    path = f"/account/leave/{row.public_id}/"
    assert "Leave Gullhaven Meadow Makers?" in browser.get(path).content.decode()
    row.refresh_from_db()
    assert row.until is None
    assert browser.post(path).headers["Location"] == "/account/"
    row.refresh_from_db()
    assert row.until is not None
    assert "You belong to no group." in browser.get("/account/").content.decode()


def test_the_only_lead_is_told_to_hand_over_and_stays(village, signed_in):
    browser, row = signed_in(village.lead), Membership.objects.get(user=village.lead)
    response = browser.post(f"/account/leave/{row.public_id}/")
    assert response.status_code == 422
    assert "This is the group’s only lead. Make somebody else a lead first." in response.content.decode()
    row.refresh_from_db()
    assert row.until is None


def test_nobody_leaves_for_somebody_else(village, signed_in):
    row = Membership.objects.get(user=village.member)
    for browser in (signed_in(village.lead), signed_in(village.stranger)):
        assert browser.get(f"/account/leave/{row.public_id}/").status_code == 404
        assert browser.post(f"/account/leave/{row.public_id}/").status_code == 404
    row.refresh_from_db()
    assert row.until is None


# ------------------------------------------------------------------ everything held


def test_everything_held_is_one_file_that_explains_itself(village, signed_in, noon):
    actor = village.as_(village.lead)
    invitations.invitation_create(
        actor=actor, asked=InvitationNew(email="piran@example.org", group_id=village.group.public_id), now=NOW
    )
    _, text = tokens.token_create(
        actor=actor, asked=TokenNew(name="Map", scopes=("read",)), password=PASSWORD, caller="x", now=NOW
    )
    other = Group.objects.create(network=village.network, name="Brackwater Verges")
    invitations.invitation_create(
        actor=village.as_(village.coordinator),
        asked=InvitationNew(email=village.lead.email, group_id=other.public_id),
        now=NOW,
    )
    line = diary_line(village, village.lead)
    RememberedAnswer.objects.create(user=village.lead, key="k", digest="0" * 64, body="{}")
    response = signed_in(village.lead).get("/account/export/")
    assert response.headers["Content-Type"] == "application/json"
    assert response.headers["Content-Disposition"] == 'attachment; filename="forbcast-account.json"'
    found = orjson.loads(response.content)
    assert found["account"]["held"]["email"] == "wenna.marsh@example.org"
    assert [(row["group"], row["role"]) for row in found["roles"]["held"]] == [("Gullhaven Meadow Makers", "lead")]
    assert [row["email"] for row in found["invitations_sent"]["held"]] == ["piran@example.org"]
    assert [row["group"] for row in found["invitations_received"]["held"]] == ["Brackwater Verges"]
    assert [(row["name"], row["scopes"]) for row in found["tokens"]["held"]] == [("Map", ["read"])]
    assert [(row["id"], row["on"]) for row in found["diary_lines"]["held"]] == [(str(line.public_id), "2026-09-01")]
    assert found["forecasts"]["held"] == []
    assert [row["act"] for row in found["acts"]["held"]] == ["invitation_create", "token_create"]
    assert [(row["table"], row["as"]) for row in found["elsewhere"]["held"]] == [("remembered answer", "user")]
    for part, told in found.items():
        assert part == "written" or len(told["what_this_is"].split()) > 4
    digest = ApiToken.objects.get().digest
    for secret in (text, digest, village.lead.password):
        assert secret not in response.content.decode()
    # nothing of anybody else
    assert "Jory" not in response.content.decode()


def diary_line(village, who):
    site = Site.objects.create(
        network=village.network, group=village.group, name="Bank", kind="verge", area_dm2=900, publicity="private"
    )
    project = MeadowProject.objects.create(
        network=village.network, group=village.group, site=site, name="Bank", stage_since=NOW.date()
    )
    return WorkEntry.objects.create(
        project=project, on=NOW.date(), what="cut", heads=3, person_minutes=180, cash_pence=2500, created_by=who
    )


# ------------------------------------------------------------------ taking it away


def test_the_page_says_beforehand_what_goes_and_what_stays(village, signed_in):
    Group.objects.update(contact="Write to jory.lanthorn@example.org")
    page = signed_in(village.member).get("/account/erase/").content.decode()
    for told in (
        "your name and your e-mail address",
        "every token",
        "“a person who has left”",
        "Lines about money and work",
        "Your address stands in what Gullhaven Meadow Makers says of itself",
    ):
        assert told in page


def test_what_is_erased_stands_nowhere_and_what_stays_is_a_number(village, signed_in, noon):
    other = Group.objects.create(network=village.network, name="Brackwater Verges")
    Membership.objects.filter(user=village.member).update(role="lead")
    appoint(village.lead, village.network, "analyst")
    browser, elsewhere = signed_in(village.lead), signed_in(village.lead)
    browser.post("/account/name/", {"name": "Wenna of the Marsh"})
    lead = village.as_(village.lead)
    _, text = tokens.token_create(
        actor=lead, asked=TokenNew(name="Wenna’s laptop"), password=PASSWORD, caller="x", now=NOW
    )
    sent, _ = invitations.invitation_create(
        actor=lead, asked=InvitationNew(email="piran@example.org", group_id=village.group.public_id), now=NOW
    )
    open_to, secret = invitations.invitation_create(
        actor=village.as_(village.coordinator),
        asked=InvitationNew(email=village.lead.email, group_id=other.public_id),
        now=NOW,
    )
    line = diary_line(village, village.lead)
    RememberedAnswer.objects.create(user=village.lead, key="k", digest="0" * 64, body='{"name": "Wenna"}')
    Job.objects.create(
        kind="estimate_batch", queue="model", payload=[], actor_label="Wenna of the Marsh", actor=village.lead,
        max_attempts=3, run_after=NOW,
    )  # fmt: skip
    acts = AuditEntry.objects.filter(actor=village.lead).count()
    assert "projects_user" in holding("wenna")

    response = browser.post("/account/erase/", {"word": " Erase ", "password": PASSWORD})

    assert (response.status_code, "Your account is erased" in response.content.decode()) == (200, True)
    assert holding("wenna") == []
    assert holding("of the marsh") == []
    left = User.objects.get(pk=village.lead.pk)
    assert (left.email, left.name, left.is_active, left.erased_at, left.last_login) == (None, "", False, NOW, None)
    assert people.called(left) == "a person who has left"
    # nobody comes in any more
    assert browser.get("/account/").status_code == elsewhere.get("/account/").status_code == 302
    assert not Client().login(username="wenna.marsh@example.org", password=PASSWORD)
    assert not any(session.get_decoded().get("_auth_user_id") == str(left.pk) for session in Session.objects.iterator())
    assert people.token_of(text, NOW) is None
    assert Client().get("/api/v1/", headers={"Authorization": f"Bearer {text}"}).status_code == 401
    assert Client().get(f"/invitation/{secret}/").status_code == 410
    # roles have ended; the line, the record and what was sent to others stay
    assert not Membership.objects.filter(user=left, until__isnull=True).exists()
    assert not NetworkMembership.objects.filter(user=left, until__isnull=True).exists()
    line.refresh_from_db()
    assert (line.created_by, line.cash_pence, line.person_minutes) == (left, 2500, 180)
    assert AuditEntry.objects.filter(actor=left).count() == acts + 1
    assert AuditEntry.objects.first().act == "account_erase"
    sent.refresh_from_db()
    assert (sent.email, sent.invited_by, sent.withdrawn_at) == ("piran@example.org", left, None)
    open_to.refresh_from_db()
    assert (open_to.email, open_to.withdrawn_at) == ("", NOW)
    assert Job.objects.get().actor_label == "a person who has left"
    # whoever has the address can be asked in again, as somebody new
    invitations.invitation_create(
        actor=village.as_(village.member),
        asked=InvitationNew(email="wenna.marsh@example.org", group_id=village.group.public_id),
        now=NOW,
    )


@pytest.mark.parametrize(
    ("who", "word", "password", "told"),
    [
        ("member", "erase", "wrong", "This is not your password."),
        ("member", "yes", PASSWORD, "Write the word “erase” to go on."),
        ("member", "", PASSWORD, "Write the word “erase” to go on."),
        (
            "lead",
            "erase",
            PASSWORD,
            "You are the only lead of Gullhaven Meadow Makers: make somebody else a lead first.",
        ),
        ("coordinator", "erase", PASSWORD, "You are the only coordinator of Saltmere: have another appointed first."),
    ],
)
def test_an_account_is_not_erased_otherwise(village, signed_in, who, word, password, told):
    browser, before = signed_in(getattr(village, who)), all_text()
    response = browser.post("/account/erase/", {"word": word, "password": password})
    assert response.status_code == 422
    assert told in response.content.decode()
    assert all_text() == before
    assert browser.get("/account/").status_code == 200


def test_the_lead_of_a_closed_group_may_go(village):
    Group.objects.update(closed_at=NOW)
    erase(village, village.lead)
    assert User.objects.get(pk=village.lead.pk).erased_at == NOW


@pytest.mark.django_db(transaction=True)
def test_of_the_last_two_leads_one_can_go():
    village = settle()
    Membership.objects.filter(user=village.member).update(role="lead")
    going = [village.lead, village.member]

    def go():
        try:
            erase(village, going.pop())
        except RuleBroken as refusal:
            return refusal.errors[0].code
        return "gone"

    assert sorted(side_by_side(2, go)) == ["gone", "hand_over_first"]
    assert Membership.objects.filter(group=village.group, role="lead", until__isnull=True).count() == 1


def test_two_people_cannot_take_the_same_address(village):
    secrets = []
    for user in (village.lead, village.member):
        accounts.email_ask(
            actor=village.as_(user), asked=EmailChange(email="same@example.org"), password=PASSWORD, caller="x",
            link=lambda secret: secrets.append(secret) or secret, now=NOW,
        )  # fmt: skip
    accounts.email_change(secret=secrets[0], now=NOW)
    with pytest.raises(RuleBroken) as refusal:
        accounts.email_change(secret=secrets[1], now=NOW)
    assert [(error.pointer, error.code) for error in refusal.value.errors] == [("/email", "taken")]
    assert User.objects.get(pk=village.member.pk).email == "jory.lanthorn@example.org"
    assert Invitation.objects.count() == 0
    letters_gone()


def test_nothing_of_the_erased_comes_back_by_the_name_of_somebody_new(village):
    erase(village, village.member)
    again = person("Jory Lanthorn")
    assert again.pk != village.member.pk
    assert not Membership.objects.filter(user=again).exists()
