"""Photos and handovers on pages: nothing typed is lost, consent has its place, a lead is told before they leave."""

from pathlib import Path

import pytest

from projects.choices import GroupRole
from projects.models import Handover, Membership, ReturnPhoto
from projects.services.photos import photo_add
from tests.projects.county import NOW, join, person, saltmere
from tests.projects.dashboard.conftest import Page
from tests.projects.photos import jpeg, named
from tests.projects.photos import read as pixels
from tests.projects.services.test_photos import a_return, said

pytestmark = pytest.mark.django_db


@pytest.fixture
def county():
    return saltmere()


@pytest.fixture
def outcome(county):
    return a_return(county)


@pytest.fixture
def lead(client, county):
    client.force_login(county.lead)
    return client


def typed(**values):
    return {
        "photo": named(jpeg()), "taken_on": "2026-06-20", "point": "By the gate", "caption": "Hay & knapweed",
        "agreed": "yes",
    } | values  # fmt: skip


def post(client, path, data):
    answer = client.post(path, data)
    return answer, Page(answer.content.decode()) if answer.content else None


def test_a_photo_is_sent_and_stands_in_its_return_and_beside_other_years(lead, read, county, outcome):
    answer, _ = post(lead, f"/returns/{outcome.public_id}/photos/new/", typed())
    assert answer.headers["Location"] == f"/returns/{outcome.public_id}/#photos"
    photo = ReturnPhoto.objects.get()
    assert (photo.shown, photo.agreed, photo.caption) == (False, True, "Hay & knapweed")
    page = read(f"/returns/{outcome.public_id}/")
    picture = next(attrs for tag, attrs in page.tags if tag == "img")
    assert picture["alt"] == "Hay & knapweed"
    assert (picture["width"], picture["height"]) == ("400", "300")
    assert pixels(lead.get(picture["src"]).content).size == (400, 300)
    project = county.projects["Paddock to hay"]
    before = a_return(county, year=2025)
    photo_add(
        actor=county.as_(county.lead), return_id=before.public_id,
        asked=said(taken_on="2025-06-21", point="By the gate", caption="Nettles"), content=jpeg(), now=NOW,
    )  # fmt: skip
    page = read(f"/projects/{project.public_id}/photos/")
    assert "Two photos from one fixed point, of two years, 2025 to 2026." in page.text
    assert [attrs["alt"] for tag, attrs in page.tags if tag == "img"] == ["Nettles", "Hay & knapweed"]
    assert page.headings == ["Photos of Paddock to hay", "By the gate"]
    assert "Two photos from one fixed point" in read(f"/projects/{project.public_id}/").text
    # the name of the point is offered for the next
    offered = [attrs for tag, attrs in read(f"/returns/{outcome.public_id}/photos/new/").tags if tag == "option"]
    assert offered == [{"value": "By the gate"}]


def test_consent_is_asked_at_its_place_and_nothing_typed_is_lost(lead, outcome):
    sent = typed(caption="Hay, three children", for_all="yes")
    del sent["agreed"]
    answer, page = post(lead, f"/returns/{outcome.public_id}/photos/new/", sent)
    assert answer.status_code == 422
    assert "Consent: A photo is taken only where this holds" in page.text
    wrong = next(attrs for tag, attrs in page.tags if tag == "p" and attrs.get("id") == "id_agreed_error")
    assert wrong["class"] == "wrong"
    fields = {attrs.get("name"): attrs for tag, attrs in page.tags if tag == "input"}
    assert fields["caption"]["value"] == "Hay, three children"
    assert fields["point"]["value"] == "By the gate"
    assert "checked" in fields["for_all"]
    assert "Choose it again" in page.text
    assert not ReturnPhoto.objects.exists()


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"photo": named(b"GIF89a" + bytes(99), "x.gif")}, "The photo: This file is not a still photo"),
        ({"photo": ""}, "Choose a photo of at most 10 MB."),
        ({"taken_on": "2025-06-20"}, "2025-06-20 is not in 2026"),
        ({"taken_on": "soon"}, "This is not a date"),
        ({"caption": "\0"}, "Null characters are not allowed."),
        ({"caption": "", "point": ""}, "2 things to put right"),
    ],
)
def test_what_is_wrong_stands_beside_its_field(lead, outcome, values, told):
    answer, page = post(lead, f"/returns/{outcome.public_id}/photos/new/", typed(**values))
    assert answer.status_code == 422
    assert told in page.text


def test_a_photo_sent_again_is_said_to_be_there(lead, outcome):
    for told in ("The photo is there.", "This photo was there already."):
        answer = lead.post(f"/returns/{outcome.public_id}/photos/new/", typed(), follow=True)
        assert told in answer.content.decode()
    assert ReturnPhoto.objects.count() == 1


