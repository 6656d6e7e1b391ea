"""Photos and handovers by the API: a form with a file, a picture that is nothing else, every refusal a problem."""

import pytest

from projects.models import PhotoFile, ReturnPhoto
from projects.services.photos import photo_add
from tests.projects.api.caller import Caller, Form, fault, problem
from tests.projects.county import NOW, saltmere
from tests.projects.photos import jpeg, named, read
from tests.projects.services.test_photos import a_return, said

pytestmark = pytest.mark.django_db

GATE = "By the gate, looking north"


@pytest.fixture
def county():
    return saltmere()


@pytest.fixture
def outcome(county):
    return a_return(county)


def form(content=None, **values):
    told = {"taken_on": "2026-06-20", "point": GATE, "caption": "Hay, uncut", "agreed": "true"}
    return Form({"photo": named(content or jpeg()), **told, **values})


def send(caller, outcome, sent, **headers):
    return caller.post(f"returns/{outcome.public_id}/photos/", sent, **headers)


def test_a_photo_is_sent_read_listed_and_withdrawn(county, outcome):
    member, lead, public = Caller(county.member), Caller(county.lead), Caller()
    answer = send(member, outcome, form(shown="true"))
    assert answer.status_code == 201
    made = answer.json()
    assert answer.headers["Location"].endswith(f"/api/v1/photos/{made['id']}/")
    assert {name: made[name] for name in ("year", "taken_on", "point", "caption", "shown", "width_px")} == {
        "year": 2026, "taken_on": "2026-06-20", "point": GATE, "caption": "Hay, uncut", "shown": True, "width_px": 400,
    }  # fmt: skip
    assert made["return_id"] == str(outcome.public_id)
    # nobody is told who sent it
    assert county.member.name not in answer.content.decode()
    again = send(member, outcome, form(caption="Other words"))
    assert (again.status_code, again.json()) == (200, made)
    assert member.get(f"returns/{outcome.public_id}/photos/").json()["results"] == [made]
    assert public.get(f"projects/{made['project']['id']}/photos/").json()["results"] == [made]
    problem(public.get(f"returns/{outcome.public_id}/photos/"), 404, "not_found")
    problem(lead.delete(f"photos/{made['id']}/"), 428, "precondition_required")
    problem(lead.delete(f"photos/{made['id']}/", If_Match='"0.9"'), 412, "stale")
    assert lead.delete(f"photos/{made['id']}/", If_Match=answer.headers["ETag"]).status_code == 204
    problem(public.get(f"photos/{made['id']}/image/"), 404, "not_found")
    assert not PhotoFile.objects.exists()


def test_the_picture_is_nothing_but_a_picture(county, outcome):
    made = send(Caller(county.member), outcome, form(jpeg(1000, 800), shown="true")).json()
    for accept in ("*/*", "image/jpeg", "image/*"):
        answer = Caller().get(f"photos/{made['id']}/image/", Accept=accept)
        assert answer.status_code == 200
        assert answer.headers["Content-Type"] == "image/jpeg"
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["Content-Security-Policy"] == "default-src 'none'; sandbox"
        assert answer.headers["Cache-Control"] == "no-store"
        assert read(answer.content).size == (1000, 800)
    assert read(Caller().get(f"photos/{made['id']}/image/?size=small").content).size == (640, 512)
    wrong = problem(Caller().get(f"photos/{made['id']}/image/?size=huge"), 422, "invalid_request")
    assert wrong["errors"][0]["parameter"] == "size"


def test_strangers_see_no_photo_that_was_not_agreed_to_be_shown(county, outcome):
    kept = send(Caller(county.member), outcome, form()).json()
    garden = a_return(county, "Behind the house")
    private, _ = photo_add(
        actor=county.as_(county.lead), return_id=garden.public_id, asked=said(shown=True), content=jpeg(), now=NOW
    )
    for who in (Caller(), Caller(county.stranger), Caller(county.neighbour)):
        for photo in (kept["id"], private.public_id):
            problem(who.get(f"photos/{photo}/"), 404, "not_found")
            problem(who.get(f"photos/{photo}/image/"), 404, "not_found")
        assert who.get(f"projects/{kept['project']['id']}/photos/").json()["results"] == []
    for who in (Caller(county.stranger), Caller(county.neighbour)):
        problem(send(who, outcome, form(jpeg(colour="red"))), 404, "not_found")
    problem(send(Caller(), outcome, form(jpeg(colour="red"))), 401, "unauthenticated")
    # a token that may only read sees them and sends none
    problem(send(Caller(county.member, ("read",)), outcome, form(jpeg(colour="red"))), 403, "forbidden")
    # and one that may not read sees what everybody does
    problem(Caller(county.member, ("write",)).get(f"photos/{kept['id']}/"), 404, "not_found")


