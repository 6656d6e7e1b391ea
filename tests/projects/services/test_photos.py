"""Photos from a fixed point: agreed to, once each, seen by those who may, and gone when somebody no longer agrees."""

from datetime import date

import pytest

from modelling.errors import RequestRefused
from modelling.reading import read_as
from projects.contracts.photos import PhotoNew
from projects.contracts.returns import ReturnNew
from projects.contracts.sites import SiteChange
from projects.errors import NotAllowed, NotFound, RuleBroken, Stale
from projects.models import AuditEntry, OutcomeReturn, PhotoFile, ReturnPhoto, User
from projects.rules.access import PUBLIC_ACTOR
from projects.selectors.people import account_export
from projects.selectors.photos import photo_bytes, photo_list, photos_of_project, points_of
from projects.services import accounts, sites
from projects.services.photos import MOST_PHOTOS, photo_add, photo_withdraw
from projects.services.returns import return_send
from tests.projects.county import NOW, PASSWORD
from tests.projects.photos import jpeg, read

pytestmark = pytest.mark.django_db


def a_return(county, project="Paddock to hay", year=NOW.year, who="lead"):
    asked = read_as(ReturnNew, {"year": year, "answered": "nothing_done"})
    row, _ = return_send(
        actor=county.as_(getattr(county, who)), project_id=county.projects[project].public_id, asked=asked, now=NOW
    )
    return row


def said(**values):
    told = {"taken_on": "2026-06-20", "point": "By the gate, looking north", "caption": "Hay, uncut", "agreed": True}
    return read_as(PhotoNew, told | values)


def add(county, outcome, who="member", content=None, **values):
    return photo_add(
        actor=county.as_(getattr(county, who)),
        return_id=outcome.public_id,
        asked=said(**values),
        content=content or jpeg(),
        now=NOW,
    )


def faults(act, *args, **kwargs):
    with pytest.raises((RuleBroken, RequestRefused)) as told:
        act(*args, **kwargs)
    return [(error.pointer, error.code) for error in told.value.errors]


def test_a_photo_is_kept_in_two_sizes_with_what_was_said_of_it(county):
    outcome = a_return(county)
    photo, new = add(county, outcome, content=jpeg(2400, 1800))
    assert new
    assert (photo.outcome, photo.point, photo.caption) == (outcome, "By the gate, looking north", "Hay, uncut")
    assert (photo.taken_on, photo.shown, photo.created_by) == (date(2026, 6, 20), False, county.member)
    assert (photo.width_px, photo.height_px) == (2000, 1500)
    member = county.as_(county.member)
    assert read(photo_bytes(member, photo.public_id, "large")).size == (2000, 1500)
    assert read(photo_bytes(member, photo.public_id, "small")).size == (640, 480)
    with pytest.raises(NotFound):
        photo_bytes(member, photo.public_id, "huge")
    entry = AuditEntry.objects.get(act="photo_add")
    assert (entry.object_id, entry.group) == (photo.public_id, outcome.group)
    assert entry.after == {"return": str(outcome.public_id), "year": 2026, "agreed": True, "shown": False}


def test_the_same_photo_sent_twice_is_there_once(county):
    outcome = a_return(county)
    first, _ = add(county, outcome)
    again, new = add(county, outcome, who="lead", caption="The same")
    assert (again, new) == (first, False)
    assert (ReturnPhoto.objects.count(), PhotoFile.objects.count()) == (1, 2)
    assert AuditEntry.objects.filter(act="photo_add").count() == 1


def test_without_consent_nothing_is_taken(county):
    for values in ({"agreed": False}, {}):
        data = {"taken_on": "2026-06-20", "point": "gate", "caption": "Hay"} | values
        assert faults(read_as, PhotoNew, data) == [("/agreed", "not_agreed")]
    with pytest.raises(RequestRefused, match="parents’ written consent"):
        said(agreed=False)


@pytest.mark.parametrize(
    ("values", "pointer", "code"),
    [
        ({"taken_on": "2026-09-02"}, "/taken_on", "in_future"),
        ({"taken_on": "2025-06-20"}, "/taken_on", "other_year"),
        ({"content": b"no photo"}, "/photo", "unknown_format"),
    ],
)
def test_what_does_not_fit_is_told_at_its_field(county, values, pointer, code):
    assert faults(add, county, a_return(county), **values) == [(pointer, code)]
    assert not ReturnPhoto.objects.exists()


def test_a_return_has_room_for_a_dozen(county):
    outcome = a_return(county)
    for number in range(MOST_PHOTOS):
        add(county, outcome, content=jpeg(colour=(20 * number, 0, 0)), point=f"Point {number}")
    assert faults(add, county, outcome, content=jpeg(colour="blue")) == [("/photo", "too_many")]
    # one that is there already is no thirteenth
    assert add(county, outcome, content=jpeg(colour=(0, 0, 0)))[1] is False


