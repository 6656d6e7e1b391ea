"""Sheets and many returns by the API: files of every size and kind, answers, acceptance, what was left out."""

import hashlib
import uuid

import orjson
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from projects.models import OutcomeReturn, ReturnVersion, SheetUpload
from tests.projects.api.caller import Caller, fault, problem
from tests.projects.county import saltmere
from tests.projects.services.test_uploads import WALK, YEWS

pytestmark = pytest.mark.django_db
TABLE = WALK.encode()


@pytest.fixture
def county():
    return saltmere()


@pytest.fixture
def lead(county):
    return Caller(county.lead)


def address(county, tail="uploads/?year=2026&filename=walk.csv"):
    return f"projects/{county.projects[YEWS].public_id}/{tail}"


def test_a_sheet_is_read_answered_accepted_and_its_rows_given_back(county, lead):
    made = lead.post(address(county), TABLE)
    assert made.status_code == 201, made.content
    found = made.json()
    assert made.headers["Location"].endswith(f"/uploads/{found['id']}/")
    assert (found["state"], found["row_count"], found["refused_count"]) == ("waiting", 6, 2)
    assert found["checksum"] == hashlib.sha256(TABLE).hexdigest()
    assert [(question["key"], question["needed"]) for question in found["questions"]] == [("name:cranesbill", False)]
    assert found["questions"][0]["candidates"][0]["score"] == 100
    assert not OutcomeReturn.objects.exists()
    where = f"uploads/{found['id']}/"
    answered = lead.post(f"{where}answers/", {"answers": {"name:cranesbill": "geranium_pratense"}})
    assert answered.json()["questions"] == []
    # what was seen before the answer is not what would be done now
    problem(lead.post(f"{where}accept/", {"preview": found["preview"]}), 412, "stale")
    taken = lead.post(f"{where}accept/", {"preview": answered.json()["preview"]})
    assert (taken.status_code, taken.json()["state"]) == (200, "accepted")
    part = taken.json()["returns"][0]
    assert (part["version_number"], part["added"]) == (1, True)
    taxa = {r["taxon"] for r in part["content"]["visits"][0]["quadrats"][0]["records"]}
    assert taxa == {"achillea_millefolium", "geranium_pratense"}
    rows = lead.get(f"{where}refused/").json()["results"]
    assert [(row["number"], row["reasons"][0]["code"]) for row in rows] == [(5, "negative"), (6, "over_100")]
    mend = lead.get(f"{where}refused/csv/")
    assert mend.headers["Content-Type"].startswith("text/csv")
    assert "attachment" in mend.headers["Content-Disposition"]
    text = mend.text.replace("'-5,3", "5,3").replace("40,110", "40,11")
    more = lead.post(address(county, f"uploads/?year=2026&mends={found['id']}"), text.encode()).json()
    joined = lead.post(f"uploads/{more['id']}/accept/", {"preview": more["preview"]}).json()
    assert joined["returns"][0]["version_number"] == 2
    every = lead.get(f"{where}rows/?start=4").json()
    assert ([row["number"] for row in every["results"]], every["following"]) == ([5, 6], None)
    assert lead.get("uploads/?state=accepted").json()["results"][0]["id"] == found["id"]
    gone = lead.delete(where, If_Match="*")
    assert gone.status_code == 204
    assert lead.get(where).status_code == 404
    assert ReturnVersion.objects.count() == 2


def test_a_file_in_a_form_is_read_like_a_bare_one(county, lead):
    file = SimpleUploadedFile("summer.csv", TABLE, "text/csv")
    path = f"/api/v1/{address(county, 'uploads/?year=2026')}"
    answer = Client().post(path, {"file": file}, headers=lead.headers)
    assert (answer.status_code, answer.json()["filename"], answer.json()["row_count"]) == (201, "summer.csv", 6)
    fault(Client().post(path, {"other": "x"}, headers=lead.headers), "/file", "missing")


def test_a_key_makes_a_sheet_once(county, lead):
    answers = [lead.post(address(county), TABLE, Idempotency_Key="a") for _ in range(2)]
    assert [answer.status_code for answer in answers] == [201, 201]
    assert answers[0].json() == answers[1].json()
    assert SheetUpload.objects.count() == 1
    problem(lead.post(address(county), TABLE + b"x", Idempotency_Key="a"), 422, "key_used")


def test_templates_hold_the_plan_s_plants_and_are_understood_again(county, lead):
    book = lead.get(address(county, "template/?year=2026"))
    assert book.headers["Content-Type"].endswith("spreadsheetml.sheet")
    assert book.content.startswith(b"PK")
    table = lead.get(address(county, "template/csv/?year=2026"))
    assert "Plant,Latin name,Q1,Q2" in table.text
    filled = table.text.replace("Day of the walk,", "Day of the walk,1 July 2026")
    filled = filled.replace('"Bare ground', 'Yarrow,,20,5\r\n"Bare ground', 1)
    found = lead.post(address(county), filled.encode()).json()
    assert (found["refused_count"], found["questions"]) == (0, [])
    assert found["returns"][0]["new_records"] == 0
    records = found["returns"][0]["content"]["visits"][0]["quadrats"][0]["records"]
    assert [(r["taxon"], r["value"]) for r in records] == [("achillea_millefolium", "20")]
    assert lead.get(address(county, "template/?year=abcd")).status_code == 422
    assert Caller(county.neighbour).get(address(county, "template/")).status_code == 403