@pytest.mark.parametrize(
    ("values", "pointer", "code"),
    [
        ({"agreed": "false"}, "/agreed", "not_agreed"),
        ({"agreed": "perhaps"}, "/agreed", "not_yes_or_no"),
        ({"caption": ""}, "/caption", "too_few"),
        ({"caption": "a\0b"}, "/caption", "control_character"),
        ({"caption": "x" * 201}, "/caption", "too_many"),
        ({"point": ["a", "b"]}, "/point", "given_twice"),
        ({"taken_on": "2026-06-31"}, "/taken_on", "bad_date"),
        ({"taken_on": "2025-06-30"}, "/taken_on", "other_year"),
        ({"place": "here"}, "/place", "unknown_key"),
        ({"photo": named(b"<html>")}, "/photo", "unknown_format"),
        ({"photo": [named(jpeg()), named(jpeg())]}, "/photo", "missing"),
        ({"photo": "no file"}, "/photo", "missing"),
    ],
)
def test_what_is_wrong_is_told_at_its_field(county, outcome, values, pointer, code):
    fault(send(Caller(county.member), outcome, form(**values)), pointer, code)
    assert not ReturnPhoto.objects.exists()


def test_without_a_word_of_consent_nothing_is_taken(county, outcome):
    sent = form()
    del sent["agreed"]
    told = fault(send(Caller(county.member), outcome, sent), "/agreed", "not_agreed")
    assert "written consent" in told["detail"]


def test_what_is_no_form_is_told_so(county, outcome):
    told = problem(send(Caller(county.member), outcome, {"caption": "Hay"}), 415, "unsupported_media_type")
    assert "multipart/form-data" in told["detail"]
    large = problem(send(Caller(county.member), outcome, form(bytes(11 * 2**20))), 413, "body_too_large")
    assert "10 MB" in large["detail"]


def test_a_key_makes_it_once(county, outcome):
    member = Caller(county.member)
    first = send(member, outcome, form(), Idempotency_Key="one")
    assert (first.status_code, send(member, outcome, form(), Idempotency_Key="one").status_code) == (201, 201)
    problem(send(member, outcome, form(jpeg(colour="red")), Idempotency_Key="one"), 422, "key_used")
    assert ReturnPhoto.objects.count() == 1


def test_a_group_and_a_project_are_handed_over(county):
    lead, member = Caller(county.lead), Caller(county.member)
    group, project = county.groups["Gullhaven Meadow Makers"], county.projects["Behind the house"]
    asked = {"way_in": "The churchwarden.", "dates": [{"what": "First cut", "on": "2027-07-20"}]}
    answer = lead.post(f"groups/{group.public_id}/handovers/", asked, Idempotency_Key="one")
    assert answer.status_code == 201
    made = answer.json()
    assert (made["by_role"], made["written_on"] is None, made["project"]) == ("lead", False, None)
    assert made["dates"] == [{"what": "First cut", "on": "2027-07-20"}]
    assert lead.post(f"groups/{group.public_id}/handovers/", asked, Idempotency_Key="one").json() == made
    other = lead.post(f"projects/{project.public_id}/handovers/", {"things": "In the shed."}).json()
    assert other["project"]["id"] == str(project.public_id)
    listed = member.get(f"groups/{group.public_id}/handovers/").json()["results"]
    assert listed == [made, other]
    assert member.get(f"projects/{project.public_id}/handovers/").json()["results"] == [other]
    assert member.get(f"handovers/{made['id']}/").json() == made
    problem(member.post(f"groups/{group.public_id}/handovers/", asked), 403, "forbidden")
    problem(Caller(county.neighbour).get(f"handovers/{made['id']}/"), 404, "not_found")
    told = fault(lead.post(f"groups/{group.public_id}/handovers/", {"way_in": "01632 960123"}), "/way_in", "personal")
    assert "churchwarden" in told["detail"]
    fault(lead.post(f"groups/{group.public_id}/handovers/", {}), "", "missing")
