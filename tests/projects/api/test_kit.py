"""Kit over the API: asking, clashes with pointers, what becomes of a booking, the project's calendar."""

from datetime import timedelta

import pytest
from django.utils import timezone

from tests.projects.api.caller import Caller
from tests.projects.county import saltmere
from tests.projects.kit import VERGE, YEWS, scarifier, show

pytestmark = pytest.mark.django_db


@pytest.fixture
def county():
    return saltmere()


@pytest.fixture
def day():
    return (timezone.localdate() + timedelta(days=30)).isoformat()


def test_an_item_from_adding_to_taking_back(county, day):
    coordinator, lead = Caller(county.coordinator), Caller(county.lead)
    made = coordinator.post(
        f"networks/{county.network.public_id}/kit/",
        {"name": "Trailer", "kind": "trailer", "width_m": 1.5, "gap_half_days": 1, "agreed_at_once": True},
    )
    assert (made.status_code, made.json()["width_m"]) == (201, 1.5)
    item = made.json()["id"]
    # what a trailer needs, whatever else is said of it
    assert "Towing" in [caution["label"] for caution in made.json()["cautions"]]
    project = county.projects[YEWS].public_id
    booked = lead.post(f"projects/{project}/kit-bookings/", {"item_id": item, "first_on": day})
    assert (booked.status_code, booked.json()["state"], booked.json()["last_half"]) == (201, "agreed", "afternoon")
    assert booked.headers["Location"].endswith(f"/kit-bookings/{booked.json()['id']}/")
    calendar = lead.get(f"projects/{project}/calendar/").json()["results"]
    assert [(line["kind"], line["on"], line["state"]) for line in calendar] == [("kit", day, "agreed")]
    assert lead.get(f"kit/{item}/taken/").json()["results"][0]["group"]["name"] == "Gullhaven Meadow Makers"
    moved = lead.post(f"kit-bookings/{booked.json()['id']}/moves/", {"to": "out", "condition": "good"})
    assert (moved.status_code, moved.json()["hand_overs"][0]["condition"]) == (200, "good")
    back = lead.post(f"kit-bookings/{booked.json()['id']}/moves/", {"to": "back", "condition": "worn"})
    assert back.json()["state"] == "back"
    again = lead.post(f"kit-bookings/{booked.json()['id']}/moves/", {"to": "cancelled"})
    assert (again.status_code, again.json()["code"]) == (409, "wrong_state")
    listed = lead.get(f"projects/{project}/kit-bookings/?state=back").json()["results"]
    assert [row["id"] for row in listed] == [booked.json()["id"]]


def test_a_clash_points_at_the_day_and_tells_what_is_free(county, day):
    item = scarifier(county)
    for who in ("lead", "neighbour"):
        show(county, item, who)
    neighbour, lead = Caller(county.neighbour), Caller(county.lead)
    asked = {"item_id": str(item.public_id), "first_on": day}
    assert neighbour.post(f"projects/{county.projects[VERGE].public_id}/kit-bookings/", asked).status_code == 201
    clash = lead.post(f"projects/{county.projects[YEWS].public_id}/kit-bookings/", asked)
    (error,) = clash.json()["errors"]
    assert (clash.status_code, error["pointer"], error["code"], error["value"]) == (422, "/first_on", "taken", day)
    assert error["detail"].startswith("The scarifier is with Brackwater Verges on ")
    asked_for = f"kit/{item.public_id}/days/?on={day}"
    answer = lead.get(asked_for).json()
    assert (answer["free"], answer["taken_by"], answer["shown"]) == (False, "Brackwater Verges", True)
    # a day, and the day after it kept free: the third is the next one
    after = (timezone.localdate() + timedelta(days=32)).isoformat()
    assert answer["next_free"][0] == {
        "first_on": after, "first_half": "morning", "last_on": after, "last_half": "afternoon",
    }  # fmt: skip


