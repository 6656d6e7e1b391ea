"""The summer walk's form and sheet: a list and a cut are enough, nothing typed is lost, a correction is a version."""

import uuid
from datetime import datetime
from html.parser import HTMLParser
from zoneinfo import ZoneInfo

import orjson
import pytest
import time_machine

from modelling.reading import read_as
from projects.choices import CameBy
from projects.contracts.returns import ReturnNew
from projects.models import OutcomeReturn, ReturnVersion, TaxonRecord
from projects.services.returns import return_send
from tests.projects.county import saltmere

pytestmark = pytest.mark.django_db
AUTUMN = datetime(2028, 9, 1, 10, 0, tzinfo=ZoneInfo("Europe/London"))


@pytest.fixture(autouse=True)
def that_day():
    with time_machine.travel(AUTUMN, tick=False):
        yield


@pytest.fixture
def county(client):
    found = saltmere()
    client.force_login(found.member)
    return found


def address(county, year=2028, project="Paddock to hay"):
    return f"/projects/{county.projects[project].public_id}/walk/{year}/"


class Form(HTMLParser):
    """What the walk's form holds, the errors beside its fields, and its ticks with their words."""

    def __init__(self, html):
        super().__init__()
        self.held, self.errors, self.ticks, self.rows = {}, {}, {}, []
        self.into = self.area = self.select = None
        self.inside = False
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        said = dict(attrs)
        name, self.into = said.get("name"), None
        if tag == "form":
            self.inside = said.get("id") == "walk"
        elif tag == "p" and said.get("id", "").endswith("_error"):
            self.into = (self.errors, said["id"].removeprefix("id_").removesuffix("_error"))
        elif tag == "span" and self.area == "seen":
            self.into = (self.ticks, self.value)
        elif tag == "th" and said.get("scope") == "row":
            self.rows.append("")
            self.into = (self.rows, -1)
        if not self.inside:
            return
        if tag == "textarea":
            self.held[name] = [""]
            self.area, self.into = name, (self.held, name)
        elif tag == "select":
            self.select = name
        elif tag == "option" and ("selected" in said or self.select not in self.held):
            self.held[self.select] = [said["value"]]
        elif tag == "input":
            self.area, self.value = name, said.get("value", "on" if said.get("type") == "checkbox" else "")
            if said.get("type") not in {"checkbox", "radio"} or "checked" in said:
                self.held.setdefault(name, []).append(self.value)

    def handle_endtag(self, tag):
        if tag in {"textarea", "p", "span", "th"}:
            self.into = None

    def handle_data(self, data):
        if self.into is None:
            return
        where, key = self.into
        if where is self.held:
            where[key] = [where[key][0] + data]
        elif where is self.rows:
            where[key] += data
        else:
            where[key] = where.get(key, "") + data


def form_of(answer):
    return Form(answer.content.decode())


def fields(answer):
    """What the form holds, as a browser would send it."""
    return {name: [text.removeprefix("\n") for text in found] for name, found in form_of(answer).held.items()}


def content():
    return orjson.loads(ReturnVersion.objects.order_by("-number")[0].content)


FULL = {
    "answered": "surveyed", "on": "2028-06-20", "grade": "knows_most", "layout": "fixed", "scale": "domin",
    "area_m2": "0.25", "also": "cranesbill?\nladys bedstraw, 5",
    "q0-label": "by the gate", "q0-plants": "Common knapweed, 5\nYR, +", "q0-bare": "5", "q0-litter": "10",
    "q0-forbs": "40", "q0-height": "25", "q0-rattle": "12",
    "q3-empty": "on", "q3-control": "on",
    "work0-what": "cut", "work0-on": "2028-08-01", "work1-what": "collected", "work1-note": "heap by the hedge",
    "missed": "second cut", "heads": "9", "person_hours": "21.5", "machine_hours": "2", "cash_gbp": "£35.20",
    "insects": "small copper, 3\nmeadow brown, 1", "flowering": "knapweed in July", "narrative": "A wet one.",
    "event0-kind": "open day", "event0-heads": "31", "event0-on": "2028-06-24",
}  # fmt: skip


def test_a_list_and_the_day_of_a_cut_are_a_return(client, county):
    page = client.get(address(county))
    assert page.status_code == 200
    sent = fields(page) | {
        "on": "2028-06-20",
        "also": "red clover\nknapweed",
        "work0-what": "cut",
        "work0-on": "2028-08-02",
    }
    answer = client.post(address(county), sent)
    row = OutcomeReturn.objects.get()
    assert (answer.status_code, answer.url) == (302, f"/returns/{row.public_id}/")
    assert (row.year, row.current.came_by, row.current.on_behalf) == (2028, CameBy.FORM, False)
    assert sorted(TaxonRecord.objects.values_list("name", flat=True)) == ["knapweed", "red clover"]
    assert content()["work"] == [{"what": "cut", "on": "2028-08-02"}]


