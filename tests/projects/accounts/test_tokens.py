"""Tokens: made once, shown once, and all that the API takes for a caller."""

import re
from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.test import Client

from projects.contracts.people import TokenNew
from projects.errors import NotFound, RuleBroken
from projects.models import ApiToken, AuditEntry, User
from projects.selectors import people
from projects.services import tokens
from tests.projects.accounts.conftest import all_text, holding
from tests.projects.county import PASSWORD

NOW = datetime(2026, 9, 1, 12, 0, tzinfo=UTC)
DAY = timedelta(days=1)


@pytest.fixture
def noon():
    with time_machine.travel(NOW, tick=False) as clock:
        yield clock


def make(village, who=None, now=NOW, **asked):
    actor = village.as_(who or village.lead)
    return tokens.token_create(
        actor=actor, asked=TokenNew(**({"name": "Map"} | asked)), password=PASSWORD, caller="here", now=now
    )


def call(text, path="/api/v1/", **more):
    return Client(**more).get(path, headers={"Authorization": text})


def test_a_token_is_shown_once_and_only_its_digest_kept(village, signed_in, noon):
    browser = signed_in(village.lead)
    asked = {"name": "Map", "scopes": ["read", "exact_places"], "days": "90", "password": PASSWORD}
    response = browser.post("/account/tokens/", asked)
    page = response.content.decode()
    text = re.search(r"<pre[^>]*>(forb_[-\w]+)</pre>", page)[1]
    assert len(text) >= len("forb_") + 40
    assert (response.status_code, response.headers["Cache-Control"]) == (200, "no-store")
    row = ApiToken.objects.get()
    assert (row.user, row.name, row.scopes) == (village.lead, "Map", ["exact_places", "read"])
    assert (row.begins, row.expires_at) == (text[:10], NOW + 90 * DAY)
    assert holding(text) == []
    account = browser.get("/account/").content.decode()
    assert text not in account
    assert f"<code>{text[:10]}</code>" in account
    entry = AuditEntry.objects.first()
    assert (entry.act, entry.object_id) == ("token_create", row.public_id)
    assert entry.after == {"scopes": ["exact_places", "read"], "expires_at": "2026-11-30T12:00:00+00:00"}


def test_the_form_begins_with_reading_for_90_days(village, signed_in):
    page = signed_in(village.lead).get("/account/tokens/").content.decode()
    assert 'name="days" value="90"' in page
    assert re.findall(r'value="(\w+)" checked', page) == ["read"]


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"password": "wrong"}, "This is not your password."),
        ({"password": ""}, "Write the password."),
        ({"name": ""}, "This is empty; write at least one letter."),
        ({"name": "M\x00p"}, "a character that cannot be shown (U+0000)"),
        ({"name": "M" * 81}, "At most 80 characters are allowed."),
        ({"scopes": []}, "Tick at least one"),
        ({"scopes": ["write"]}, "Tick reading as well"),
        ({"scopes": ["exact_places"]}, "Tick reading as well"),
        ({"scopes": ["read", "everything"]}, "“everything” is not in the list"),
        ({"days": "366"}, "366 will not do; it must be at most 365."),
        ({"days": "0"}, "0 will not do; it must be at least 1."),
        ({"days": "a year"}, "“a year” is not a number"),
        ({"days": "9" * 39}, "will not do; it must be at most 365."),
        ({"days": ""}, "Say for how many days, such as 90."),
    ],
)
def test_a_token_is_not_made_otherwise(village, signed_in, changed, told):
    browser, before = signed_in(village.lead), all_text()
    asked = {"name": "Map", "scopes": ["read"], "days": "90", "password": PASSWORD} | changed
    response = browser.post("/account/tokens/", asked)
    assert response.status_code == 422
    assert told in response.content.decode()
    assert all_text() == before


def test_twenty_work_at_once_at_most(village):
    made = [make(village) for _ in range(20)]
    with pytest.raises(RuleBroken, match="You have 20 tokens that work; withdraw one first"):
        make(village)
    tokens.token_revoke(actor=village.as_(village.lead), public_id=made[0][0].public_id, now=NOW)
    make(village)