@pytest.mark.parametrize(("query", "parameter"), [
    ("on=2026-02-30", "on"), ("on=soon", "on"), ("first_half=noon", "first_half"), ("on=1400-01-01", "on"),
    ("on=2026-09-06&until=2027-09-06", "until"), ("on=2026-09-06&until=2026-09-01", "until"),
    ("on=9999-12-31&until=9999-12-31", "on"), ("day=2026-09-06", "day"),
])  # fmt: skip
def test_a_question_that_cannot_be_read_is_answered_in_words(county, query, parameter):
    item = scarifier(county)
    answer = Caller(county.lead).get(f"kit/{item.public_id}/days/?{query}")
    assert (answer.status_code, answer.json()["errors"][0]["parameter"]) == (422, parameter)


@pytest.mark.parametrize(("said", "pointer"), [
    ({"first_on": "2026-02-30"}, "/first_on"), ({"first_on": "9999-12-31"}, "/first_on"), ({}, "/first_on"),
    ({"first_on": "2026-12-12", "first_half": "noon"}, "/first_half"),
    ({"first_on": "2026-12-12", "to_be_shown": "yes"}, "/to_be_shown"),
    ({"first_on": "2100-12-31", "to_be_shown": True}, "/first_on"),
    ({"first_on": "2026-12-12", "note": "\x00"}, "/note"),
    ({"first_on": "2026-12-12", "item_id": "00000000-0000-4000-8000-000000000000"}, "/item_id"),
])  # fmt: skip
def test_a_booking_that_cannot_be_made_names_the_field(county, said, pointer):
    item = scarifier(county)
    asked = {"item_id": str(item.public_id), **said}
    answer = Caller(county.lead).post(f"projects/{county.projects[YEWS].public_id}/kit-bookings/", asked)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, pointer)


def test_a_change_says_which_version_it_was_made_to(county):
    item = scarifier(county)
    coordinator = Caller(county.coordinator)
    assert coordinator.patch(f"kit/{item.public_id}/", {"note": "Oiled."}).status_code == 428
    tag = coordinator.get(f"kit/{item.public_id}/").headers["ETag"]
    assert coordinator.patch(f"kit/{item.public_id}/", {"note": "Oiled."}, If_Match=tag).json()["note"] == "Oiled."
    assert coordinator.patch(f"kit/{item.public_id}/", {"note": "Dry."}, If_Match=tag).status_code == 412


def test_who_was_shown_goes_with_the_note_and_with_the_account(county):
    item = scarifier(county)
    coordinator, lead = Caller(county.coordinator), Caller(county.lead)
    said = {"user_id": str(county.lead.public_id), "shown_on": "2026-09-01", "may_show": True}
    made = coordinator.post(f"kit/{item.public_id}/showings/", said)
    assert (made.status_code, coordinator.post(f"kit/{item.public_id}/showings/", said).status_code) == (201, 200)
    assert [row["person"]["name"] for row in lead.get(f"kit/{item.public_id}/showings/").json()["results"]] == [
        "Wenna Marsh"
    ]
    assert Caller(county.neighbour).get(f"kit/{item.public_id}/showings/").json()["results"] == []
    assert coordinator.delete(f"kit-showings/{made.json()['id']}/", If_Match="*").status_code == 204
    assert coordinator.get(f"kit/{item.public_id}/showings/").json()["results"] == []
    bad = coordinator.post(f"kit/{item.public_id}/showings/", {**said, "user_id": str(county.stranger.public_id)})
    assert bad.json()["errors"][0]["pointer"] == "/user_id"


def test_a_fault_tells_of_the_bookings_it_touches(county, day):
    item = scarifier(county, shown_first="")
    lead = Caller(county.lead)
    lead.post(
        f"projects/{county.projects[YEWS].public_id}/kit-bookings/", {"item_id": str(item.public_id), "first_on": day}
    )
    today = timezone.localdate().isoformat()
    noted = lead.post(
        f"kit/{item.public_id}/faults/", {"what": "A belt is torn.", "found_on": today, "out_of_use_from": today}
    )
    assert (noted.status_code, [row["first_on"] for row in noted.json()["touched"]]) == (201, [day])
    mended = Caller(county.coordinator).post(f"kit-faults/{noted.json()['id']}/mend/", {"mended_on": today})
    assert (mended.json()["mended_on"], mended.json()["touched"]) == (today, [])
