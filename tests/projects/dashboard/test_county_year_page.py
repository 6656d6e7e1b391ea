"""The county's year as a report: the same figures as the API's, what is missing told, private sites unseen."""

import pytest
import time_machine
from django.test import Client

from projects.choices import Stage
from projects.models import ReturnRollup
from projects.services import rollups
from tests.projects.api.caller import Caller
from tests.projects.county import saltmere
from tests.projects.dashboard.conftest import Page
from tests.projects.rollups import LATER, PLANTS, granted, meadow, send

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def in_2029():
    with time_machine.travel(LATER, tick=False):
        yield


@pytest.fixture
def county():
    found = saltmere()
    for name, area, kinds in (("Small", 100.0, (6, 6)), ("Large", 300.0, (10, 10))):
        meadow(found, name, area_m2=area)
        squares = [
            {"label": str(n), "records": [{"name": plant} for plant in PLANTS[:count]]} for n, count in enumerate(kinds)
        ]
        send(found, name, 2028, visits=[{"on": "2028-06-20", "quadrats": squares}], cash_gbp=40.0, heads=3)
    return found


def read(county, user=None, path="year/2028/"):
    client = Client()
    if user is not None:
        client.force_login(user)
    answer = client.get(f"/county/{county.network.slug}/{path}")
    assert answer.status_code == 200
    return Page(answer.content.decode()), answer


def test_the_answer_is_one_sentence_with_its_range_and_what_is_missing(county):
    page, _ = read(county)
    # by hand: the paddock of 8000 m² and 400 m²; means 6 and 10 make 8, and 12.7062 x 2 around it
    assert page.headings[0].replace("\u00a0", " ") == (
        "In 2028 Saltmere had three meadows on 8,400 m²; two told of their summer, with 8.0 (0.0 to 33.4) kinds of "
        "plant in a square metre."
    )
    assert "One return is missing: that is not known, and is not counted as none." in page.text


def test_every_number_links_to_the_call_that_gives_it(county):
    page, _ = read(county)
    calls = [
        attributes["href"] for tag, attributes in page.tags if attributes.get("href", "").startswith("/api/v1/agg")
    ]
    assert len(calls) == 4
    for call in calls:
        answer = Caller().get(call)
        assert answer.status_code == 200, answer.content
    species = Caller().get(calls[1]).json()
    of_two = next(row for row in species["rows"] if row["key"]["years_since_sowing"] == 2)
    assert of_two["figures"]["species_per_m2"]["site_as_unit"]["estimate"] == 8.0
    assert 'href="#made"' in read(county)[1].content.decode()


def test_found_stands_beside_forecast_by_age_in_a_chart_and_a_table(county):
    ReturnRollup.objects.filter(year=2028).update(forecast_p10=5.0, forecast_p50=9.0, forecast_p90=14.0)
    page, answer = read(county)
    assert "two years after sowing, hold 8.0 (0.0 to 33.4) kinds in a square metre; 9.0 were forecast" in page.text
    assert "5.0 to 14.0, middle 9.0" in page.text
    drawn = answer.content.decode()
    assert drawn.count('class="chart chart-wide"') == 2
    assert "2: found 8, 0 to 33; forecast 5 to 14, middle 9" in drawn
    assert "style=" not in drawn


def test_filters_stand_in_the_address_and_what_cannot_be_read_is_told(county):
    granted(county, meadow(county, "Paid"), ["Sands Trust"])
    page, _ = read(county, path="year/2028/?funder=Sands+Trust")
    assert "one meadow on" in page.headings[0]
    assert "This report is of the meadows that fit." in page.text
    fits = read(county, path="year/2028/map.json?funder=Sands+Trust")[1].json()
    assert [site["name"] for site in fits["sites"]] == ["Paid"]
    answer = Client().get("/county/saltmere/year/2028/?kind=moon")
    assert answer.status_code == 422
    assert "is not in the list" in answer.content.decode()


def test_the_map_tells_stage_and_what_the_walk_found_no_more_precisely_than_allowed(county):
    told = read(county, path="year/2028/map.json")[1].json()
    found = {site["name"]: site for site in told["sites"]}
    assert set(found) == {"Small", "Large", "Long Paddock"}
    assert found["Small"]["found"] == "Not judged: too little was counted, 2028"
    assert found["Long Paddock"]["found"] == "no agreed return"
    assert (found["Small"]["square"], found["Small"]["stage"]) == (True, Stage.AFTERCARE.label)
    # exact places are drawn for nobody here, not even for those who know them
    own = read(county, county.lead, "year/2028/map.json")[1].json()
    assert own["sites"] == told["sites"]


def test_money_of_few_groups_is_for_coordinators(county):
    page, _ = read(county)
    assert "Fewer than three groups told of money" in page.text
    assert "£80" not in page.text
    staff, _ = read(county, county.coordinator)
    assert "£80 in cash went into the two meadows that told of it; one did not" in staff.text
    assert "What is due" in staff.headings
    assert "What is due" not in page.headings


def test_private_sites_are_one_number_and_exact_for_coordinators_alone(county):
    before = [read(county, user)[1].content for user in (None,)]
    for number in range(8):
        meadow(county, f"Garden {number}", publicity="private", kind="garden", area_m2=100.0)
    assert [read(county, user)[1].content for user in (None,)] == before
    staff, _ = read(county, county.coordinator)
    assert "Private sites counted in: 11 meadows on 9,200 m², two told of." in staff.text
    assert "Private sites counted in" not in read(county, county.lead)[0].text
    rollups.private_year_freeze(
        actor=county.as_(county.coordinator), network_id=county.network.public_id, year=2028, now=LATER
    )
    assert "Private sites: about 10 more meadows in 2028." in read(county)[0].text


def test_ground_stands_by_year_and_stage(county):
    page, _ = read(county)
    # both meadows and the paddock; the churchyard is only planned
    assert "At the end of 2028 seed was in the ground on 8,400 m² of live meadow" in page.text
    assert "Today seed is in the ground" in read(county, path="year/2029/")[0].text


@pytest.mark.parametrize("year", [1999, 2030, 99999999999999])
def test_a_year_that_has_not_come_is_not_there(county, year):
    assert Client().get(f"/county/saltmere/year/{year}/").status_code == 404


def test_a_year_without_meadows_says_so(county):
    page, _ = read(county, path="year/2020/")
    assert page.headings[0].startswith("In 2020 Saltmere had no meadow with a summer to tell of")
