"""A project's pages: where it stands, its plan, forecasts, stages and diary."""

from datetime import date, timedelta
from uuid import uuid4

import orjson
import pytest
import time_machine
from django.http import QueryDict

from modelling.contracts import Plan
from projects.choices import Stage
from projects.contracts.meadows import PlanNew
from projects.dashboard.forms.meadows import PlanVersionForm, beyond_form, plan_said
from projects.models import Forecast, MeadowProject, Permission, PlanVersion, StageChange, WorkEntry
from projects.services import meadows
from tests.projects.county import NOW, all_permissions, saltmere

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def that_day():
    with time_machine.travel(NOW + timedelta(hours=2), tick=False):
        yield


@pytest.fixture
def county(client):
    found = saltmere(sown=False)
    client.force_login(found.lead)
    return found


@pytest.fixture
def grown(client):
    """The county with its paddock sown, which fixed a forecast."""
    found = saltmere()
    client.force_login(found.lead)
    return found


def at(project, tail=""):
    return f"/projects/{project.public_id}/{tail}"


def text_of(response):
    return response.content.decode().replace("&#x27;", "'").replace("\u00a0", " ")


# ------------------------------------------------------------------ beginning, renaming


def test_a_project_begins_as_an_idea_or_with_the_usual_plan(client, county):
    site = county.sites["School bank"]
    path = f"/sites/{site.public_id}/projects/new/"
    response = client.post(path, {"name": "Idea", "plan": "later"})
    idea = MeadowProject.objects.get(name="Idea")
    assert response.headers["Location"] == at(idea)
    client.post(path, {"name": "Plan", "plan": "planned"})
    assert (idea.stage, MeadowProject.objects.get(name="Plan").stage) == ("idea", "planned")
    assert client.post(path, {"name": ""}).status_code == 422
    client.force_login(county.member)
    assert client.post(path, {"name": "Mine"}).status_code == 403
    assert MeadowProject.objects.filter(site=site).count() == 2


def test_a_project_is_renamed_unless_somebody_was_quicker(client, county):
    project = county.projects["Under the yews"]
    sent = {"name": "Yew walk", "version": str(project.version)}
    assert client.post(at(project, "edit/"), sent).status_code == 302
    assert client.post(at(project, "edit/"), sent | {"name": "Yews"}).status_code == 409
    assert MeadowProject.objects.get(pk=project.pk).name == "Yew walk"


# ------------------------------------------------------------------ the page


def test_the_first_sentence_tells_where_it_stands_and_whose_move_it_is(read, county):
    project = county.projects["Under the yews"]
    assert read(at(project)).headings[0].replace("\u00a0", " ") == (
        "“Under the yews” has been planned since 1 September 2026; next, the permissions come to hand, "
        "and that is the group’s move."
    )
    Permission.objects.filter(site=project.site).update(need="needed", state="asked", asked_on="2026-08-30")
    assert read(at(project)).headings[0].endswith("the permissions come to hand, and that waits for others’ answers.")
    all_permissions(project.site)
    page = read(at(project))
    assert page.headings[0].endswith("everything is made ready to start, and that is the group’s move.")
    assert "Before a spade goes in" not in page.text


def test_what_is_missing_of_permissions_stands_before_a_spade_goes_in_and_only_there(read, county):
    text = read(at(county.projects["Under the yews"])).text
    assert "Before a spade goes in Agreement of the churchyard's keepers: find out whether it is needed." in text
    assert "Find out what is needed of these" not in text


def test_the_plan_is_told_in_words(read, county):
    text = read(at(county.projects["Under the yews"])).text
    assert "Eight people come, for 3 hours. What is not said here is planned by the service" in text
    assert "Everything is left open" in read(at(county.projects["Behind the house"])).text


