"""What groups keep, through the API: made, read, changed, and refused in words."""

import hashlib
import uuid

import pytest

from projects.models import AuditEntry, MeadowProject, Site, WorkEntry
from tests.projects.api.caller import Caller, fault, problem
from tests.projects.county import saltmere

pytestmark = pytest.mark.django_db


@pytest.fixture
def county():
    return saltmere()


@pytest.fixture
def lead(county):
    return Caller(county.lead)


def site_body(county, **values):
    group = county.groups["Gullhaven Meadow Makers"]
    return {
        "group_id": str(group.public_id),
        "name": "Glebe corner",
        "kind": "field",
        "place": {"grid_reference": "TA 9834 3512"},
        "area_m2": 400,
    } | values


# ------------------------------------------------------------------ sites


def test_a_site_is_registered_read_changed_and_removed(county, lead):
    made = lead.post("sites/", site_body(county, gate_width_m=1.2, zones=[{"name": "bank", "area_m2": 100}]))
    assert made.status_code == 201
    site = made.json()
    assert made.headers["Location"].endswith(f"/api/v1/sites/{site['id']}/")
    assert (site["area_m2"], site["publicity"], site["version"]) == (400.0, "square_1_km", 1)
    assert site["place"]["reference"] == "TA 9834 3512"
    assert site["place"]["exact"] is True
    assert site["detail"]["gate_width_m"] == 1.2
    assert site["detail"]["zones"] == [{"name": "bank", "area_m2": 100.0, "sward": None, "note": ""}]
    read = lead.get(made.headers["Location"])
    assert (read.json(), read.headers["ETag"]) == (site, made.headers["ETag"])

    changed = lead.patch(
        f"sites/{site['id']}/", {"sward": "rank_grass", "gate_width_m": None}, If_Match=read.headers["ETag"]
    )
    assert changed.status_code == 200
    assert changed.json()["version"] == 2
    assert changed.headers["ETag"] != read.headers["ETag"]
    assert changed.json()["detail"]["sward"] == "rank_grass"
    assert changed.json()["detail"]["gate_width_m"] is None
    # what the change left out is as it was
    assert changed.json()["detail"]["zones"] == site["detail"]["zones"]

    gone = lead.delete(f"sites/{site['id']}/", If_Match=changed.headers["ETag"])
    assert (gone.status_code, gone.content) == (204, b"")
    problem(lead.get(f"sites/{site['id']}/"), 404, "not_found")


def test_strangers_see_the_square_and_nothing_inside(county):
    site = county.sites["Churchyard of Gullhaven"]
    for caller in (Caller(), Caller(county.stranger), Caller(county.neighbour), Caller(county.operator)):
        found = caller.get(f"sites/{site.public_id}/").json()
        assert found["place"]["reference"] == "TA 98 35"
        assert (found["place"]["side_m"], found["place"]["exact"]) == (1000, False)
        assert found["detail"] is None


def test_a_token_without_the_scope_sees_its_own_sites_by_their_squares(county):
    found = Caller(county.lead, ["read"]).get(f"sites/{county.sites['Churchyard of Gullhaven'].public_id}/").json()
    assert found["place"]["reference"] == "TA 98 35"
    assert found["detail"]["outline"] is None
    assert found["detail"]["sward"] == "rank_grass"
    private = Caller(county.lead, ["read"]).get(f"sites/{county.sites['Wenna’s garden'].public_id}/").json()
    assert private["place"] is None


def test_a_private_site_is_not_there_for_others(county):
    private = county.sites["Wenna’s garden"]
    for caller in (Caller(), Caller(county.stranger), Caller(county.neighbour), Caller(county.operator)):
        missing = caller.get(f"sites/{uuid.uuid4()}/").json()
        hidden = problem(caller.get(f"sites/{private.public_id}/"), 404, "not_found")
        assert hidden["title"] == missing["title"]
        names = [row["name"] for row in caller.get("sites/").json()["results"]]
        assert "Wenna’s garden" not in names
        assert len(names) == 4
    assert Caller(county.member).get(f"sites/{private.public_id}/").status_code == 200
    assert Caller(county.coordinator).get(f"sites/{private.public_id}/").status_code == 200


