"""A return's page, its names, questions and checking; forecast against found; the county's returns of a year."""

import re
from datetime import datetime
from zoneinfo import ZoneInfo

import orjson
import pytest
import time_machine

from modelling.reading import read_as
from modelling.selectors import parameters, run_answer_text
from projects.choices import ReturnState
from projects.contracts.returns import ReturnNew
from projects.dashboard.forms.returns import likeness
from projects.dashboard.pages.returns import expectation, place
from projects.models import AuditEntry, NameChoice, OutcomeReturn, ReturnQuestion, ReturnResult, TaxonRecord
from projects.services import returns
from tests.projects.county import saltmere

pytestmark = pytest.mark.django_db

#: two summers after the paddock of the county was sown
AUTUMN = datetime(2028, 9, 1, 10, 0, tzinfo=ZoneInfo("Europe/London"))
PLANTS = ["ladys bedstraw", "Common knapweed", "YR", "red clover", "cranesbill?", "dock"]


@pytest.fixture(autouse=True)
def that_day():
    with time_machine.travel(AUTUMN, tick=False):
        yield


@pytest.fixture
def county(client):
    found = saltmere()
    client.force_login(found.lead)
    return found


def quadrats(*counts, plants=PLANTS):
    """Quadrats with so many kinds each."""
    return [
        {"label": f"Q{n}", "records": [{"name": name} for name in plants[:count]], "bare_ground_percent": 5}
        for n, count in enumerate(counts)
    ]


#: by hand: 3, 4, 5, 6 kinds in turn, 43 in all over ten quadrats
TEN = quadrats(3, 4, 5, 6, 3, 4, 5, 6, 3, 4)


def send(county, who="lead", project="Paddock to hay", year=2028, on="06-20", found=TEN, now=AUTUMN, **more):
    data = {"year": year, "grade": "knows_most", "layout": "random"}
    if found is not None:
        data["visits"] = [{"on": f"{year}-{on}", "quadrats": found}]
    row, _ = returns.return_send(
        actor=county.as_(getattr(county, who)),
        project_id=county.projects[project].public_id,
        asked=read_as(ReturnNew, data | more),
        now=now,
    )
    return row


def at(row, tail=""):
    return f"/returns/{row.public_id}/{tail}"


def page_of(client, path, status=200):
    response = client.get(path)
    assert response.status_code == status, response
    return text_of(response)


def text_of(response):
    text = response.content.decode().replace("&#x27;", "'").replace("&quot;", '"').replace("\u00a0", " ")
    return " ".join(re.sub(r"<[^>]+>", " ", text).split())


def key_of(client, row, name):
    """The start of the names of the fields about a written name."""
    html = client.get(at(row)).content.decode()
    found = re.search(rf'id="(n[0-9a-f]{{12}})">\s*<fieldset[^>]*>\s*<legend>“{re.escape(name)}”', html)
    return found.group(1)


def version_of(row):
    return str(OutcomeReturn.objects.get(pk=row.pk).version)


# ------------------------------------------------------------------ the page


def test_the_answer_comes_first_then_what_waits_then_what_it_rests_on(client, county):
    row = send(county)
    text = page_of(client, at(row))
    # t with 9 degrees of freedom 2.26216, spread sqrt((9 x 3 + 16 x 3 + 25 x 2 + 36 x 2 - 184.9) / 9)
    half = 2.26216 * ((197 - 184.9) / 9) ** 0.5 / 10**0.5
    assert (
        "In 2028, Paddock to hay held 4.3 kinds of plant in a square metre, on average over ten quadrats; over the "
        f"whole meadow the average is very likely between {4.3 - half:.1f} and {4.3 + half:.1f}."
    ) in text
    assert "nobody has looked it through yet; one name is to settle." in text
    assert "Walked on 20 June 2028 by somebody who knows most plants; the quadrats were placed at random." in text
    order = [
        "Names to settle Each",
        "What next Nothing",
        "Forecast against found The",
        "What cannot be judged",
        "Figures What",
    ]
    places = [text.index(words) for words in order]
    assert places == sorted(places)
    assert "Version 1 . Wenna Marsh, lead; typed into the form." in text
    assert row.current.checksum in text
    result = ReturnResult.objects.get(version_of=row.current)
    assert result.checksum in text
    assert "results version 2" in text
    assert "kept on 1 September 2028." in text