def test_a_sown_meadow_shows_the_forecast_it_is_held_against(read, grown):
    project = grown.projects["Paddock to hay"]
    page = read(at(project))
    assert page.headings[0].replace("\u00a0", " ").startswith("“Paddock to hay” was sown on 1 September 2026; next,")
    assert "Held against: the forecast of 1 September 2026, fixed when the meadow was sown." in page.text
    assert "Plan 2: Sown on 1 September 2026; the plan before said no day." in page.text
    assert "Its life so far 1 September 2026 Sown. 1 September 2026 Ground prepared." in page.text


def test_strangers_read_where_it_stands_and_no_more(client, read, grown):
    client.logout()
    project = grown.projects["Paddock to hay"]
    page = read(at(project))
    assert page.headings[0].replace("\u00a0", " ") == "“Paddock to hay” was sown on 1 September 2026."
    for hidden in ("Held against", "Work diary", "people come", "Its life"):
        assert hidden not in page.text
    assert client.get(at(project, f"forecasts/{project.baseline.public_id}/")).status_code == 302
    assert client.get(at(grown.projects["Behind the house"])).status_code == 404


# ------------------------------------------------------------------ the plan


def test_the_next_plan_is_saved_and_the_earlier_ones_stay(client, read, county):
    project = county.projects["Under the yews"]
    assert 'value="8"' in text_of(client.get(at(project, "plan/")))
    sent = {
        "volunteers": "6", "hours_per_session": "2.5", "taxon_1": "yellow rattle", "taxon_1_g": "90",
        "preparation": ["scarify_rake"], "cut_month": "8", "note": "Two have moved away.",
        "version": str(project.version),
    }  # fmt: skip
    assert client.post(at(project, "plan/"), sent).headers["Location"] == at(project)
    plans = list(PlanVersion.objects.filter(project=project).order_by("number"))
    assert [plan.number for plan in plans] == [1, 2]
    assert orjson.loads(plans[1].plan) == {
        "aftercare": {"cut_month": [8]},
        "crew": {"hours_per_session": 2.5, "volunteers": 6},
        "preparation": ["scarify_rake"],
        "seed": [{"kg": 0.09, "taxon": "rhinanthus_minor"}],
    }
    text = read(at(project)).text
    assert "Seed: 90 g of yellow rattle." in text
    assert "Cut every year in August." in text
    assert "Plan 2, of 1 September 2026. Two have moved away." in text


def test_an_idea_becomes_planned_by_its_plan(client, county):
    project = county.projects["Behind the house"]
    client.post(at(project, "plan/"), {"volunteers": "2", "version": str(project.version)})
    assert MeadowProject.objects.get(pk=project.pk).stage == "planned"


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"taxon_1": "triffid", "taxon_1_g": "90"}, "No plant in our list is called “triffid”."),
        ({"volunteers": "six"}, "“six” is not a number"),
        ({"budget_gbp": "-1"}, "-1 will not do; it must be at least 0."),
        ({"sow_on": "1999-01-01"}, "it must be at least 2000-01-01"),
        ({"refuge_percent": "80"}, "0.8 will not do; it must be at most 0.5."),
        ({"note": "x" * 301}, "300"),
        ({"volunteers": "6", "version": "9" * 30}, "Read"),
    ],
)
def test_a_plan_that_cannot_be_is_told_beside_its_field(client, county, values, words):
    project = county.projects["Under the yews"]
    response = client.post(at(project, "plan/"), {"hours_per_session": "2.25"} | values)
    assert response.status_code in {409, 422}
    assert words in text_of(response) or response.status_code == 409
    assert 'value="2.25"' in text_of(response)
    assert PlanVersion.objects.filter(project=project).count() == 1


def test_a_plan_written_while_somebody_else_wrote_one_is_told(client, county):
    project = county.projects["Under the yews"]
    sent = {"volunteers": "6", "version": str(project.version)}
    assert client.post(at(project, "plan/"), sent).status_code == 302
    response = client.post(at(project, "plan/"), sent | {"volunteers": "7"})
    assert response.status_code == 409
    assert f'name="version" value="{project.version + 1}"' in text_of(response)
    assert PlanVersion.objects.filter(project=project).count() == 2