@pytest.mark.parametrize(
    ("place", "pointer", "code"),
    [
        ({"grid_reference": "ZZ 123 456"}, "/place/grid_reference", None),
        ({"grid_reference": "TA 983 51"}, "/place/grid_reference", None),
        ({"grid_reference": "TA９８３５"}, "/place/grid_reference", None),
        ({"latitude": 1.01, "longitude": 53.77}, "/place/latitude", "swapped"),
        ({"latitude": 53.77}, "/place", "contradiction"),
        ({}, "/place", "contradiction"),
        ({"grid_reference": "TA 98 35", "latitude": 53.7, "longitude": 1.0}, "/place", "contradiction"),
        ({"village_id": str(uuid.uuid4())}, "/place/village_id", "unknown"),
        ({"outline": {"type": "Point", "coordinates": [1, 53.7]}}, "/place/outline", None),
    ],
)
def test_a_place_that_cannot_be_is_refused_and_nothing_is_saved(county, lead, place, pointer, code):
    before = Site.objects.count()
    answer = lead.post("sites/", site_body(county, place=place))
    errors = {entry["pointer"]: entry for entry in problem(answer, 422, "invalid_request")["errors"]}
    assert pointer in errors
    assert code is None or errors[pointer]["code"] == code
    assert errors[pointer]["expected"]
    assert Site.objects.count() == before


def test_an_outline_gives_the_area_and_contradicts_a_wrong_one(county, lead):
    outline = lead.get(f"sites/{county.sites['Long Paddock'].public_id}/").json()["detail"]["outline"]
    made = lead.post("sites/", site_body(county, place={"outline": outline}, area_m2=None))
    # 100 m by 80 m on the grid; the corners went through degrees of six decimals
    assert made.json()["area_m2"] == pytest.approx(8000, rel=2e-3)
    wrong = fault(
        lead.post("sites/", site_body(county, name="Other", place={"outline": outline}, area_m2=800)),
        "/area_m2",
        "area_differs",
    )
    assert "8,0" in wrong["detail"] or "8000" in wrong["detail"]


def test_fifty_thousand_corners_are_too_large_a_body(county, lead):
    ring = [[1.0 + i / 1e6, 53.7] for i in range(50_000)]
    outline = {"type": "Polygon", "coordinates": [[*ring, ring[0]]]}
    problem(lead.post("sites/", site_body(county, place={"outline": outline})), 413, "body_too_large")


def test_another_groups_id_is_refused_and_changes_nothing(county, lead):
    other = county.groups["Brackwater Verges"]
    before = AuditEntry.objects.count()
    problem(lead.post("sites/", site_body(county, group_id=str(other.public_id))), 403, "forbidden")
    verge = lead.get(f"sites/{county.sites['Brackwater verge'].public_id}/")
    problem(
        lead.patch(f"sites/{verge.json()['id']}/", {"name": "Mine"}, If_Match=verge.headers["ETag"]), 403, "forbidden"
    )
    problem(lead.delete(f"sites/{verge.json()['id']}/", If_Match=verge.headers["ETag"]), 403, "forbidden")
    assert lead.get(f"sites/{verge.json()['id']}/").json() == verge.json()
    assert AuditEntry.objects.count() == before


def test_a_member_may_not_register_and_a_visitor_needs_a_token(county):
    problem(Caller(county.member).post("sites/", site_body(county)), 403, "forbidden")
    refused = Caller().post("sites/", site_body(county))
    problem(refused, 401, "unauthenticated")
    assert refused.headers["WWW-Authenticate"] == "Bearer"


def test_a_token_for_reading_changes_nothing(county):
    answer = Caller(county.lead, ["read", "exact_places"]).post("sites/", site_body(county))
    assert "scope “write”" in problem(answer, 403, "forbidden")["detail"]