def test_every_rule_set_is_named_with_its_version_and_why_or_what_it_would_take(client, county):
    row = send(county)
    text = page_of(client, at(row))
    for verdict in orjson.loads(ReturnResult.objects.get().text)["classes"]:
        assert verdict["version"] in text
        if verdict["judged"]:
            assert verdict["sentence"] in text
        assert all(missing in text for missing in verdict["missing"])


def test_quadrats_all_alike_are_told_as_that(client, county):
    text = page_of(client, at(send(county, found=quadrats(4, 4, 4, 4))))
    assert "Four quadrats of 1 m² held four kinds of plant each. As all held the same number" in text
    assert "4.0 to 4.0" not in text
    assert "under 0.0 kinds" not in text
    assert "resampling tells nothing" in text


def test_a_first_summer_is_reassured(client, county):
    text = page_of(client, at(send(county, year=2027, on="07-01", found=quadrats(2, 1), now=AUTUMN)))
    assert "Few flowers, weeds and bare ground are usual in a first summer" in text


def test_nothing_done_and_failed_are_answers(client, county):
    nothing = send(county, found=None, answered="nothing_done", narrative="Nobody came.\nNext year.")
    text = page_of(client, at(nothing))
    assert "In 2028 nothing was done here, and nothing was looked at." in text
    assert "In the group’s words Nobody came. Next year." in text
    failed = send(county, year=2027, found=None, answered="failed")
    assert "the meadow failed in 2027" in page_of(client, at(failed))
    cut = send(county, year=2026, found=None, work=[{"what": "cut", "on": "2026-08-01"}])
    assert "tells of work done; no plants were written down" in page_of(client, at(cut))


def test_versions_are_told_with_who_sent_them_in_which_role(client, county):
    row = send(county)
    returns.return_agree(
        actor=county.as_(county.coordinator), return_id=row.public_id, comment="", if_version=None, now=AUTUMN
    )
    later = send(county, "coordinator", found=quadrats(5, 6))
    text = page_of(client, at(row))
    assert "Version 1, agreed before, counts until this one is agreed." in text
    assert "Version 2 . Tamsin Oake, coordinator, on behalf of the group; typed into the form." in text
    old = page_of(client, at(row, "?version=1"))
    assert "This is version 1. The latest is version 2 ." in old
    assert "4.3 kinds" in old
    assert "Settle these names" not in old
    assert later.current.checksum in old
    for wrong in ("3", "0", "x", "%00", "99999999999999999999"):
        assert client.get(at(row, f"?version={wrong}")).status_code == 404


def test_looking_keeps_nothing(client, county):
    row = send(county)
    acts, kept = AuditEntry.objects.count(), ReturnResult.objects.count()
    for path in (at(row), at(row, "names/"), "/county/saltmere/returns/", f"/projects/{row.project.public_id}/"):
        assert client.get(path).status_code == 200
    assert (AuditEntry.objects.count(), ReturnResult.objects.count()) == (acts, kept)


# ------------------------------------------------------------------ names


def test_nothing_is_chosen_beforehand_and_each_likeness_is_told(client, county):
    row = send(county, found=quadrats(1, plants=["comon knapwed"]))
    html = client.get(at(row)).content.decode()
    key = key_of(client, row, "comon knapwed")
    checked = re.findall(rf'name="{key}-is"[^>]*value="([^"]*)" checked', html)
    assert checked == [""]
    assert re.search(r"Common knapweed \(Centaurea nigra\): very like it, \d\d of 100", html)
    assert (likeness(100), likeness(96)) == ("it goes by this name", "all but to the letter, 96 of 100")


