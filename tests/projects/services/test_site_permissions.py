"""Permissions: what is noted of them, and what they hold up."""

from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction

from projects.contracts.base import read_as
from projects.contracts.sites import PermissionChange, PermissionNew
from projects.errors import NotAllowed, NotFound, RuleBroken, Stale
from projects.models import Permission, Site
from projects.services import sites
from tests.projects.county import NOW
from tests.projects.proof import audited, cast, refused, with_scopes

LATER = NOW + timedelta(days=1)
YARD, GARDEN = "Churchyard of Gullhaven", "Wenna’s garden"
GIVEN = {"need": "needed", "state": "given", "answered_on": "2026-08-20", "signed_by": "Parish council"}


def body(county, name=YARD):
    """The first permission of a site."""
    return Permission.objects.filter(site=county.sites[name]).order_by("pk").first()


def note(county, row, actor=None, if_version=None, now=LATER, **more):
    return sites.permission_change(
        actor=actor or county.as_(county.lead),
        public_id=row.public_id,
        asked=read_as(PermissionChange, more),
        if_version=if_version,
        now=now,
    )


def add(county, actor=None, site=YARD, now=LATER, **more):
    return sites.permission_add(
        actor=actor or county.as_(county.lead),
        site_id=county.sites[site].public_id,
        asked=read_as(PermissionNew, {"label": "The bell-ringers"} | more),
        now=now,
    )


def test_a_permission_is_asked_for_and_given_step_by_step(county):
    row, lead = body(county), county.as_(county.lead)
    assert row.key == "churchyard_body"
    note(county, row, if_version=1, need="needed", state="asked", asked_on="2026-08-01")
    with audited("permission_change", "permission", lead) as seen:
        note(
            county, row, if_version=2, state="given", answered_on="2026-08-20", expires_on="2027-08-20",
            signed_by="Parish council", reference="PC/12", note="Not on Sundays.",
        )  # fmt: skip
    row.refresh_from_db()
    assert (row.need, row.state, row.asked_on, row.answered_on, row.expires_on) == (
        "needed", "given", date(2026, 8, 1), date(2026, 8, 20), date(2027, 8, 20),
    )  # fmt: skip
    assert (row.signed_by, row.reference, row.note) == ("Parish council", "PC/12", "Not on Sundays.")
    assert (row.version, row.updated_at) == (3, LATER)
    assert (seen.entry.before["state"], seen.entry.after["state"]) == ("asked", "given")
    assert set(seen.entry.after) == {"state", "answered_on", "expires_on", "signed_by", "reference", "note"}
    # the site's own version tells of both
    assert Site.objects.get(pk=county.sites[YARD].pk).version == 3
    with refused(Stale, match="you saw version 2, it is now 3"):
        note(county, row, if_version=2, state="refused")


@pytest.mark.parametrize(
    ("more", "faults"),
    [
        ({"state": "given", "signed_by": "Office"}, [("/answered_on", "missing")]),
        ({"state": "refused"}, [("/answered_on", "missing")]),
        ({"state": "given", "answered_on": "2026-08-20"}, [("/signed_by", "missing")]),
        ({"state": "given"}, [("/answered_on", "missing"), ("/signed_by", "missing")]),
        (GIVEN | {"expires_on": "2026-08-19"}, [("/expires_on", "contradiction")]),
        ({"state": "asked", "asked_on": "2026-09-03"}, [("/asked_on", "in_future")]),
        (GIVEN | {"answered_on": "2026-09-03"}, [("/answered_on", "in_future")]),
    ],
)
def test_what_does_not_fit_together_is_refused_by_its_field(county, more, faults):
    with refused(RuleBroken, *faults):
        note(county, body(county), **more)


def test_what_is_said_today_and_ends_the_same_day_is_taken(county):
    row = note(county, body(county), **GIVEN | {"answered_on": "2026-09-02", "expires_on": "2026-09-02"})
    assert (row.answered_on, row.expires_on) == (date(2026, 9, 2), date(2026, 9, 2))


def test_today_is_the_day_in_britain(county):
    # half an hour before midnight by the world's clock is the next day here in summer
    now = datetime(2026, 6, 30, 23, 30, tzinfo=UTC)
    row = note(county, body(county), now=now, state="asked", asked_on="2026-07-01")
    assert row.asked_on == date(2026, 7, 1)
    with refused(RuleBroken, ("/asked_on", "in_future")):
        note(county, body(county), now=now, state="asked", asked_on="2026-07-02")
    assert add(county, now=now, state="asked", asked_on="2026-07-01").asked_on == date(2026, 7, 1)