@pytest.mark.parametrize("name", ["", "  ", "\x07bell", "x" * 121, 7, None])
def test_a_name_that_cannot_be_is_refused(county, lead, name):
    errors = problem(lead.post("sites/", site_body(county, name=name)), 422, "invalid_request")["errors"]
    assert [entry["pointer"] for entry in errors] == ["/name"]


def test_a_nul_in_a_name_is_refused_by_its_place(county, lead):
    fault(lead.post("sites/", site_body(county, name="a\0b")), "/name", "nul_character")


def test_the_same_name_twice_is_refused_in_words(county, lead):
    assert lead.post("sites/", site_body(county)).status_code == 201
    fault(lead.post("sites/", site_body(county, name="GLEBE CORNER")), "/name", "taken")


# ------------------------------------------------------------------ versions


def test_a_change_names_its_version(county, lead):
    path = f"sites/{county.sites['Churchyard of Gullhaven'].public_id}/"
    first = lead.get(path).headers["ETag"]
    problem(lead.patch(path, {"shade": "sun"}), 428, "precondition_required")
    problem(lead.patch(path, {"shade": "sun"}, If_Match="rubbish"), 400, "bad_request")
    assert lead.patch(path, {"shade": "sun"}, If_Match=first).status_code == 200
    stale = lead.patch(path, {"shade": "shade"}, If_Match=first)
    problem(stale, 412, "stale")
    assert stale.headers["ETag"] == lead.get(path).headers["ETag"]
    problem(lead.patch(path, {"shade": "shade"}, If_Match=f"W/{stale.headers['ETag']}"), 412, "stale")
    assert lead.get(path).json()["detail"]["shade"] == "sun"
    assert lead.patch(path, {"shade": "shade"}, If_Match=f'"other", {stale.headers["ETag"]}').status_code == 200
    assert lead.patch(path, {"shade": "sun"}, If_Match="*").status_code == 200


# ------------------------------------------------------------------ the same request twice


def test_a_key_makes_a_request_count_once(county, lead):
    first = lead.post("sites/", site_body(county), Idempotency_Key="site-1")
    again = lead.post("sites/", site_body(county), Idempotency_Key="site-1")
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.content == first.content
    assert (again.headers["ETag"], again.headers["Location"]) == (first.headers["ETag"], first.headers["Location"])
    assert Site.objects.filter(name="Glebe corner").count() == 1
    problem(lead.post("sites/", site_body(county, area_m2=401), Idempotency_Key="site-1"), 422, "key_used")
    # another person's key of the same letters is another key
    other = Caller(county.coordinator).post("sites/", site_body(county, name="Hers"), Idempotency_Key="site-1")
    assert other.json()["name"] == "Hers"


def test_a_refused_request_leaves_its_key_free(county, lead):
    fault(lead.post("sites/", site_body(county, area_m2=-1), Idempotency_Key="k"), "/area_m2", "out_of_range")
    assert lead.post("sites/", site_body(county), Idempotency_Key="k").status_code == 201
    problem(lead.post("sites/", site_body(county), Idempotency_Key="x" * 201), 400, "bad_request")


# ------------------------------------------------------------------ lists


def test_pages_hold_every_row_once_while_rows_are_added(county, lead):
    seen, path = [], "sites/?limit=2"
    while path:
        found = lead.get(path).json()
        seen += [row["name"] for row in found["results"]]
        if len(seen) == 2:
            lead.post("sites/", site_body(county))
        path = found["next"]
    assert sorted(seen) == sorted([*county.sites, "Glebe corner"])
    newest = lead.get("sites/?order=newest&limit=1").json()["results"]
    assert [row["name"] for row in newest] == ["Glebe corner"]