def test_a_name_is_settled_and_remembered_only_if_asked(client, county):
    row = send(county)
    key = key_of(client, row, "cranesbill?")
    sent = {"version": version_of(row), f"{key}-is": "geranium_pratense"}
    response = client.post(at(row, "names/"), sent)
    assert response.headers["Location"] == at(row)
    names = TaxonRecord.objects.filter(version_of=row.current, name="cranesbill?")
    assert set(names.values_list("taxon", flat=True)) == {"geranium_pratense"}
    assert not NameChoice.objects.exists()
    other = send(county, year=2027)
    key = key_of(client, other, "cranesbill?")
    sent = {"version": version_of(other), f"{key}-is": "geranium_pratense", f"{key}-keep": "on"}
    assert client.post(at(other, "names/"), sent).status_code == 302
    assert NameChoice.objects.get().taxon == "geranium_pratense"
    assert "One name is settled, and the walk judged anew." in page_of(client, at(other))


def test_a_name_may_stay_as_written_or_be_another_plant(client, county):
    row = send(county, found=quadrats(2, plants=["gran's blue thing", "cranesbill?"]))
    blue, crane = (key_of(client, row, name) for name in ("gran&#x27;s blue thing", "cranesbill?"))
    sent = {"version": version_of(row), f"{blue}-is": "as-written", f"{crane}-plant": "Meadow Cranesbill"}
    assert client.post(at(row, "names/"), sent).status_code == 302
    by_name = dict(TaxonRecord.objects.filter(version_of=row.current).values_list("name", "taxon"))
    assert by_name == {"gran's blue thing": "", "cranesbill?": "geranium_pratense"}
    text = page_of(client, at(row, "names/"))
    assert "No name waits to be settled." in text
    assert "Left as written gran's blue thing" in text
    assert "cranesbill? meadow crane's-bill Geranium pratense 1" in text


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({}, "No name is decided yet; choose for one at least."),
        ({"is": "another-plant"}, "Say which plant, or choose otherwise."),
        ({"plant": "cowslop"}, "“cowslop” is not to the letter a plant known here. The nearest: cowslip"),
        ({"plant": "xyzzy"}, "Leave the name as written if the plant is not in the list."),
        ({"is": "geranium_pratense", "plant": "cowslip"}, "keep one of them."),
        ({"is": "no_such_key"}, "“no_such_key” is not in the list; choose one that is."),
        ({"plant": "cow\0slip"}, "Null characters are not allowed."),
        ({"plant": "c" * 121}, "at most 120 characters"),
        ({"plant": "\ud800"}, ""),
    ],
)
def test_a_wrong_choice_is_told_and_what_was_typed_stays(client, county, typed, told):
    row = send(county)
    key = key_of(client, row, "cranesbill?")
    sent = {f"{key}-{part}": value for part, value in typed.items()} | {"version": version_of(row), f"{key}-keep": "on"}
    if typed.get("plant") == "\ud800":
        # a lone surrogate, as bytes that are no UTF-8
        body = f"version={version_of(row)}&{key}-plant=%ED%A0%80"
        response = client.post(at(row, "names/"), body, content_type="application/x-www-form-urlencoded")
    else:
        response = client.post(at(row, "names/"), sent)
    assert response.status_code == 422
    assert told in text_of(response)
    if typed.get("plant") in {"cowslop", "xyzzy"}:
        assert f'value="{typed["plant"]}"' in response.content.decode()
        assert f'name="{key}-keep" id="id_{key}-keep" checked' in response.content.decode()
    assert "" in TaxonRecord.objects.filter(name="cranesbill?").values_list("taxon", flat=True)
    assert not NameChoice.objects.exists()