def test_a_plan_comes_back_from_the_form_as_it_went_in(county):
    plan = Plan.model_validate_json(
        """{"preparation": ["scarify_rake"], "sow_on": "2026-10-04", "budget_gbp": 150.5, "kit_to_hand": ["scythe"],
        "seed": [{"mix": "neutral_flowers_with_rattle", "kg": 0.18}, {"taxon": "rhinanthus_minor", "kg": 0.0005}],
        "plugs": [{"taxon": "primula_veris", "count": 40}], "crew": {"volunteers": 8, "hours_per_session": 3.0},
        "aftercare": {"first_year_cuts": 2, "cut_month": [8, 10], "arisings": "removed", "disposal": "heap",
        "refuge_share": 0.1, "aftermath_grazing": {"by": "sheep", "from_month": 9, "to_month": 11, "fence": true}}}"""
    )
    form = PlanVersionForm(plan_said(plan), site=county.sites["School bank"])
    assert form.is_valid(), form.errors
    asked = PlanNew.model_validate_json(orjson.dumps(form.asked()))
    assert asked.plan == plan
    assert beyond_form(plan) == []


def test_no_seed_and_no_cut_come_back_as_well(county):
    plan = Plan.model_validate({"preparation": [], "seed": [], "plugs": [], "aftercare": {"cut_month": []}})
    form = PlanVersionForm(plan_said(plan), site=county.sites["School bank"])
    assert form.is_valid(), form.errors
    assert Plan.model_validate_json(orjson.dumps(form.asked()["plan"])) == plan


def test_what_the_form_cannot_show_of_a_plan_is_told(client, county):
    project = county.projects["Under the yews"]
    plan = Plan.model_validate_json(
        '{"steps": [{"on": "2026-10-01", "operation": "scarify_rake"}], "aftercare": {"cut_on": ["2026-07-20"]}}'
    )
    meadows.plan_create(
        actor=county.as_(county.lead), project_id=project.public_id, asked=PlanNew(plan=plan), if_version=None, now=NOW
    )
    text = text_of(client.get(at(project, "plan/")))
    assert "1 dated step, set by a program." in text
    assert "A yearly cut on 20 July; below stands its month only." in text
    assert '<option value="7" selected>July</option>' in text


def test_planning_is_for_leads(client, county):
    client.force_login(county.member)
    project = county.projects["Under the yews"]
    assert client.post(at(project, "plan/"), {"volunteers": "3"}).status_code == 403
    assert PlanVersion.objects.filter(project=project).count() == 1


# ------------------------------------------------------------------ forecasts


def test_a_forecast_is_made_stored_and_shown_with_its_checksum(client, read, county):
    project = county.projects["Under the yews"]
    response = client.post(at(project, "forecast/"))
    row = Forecast.objects.get()
    assert response.headers["Location"] == at(project, f"forecasts/{row.public_id}/")
    page = read(at(project, f"forecasts/{row.public_id}/"))
    assert page.headings[0].replace("\u00a0", " ").startswith("Your 180 m² will need about")
    assert row.run.answer_checksum in page.text
    assert "Seed to buy" in page.text
    assert "Other ways to do it" not in page.text
    assert client.post(at(project, "forecast/")).headers["Location"] == response.headers["Location"]
    assert Forecast.objects.count() == 1


def test_forecasts_stand_beside_each_other(client, read, grown):
    project = grown.projects["Paddock to hay"]
    client.post(at(project, "plan/"), {"volunteers": "20", "cut_month": "9", "version": str(project.version)})
    assert client.post(at(project, "forecast/")).status_code == 302
    page = read(at(project, "forecast/"))
    assert "1 September 2026held against" in page.text
    assert len([1 for tag, a in page.tags if tag == "a" and "/forecasts/" in a.get("href", "")]) == 2
    assert "Plan 3, 1 September 2026. Plan 2, 1 September 2026" in page.text
    text = read(at(project)).text
    assert "All 2 forecasts beside each other" in text
    assert MeadowProject.objects.get(pk=project.pk).baseline.plan.number == 2