def test_filters_narrow_and_unknown_ones_are_refused(county, lead):
    def names(query):
        return [row["name"] for row in lead.get(f"sites/?{query}").json()["results"]]

    verges = county.groups["Brackwater Verges"]
    assert names("kind=field") == ["Long Paddock"]
    assert names(f"group={verges.public_id}") == ["Brackwater verge"]
    assert names(f"group={verges.public_id}&kind=field") == []
    for query, parameter, code in [
        ("kind=feild", "kind", "unknown_word"),
        ("group=7", "group", "bad_id"),
        ("limit=0", "limit", "out_of_range"),
        ("limit=101", "limit", "out_of_range"),
        ("order=best", "order", "unknown_word"),
        ("cursor=rubbish", "cursor", "bad_cursor"),
        ("kinds=field", "kinds", "unknown_key"),
        ("changed_since=yesterday", "changed_since", "bad_date"),
        ("kind=field&kind=verge", "kind", "given_twice"),
    ]:
        (error,) = problem(lead.get(f"sites/?{query}"), 422, "invalid_request")["errors"]
        assert (error["parameter"], error["code"]) == (parameter, code)


def test_the_map_shows_each_site_as_precisely_as_it_may(county):
    def squares(caller):
        answer = caller.get("sites/geojson/", Accept="application/geo+json")
        assert answer.headers["Content-Type"] == "application/geo+json"
        return {
            feature["properties"]["name"]: (feature["properties"]["side_m"], feature["geometry"]["type"])
            for feature in answer.json()["features"]
        }

    open_ones = {
        "Churchyard of Gullhaven": (1000, "Polygon"),
        "Long Paddock": (1, "Polygon"),
        "School bank": (2000, "Polygon"),
        "Brackwater verge": (100, "Polygon"),
    }
    assert squares(Caller()) == open_ones
    assert squares(Caller(county.neighbour)) == open_ones | {"Brackwater verge": (10, "Polygon")}
    own = squares(Caller(county.lead))
    assert own["Wenna’s garden"] == (1, "Polygon") or own["Wenna’s garden"] == (1, "Point")
    assert set(own) == {*open_ones, "Wenna’s garden"}


# ------------------------------------------------------------------ permissions, soil, other money


def test_permissions_come_with_the_kind_and_are_noted(county, lead):
    site = county.sites["Churchyard of Gullhaven"]
    listed = lead.get(f"sites/{site.public_id}/permissions/").json()["results"]
    assert [row["key"] for row in listed][:2] == ["churchyard_body", "churchyard_authority"]
    assert {row["need"] for row in listed} == {"unknown"}
    path = f"permissions/{listed[0]['id']}/"
    tag = lead.get(path).headers["ETag"]
    fault(lead.patch(path, {"state": "given"}, If_Match=tag), "/answered_on", "missing")
    fault(lead.patch(path, {"state": "given", "answered_on": "2026-08-01"}, If_Match=tag), "/signed_by", "missing")
    given = {"need": "needed", "state": "given", "answered_on": "2026-08-01", "signed_by": "Churchwarden"}
    fault(lead.patch(path, given | {"answered_on": "2199-01-01"}, If_Match=tag), "/answered_on", "out_of_range")
    assert lead.patch(path, given, If_Match=tag).json()["state"] == "given"
    added = lead.post(f"sites/{site.public_id}/permissions/", {"label": "The bell ringers' word"})
    assert added.status_code == 201
    for caller in (Caller(county.neighbour), Caller()):
        problem(caller.get(f"sites/{site.public_id}/permissions/"), 403, "forbidden")
        problem(caller.get(path), 404, "not_found")


def test_soil_tests_and_other_money_are_noted_and_taken_away(county, lead):
    site = county.sites["Long Paddock"]
    test = lead.post(f"sites/{site.public_id}/soil-tests/", {"taken_on": "2026-03-01", "olsen_p_mg_per_l": 31})
    assert test.json()["olsen_p_mg_per_l"] == 31.0
    fault(lead.post(f"sites/{site.public_id}/soil-tests/", {"taken_on": "2026-03-01"}), "", "missing")
    money = lead.post(
        f"sites/{site.public_id}/other-funding/", {"funder": "Sands Trust", "what_for": "a gate", "amount_gbp": 120.5}
    )
    assert money.json()["amount_gbp"] == 120.5
    for path, answer in (("soil-tests", test), ("other-funding", money)):
        assert len(lead.get(f"sites/{site.public_id}/{path}/").json()["results"]) == 1
        assert lead.delete(f"{path}/{answer.json()['id']}/", If_Match=answer.headers["ETag"]).status_code == 204
        assert lead.get(f"sites/{site.public_id}/{path}/").json()["results"] == []