def test_two_people_settling_at_once_are_told_and_nothing_is_lost(client, county):
    row = send(county, found=quadrats(2, plants=["cranesbill?", "daysy"]))
    crane, daisy = (key_of(client, row, name) for name in ("cranesbill?", "daysy"))
    seen = version_of(row)
    assert client.post(at(row, "names/"), {"version": seen, f"{daisy}-is": "as-written"}).status_code == 302
    sent = {"version": seen, f"{crane}-is": "geranium_pratense", f"{crane}-keep": "on"}
    response = client.post(at(row, "names/"), sent)
    assert response.status_code == 409
    html = response.content.decode()
    assert "Changed in the meantime" in html
    assert re.search(rf'name="{crane}-is"[^>]*value="geranium_pratense" checked', html)
    assert f'name="version" value="{version_of(row)}"' in html
    assert client.post(at(row, "names/"), sent | {"version": version_of(row)}).status_code == 302


def test_a_name_read_wrongly_is_read_otherwise(client, county):
    row = send(county, found=quadrats(1, plants=["YR"]))
    sent = {"part": "reread", "version": version_of(row), "name": "YR", "taxon": "yarrow"}
    assert client.post(at(row, "names/"), sent | {"name": "nobody wrote this"}).status_code == 422
    response = client.post(at(row, "names/"), sent | {"taxon": "yarow"})
    assert response.status_code == 422
    assert 'value="yarow"' in response.content.decode()
    assert client.post(at(row, "names/"), sent | {"version": "0"}).status_code == 409
    assert client.post(at(row, "names/"), sent).status_code == 302
    assert TaxonRecord.objects.get(name="YR").taxon == "achillea_millefolium"


# ------------------------------------------------------------------ questions, checking


@pytest.fixture
def asked(county):
    """A return with one question: it was walked after the cut."""
    return send(county, work=[{"what": "cut", "on": "2028-06-01"}])


def test_the_group_answers_and_the_coordinator_accepts(client, county, asked):
    question = asked.current.questions.get()
    path = f"/questions/{question.public_id}/answer/"
    assert question.text in page_of(client, path)
    sent = {"version": str(question.version), "answer": "The cut was of the path only."}
    empty = client.post(path, sent | {"answer": " "})
    assert empty.status_code == 422
    assert "Write the answer; a few words are enough." in text_of(empty)
    assert client.post(path, sent).headers["Location"] == at(asked, "#questions")
    late = client.post(path, sent | {"answer": "No: the day is wrong."})
    assert late.status_code == 409
    assert "Your answer: The cut was of the path only." in text_of(late)
    assert "No: the day is wrong." in text_of(late)
    accept = f"/questions/{question.public_id}/accept/"
    question.refresh_from_db()
    assert client.post(accept, {"version": str(question.version)}).status_code == 403
    client.force_login(county.coordinator)
    assert client.post(accept, {"version": "0"}).status_code == 409
    assert client.post(accept, {"version": str(question.version)}).status_code == 302
    question.refresh_from_db()
    assert question.accepted_at == AUTUMN
    # again, as by a second press of the button
    assert client.post(accept, {"version": str(question.version)}).status_code == 302
    client.force_login(county.member)
    over = client.post(path, sent | {"version": str(question.version)})
    assert over.status_code == 422
    assert "what was answered has been accepted" in text_of(over)


def test_a_return_is_checked_sent_back_and_agreed_by_buttons(client, county, asked):
    client.force_login(county.coordinator)
    path = at(asked, "check/")
    word = {"version": version_of(asked), "comment": "Was it <b>cut</b> twice?"}
    refused = client.post(path, word | {"to": "agreed"})
    assert refused.status_code == 422
    assert "1 of its questions is not accepted yet" in text_of(refused)
    assert "Was it &lt;b&gt;cut&lt;/b&gt; twice?" in refused.content.decode()
    silent = client.post(path, {"version": version_of(asked), "to": "sent_back"})
    assert "Say what should be looked at again." in text_of(silent)
    assert client.post(path, word | {"to": "sent"}).status_code == 422
    assert client.post(path, word).status_code == 422
    seen = version_of(asked)
    assert client.post(path, {"version": seen, "to": "checking", "comment": "I look."}).status_code == 302
    stale = client.post(path, {"version": seen, "to": "sent_back", "comment": "Look again, please."})
    assert stale.status_code == 409
    assert "Look again, please." in text_of(stale)
    assert "It is now: being checked, version 1." in text_of(stale)
    assert client.post(path, word | {"to": "sent_back", "version": version_of(asked)}).status_code == 302
    text = page_of(client, at(asked))
    assert "is sent back to the group" in text
    assert "Version 1 sent back with questions by Tamsin Oake." in text
    ReturnQuestion.objects.update(accepted_at=AUTUMN)
    again = {"version": version_of(asked), "to": "checking", "comment": ""}
    assert client.post(path, again).status_code == 302
    assert client.post(path, {"version": version_of(asked), "to": "agreed", "comment": "Thank you."}).status_code == 302
    assert OutcomeReturn.objects.get().state == ReturnState.AGREED
    assert "The return of 2028 is agreed" in page_of(client, at(asked))
    assert "There is nothing more to do with it" in page_of(client, path)