def test_a_forecast_that_cannot_be_is_told(client, county):
    project = county.projects["Under the yews"]
    sowing = {"on": "2026-10-01", "seed": [{"taxon": "rhinanthus_minor", "kg": 0.09}]}
    plan = Plan.model_validate_json(
        orjson.dumps({"steps": [sowing, {"on": "2026-11-01", "operation": "scarify_rake"}]})
    )
    meadows.plan_create(
        actor=county.as_(county.lead), project_id=project.public_id, asked=PlanNew(plan=plan), if_version=None, now=NOW
    )
    response = client.post(at(project, "forecast/"))
    assert response.status_code == 422
    assert "No forecast could be made" in text_of(response)
    assert not Forecast.objects.exists()


def test_a_forecast_of_another_project_or_for_others_is_not_found(client, grown):
    forecast = grown.projects["Paddock to hay"].baseline
    assert client.get(at(grown.projects["Under the yews"], f"forecasts/{forecast.public_id}/")).status_code == 404
    client.force_login(grown.neighbour)
    assert client.get(at(grown.projects["Paddock to hay"], f"forecasts/{forecast.public_id}/")).status_code == 403
    assert (
        client.get(at(grown.projects["Verge of the sea road"], f"forecasts/{forecast.public_id}/")).status_code == 404
    )


def test_members_make_no_forecasts(client, county):
    client.force_login(county.member)
    assert client.post(at(county.projects["Under the yews"], "forecast/")).status_code == 403
    assert not Forecast.objects.exists()


# ------------------------------------------------------------------ stages


def step(client, project, **values):
    return client.post(at(project, "step/"), {"on": "2026-09-01", "version": str(project.version)} | values)


def test_steps_are_offered_in_their_order(client, county):
    form = client.get(at(county.projects["Under the yews"], "step/")).context["form"]
    assert [label for _, label in form.fields["to"].choices] == ["Ready to start", "An idea", "Lapsed", "Handed over"]


def test_without_permissions_nothing_is_called_ready(client, county):
    project = county.projects["Under the yews"]
    response = step(client, project, to="ready", note="Kept")
    assert response.status_code == 422
    assert "Agreement of the churchyard's keepers: find out whether it is needed." in text_of(response)
    assert 'value="Kept"' in text_of(response)
    project.refresh_from_db()
    assert project.stage == Stage.PLANNED


def test_sowing_fixes_the_forecast(client, read, county):
    project = county.projects["Under the yews"]
    all_permissions(project.site)
    for to in ("ready", "sown"):
        project.refresh_from_db()
        assert step(client, project, to=to).status_code == 302
    project.refresh_from_db()
    assert (project.stage, project.sown_on, project.baseline.plan.number) == ("sown", date(2026, 9, 1), 2)
    assert "Held against" in read(at(project)).text


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"to": "lapsed"}, "Say what the cause was; “unknown” will do."),
        ({"to": "lapsed", "cause": "spite"}, "“spite” is not in the list"),
        ({"to": "handed_over"}, "Say who looks after the meadow now."),
        ({"to": "idea", "cause": "weather"}, "A cause belongs to an end only."),
        ({"to": "idea", "on": "2026-09-02"}, "2026-09-02 is still to come"),
        ({"to": "idea", "on": "2026-08-31"}, "is before the present stage began"),
        ({"to": "idea", "on": ""}, "This has to be filled in."),
        ({"to": "sown"}, "“sown” cannot follow; choose one of the list."),
        ({}, "Choose what the meadow is now."),
    ],
)
def test_a_step_that_cannot_be_is_told_beside_its_field(client, county, values, words):
    project = county.projects["Under the yews"]
    response = step(client, project, **values)
    assert response.status_code == 422
    assert words in text_of(response)
    project.refresh_from_db()
    assert project.stage == "planned"
    assert not StageChange.objects.filter(project=project).exists()