# ------------------------------------------------------------------ projects


def test_a_project_from_idea_to_sowing_keeps_the_forecast_it_is_held_against(county, lead):
    site = county.sites["Long Paddock"]
    made = lead.post("projects/", {"site_id": str(site.public_id), "name": "Second half"})
    project = made.json()
    assert (project["stage"], project["detail"]["may_follow"]) == ("idea", ["planned", "lapsed", "handed_over"])
    path = f"projects/{project['id']}"
    six = {"crew": {"volunteers": 6}, "sow_on": project["stage_since"]}
    planned = lead.post(f"{path}/plans/", {"plan": six, "note": "six of us"})
    assert (planned.json()["number"], planned.json()["plan"]) == (2, six)
    assert lead.get(f"{path}/").json()["stage"] == "planned"

    forecast = lead.post(f"{path}/forecasts/", {}).json()
    assert (forecast["plan_number"], forecast["baseline"]) == (2, False)
    answer = lead.get(f"forecasts/{forecast['id']}/answer/")
    assert hashlib.sha256(answer.content).hexdigest() == forecast["checksum"]
    assert lead.post(f"{path}/forecasts/", {}).json()["id"] == forecast["id"]

    for to in ("ready", "sown"):
        step = lead.post(f"{path}/steps/", {"to": to, "on": project["stage_since"]})
        assert step.status_code == 201, step.content
    assert step.json()["detail"]["baseline_id"] == forecast["id"]
    assert lead.get(f"forecasts/{forecast['id']}/").json()["baseline"] is True
    lead.post(f"{path}/plans/", {"plan": {}})
    later = lead.post(f"{path}/forecasts/", {}).json()
    assert later["id"] != forecast["id"]
    assert lead.get(f"{path}/").json()["detail"]["baseline_id"] == forecast["id"]
    assert [row["to_stage"] for row in lead.get(f"{path}/steps/").json()["results"]] == ["sown", "ready", "planned"]


def test_missing_permissions_block_the_start_and_never_a_forecast(county, lead):
    path = f"projects/{county.projects['Under the yews'].public_id}"
    answer = lead.post(f"{path}/steps/", {"to": "ready", "on": lead.get(f"{path}/").json()["stage_since"]})
    errors = problem(answer, 422, "invalid_request")["errors"]
    assert {entry["code"] for entry in errors} == {"permissions_missing"}
    assert "find out whether it is needed" in errors[0]["detail"]
    assert lead.post(f"{path}/forecasts/", {}).status_code == 201


def test_a_step_that_does_not_follow_is_refused_with_those_that_do(county, lead):
    path = f"projects/{county.projects['Behind the house'].public_id}"
    answer = lead.post(f"{path}/steps/", {"to": "sown", "on": "2026-08-01"})
    assert "may follow: planned, lapsed, handed over" in problem(answer, 409, "wrong_state")["detail"]
    on = lead.get(f"{path}/").json()["stage_since"]
    fault(lead.post(f"{path}/steps/", {"to": "lapsed", "on": on}), "/cause", "missing")
    lapsed = lead.post(f"{path}/steps/", {"to": "lapsed", "on": on, "cause": "people"})
    assert lapsed.json()["detail"]["cause"] == "people"