@pytest.mark.parametrize("path", ["api", "page"])
def test_two_hundred_megabytes_are_refused_before_a_byte_is_read(county, lead, path):
    read = []

    class Never:
        def read(self, *args):
            read.append(args)
            raise AssertionError("the body was read")

        readline = read

    size = 200 * 2**20
    client = Client()
    client.force_login(county.lead)
    project = county.projects[YEWS].public_id
    where = f"/api/v1/projects/{project}/uploads/" if path == "api" else f"/projects/{project}/sheet/"
    more = {"CONTENT_LENGTH": str(size), "wsgi.input": Never(), "CONTENT_TYPE": "multipart/form-data; boundary=x"}
    answer = client.generic("POST", where, headers=lead.headers if path == "api" else {}, **more)
    assert (answer.status_code, read) == (413, [])
    if path == "api":
        problem(answer, 413, "body_too_large")
    else:
        assert "10 MB" in answer.text
    assert not SheetUpload.objects.exists()


def test_a_body_that_says_it_is_shorter_than_it_is_is_cut_at_the_limit(county, lead):
    answer = lead.post(address(county), b"a,b\n" * (10 * 2**18 + 1))
    problem(answer, 413, "body_too_large")


def test_a_kind_of_body_that_is_no_sheet_is_refused(county, lead):
    headers = {**lead.headers, "Content-Type": "application/json"}
    answer = Client().generic("POST", f"/api/v1/{address(county)}", b"{}", "application/json", headers=headers)
    found = problem(answer, 415, "unsupported_media_type")
    assert "text/csv" in found["detail"]
    picture = Client().generic(
        "POST", f"/api/v1/{address(county)}", b"\x89PNG\r\n\x1a\n" + b"\0" * 50, "application/octet-stream",
        headers=lead.headers,
    )  # fmt: skip
    assert fault(picture, "/file", "another_kind")["expected"].startswith("an XLSX file")


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({}, 422),
        ({"preview": "0" * 64}, 412),
        ({"preview": "\u0000"}, 422),
        ({"preview": "0" * 64, "how": "burn"}, 422),
        ({"preview": 10**18}, 422),
    ],
)
def test_an_acceptance_that_cannot_be_is_refused_and_changes_nothing(county, lead, body, status):
    found = lead.post(address(county), TABLE).json()
    assert lead.post(f"uploads/{found['id']}/accept/", body).status_code == status
    assert not OutcomeReturn.objects.exists()


# ------------------------------------------------------------------ many returns


def batch(*returns):
    return {"returns": list(returns)}


def one(county, name=YEWS, **more):
    return {"project_id": str(county.projects[name].public_id), "year": 2026, **more}


def test_each_return_of_a_batch_is_taken_wholly_or_not_at_all(county, lead):
    good = one(county, visits=[{"on": "2026-07-01", "whole_site": [{"name": "yarrow"}]}])
    bad = one(county, visits=[{"on": "2026-07-01", "whole_site": [{"name": "yarrow"}, {"name": "Yarrow"}]}])
    theirs = next(p for p in county.projects.values() if p.group_id != county.projects[YEWS].group_id)
    strange = {**good, "project_id": str(theirs.public_id)}
    answer = lead.post(
        "returns/batch/",
        batch(good, bad, strange, {"year": "soon"}, {**good, "project_id": str(uuid.uuid4())}, {**good, "year": 1066}),
    )
    assert answer.status_code == 200, answer.content
    results = answer.json()["results"]
    assert [line["status"] for line in results] == [201, 422, 404, 422, 404, 422]
    assert {error["pointer"] for error in results[3]["errors"]} >= {"/project_id", "/year"}
    assert results[1]["errors"][0]["code"] == "twice"
    assert ReturnVersion.objects.count() == 1
    again = lead.post("returns/batch/", batch(good)).json()["results"][0]
    assert (again["status"], again["version_number"]) == (200, 1)
    assert ReturnVersion.objects.count() == 1


def test_a_batch_is_bounded(county, lead):
    problem(lead.post("returns/batch/", batch(*[one(county)] * 201)), 422, "invalid_request")
    problem(lead.post("returns/batch/", batch()), 422, "invalid_request")
    long = batch(one(county, narrative="x" * (4 * 2**20)))
    problem(lead.post("returns/batch/", long), 413, "body_too_large")
    # more than usual JSON, and with a key
    large = batch(*[one(county, year=2000 + n, answered="failed", narrative="x" * 3900) for n in range(25)])
    assert len(orjson.dumps(large)) > 2**16
    answer = lead.post("returns/batch/", large, Idempotency_Key="k")
    assert {line["status"] for line in answer.json()["results"]} == {201}
    assert lead.post("returns/batch/", large, Idempotency_Key="k").json() == answer.json()
    assert ReturnVersion.objects.count() == 25


def test_a_batch_by_nobody_is_refused(county):
    problem(Caller().post("returns/batch/", batch(one(county))), 401, "unauthenticated")