def test_an_end_tells_its_cause_and_blames_nobody(client, read, county):
    project = county.projects["Under the yews"]
    assert step(client, project, to="lapsed", cause="people", note="Two have moved.").status_code == 302
    text = read(at(project)).text
    assert "lapsed, as noted on 1 September 2026" in text
    assert "Cause: too few people were left." in text
    assert "Lapsed. Too few people were left. Two have moved." in text


def test_a_step_taken_while_somebody_else_took_one_is_told(client, county):
    project = county.projects["Under the yews"]
    assert step(client, project, to="idea").status_code == 302
    assert step(client, project, to="lapsed", cause="money").status_code in {409, 422}
    project.refresh_from_db()
    assert project.stage == "idea"


def test_steps_are_for_leads(client, county):
    client.force_login(county.member)
    project = county.projects["Under the yews"]
    assert step(client, project, to="idea").status_code == 403
    project.refresh_from_db()
    assert project.stage == "planned"


# ------------------------------------------------------------------ the diary


def test_a_line_is_written_with_four_answers(client, read, county):
    client.force_login(county.member)
    project = county.projects["Under the yews"]
    form = client.get(at(project, "diary/new/")).context["form"]
    assert form["on"].value() == date(2026, 9, 1)
    sent = {"on": "2026-08-30", "what": "cut", "heads": "4", "hours_each": "2.5", "submission_id": str(uuid4())}
    response = client.post(at(project, "diary/new/"), sent)
    row = WorkEntry.objects.get()
    assert response.headers["Location"] == at(project, f"diary/#line-{row.public_id}")
    page = read(at(project, "diary/"))
    assert "The line is in the diary." in page.text
    assert "30 August 2026 Cutting: four people, 10 hours." in page.text
    assert f"line-{row.public_id}" in [a.get("id") for tag, a in page.tags if tag == "li"]


def test_a_double_tap_writes_one_line(client, read, county):
    project = county.projects["Under the yews"]
    sent = {"on": "2026-08-30", "what": "cut", "heads": "4", "submission_id": str(uuid4())}
    first, second = (client.post(at(project, "diary/new/"), sent) for _ in range(2))
    assert first.headers["Location"] == second.headers["Location"]
    assert WorkEntry.objects.count() == 1
    assert "This line was in the diary already." in read(at(project, "diary/")).text


def test_cash_and_what_was_given_are_kept_apart(client, read, county):
    project = county.projects["Under the yews"]
    path = at(project, "diary/new/")
    client.post(path, {"on": "2026-08-30", "what": "purchase", "cash_gbp": "£81.40", "in_kind_gbp": "32"})
    client.post(
        path,
        {"on": "2026-08-31", "what": "prepare", "heads": "3", "person_hours": "7.5", "machine": "pedestrian_scarifier",
         "machine_hours": "2", "note": "Three passes,\r\ncrosswise"},
    )  # fmt: skip
    text = read(at(project, "diary/")).text
    assert "7.5 hours of people’s time, from three turns out; 2 hours of machines; £81.40 in cash; " in text
    assert "and, apart from that, £32 worth given in kind." in text
    assert "walk-behind petrol scarifier, 2 hours. Three passes, crosswise." in text
    assert "£81.40 spent. £32 worth given in kind." in text


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({}, "Say something of it: people, hours, a machine, money or a note."),
        ({"hours_each": "2"}, "Hours need people: say how many came."),
        ({"heads": "2", "hours_each": "2", "person_hours": "4"}, "Give the hours each, or those of all together"),
        ({"heads": "2", "hours_each": "25"}, "25 will not do; it must be at most 24."),
        ({"heads": "1.5"}, "“1.5” is not a whole number"),
        ({"heads": "2", "on": "2026-09-02"}, "2026-09-02 is still to come"),
        ({"heads": "2", "on": ""}, "This field is required."),
        ({"heads": "2", "what": "dance"}, "dance"),
        ({"machine_hours": "2", "note": "Kept"}, "Say which machine ran."),
        ({"machine": "zeppelin", "note": "Kept"}, "“zeppelin” is not in the list"),
        ({"cash_gbp": "1.234"}, "money has at most two decimals"),
        ({"heads": "2", "submission_id": "once"}, "Enter a valid UUID."),
        ({"heads": "9" * 30}, "will not do"),
    ],
)
def test_a_line_that_cannot_be_is_told_and_stays_typed(client, county, values, words):
    project = county.projects["Under the yews"]
    response = client.post(at(project, "diary/new/"), {"on": "2026-08-30", "what": "cut"} | values)
    assert response.status_code == 422
    assert words in text_of(response)
    for name in ("heads", "hours_each", "person_hours", "cash_gbp"):
        assert f'value="{values.get(name, "")}"' in text_of(response) or name not in values
    assert not WorkEntry.objects.exists()