def test_a_withdrawn_one_works_no_longer(village, signed_in, noon):
    row, text = make(village)
    assert call(f"Bearer {text}").status_code == 200
    browser = signed_in(village.lead)
    assert browser.post(f"/account/tokens/{row.public_id}/withdraw/").headers["Location"] == "/account/"
    assert "The token “Map” works no longer." in browser.get("/account/").content.decode()
    assert call(f"Bearer {text}").status_code == 401
    assert browser.post(f"/account/tokens/{row.public_id}/withdraw/").status_code == 409


def test_nobody_withdraws_somebody_elses(village, signed_in):
    row, _ = make(village)
    assert signed_in(village.member).post(f"/account/tokens/{row.public_id}/withdraw/").status_code == 404
    with pytest.raises(NotFound):
        tokens.token_revoke(actor=village.as_(village.coordinator), public_id=row.public_id, now=NOW)
    row.refresh_from_db()
    assert row.revoked_at is None


def test_it_works_until_its_end(village):
    _, text = make(village, days=1)
    assert people.token_of(text, NOW + DAY - timedelta(seconds=1)).user == village.lead
    assert people.token_of(text, NOW + DAY) is None


def test_it_is_looked_up_with_its_owner_in_one_query(village, django_assert_num_queries):
    _, text = make(village)
    with django_assert_num_queries(1):
        assert people.token_of(text, NOW).user.name == "Wenna Marsh"
    with django_assert_num_queries(1):
        assert people.token_of("forb_" + "x" * 43, NOW) is None


def test_the_day_of_use_is_noted_once_a_day(village, noon, django_assert_num_queries):
    row, text = make(village)
    call(f"Bearer {text}")
    row.refresh_from_db()
    assert row.last_used_on == date(2026, 9, 1)
    with django_assert_num_queries(0):
        tokens.token_used(token=row, now=NOW)
    noon.shift(DAY)
    call(f"Bearer {text}")
    row.refresh_from_db()
    assert row.last_used_on == date(2026, 9, 2)


def test_the_caller_is_the_owner_within_the_scopes(village):
    _, text = make(village, scopes=("read",))
    me = call(f"Bearer {text}", "/api/v1/me/")
    assert me.status_code == 200
    assert "Wenna Marsh" in me.content.decode()


def test_without_the_header_the_caller_is_the_public_even_with_a_session(village, signed_in):
    assert Client().get("/api/v1/").status_code == 200
    browser = signed_in(village.lead)
    assert browser.get("/account/").status_code == 200
    refused = browser.get("/api/v1/me/")
    assert (refused.status_code, refused.json()["code"]) == (401, "unauthenticated")


@pytest.mark.parametrize(
    "header",
    [
        "",
        " ",
        "Bearer",
        "Bearer ",
        "Bearer forb_",
        "Bearer forb_" + "x" * 43,
        "Bearer " + "x" * 8000,
        "Bearer two words",
        "Basic d2VubmE6eA==",
        "Token forb_abc",
        "forb_" + "x" * 43,
        "Bearer forb_\x00",
        "Bearer caf\xe9",
        "Bearer \xff\xfe\xfd",
        "Bearer \U0001f33c",
        "Bearer ٣",
        "\x80",
    ],
)
def test_any_other_header_is_a_401_that_says_how(db, header):
    response = call(header)
    assert response.status_code == 401
    assert response.headers["WWW-Authenticate"] == "Bearer"
    assert response.headers["Content-Type"] == "application/problem+json"
    assert response.json()["code"] == "unauthenticated"


def test_the_token_of_somebody_shut_out_does_not_work(village):
    _, text = make(village)
    User.objects.filter(pk=village.lead.pk).update(is_active=False)
    assert call(f"Bearer {text}").status_code == 401


def test_the_word_before_the_token_is_read_in_any_case(village):
    _, text = make(village)
    assert call(f"bearer  {text}").status_code == 200
    assert call(f"Bearer {text.upper()}").status_code == 401