def test_a_member_sees_no_buttons_of_the_network_and_a_neighbour_sees_nothing(client, county, asked):
    client.force_login(county.member)
    html = client.get(at(asked)).content.decode()
    assert "Agree it" not in html
    assert "/accept/" not in html
    assert "Settle these names" in html
    assert client.post(at(asked, "check/"), {"to": "agreed"}).status_code == 403
    question = asked.current.questions.get()
    for person in (county.neighbour, county.stranger, county.operator):
        client.force_login(person)
        for path in (at(asked), at(asked, "names/"), at(asked, "check/"), f"/questions/{question.public_id}/answer/"):
            assert client.get(path).status_code == 404
    client.logout()
    assert client.get(at(asked)).status_code in {302, 404}
    assert OutcomeReturn.objects.get().state == ReturnState.SENT


# ------------------------------------------------------------------ forecast against found


def summer(county, year=2028):
    answer = orjson.loads(run_answer_text(county.projects["Paddock to hay"].baseline.run.public_id))
    rows = answer["establishment"]["if_kept"]["by_year"]
    return next(row for row in rows if row["calendar_year"] == year)


def test_a_poor_summer_lies_under_the_fan_and_is_said_so(client, county):
    assert summer(county)["species_per_m2"]["p10"] > 2
    row = send(county, found=quadrats(1, 1, 1, 2))
    text = page_of(client, f"/projects/{row.project.public_id}/")
    assert "The second summer, 2028, came out lower than 9 in 10 of what was forecast if the plan is kept" in text
    assert ": less than was expected." in text
    assert "Held against the forecast of 1 September 2026, fixed when the meadow was sown." in text
    html = client.get(f"/projects/{row.project.public_id}/").content.decode()
    assert html.count('class="walked-dot"') == 4
    assert f'href="{at(row)}"' in html


def test_found_and_allowed_for_the_surveyors_grade_are_both_told(client, county):
    row = send(county)
    text = page_of(client, at(row))
    share = parameters().number("survey_values", "detection", "knows_most").middle
    assert f"Kinds in a quadrat if the plan is kept 4.3 (3.5 to 5.1) {4.3 / share:.1f}" in text


def test_a_forecast_made_after_the_walk_foretold_nothing(client, county):
    row = send(county, year=2026, on="06-20")
    text = page_of(client, at(row))
    assert "The forecast was made after the walk of 20 June 2026, so it foretold nothing." in text
    assert 'class="walked-dot"' not in client.get(at(row)).content.decode()
    send(county, found=quadrats(4, 5))
    text = page_of(client, f"/projects/{row.project.public_id}/")
    assert "Left out: 2026: The forecast was made after the walk" in text
    assert "The second summer, 2028, came out" in text


def test_without_a_forecast_before_the_walk_that_is_said(client, county):
    row = send(county, project="Under the yews", year=2026, on="06-20")
    text = page_of(client, f"/projects/{row.project.public_id}/")
    assert "No forecast was stored before the first walk" in text