def test_strangers_see_a_photo_agreed_to_be_shown_and_nothing_about_it(client, read, county, outcome):
    shown, kept = (
        photo_add(
            actor=county.as_(county.lead), return_id=outcome.public_id, asked=said(caption=caption, shown=shown),
            content=jpeg(colour=colour), now=NOW,
        )[0]
        for caption, shown, colour in (("Hay", True, "red"), ("Us at tea", False, "blue"))
    )  # fmt: skip
    page = read(f"/projects/{county.projects['Paddock to hay'].public_id}/photos/")
    assert "One photo from one fixed point, of 2026." in page.text
    assert "Us at tea" not in page.text
    assert "Take it away" not in page.text
    answer = client.get(f"/photos/{shown.public_id}/large.jpg")
    assert answer.headers["Content-Type"] == "image/jpeg"
    assert answer.headers["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert answer.headers["Cache-Control"] == "no-store"
    assert client.get(f"/photos/{shown.public_id}/huge.jpg").status_code == 404
    assert client.get(f"/photos/{kept.public_id}/large.jpg").status_code == 404
    assert client.get(f"/returns/{outcome.public_id}/photos/new/").status_code == 404


def test_a_photo_is_taken_away_after_being_asked_once_more(lead, read, county, outcome):
    photo, _ = photo_add(
        actor=county.as_(county.member), return_id=outcome.public_id, asked=said(), content=jpeg(), now=NOW
    )
    page = read(f"/photos/{photo.public_id}/withdraw/")
    assert page.headings == ["Take this photo away for good?"]
    answer = lead.post(f"/photos/{photo.public_id}/withdraw/", follow=True)
    assert "The photo is gone for good." in answer.content.decode()
    assert not ReturnPhoto.objects.exists()
    assert lead.post(f"/photos/{photo.public_id}/withdraw/").status_code == 404


# ------------------------------------------------------------------ handing over


def answers(**values):
    return {
        "things": "Seed in the vestry.", "way_in": "The churchwarden.", "what_1": "First cut", "on_1": "2027-07-20",
        "what_3": "Ask the clerk",
    } | values  # fmt: skip


def test_a_lead_about_to_leave_is_told_to_hand_over(lead, read, county):
    group = county.groups["Gullhaven Meadow Makers"]
    here = f"/groups/{group.public_id}/"
    assert "About to leave? Hand over first" in read(here).text
    page = read(f"{here}hand-over/")
    assert "You are the only lead of Gullhaven Meadow Makers: make somebody else a lead first." in page.text
    membership = Membership.objects.get(group=group, user=county.lead)
    leaving = read(f"/account/leave/{membership.public_id}/")
    assert "You are the only lead" in leaving.text
    assert "Hand over in writing first" in leaving.text
    assert "hand over Gullhaven Meadow Makers" in read("/account/erase/").text
    answer, _ = post(lead, f"{here}hand-over/", answers())
    row = Handover.objects.get()
    assert answer.headers["Location"] == f"/handovers/{row.public_id}/"
    assert row.dates == [{"what": "First cut", "on": "2027-07-20"}, {"what": "Ask the clerk", "on": None}]
    join(person("Isla Reed"), group, GroupRole.LEAD)
    leaving = read(f"/account/leave/{membership.public_id}/")
    assert "You are the only lead" not in leaving.text
    assert "Hand over in writing first" not in leaving.text
    assert "Last handed over in writing on" in read(here).text


def test_a_handover_is_read_and_the_next_begins_with_it(lead, read, county):
    here = f"/groups/{county.groups['Gullhaven Meadow Makers'].public_id}/"
    post(lead, f"{here}hand-over/", answers(things="Seed\nin the vestry <b>."))
    row = Handover.objects.get()
    page = read(f"/handovers/{row.public_id}/")
    assert page.headings[0] == "Handover of Gullhaven Meadow Makers"
    assert "by a lead of the group." in page.text
    assert "20 July 2027 First cut. No set day Ask the clerk." in page.text
    assert "Seed in the vestry <b>." in page.text
    assert "Nothing is said about: promised, and to whom; fixed photo point and quadrats; what went wrong." in page.text
    page = read(f"{here}hand-over/")
    fields = {attrs.get("name"): attrs for tag, attrs in page.tags if tag == "input"}
    assert (fields["what_1"]["value"], fields["on_1"]["value"]) == ("First cut", "2027-07-20")
    assert "Seed in the vestry <b>." in page.text
    post(lead, f"{here}hand-over/", answers(things="In the barn."))
    page = read(f"{here}handovers/")
    links = [attrs["href"] for tag, attrs in page.tags if tag == "a" and attrs["href"].startswith("/handovers/")]
    assert len(links) == 2
    assert links[1] == f"/handovers/{row.public_id}/"
    lead.force_login(county.member)
    assert "Seed in the vestry" in read(links[1]).text


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"way_in": "Ring 01632 960 123"}, "Who lets you in?: '01632 960 123' reaches one person"),
        ({"on_2": "2027-05-01"}, "2. What: Say what is due on that day."),
        ({"on_1": "in May"}, "1. By when: This is not a date"),
        ({"things": "x" * 601}, "at most 600"),
    ],
)
def test_what_is_wrong_in_a_handover_stands_beside_its_field(lead, county, values, told):
    group = county.groups["Gullhaven Meadow Makers"]
    answer, page = post(lead, f"/groups/{group.public_id}/hand-over/", answers(**values))
    assert answer.status_code == 422
    assert told in page.text
    assert "The churchwarden." in page.text or "way_in" in values
    assert not Handover.objects.exists()


def test_an_empty_handover_is_none(lead, county):
    group = county.groups["Gullhaven Meadow Makers"]
    answer, page = post(lead, f"/groups/{group.public_id}/hand-over/", {})
    assert answer.status_code == 422
    assert "Nothing is written yet; one answer is enough to begin with." in page.text


def test_a_projects_handover_names_the_points_of_its_photos(lead, read, county, outcome):
    photo_add(actor=county.as_(county.lead), return_id=outcome.public_id, asked=said(), content=jpeg(), now=NOW)
    project = county.projects["Paddock to hay"]
    page = read(f"/projects/{project.public_id}/hand-over/")
    assert "Photos were taken from: By the gate, looking north." in page.text
    post(lead, f"/projects/{project.public_id}/hand-over/", answers())
    assert Handover.objects.get().project == project


def test_the_picture_is_made_in_one_place():
    """Nothing else opens an image, so that nothing goes out with what a camera wrote."""
    root = Path(__file__).parents[3] / "projects"
    users = [path.name for path in root.rglob("*.py") if "from PIL" in path.read_text(encoding="utf-8")]
    assert users == ["pictures.py"]