def test_everything_that_can_be_said_is_kept_as_it_was_said(client, county):
    sent = fields(client.get(address(county))) | FULL
    assert client.post(address(county), sent).status_code == 302
    said = content()
    assert said["visits"] == [
        {
            "on": "2028-06-20",
            "whole_site": [
                {"name": "cranesbill?", "scale": "presence", "value": ""},
                {"name": "ladys bedstraw", "scale": "domin", "value": "5"},
            ],
            "quadrats": [
                {
                    "label": "by the gate", "area_m2": 0.25, "part": "sown", "bare_ground_percent": 5,
                    "litter_percent": 10, "forb_cover_percent": 40, "sward_height_cm": 25, "rattle_plants": 12,
                    "records": [
                        {"name": "Common knapweed", "scale": "domin", "value": "5"},
                        {"name": "YR", "scale": "domin", "value": "+"},
                    ],
                },
                {"label": "4", "area_m2": 0.25, "part": "control", "records": []},
            ],
        }
    ]  # fmt: skip
    assert (said["heads"], said["person_hours"], said["machine_hours"], said["cash_gbp"]) == (9, 21.5, 2, 35.2)
    assert said["work"][1] == {"what": "collected", "where_to": "heap by the hedge"}
    assert said["insects"] == [{"name": "small copper", "count": 3}, {"name": "meadow brown", "count": 1}]
    assert said["gatherings"] == [{"kind": "open day", "heads": 31, "on": "2028-06-24"}]
    assert (said["missed"], said["flowering"], said["narrative"]) == ("second cut", "knapweed in July", "A wet one.")
    assert (said["grade"], said["layout"]) == ("knows_most", "fixed")


def test_opened_again_it_holds_what_was_sent_and_makes_a_version(client, county):
    client.post(address(county), fields(client.get(address(county))) | FULL)
    before = content()
    again = fields(client.get(address(county)))
    for name, value in FULL.items():
        if not name.startswith("q3") and name != "cash_gbp":
            assert again[name] == [value], name
    assert client.post(address(county), again).status_code == 302
    row = OutcomeReturn.objects.get()
    assert row.current.number == 2
    after = content()
    assert before.pop("submission_id") != after.pop("submission_id")
    for side in (before, after):
        for item in side["visits"][0]["whole_site"] + side["visits"][0]["quadrats"][0]["records"]:
            item.pop("taxon", None)
    for part in before:
        assert after[part] == before[part]
    assert after.keys() == before.keys()


@pytest.mark.parametrize("answered", ["nothing_done", "failed"])
def test_nothing_done_and_failed_take_one_tap(client, county, answered):
    sent = fields(client.get(address(county))) | {"answered": answered}
    assert client.post(address(county), sent).status_code == 302
    assert content()["answered"] == answered


def test_what_was_sown_can_be_ticked_and_is_not_told_twice(client, county):
    page = client.get(address(county))
    key, label = next(iter(form_of(page).ticks.items()))
    sent = fields(page) | {"on": "2028-06-20", "seen": [key], "also": label}
    assert client.post(address(county), sent).status_code == 302
    assert list(TaxonRecord.objects.values_list("taxon", flat=True)) == [key]


def test_the_same_form_twice_is_one_return(client, county):
    sent = fields(client.get(address(county))) | FULL
    ids = {client.post(address(county), sent).url for _ in range(2)}
    assert len(ids) == 1
    assert ReturnVersion.objects.count() == 1


def test_the_phone_is_told_which_one_was_received(client, county):
    sent = fields(client.get(address(county))) | FULL
    answer = client.post(address(county), sent, headers={"accept": "application/json"})
    assert answer.status_code == 201
    assert answer.json() == {
        "received": sent["submission_id"][0],
        "where": f"/returns/{OutcomeReturn.objects.get().public_id}/",
    }


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"on": ""}, "on", "On what day were these plants seen?"),
        ({"on": "2027-06-20"}, "on", "is not in 2028"),
        ({"on": "2028-12-20"}, "on", "still to come"),
        ({"q0-bare": "140"}, "q0-bare", "at most 100"),
        ({"q0-plants": "knapweed, many"}, "q0-plants", "not on the scale"),
        ({"q0-plants": "knapweed, 5\nknapweed, 6"}, "q0-plants", "twice"),
        ({"q0-label": "4"}, "q3-label", "called"),
        ({"heads": ""}, "heads", "say how many came"),
        ({"insects": "copper, lots"}, "insects", "not a count"),
        ({"cash_gbp": "plenty"}, "cash_gbp", "not a number"),
        ({"work0-what": ""}, "work0-what", ""),
        ({"event0-kind": ""}, "event0-kind", "This is empty"),
        ({"work0-on": "1 August"}, "work0-on", "not a date"),
        ({"also": "a" * 5000}, "also", ""),
    ],
)
def test_what_is_wrong_stands_beside_its_field_and_the_rest_stays(client, county, changes, field, words):
    sent = fields(client.get(address(county))) | FULL | changes
    answer = client.post(address(county), sent)
    assert answer.status_code == 422
    assert words in form_of(answer).errors[field]
    kept = fields(answer)
    for name, value in (FULL | changes).items():
        if not name.endswith(("-empty", "-control")):
            assert [text.strip() for text in kept[name]] == [value.strip()], name
    assert not OutcomeReturn.objects.exists()