def test_a_group_adds_a_permission_of_its_own(county):
    lead = county.as_(county.lead)
    with audited("permission_add", "permission", lead) as seen:
        row = add(county, need="needed", state="asked", asked_on="2026-08-01", note="On Tuesdays.")
    row.refresh_from_db()
    assert (row.label, row.need, row.state, row.asked_on, row.note) == (
        "The bell-ringers", "needed", "asked", date(2026, 8, 1), "On Tuesdays.",
    )  # fmt: skip
    assert (row.site, row.key[:4], len(row.key), row.version) == (county.sites[YARD], "own_", 16, 1)
    assert seen.entry.object_id == row.public_id
    assert Site.objects.get(pk=county.sites[YARD].pk).version == 2
    # a second one has a key of its own
    assert add(county, label="The flower guild").key != row.key


@pytest.mark.parametrize(
    ("more", "fault"),
    [
        ({"label": "the BELL-ringers"}, ("/label", "taken")),
        # as the table calls one that is on the list
        ({"label": "Agreement of the churchyard's keepers"}, ("/label", "taken")),
        ({"label": "paths and access"}, ("/label", "taken")),
        ({"label": "Other", "state": "given"}, ("/answered_on", "missing")),
        ({"label": "Other", "state": "asked", "asked_on": "2027-01-01"}, ("/asked_on", "in_future")),
    ],
)
def test_one_that_cannot_be_added_is_refused_by_its_field(county, more, fault):
    add(county)
    faults = [fault, ("/signed_by", "missing")] if more.get("state") == "given" else [fault]
    with refused(RuleBroken, *faults):
        add(county, **more)


def test_a_site_has_so_many_permissions_and_no_more(county, monkeypatch):
    monkeypatch.setattr(sites, "MOST_NOTES", 7)
    add(county)
    with refused(RuleBroken, ("", "too_many"), match="7 permissions"):
        add(county, label="One more")


def test_permissions_are_for_those_of_the_table(county):
    row, hidden = body(county), body(county, GARDEN)
    for who, actor in cast(county).items():
        if who in {"lead", "coordinator"}:
            note(county, row, actor, note=f"By the {who}.")
            add(county, actor, label=f"Of the {who}")
            continue
        for one in (row, hidden):
            # what is inside exists for the group's own people only, on open ground too
            with refused(NotAllowed if who == "member" else NotFound):
                note(county, one, actor, state="asked")
        with refused(NotAllowed):
            add(county, actor)
        with refused(NotAllowed if who == "member" else NotFound):
            add(county, actor, site=GARDEN)
    lead = county.as_(county.lead)
    with refused(NotAllowed, match="write"):
        note(county, row, with_scopes(lead, "read"), state="asked")
    with refused(NotFound):
        note(county, row, with_scopes(lead, "write"), state="asked")
    row.public_id = uuid4()
    with refused(NotFound, match=f"There is no permission {row.public_id}, or none that you may see."):
        note(county, row, state="asked")


@pytest.mark.parametrize(
    ("name", "fields"),
    [
        ("permission_need_known", {"need": "perhaps"}),
        ("permission_state_known", {"state": "lost"}),
        ("permission_answer_has_a_day", {"state": "given", "signed_by": "Office"}),
        ("permission_answer_has_a_day", {"state": "refused"}),
        ("permission_given_is_signed", {"state": "given", "answered_on": date(2026, 8, 1)}),
        (
            "permission_expires_after_answer",
            {"answered_on": date(2026, 8, 2), "expires_on": date(2026, 8, 1)},
        ),
        ("permission_once_per_site|projects_permission.site_id, projects_permission.key", {"key": "buried_services"}),
    ],
)
def test_the_database_refuses_what_cannot_be(county, name, fields):
    row = body(county)
    for field, value in fields.items():
        setattr(row, field, value)
    with refused(IntegrityError, match=name), transaction.atomic():
        Permission.objects.bulk_update([row], list(fields))
    new = Permission(site=row.site, **({"key": "own_1"} | fields))
    with refused(IntegrityError, match=name), transaction.atomic():
        Permission.objects.bulk_create([new])


def test_the_same_key_on_another_site_is_another_permission(county):
    keys = Permission.objects.filter(key="buried_services")
    assert keys.count() == Site.objects.count() == 5
