"""What a group did before, as a bid takes it along: forecasts beside what was found, and nothing of private ground."""

import pytest
from django.db.models import QuerySet

from modelling.contracts.appraisal import GroupRecord
from modelling.outcomes import found_on_forecast
from modelling.reading import read_as
from projects.models import Forecast, Site
from projects.selectors.group_record import group_record
from projects.selectors.meadows import forecast_answer
from projects.selectors.returns import kept_results
from projects.services import returns
from tests.projects.county import saltmere
from tests.projects.services.test_returns import AUTUMN, notebook, send

pytestmark = pytest.mark.django_db


@pytest.fixture
def county():
    return saltmere()


def agree(county, row):
    for question in row.current.questions.all():
        returns.question_accept(actor=county.as_(county.coordinator), public_id=question.public_id, now=AUTUMN)
    return returns.return_agree(
        actor=county.as_(county.coordinator), return_id=row.public_id, comment="", if_version=None, now=AUTUMN
    )


def test_an_agreed_walk_stands_beside_the_forecast_fixed_when_the_meadow_was_sown(county):
    group, lead = county.groups["Gullhaven Meadow Makers"], county.as_(county.lead)
    row, _ = send(county, notebook())
    assert group_record(group.pk, AUTUMN.date())["forecasts"] == []
    row = agree(county, row)
    # two summers since the sowing in 2026: that of 2027 was due by now, and none was sent for it
    record = group_record(group.pk, AUTUMN.date())
    baseline = county.projects["Paddock to hay"].baseline
    told = found_on_forecast(forecast_answer(lead, baseline.public_id), kept_results([row])[row.pk], 2028)
    figure = next(entry for entry in told["figures"] if entry["figure"] == "species_per_quadrat")
    fan = next(entry for entry in figure["fans"] if entry["forecast"] == "as_usual")
    assert record["forecasts"] == [
        {"p10": fan["p10"], "p50": fan["p50"], "p90": fan["p90"], "found": figure["adjusted"]}
    ]
    # 43 plants in ten quadrats; people who know most plants overlook some
    assert record["forecasts"][0]["found"] >= figure["found"] == pytest.approx(4.3)
    read_as(GroupRecord, record)
    # another year of the same meadow is no second meadow
    before, _ = send(county, notebook(year=2027, visits=[{**notebook()["visits"][0], "on": "2027-06-20"}], work=[]))
    agree(county, before)
    record = group_record(group.pk, AUTUMN.date())
    assert (len(record["forecasts"]), record["returns_due"], record["returns_agreed"]) == (1, 1, 1)


def test_a_forecast_made_after_the_walk_and_a_private_site_count_for_nothing(county):
    group = county.groups["Gullhaven Meadow Makers"]
    row, _ = send(county, notebook())
    agree(county, row)
    project = county.projects["Paddock to hay"]
    made = project.baseline.created_at
    QuerySet(Forecast).filter(pk=project.baseline_id).update(created_at=AUTUMN)
    assert group_record(group.pk, AUTUMN.date())["forecasts"] == []
    QuerySet(Forecast).filter(pk=project.baseline_id).update(created_at=made)
    assert len(group_record(group.pk, AUTUMN.date())["forecasts"]) == 1
    hidden = dict.fromkeys(("shown_easting_m", "shown_northing_m", "shown_side_m", "shown_degrees"))
    Site.objects.filter(pk=project.site_id).update(publicity="private", **hidden)
    assert group_record(group.pk, AUTUMN.date()) == {"returns_due": 0, "returns_agreed": 0, "forecasts": []}