def line(project, user, **values):
    values = {"on": date(2026, 8, 30), "what": "cut", "heads": 4, "person_minutes": 600} | values
    return WorkEntry.objects.create(project=project, created_by=user, **values)


def test_a_wrong_line_is_struck_out_and_stays_readable(client, read, county):
    project = county.projects["Under the yews"]
    row = line(project, county.lead)
    path = at(project, f"diary/{row.public_id}/strike/")
    assert client.post(path, {"because": ""}).status_code == 422
    assert client.post(path, {"because": "Entered twice", "version": "1"}).status_code == 302
    text = read(at(project, "diary/")).text
    assert "Struck out: Entered twice. Cutting: four people, 10 hours." in text
    assert "Nothing is in the diary yet." in text
    again = client.post(path, {"because": "Again", "version": "2"})
    assert again.status_code == 422
    assert "This line is struck out already." in text_of(again)


def test_members_strike_out_their_own_lines_only(client, read, county):
    project = county.projects["Under the yews"]
    own, other = line(project, county.member), line(project, county.lead)
    client.force_login(county.member)
    links = [a["href"] for tag, a in read(at(project, "diary/")).tags if tag == "a" and "strike" in a.get("href", "")]
    assert links == [at(project, f"diary/{own.public_id}/strike/")]
    assert client.post(at(project, f"diary/{other.public_id}/strike/"), {"because": "No"}).status_code == 403
    assert client.post(at(project, f"diary/{own.public_id}/strike/"), {"because": "Yes"}).status_code == 302
    assert list(WorkEntry.objects.filter(struck_at__isnull=False)) == [own]


def test_a_line_of_another_diary_is_not_found(client, county):
    row = line(county.projects["Verge of the sea road"], county.neighbour)
    path = at(county.projects["Under the yews"], f"diary/{row.public_id}/strike/")
    assert client.get(path).status_code == 404
    assert client.post(path, {"because": "No"}).status_code == 404
    assert WorkEntry.objects.get().struck_at is None


def test_long_diaries_come_in_pages(read, county):
    project = county.projects["Under the yews"]
    for day in range(60):
        line(project, county.lead, on=date(2026, 8, 30) - timedelta(days=day))
    page = read(at(project, "diary/"))
    assert "600 hours of people’s time, from 240 turns out and no cash." in page.text
    assert [a["href"] for tag, a in page.tags if a.get("rel") == "next"] == ["?page=2"]
    assert "2 July 2026" in read(at(project, "diary/?page=2")).text


def test_strangers_write_in_nobodys_diary(client, county):
    project = county.projects["Under the yews"]
    client.force_login(county.neighbour)
    assert client.post(at(project, "diary/new/"), {"on": "2026-08-30", "what": "cut", "heads": "1"}).status_code == 403
    hidden = county.projects["Behind the house"]
    assert client.post(at(hidden, "diary/new/"), {"on": "2026-08-30", "what": "cut"}).status_code == 404
    assert not WorkEntry.objects.exists()


def test_an_empty_query_makes_an_empty_plan(county):
    form = PlanVersionForm(QueryDict(""), site=county.sites["School bank"])
    assert form.is_valid()
    assert form.asked() == {"plan": {}}
