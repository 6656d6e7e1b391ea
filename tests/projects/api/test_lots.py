"""The seed store over HTTP: a sack comes in, is counted, promised, handed over, blended; errors name their field."""

import uuid

import pytest

from tests.projects.api.caller import Caller
from tests.projects.county import saltmere
from tests.projects.services.test_counts import donor

pytestmark = pytest.mark.django_db
RATTLE = "rhinanthus_minor"


@pytest.fixture
def scene():
    county = saltmere(sown=False)
    return county, Caller(county.coordinator), Caller(county.member)


def sack(county, coordinator, name="Barn", grams=1000.0):
    said = {"network_id": str(county.network.public_id), "name": name, "origin": "given", "grams": grams}
    answer = coordinator.post("lots/", said)
    assert answer.status_code == 201, answer.text
    assert answer.headers["Location"].endswith(f"/lots/{answer.json()['id']}/")
    return answer.json()


def test_a_sack_from_the_door_to_the_meadow(scene):
    county, coordinator, member = scene
    row = sack(county, coordinator)
    path = f"lots/{row['id']}/"
    group = county.groups["Gullhaven Meadow Makers"]
    owed = coordinator.post(f"{path}promises/", {"group_id": str(group.public_id), "grams": 400.0, "by": "2026-10-01"})
    assert (owed.status_code, owed.json()["grams_owed"]) == (201, 400.0)
    moved = coordinator.post(f"promises/{owed.json()['id']}/moves/", {"to": "handed_over", "grams": 150.5})
    assert (moved.status_code, moved.json()["grams_owed"]) == (200, 249.5)
    now = member.get(path).json()
    assert (now["grams_in"], now["grams_left"], now["grams_promised"], now["grams_free"]) == (
        1000.0,
        849.5,
        249.5,
        600.0,
    )
    too_much = coordinator.post(f"{path}moves/", {"act": "used", "grams": 600.001})
    assert too_much.status_code == 422
    assert [(e["pointer"], e["code"], e["expected"]) for e in too_much.json()["errors"]] == [
        ("/grams", "not_enough", "at most 600 g")
    ]
    history = member.get(f"{path}history/").json()["results"]
    assert [(line["act"], line["grams_left"]) for line in history] == [
        ("made", 1000.0), ("promised", 1000.0), ("handed_over", 849.5),
    ]  # fmt: skip
    other = Caller(county.neighbour).get(f"{path}history/").json()["results"]
    assert {line["promise_id"] for line in other} == {None}
    assert {line["promise_id"] for line in history} == {None, owed.json()["id"]}


def test_a_count_as_json_as_a_table_and_what_it_says(scene):
    county, coordinator, member = scene
    row = sack(county, coordinator, grams=18_400.0)
    path = f"lots/{row['id']}/counts/"
    samples = [{"grams": 1.0, "counts": {RATTLE: n}} for n in (12, 9, 15, 11, 14, 10)]
    first = member.post(path, {"samples": samples})
    assert first.status_code == 201
    assert first.json()["answer"]["taxa"][0]["seeds_per_gram"]["middle"] == 11.8333
    more = member.send("POST", f"{path}?adds_to_last=yes", b"grams,rhinanthus_minor\n1.0,41\n")
    assert more.status_code == 201, more.text
    assert more.json()["answer"]["taxa"][0]["seeds_counted"] == 112
    assert [row["number"] for row in member.get(path).json()["results"]] == [2, 1]
    contents = member.get(f"lots/{row['id']}/contents/").json()["kinds"]
    assert [(kind["taxon"], kind["basis"]) for kind in contents] == [(RATTLE, "counted")]
    wrong = member.post(path, {"samples": [{"grams": 1.0, "counts": {RATTLE: 5000}}]})
    assert (wrong.status_code, wrong.json()["errors"][0]["pointer"]) == (422, "/samples/0/counts/rhinanthus_minor")
    for body in (b"\xff\xfe", b"", b"grams\n1\n", b"grams,rhinanthus_minor\nx,y\n", b"grams,rhinanthus_minor\n0,1\n"):
        answer = member.send("POST", path, body)
        assert 400 <= answer.status_code < 500, (body, answer.text)


def test_an_etag_of_before_is_stale_and_a_key_sent_twice_acts_once(scene):
    county, coordinator, _ = scene
    row = sack(county, coordinator)
    path = f"lots/{row['id']}/"
    tag = coordinator.get(path).headers["ETag"]
    assert coordinator.patch(path, {"note": "x"}, If_Match=tag).status_code == 200
    assert coordinator.patch(path, {"note": "y"}, If_Match=tag).status_code == 412
    assert coordinator.patch(path, {"note": "y"}).status_code == 428
    key = str(uuid.uuid4())
    for _ in range(2):
        answer = coordinator.post(f"{path}moves/", {"act": "used", "grams": 10.0}, Idempotency_Key=key)
        assert (answer.status_code, answer.json()["grams_left"]) == (200, 990.0)


def test_two_lots_become_one(scene):
    county, coordinator, member = scene
    one, two = (sack(county, coordinator, name) for name in ("One", "Two"))
    path = f"networks/{county.network.public_id}/lot-blends/"
    parts = [{"lot_id": row["id"], "grams": grams} for row, grams in ((one, 30.0), (two, 10.0))]
    assert member.post(path, {"name": "Both", "parts": parts}).status_code == 403
    made = coordinator.post(path, {"name": "Both", "parts": parts})
    assert (made.status_code, made.json()["grams_left"]) == (201, 40.0)
    assert [(part["lot"]["name"], part["grams"]) for part in made.json()["parts"]] == [("One", 30.0), ("Two", 10.0)]
    again = coordinator.post(path, {"name": "both", "parts": parts})
    assert (again.status_code, again.json()["errors"][0]["pointer"]) == (422, "/name")


def test_an_owner_is_told_to_coordinators_alone(scene):
    county, coordinator, member = scene
    row = donor(county)
    path = f"donors/{row.public_id}/"
    told = coordinator.get(path).json()
    assert (told["owner"], len(told["agreements"])) == ("A. N. Owner", 1)
    assert member.get(path).status_code == 404
    harvest = {"on": "2026-07-20", "method": "brush", "area_m2": 3000.0, "fresh_g": 20000.0, "lot_name": "Ness"}
    made = coordinator.post(f"{path}harvests/", harvest)
    assert made.status_code == 201
    lot = member.get(f"lots/{made.json()['lot_id']}/").json()
    assert (lot["donor"], lot["state"]) == (None, "fresh")
    assert member.get("harvests/").json()["results"] == []
    row.agreements.update(name_told=True)
    seen = member.get(path)
    assert (seen.status_code, seen.json()["owner"], seen.json()["agreements"]) == (200, None, None)
    assert "A. N. Owner" not in seen.text
    assert member.get(f"lots/{made.json()['lot_id']}/").json()["donor"]["name"] == "Ness meadow"
    early = coordinator.post(f"{path}harvests/", harvest | {"on": "2026-06-01", "lot_name": "Early"})
    assert [(e["pointer"], e["code"]) for e in early.json()["errors"]] == [
        ("/on", "outside_window"), ("/area_m2", "beyond_agreed_area"), ("/area_m2", "too_large_a_share"),
    ]  # fmt: skip