def test_an_unreadable_plan_points_into_the_plan(county, lead):
    path = f"projects/{county.projects['Under the yews'].public_id}"
    fault(
        lead.post(f"{path}/plans/", {"plan": {"seed": [{"mix": "meadw", "kg": 1}]}}), "/plan/seed/0/mix", "unknown_mix"
    )
    fault(lead.post(f"{path}/plans/", {"plan": {"crew": {"volunteers": 0}}}), "/plan/crew/volunteers", "out_of_range")
    fault(lead.post(f"{path}/plans/", {}), "/plan", "missing")


def test_strangers_see_that_a_project_is_and_not_inside(county):
    project = county.projects["Paddock to hay"]
    for caller in (Caller(), Caller(county.neighbour)):
        found = caller.get(f"projects/{project.public_id}/").json()
        assert (found["stage"], found["detail"]) == ("sown", None)
        for inside in ("plans", "forecasts", "diary", "steps"):
            problem(caller.get(f"projects/{project.public_id}/{inside}/"), 403, "forbidden")
        problem(caller.get(f"projects/{county.projects['Behind the house'].public_id}/"), 404, "not_found")
        problem(caller.get(f"forecasts/{project.baseline.public_id}/"), 404, "not_found")
        problem(caller.get(f"forecasts/{project.baseline.public_id}/answer/"), 404, "not_found")


# ------------------------------------------------------------------ the diary


def test_a_line_of_the_diary_is_added_once_and_struck_out(county):
    member = Caller(county.member)
    path = f"projects/{county.projects['Paddock to hay'].public_id}/diary/"
    line = {
        "on": "2026-09-01", "what": "cut", "heads": 6, "hours_each": 2.5, "cash_gbp": 12.4,
        "submission_id": str(uuid.uuid4()),
    }  # fmt: skip
    first, again = member.post(path, line), member.post(path, line)
    assert member.post(path, line | {"heads": 7}).status_code == 409
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json() == first.json()
    assert (first.json()["person_hours"], first.json()["cash_gbp"]) == (15.0, 12.4)
    assert WorkEntry.objects.get().person_minutes == 900
    struck = member.post(f"diary/{first.json()['id']}/strike/", {"because": "wrong day"})
    assert (struck.json()["struck"], struck.json()["struck_because"]) == (True, "wrong day")
    problem(member.post(f"diary/{first.json()['id']}/strike/", {"because": "again"}), 409, "wrong_state")
    assert len(member.get(f"{path}?on_from=2026-09-01&what=cut").json()["results"]) == 1
    assert member.get(f"{path}?what=sow").json()["results"] == []


@pytest.mark.parametrize(
    ("values", "pointer", "code"),
    [
        ({"person_hours": 3}, "", "contradiction"),
        ({"heads": 2, "person_hours": 49}, "/person_hours", "out_of_range"),
        ({"heads": 2, "person_hours": 1, "hours_each": 1}, "", "contradiction"),
        ({"machine_hours": 1}, "", "contradiction"),
        ({"machine": "hovercraft", "machine_hours": 1}, "/machine", "unknown_machine"),
        ({"cash_gbp": 1.005}, "/cash_gbp", "not_whole_pence"),
        ({"cash_gbp": -1}, "/cash_gbp", "out_of_range"),
        ({"heads": True}, "/heads", "not_a_whole_number"),
        ({"on": "2099-01-01", "heads": 1}, "/on", "in_future"),
        ({"on": "2026-02-30", "heads": 1}, "/on", "bad_date"),
        ({}, "", "missing"),
    ],
)
def test_a_line_that_cannot_be_is_refused(county, lead, values, pointer, code):
    path = f"projects/{county.projects['Paddock to hay'].public_id}/diary/"
    fault(lead.post(path, {"on": "2026-09-01", "what": "cut"} | values), pointer, code)
    assert not WorkEntry.objects.exists()


# ------------------------------------------------------------------ groups, networks, people