def test_a_fixed_point_keeps_its_name_from_year_to_year(county):
    before, now = a_return(county, year=2025), a_return(county)
    add(county, before, taken_on="2025-06-21")
    photo, _ = add(county, now, point="by  the GATE, looking north")
    assert photo.point == "By the gate, looking north"
    member, project = county.as_(county.member), county.projects["Paddock to hay"]
    assert points_of(member, project.pk) == ["By the gate, looking north"]
    assert [row.taken_on.year for row in photos_of_project(member, project)] == [2025, 2026]


def test_strangers_see_what_was_agreed_to_be_shown_of_a_site_that_is(county):
    outcome = a_return(county)
    kept, _ = add(county, outcome)
    shown, _ = add(county, outcome, content=jpeg(colour="red"), shown=True)
    for who in (PUBLIC_ACTOR, county.as_(county.stranger), county.as_(county.neighbour)):
        assert list(photo_list(who)) == [shown]
        assert photo_bytes(who, shown.public_id, "small")
        with pytest.raises(NotFound):
            photo_bytes(who, kept.public_id, "small")
    assert set(photo_list(county.as_(county.coordinator))) == {kept, shown}
    # the site is withdrawn from the map, and its photos with it
    sites.site_change(
        actor=county.as_(county.lead), public_id=county.sites["Long Paddock"].public_id,
        asked=SiteChange(publicity="private"), if_version=None, now=NOW,
    )  # fmt: skip
    assert not photo_list(PUBLIC_ACTOR).exists()
    assert set(photo_list(county.as_(county.member))) == {kept, shown}


def test_a_private_garden_is_never_shown(county):
    photo, _ = add(county, a_return(county, "Behind the house"), shown=True)
    for who in (PUBLIC_ACTOR, county.as_(county.stranger), county.as_(county.neighbour), county.as_(county.operator)):
        assert not photo_list(who).exists()
        with pytest.raises(NotFound):
            photo_bytes(who, photo.public_id, "large")


def test_somebody_elses_return_is_not_there(county):
    outcome = a_return(county)
    for who in ("neighbour", "stranger", "operator"):
        with pytest.raises(NotFound):
            add(county, outcome, who=who)
    assert not ReturnPhoto.objects.exists()


def test_withdrawn_a_photo_is_gone_and_only_that_it_was_there_is_known(county):
    outcome = a_return(county)
    photo, _ = add(county, outcome, caption="A face at the fence")
    withdraw = {"public_id": photo.public_id, "now": NOW}
    with pytest.raises(NotFound):
        photo_withdraw(actor=county.as_(county.neighbour), if_version=None, **withdraw)
    with pytest.raises(Stale):
        photo_withdraw(actor=county.as_(county.lead), if_version=7, **withdraw)
    photo_withdraw(actor=county.as_(county.lead), if_version=1, **withdraw)
    assert not ReturnPhoto.objects.exists()
    assert not PhotoFile.objects.exists()
    entry = AuditEntry.objects.get(act="photo_withdraw")
    assert (entry.object_id, entry.before, entry.after) == (
        photo.public_id, {"return": str(outcome.public_id), "year": 2026}, None,
    )  # fmt: skip
    assert "fence" not in repr([(row.before, row.after) for row in AuditEntry.objects.all()])


def test_a_member_withdraws_their_own_and_a_lead_any(county):
    outcome = a_return(county)
    of_lead, _ = add(county, outcome, who="lead")
    own, _ = add(county, outcome, content=jpeg(colour="red"))
    member = county.as_(county.member)
    with pytest.raises(NotAllowed):
        photo_withdraw(actor=member, public_id=of_lead.public_id, if_version=None, now=NOW)
    photo_withdraw(actor=member, public_id=own.public_id, if_version=None, now=NOW)
    assert list(ReturnPhoto.objects.all()) == [of_lead]


def test_an_erased_account_leaves_its_photos_and_not_who_sent_them(county):
    photo, _ = add(county, a_return(county))
    member = county.as_(county.member)
    held = account_export(member, NOW)["elsewhere"]["held"]
    assert [entry["id"] for entry in held if entry["table"] == "photo"] == [photo.public_id]
    accounts.account_erase(actor=member, password=PASSWORD, word="erase", caller="here", now=NOW)
    photo.refresh_from_db()
    assert photo.created_by is None
    assert photo.files.count() == 2
    assert User.objects.get(pk=county.member.pk).erased_at == NOW


def test_the_return_stands_as_it_was(county):
    outcome = a_return(county)
    before = OutcomeReturn.objects.get(pk=outcome.pk).version
    add(county, outcome)
    assert OutcomeReturn.objects.get(pk=outcome.pk).version == before
