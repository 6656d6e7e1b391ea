"""Lists and details ask the database as often for thirty rows as for three, and as often as the file says."""

import json
from datetime import timedelta

import pytest
from django.conf import settings
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from modelling.reading import read_as
from projects.contracts.meadows import ProjectNew, WorkNew
from projects.contracts.returns import ReturnNew
from projects.contracts.sites import Place, SiteNew, SoilTestNew
from projects.models import ApiToken, Group, OutcomeReturn
from projects.services import diary, meadows, sites
from projects.services.jobs import job_create
from projects.services.returns import return_send
from tests.projects.api.caller import Caller
from tests.projects.county import NOW, join, person, saltmere

pytestmark = pytest.mark.django_db

LEAST_YEAR = 2000
FILE = settings.BASE_DIR / "tests" / "snapshots" / "query_budgets.json"


#: a walk with a name to settle, out of season, which is asked about
WALK = [{"label": str(n), "records": [{"name": name} for name in ("cranesbill?", "cowslip", "dock")]} for n in range(3)]


def tell(county, project, year, *quadrats):
    """Send a return of a project's year, or its next version; a walk on a day before the county began."""
    asked = {"year": year, "visits": [{"on": f"{year}-04-10", "quadrats": [*WALK, *quadrats]}]}
    row, _ = return_send(
        actor=county.as_(county.lead), project_id=project.public_id, asked=read_as(ReturnNew, asked), now=NOW
    )
    return row


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
        meadow = meadows.project_create(actor=lead, asked=asked, now=now)
        # more meadows with a return, more versions of one, more years of one, more names in one
        paddock = county.projects["Paddock to hay"]
        tell(county, meadow, NOW.year)
        tell(county, paddock, max(NOW.year - number, LEAST_YEAR))
        written = [{"name": f"thing {n}"} for n in range(number)]
        tell(county, paddock, NOW.year, {"label": "more", "records": written})
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
    """Return what is measured, by name: routes of the API and pages."""
    site, project = county.sites["Long Paddock"], county.projects["Paddock to hay"]
    group, network = county.groups["Gullhaven Meadow Makers"], county.network
    outcome = OutcomeReturn.objects.get(project=project, year=NOW.year)
    of_return = {"public_id": outcome.public_id}
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
        "v1-returns": {}, **dict.fromkeys(("v1-return", "v1-return-versions", "v1-return-result"), of_return),
    }  # fmt: skip
    pages = {
        "project": {"project_id": project.public_id}, "county-returns": {"slug": network.slug},
        "return": {"return_id": outcome.public_id}, "return-names": {"return_id": outcome.public_id},
    }  # fmt: skip
    return [{name: reverse(name, kwargs=kwargs) for name, kwargs in every.items()} for every in (api, pages)]


def counts(paths, caller):
    found = {}
    for name, path in paths.items():
        with CaptureQueriesContext(
            connection,
        ) as queries:
            answer = caller.get(path)
        assert answer.status_code == 200, (name, answer.content[:300])
        found[name] = len(queries)
    return found


def test_three_rows_and_thirty_ask_alike(client):
    county = saltmere()
    caller = Caller(county.lead)
    client.force_login(county.lead)
    grow(county, 3)
    # the first call of a day notes that the token was used
    caller.get("/api/v1/me/")
    assert ApiToken.objects.count() == 1
    api, pages = addresses(county)
    # calendars of stored answers are read once in a process
    counts(pages, client)
    few = {"api": counts(api, caller), "pages": counts(pages, client)}
    grow(county, 27)
    many = {"api": counts(api, caller), "pages": counts(pages, client)}
    assert many == few
    assert few == json.loads(FILE.read_text(encoding="utf-8"))