def test_a_coordinator_sets_up_a_group_and_a_lead_may_not(county, lead):
    network = county.network
    body = {"network_id": str(network.public_id), "name": "Reed Bank Folk"}
    problem(lead.post("groups/", body), 403, "forbidden")
    made = Caller(county.coordinator).post("groups/", body)
    assert (made.status_code, made.json()["open_sites"]) == (201, 0)
    fault(Caller(county.coordinator).post("groups/", body), "/name", "taken")
    listed = Caller().get(f"groups/?network={network.public_id}").json()["results"]
    assert {row["name"]: row["open_sites"] for row in listed} == {
        "Gullhaven Meadow Makers": 3,
        "Brackwater Verges": 1,
        "Reed Bank Folk": 0,
    }


def test_members_are_for_members(county, lead):
    path = f"groups/{county.groups['Gullhaven Meadow Makers'].public_id}/members/"
    # both joined at the same moment, so which comes first is not promised
    rows = sorted(lead.get(path).json()["results"], key=lambda row: row["role"])
    assert [(row["name"], row["role"]) for row in rows] == [("Wenna Marsh", "lead"), ("Jory Lanthorn", "member")]
    for caller in (Caller(), Caller(county.neighbour)):
        problem(caller.get(path), 403, "forbidden")
    own = lead.get(f"memberships/{rows[0]['id']}/", If_Match="*")
    problem(own, 405, "method_not_allowed")
    fault(lead.patch(f"memberships/{rows[0]['id']}/", {"role": "member"}, If_Match="*"), "/role", "last_lead")
    fault(lead.delete(f"memberships/{rows[0]['id']}/", If_Match="*"), "/role", "last_lead")
    assert lead.patch(f"memberships/{rows[1]['id']}/", {"role": "lead"}, If_Match="*").json()["role"] == "lead"
    assert lead.delete(f"memberships/{rows[0]['id']}/", If_Match="*").status_code == 204
    assert [row["name"] for row in Caller(county.member).get(path).json()["results"]] == ["Jory Lanthorn"]


def test_me_tells_whose_token_it_is(county, lead):
    found = lead.get("me/").json()
    assert (found["name"], found["operator"], found["networks"]) == ("Wenna Marsh", False, [])
    assert [(row["name"], row["roles"]) for row in found["groups"]] == [("Gullhaven Meadow Makers", ["lead"])]
    problem(Caller().get("me/"), 401, "unauthenticated")


def test_the_record_is_for_leads_and_tells_no_exact_place(county, lead):
    site = county.sites["Wenna’s garden"]
    rows = lead.get(f"audit/?object={site.public_id}").json()["results"]
    assert [(row["act"], row["by"]) for row in rows] == [("site_create", "Wenna Marsh")]
    everything = lead.get("audit/?limit=100").text
    assert "35789" not in everything
    assert Caller(county.neighbour).get(f"audit/?object={site.public_id}").json()["results"] == []
    assert Caller(county.member).get("audit/").json()["results"] == []


# ------------------------------------------------------------------ jobs


def test_a_forecast_of_all_projects_is_a_job(county):
    from django.utils import timezone

    from projects.services.jobs import jobs_run_due

    coordinator = Caller(county.coordinator)
    asked = coordinator.post(f"networks/{county.network.public_id}/forecasts/", Idempotency_Key="all")
    assert (asked.status_code, asked.json()["state"]) == (202, "waiting")
    again = coordinator.post(f"networks/{county.network.public_id}/forecasts/", Idempotency_Key="all")
    assert again.json()["id"] == asked.json()["id"]
    path = asked.headers["Location"]
    for caller in (Caller(), Caller(county.lead)):
        problem(caller.get(path), 404, "not_found")
    jobs_run_due(clock=timezone.now)
    done = coordinator.get(path).json()
    assert (done["state"], done["progress_done"], done["result"]) == ("done", 4, {"made": 4, "refused": []})
    assert MeadowProject.objects.filter(forecasts__isnull=False).distinct().count() == 4
    problem(coordinator.post(f"jobs/{done['id']}/restart/"), 409, "wrong_state")
    problem(Caller(county.lead).post(f"networks/{county.network.public_id}/forecasts/"), 403, "forbidden")
