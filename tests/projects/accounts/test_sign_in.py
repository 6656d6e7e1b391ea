"""Signing in and out, and how many wrong passwords are borne."""

from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.conf import settings as configured
from django.test import Client

from projects.contracts.accounts import SignIn
from projects.errors import RuleBroken, TooOften
from projects.models import SignInFailure
from projects.rules.sign_in import key_of, minutes, wait_until
from projects.services import accounts
from tests.projects.accounts.conftest import holding
from tests.projects.county import PASSWORD, person
from tests.projects.services.test_job_rivals import side_by_side

NOON = datetime(2026, 9, 1, 12, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


def enter(browser, email, password, address="192.0.2.7", **more):
    return browser.post("/sign-in/", {"email": email, "password": password, **more}, REMOTE_ADDR=address)


@pytest.fixture
def noon(settings):
    settings.THROTTLE = True
    with time_machine.travel(NOON, tick=False) as clock:
        yield clock


# ------------------------------------------------------------------ the page


def test_the_right_password_opens_and_goes_on_to_ones_groups(village, client):
    response = enter(client, " Wenna.Marsh@Example.org ", PASSWORD)
    assert (response.status_code, response.headers["Location"]) == (302, "/home/")
    assert "Wenna Marsh" in client.get("/account/").content.decode()


def test_signing_in_gives_the_session_another_key(village, client):
    client.post("/sign-out/")
    before = client.cookies[configured.SESSION_COOKIE_NAME].value
    enter(client, "wenna.marsh@example.org", PASSWORD)
    assert client.cookies[configured.SESSION_COOKIE_NAME].value not in {"", before}


@pytest.mark.parametrize(
    ("asked", "goes_to"),
    [
        ("/account/name/", "/account/name/"),
        ("/groups/?page=2", "/groups/?page=2"),
        ("https://elsewhere.example/account/", "/home/"),
        ("//elsewhere.example/", "/home/"),
        ("/\\elsewhere.example", "/home/"),
        ("javascript:alert(1)", "/home/"),
        ("\x00", "/home/"),
        ("", "/home/"),
    ],
)
def test_after_signing_in_one_goes_on_only_within_this_host(village, client, asked, goes_to):
    response = enter(client, "wenna.marsh@example.org", PASSWORD, next=asked)
    assert (response.status_code, response.headers["Location"]) == (302, goes_to)


def test_a_page_that_needs_signing_in_is_come_back_to(village, client):
    response = client.get("/account/name/")
    assert response.headers["Location"] == "/sign-in/?next=%2Faccount%2Fname%2F"
    page = client.get(response.headers["Location"]).content.decode()
    assert 'name="next" value="/account/name/"' in page


@pytest.mark.parametrize(
    ("email", "password"), [("wenna.marsh@example.org", "wrong"), ("nobody@example.org", PASSWORD)]
)
def test_a_wrong_password_and_an_unknown_address_are_answered_alike(village, client, email, password):
    response = enter(client, email, password)
    page = response.content.decode()
    assert response.status_code == 422
    assert "No account has this address and this password. Look at both again." in page
    assert f'value="{email}"' in page
    assert password not in page
    assert "_auth_user_id" not in client.session


@pytest.mark.parametrize(
    ("email", "password", "told"),
    [
        ("wenna", PASSWORD, "is no e-mail address; one looks like wenna@example.org."),
        ("a\x00b@example.org", PASSWORD, "a character that cannot be shown (U+0000)"),
        ("a" * 250 + "@example.org", PASSWORD, "At most 254 characters are allowed."),
        ("", PASSWORD, "is no e-mail address"),
        ("wenna.marsh@example.org", "x" * 201, "This is 201 characters long; at most 200 are taken."),
        ("wenna.marsh@example.org", "x\x00", "This holds a character that cannot be typed"),
        ("wenna.marsh@example.org", "", "Write the password."),
    ],
)
def test_what_cannot_be_right_is_refused_in_words_and_not_counted(village, client, noon, email, password, told):
    response = enter(client, email, password)
    assert response.status_code == 422
    assert told in response.content.decode()
    assert SignInFailure.objects.count() == 0


def test_an_erased_account_opens_to_nobody(village, client):
    accounts.account_erase(actor=village.as_(village.member), password=PASSWORD, word="erase", caller="here", now=NOON)
    assert enter(client, "jory.lanthorn@example.org", PASSWORD).status_code == 422


def test_signing_out_is_a_form_and_ends_the_session(village, signed_in):
    browser = signed_in(village.lead)
    assert browser.get("/sign-out/").status_code == 405
    assert browser.get("/account/").status_code == 200
    response = browser.post("/sign-out/")
    assert (response.status_code, response.headers["Location"]) == (302, "/")
    assert browser.get("/account/").status_code == 302


def test_a_note_is_shown_once(village, client):
    client.post("/sign-out/")
    assert "You are signed out." in client.get("/").content.decode()
    assert "You are signed out." not in client.get("/").content.decode()


@pytest.mark.parametrize(
    "path", ["/sign-in/", "/sign-out/", "/sign-in/forgotten/", "/account/erase/", "/account/name/", "/account/tokens/"]
)
def test_no_form_is_taken_from_elsewhere(village, path):
    browser = Client(enforce_csrf_checks=True)
    assert browser.login(username=village.lead.email, password=PASSWORD)
    response = browser.post(path, {"email": village.lead.email, "password": PASSWORD, "name": "Mallory"})
    assert response.status_code == 403
    village.lead.refresh_from_db()
    assert village.lead.name == "Wenna Marsh"
    assert "_auth_user_id" in browser.session


def test_the_page_is_kept_nowhere(client, db):
    headers = client.get("/sign-in/").headers
    assert (headers["Cache-Control"], headers["Referrer-Policy"]) == ("no-store", "same-origin")


def test_the_masthead_and_the_foot_know_who_is_there(village, client, signed_in):
    visitor = client.get("/").content.decode()
    assert '<a href="/sign-in/">Sign in</a>' in visitor
    assert "/account/" not in visitor
    assert "Nothing about you or your ground is kept." in visitor
    person = signed_in(village.lead).get("/").content.decode()
    assert '<a href="/home/">Your groups</a>' in person
    assert '<a href="/account/">Your account</a>' in person
    assert "/sign-in/" not in person
    assert "Nothing about you" not in person


# ------------------------------------------------------------------ too many tries


def test_ten_wrong_passwords_for_a_name_are_borne_and_the_next_try_waits(village, client, noon):
    for number in range(10):
        assert enter(client, "wenna.marsh@example.org", "wrong", f"192.0.2.{number}").status_code == 422
        noon.shift(MINUTE)
    # the right one is not looked at either
    refused = enter(client, "wenna.marsh@example.org", PASSWORD, "192.0.2.99")
    assert refused.status_code == 429
    # the first try was ten minutes ago, and counts for fifteen
    assert refused.headers["Retry-After"] == "300"
    assert "Wait 5 minutes, then try again." in refused.content.decode()
    assert "_auth_user_id" not in client.session
    # another name is not held up
    assert enter(Client(), "jory.lanthorn@example.org", PASSWORD).status_code == 302
    # a refused try does not make the wait longer
    noon.shift(5 * MINUTE)
    assert enter(client, "wenna.marsh@example.org", PASSWORD).status_code == 302


def test_forty_wrong_passwords_from_one_address_are_borne_whatever_the_names(village, client, noon):
    for number in range(40):
        assert enter(client, f"person{number}@example.org", "wrong").status_code == 422
    assert enter(client, "wenna.marsh@example.org", PASSWORD).status_code == 429
    assert enter(client, "wenna.marsh@example.org", PASSWORD, "192.0.2.8").status_code == 302


def test_a_right_password_clears_what_failed_for_the_name(village, client, noon):
    for _ in range(9):
        enter(client, "wenna.marsh@example.org", "wrong")
    assert enter(client, "wenna.marsh@example.org", PASSWORD).status_code == 302
    for _ in range(10):
        assert enter(Client(), "wenna.marsh@example.org", "wrong").status_code == 422
    assert enter(Client(), "wenna.marsh@example.org", "wrong").status_code == 429
    # nine and ten from this address; the try that was right and the one refused are not among them
    assert SignInFailure.objects.filter(key=key_of("name", "wenna.marsh@example.org")).count() == 10
    assert SignInFailure.objects.count() == 10 + 19


def test_neither_name_nor_address_is_kept_and_nothing_for_longer_than_an_hour(village, client, noon):
    enter(client, "nobody@example.org", "wrong", "203.0.113.77")
    assert SignInFailure.objects.count() == 2
    assert {len(key) for key in SignInFailure.objects.values_list("key", flat=True)} == {64}
    assert holding("nobody@example.org") == holding("203.0.113.77") == []
    noon.shift(timedelta(minutes=60))
    enter(client, "other@example.org", "wrong")
    assert SignInFailure.objects.count() == 2
    assert not SignInFailure.objects.filter(key=key_of("name", "nobody@example.org")).exists()


def test_the_switch_turns_counting_off(village, client, settings):
    settings.THROTTLE = False
    for _ in range(12):
        assert enter(client, "wenna.marsh@example.org", "wrong").status_code == 422
    assert SignInFailure.objects.count() == 0


def test_the_password_is_asked_for_again_no_more_often_than_at_signing_in(village, signed_in, noon):
    browser = signed_in(village.lead)
    for _ in range(10):
        assert browser.post("/account/email/", {"email": "new@example.org", "password": "wrong"}).status_code == 422
    refused = browser.post("/account/email/", {"email": "new@example.org", "password": PASSWORD})
    assert refused.status_code == 429
    village.lead.refresh_from_db()
    assert village.lead.email == "wenna.marsh@example.org"


@pytest.mark.parametrize(
    ("ago_min", "wait_min"),
    [([], None), ([1] * 9, None), ([15] * 10, None), ([14] * 10, 1), ([14, *[3] * 9], 1), ([14, *[3] * 10], 12)],
)
def test_the_wait_ends_when_few_enough_are_left_in_the_window(ago_min, wait_min):
    until = wait_until([NOON - ago * MINUTE for ago in ago_min], 10, NOON)
    assert until == (None if wait_min is None else NOON + wait_min * MINUTE)


@pytest.mark.parametrize(
    ("seconds", "told"), [(1, "1 minute"), (60, "1 minute"), (61, "2 minutes"), (900, "15 minutes")]
)
def test_waits_are_told_in_whole_minutes_rounded_up(seconds, told):
    assert minutes(seconds) == told


@pytest.mark.django_db(transaction=True)
def test_of_many_guesses_at_once_no_more_than_ten_are_looked_at(settings):
    settings.THROTTLE = True
    person("Wenna Marsh")

    def guess():
        looked_at = 0
        for _ in range(8):
            try:
                accounts.sign_in(
                    asked=SignIn(email="wenna.marsh@example.org"), password="wrong", caller="one house", now=NOON
                )
            except RuleBroken:
                looked_at += 1
            except TooOften:
                pass
        return looked_at

    looked_at = sum(side_by_side(2, guess))
    assert 9 <= looked_at <= 10
    assert SignInFailure.objects.filter(key=key_of("name", "wenna.marsh@example.org")).count() == looked_at