def test_nothing_at_all_is_asked_back(client, county):
    answer = client.post(address(county), fields(client.get(address(county))))
    assert answer.status_code == 422
    assert "if there was none, say so at the top" in answer.text


@pytest.mark.parametrize(
    "name", ["also", "q0-plants", "narrative", "insects", "submission_id", "beside", "shown_quadrats"]
)
@pytest.mark.parametrize(
    "value", ["\x00", "\ud800".encode("utf-16", "surrogatepass").decode("utf-16", "replace"), "9" * 40, "-1"]
)
def test_careless_input_is_no_fault_of_the_service(client, county, name, value):
    sent = fields(client.get(address(county))) | {"on": "2028-06-20", name: value}
    assert client.post(address(county), sent).status_code in {302, 409, 422}


def test_more_quadrats_are_shown_with_everything_typed(client, county):
    sent = fields(client.get(address(county))) | FULL | {"more": "1"}
    answer = client.post(address(county), sent)
    assert answer.status_code == 200
    assert "q19-plants" in fields(answer)
    assert fields(answer)["q0-plants"] == [FULL["q0-plants"]]
    assert not OutcomeReturn.objects.exists()


def test_of_two_who_change_a_return_the_second_is_told_and_loses_nothing(client, county):
    first = fields(client.get(address(county))) | FULL
    second = fields(client.get(address(county))) | FULL | {"narrative": "Another hand."}
    assert client.post(address(county), first).status_code == 302
    answer = client.post(address(county), second)
    assert answer.status_code == 409
    assert "in the meantime" in answer.text
    kept = fields(answer)
    assert kept["narrative"] == ["Another hand."]
    assert client.post(address(county), kept).status_code == 302
    assert OutcomeReturn.objects.get().current.number == 2


def test_the_coordinator_types_in_a_field_sheet_and_it_says_so(client, county):
    client.force_login(county.coordinator)
    page = client.get(address(county))
    assert "You type this in for" in page.text
    assert client.post(address(county), fields(page) | FULL).status_code == 302
    version = ReturnVersion.objects.get()
    assert (version.came_by, version.on_behalf, version.created_by) == (CameBy.FIELD_SHEET, True, county.coordinator)


def test_other_walks_of_the_year_stay(client, county):
    visits = [{"on": f"2028-0{month}-10", "whole_site": [{"name": "red clover"}]} for month in (6, 7)]
    return_send(
        actor=county.as_(county.member), project_id=county.projects["Paddock to hay"].public_id,
        asked=read_as(ReturnNew, {"year": 2028, "visits": visits}), now=AUTUMN,
    )  # fmt: skip
    page = client.get(address(county))
    assert "1 more walk" in page.text
    assert client.post(address(county), fields(page) | {"also": "dock"}).status_code == 302
    assert [visit["on"] for visit in content()["visits"]] == ["2028-06-10", "2028-07-10"]
    assert content()["visits"][1]["whole_site"][0]["name"] == "red clover"


@pytest.mark.parametrize("year", [1999, 2029, 9999])
def test_a_year_that_is_none_is_not_there(client, county, year):
    assert client.get(address(county, year)).status_code == 404


def test_a_strangers_meadow_is_not_there(client, county):
    client.force_login(county.stranger)
    hidden = address(county, project="Behind the house")
    assert (client.get(hidden).status_code, client.post(hidden, FULL).status_code) == (404, 404)
    assert (client.get(address(county)).status_code, client.post(address(county), FULL).status_code) == (403, 403)
    assert not OutcomeReturn.objects.exists()


def test_the_sheet_to_take_along_names_what_was_sown(client, county):
    page = client.get(f"{address(county)}sheet/")
    assert page.status_code == 200
    sown = list(form_of(client.get(address(county))).ticks.values())
    assert len(sown) > 3
    assert form_of(page).rows[: len(sown)] == sown
    assert "Ticks" in page.text


def test_the_script_that_keeps_the_form_stands_at_the_root(client):
    answer = client.get("/worker.js")
    assert answer.headers["Content-Type"].startswith("text/javascript")
    assert "forbcast-walks" in answer.text
    assert client.post("/worker.js").status_code == 405


def test_made_up_ids_are_taken_for_none(client, county):
    sent = fields(client.get(address(county))) | FULL | {"submission_id": "my own"}
    assert client.post(address(county), sent).status_code == 302
    assert uuid.UUID(str(ReturnVersion.objects.get().submission_id))
