"""Lists and details ask the database as often for thirty rows as for three, and as often as the file says."""

import json
from datetime import timedelta

import pytest
from django.conf import settings
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from projects.contracts.meadows import ProjectNew, WorkNew
from projects.contracts.sites import Place, SiteNew, SoilTestNew
from projects.models import ApiToken, Group
from projects.services import diary, meadows, sites
from projects.services.jobs import job_create
from tests.projects.api.caller import Caller
from tests.projects.county import NOW, join, person, saltmere

pytestmark = pytest.mark.django_db

FILE = settings.BASE_DIR / "tests" / "snapshots" / "query_budgets.json"


def grow(county, rows):
    """Give the first group so many more sites, with projects and what belongs to them."""
    lead = county.as_(county.lead)
    group = county.groups["Gullhaven Meadow Makers"]
    there = group.sites.count()
    for number in range(there, there + rows):
        now = NOW + timedelta(minutes=number)
        site = sites.site_create(
            actor=lead,
            asked=SiteNew(
                group_id=group.public_id, name=f"Strip {number}", kind="field", area_m2=100.0,
                place=Place(grid_reference="TA 9834 3512"), zones=({"name": "bank", "area_m2": 10.0},),
            ),
            now=now,
        )  # fmt: skip
        asked = ProjectNew(site_id=site.public_id, name=f"Meadow {number}")
        meadows.project_create(actor=lead, asked=asked, now=now)
        sites.soil_test_add(
            actor=lead,
            site_id=county.sites["Long Paddock"].public_id,
            asked=SoilTestNew(taken_on=NOW.date(), soil_ph=6.0),
            now=now,
        )
        diary.work_add(
            actor=lead,
            project_id=county.projects["Paddock to hay"].public_id,
            asked=WorkNew(on=NOW.date(), what="cut", heads=1, person_hours=1.0),
            now=now,
        )
        Group.objects.create(network=county.network, name=f"Group {number}", created_at=now)
        join(person(f"Person {number}"), group)
        job_create(
            kind="forecasts",
            payload={"projects": [str(site.public_id)]},
            actor_label="a test",
            network=county.network,
            now=now,
        )


def addresses(county):
    """Return what is measured, by name."""
    site, project = county.sites["Long Paddock"], county.projects["Paddock to hay"]
    group, network = county.groups["Gullhaven Meadow Makers"], county.network
    of_site = {"public_id": site.public_id}
    of_project = {"public_id": project.public_id}
    api = {
        "v1-networks": {}, "v1-network": {"public_id": network.public_id},
        "v1-districts": {"public_id": network.public_id}, "v1-villages": {"public_id": network.public_id},
        "v1-groups": {}, "v1-group": {"public_id": group.public_id}, "v1-members": {"public_id": group.public_id},
        "v1-sites": {}, "v1-sites-geojson": {}, "v1-site": of_site, "v1-permissions": of_site,
        "v1-soil-tests": of_site, "v1-other-funding": of_site, "v1-projects": {}, "v1-project": of_project,
        "v1-steps": of_project, "v1-plans": of_project, "v1-forecasts": of_project, "v1-diary": of_project,
        "v1-forecast": {"public_id": project.baseline.public_id},
        "v1-forecast-answer": {"public_id": project.baseline.public_id},
        "v1-jobs": {}, "v1-audit": {}, "v1-me": {},
    }  # fmt: skip
    return {name: reverse(name, kwargs=kwargs) for name, kwargs in api.items()}


def counts(county, caller):
    found = {}
    for name, path in addresses(county).items():
        with CaptureQueriesContext(
            connection,
        ) as queries:
            answer = caller.get(path)
        assert answer.status_code == 200, (name, answer.content[:300])
        found[name] = len(queries)
    return found


def test_three_rows_and_thirty_ask_alike():
    county = saltmere()
    callers = {"lead": Caller(county.lead), "public": Caller()}
    grow(county, 3)
    # the first call of a day notes that the token was used
    callers["lead"].get("/api/v1/me/")
    assert ApiToken.objects.count() == 1
    few = counts(county, callers["lead"])
    grow(county, 27)
    many = counts(county, callers["lead"])
    assert many == few
    assert few == json.loads(FILE.read_text(encoding="utf-8"))["api"]