@pytest.mark.parametrize(
    ("fan", "words"),
    [
        ({"place": "below", "quantile": None}, "lower than 9 in 10 of what was forecast"),
        ({"place": "above", "quantile": None}, "higher than 9 in 10 of what was forecast"),
        ({"place": "in_half", "quantile": 0.703}, "higher than about 70 in 100 of what was forecast"),
        ({"place": "in_80", "quantile": 0.1}, "higher than about 10 in 100 of what was forecast"),
    ],
)
def test_a_place_in_a_forecast_is_told_in_hundredths(fan, words):
    assert place(fan) == words


def test_what_was_expected_of_a_kept_plan_and_of_groups():
    assert expectation("in_80", "above") == "inside what was expected"
    assert expectation("above", "above") == "more than was expected"
    assert expectation("below", "in_half") == "less than was expected of a kept plan, but not of groups"
    assert expectation("below", "below") == "less than was expected"


# ------------------------------------------------------------------ a county's year


def lines(client, query=""):
    text = page_of(client, f"/county/saltmere/returns/{query}")
    return text[text.index("Show these") :]


def test_a_coordinator_sees_every_return_of_the_year_and_a_group_its_own(client, county):
    send(county)
    send(county, "neighbour", project="Verge of the sea road")
    client.force_login(county.coordinator)
    text = page_of(client, "/county/saltmere/returns/")
    assert "Of two meadows, two have told of 2028 (two to be checked). Two names are to settle." in text
    assert ("Paddock to hay" in text, "Verge of the sea road" in text) == (True, True)
    assert "/county/saltmere/returns/" in client.get("/home/").content.decode()
    client.force_login(county.member)
    assert "Verge of the sea road" not in page_of(client, "/county/saltmere/returns/")
    client.force_login(county.stranger)
    text = page_of(client, "/county/saltmere/returns/")
    assert "No meadow had a summer to tell of in 2028." in text
    client.logout()
    assert client.get("/county/saltmere/returns/").status_code == 302


def test_a_return_is_overdue_once_october_is_over(client, county):
    assert "one has not" in page_of(client, "/county/saltmere/returns/")
    assert "Overdue" not in lines(client)
    with time_machine.travel(datetime(2028, 11, 1, 9, 0, tzinfo=ZoneInfo("Europe/London")), tick=False):
        client.force_login(county.lead)
        text = page_of(client, "/county/saltmere/returns/")
        assert "Of one meadow, none has told of 2028; one has not and is overdue." in text
        assert "Paddock to hay Gullhaven Meadow Makers Inner Sands Overdue" in lines(client)
    client.force_login(county.lead)
    # sown in September 2026, so its first summer was 2027
    assert "No meadow had a summer to tell of in 2026." in page_of(client, "/county/saltmere/returns/?year=2026")


def test_the_list_is_filtered_by_its_address(client, county):
    client.force_login(county.coordinator)
    send(county, work=[{"what": "cut", "on": "2028-06-01"}])
    verge = send(county, "neighbour", project="Verge of the sea road", found=quadrats(2, 3))
    returns.return_send_back(
        actor=county.as_(county.coordinator), return_id=verge.public_id, comment="Where?", if_version=None, now=AUTUMN
    )
    makers = county.groups["Gullhaven Meadow Makers"].public_id
    inner = county.districts["Inner Sands"].public_id

    def shown(query):
        text = lines(client, query)
        return ["Paddock to hay" in text, "Verge of the sea road" in text]

    assert shown("") == [True, True]
    for query in ("?state=sent", "?state=questions", "?state=names", f"?group={makers}", f"?district={inner}"):
        assert shown(query) == [True, False], query
    assert shown("?state=sent_back") == [False, True]
    assert shown("?state=agreed") == [False, False]
    assert shown("?year=2027&state=missing") == [True, False]
    for wrong in ("?state=lost", "?year=1066", "?group=x", "?district=%00", "?year=%ED%A0%80"):
        assert client.get(f"/county/saltmere/returns/{wrong}").status_code == 422, wrong
    assert client.get("/county/saltmere/returns/?page=99999999999999999999").status_code == 200
