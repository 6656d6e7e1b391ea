"""A client made by a generator from the committed description, by nobody who knows this code, does a day's work."""

import os
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest
from django.utils import timezone

from modelling.reading import read_as
from projects.contracts.returns import ReturnNew
from projects.models import ApiToken, MeadowProject, Site
from projects.selectors.people import digest_of
from projects.services import returns
from tests.projects.county import saltmere

ROOT = Path(__file__).parents[3]
SECRET = "forb_a_generated_client"

#: what an analyst would write; every name in it comes from the description
SESSION = """
import sys
from forbcast_client import AuthenticatedClient
from forbcast_client.api.estimates import estimate
from forbcast_client.api.projects import projects_list
from forbcast_client.api.reference import vocabularies
from forbcast_client.api.returns import returns_list, returns_result
from forbcast_client.api.sites import sites_list
from forbcast_client.models import EstimateRequest, Problem, ProjectsListStage, Site

client = AuthenticatedClient(base_url=sys.argv[1], token=sys.argv[2])
words = vocabularies.sync_detailed(client=client)
print("vocabularies", words.status_code.value)

sites, cursor = [], {}
while True:
    page = sites_list.sync(client=client, limit=2, **cursor)
    sites += page.results
    if page.next_ is None:
        break
    cursor = {"cursor": page.next_.split("cursor=")[1].split("&")[0].replace("%3D", "=")}
print("sites", len(sites), len({site.id for site in sites}))
sown = projects_list.sync(client=client, stage=ProjectsListStage.SOWN).results
print("sown", [project.name for project in sown])
found = returns_list.sync(client=client, year=int(sys.argv[3])).results
print("returns", [(row.project.name, row.state) for row in found])
result = returns_result.sync_detailed(found[0].id, client=client)
print("result", result.status_code.value)
answer = estimate.sync(client=client, body=EstimateRequest(site=Site(area_m2=180), draws=200))
print("estimate", answer.recipe.release, len(answer.taxa) > 0, answer.sentence != "")
wrong = estimate.sync(client=client, body=EstimateRequest(site=Site(area_m2=-1)))
print("wrong", isinstance(wrong, Problem), wrong.status, wrong.errors[0].pointer)
"""


@pytest.fixture(scope="session")
def generated(tmp_path_factory):
    """The client, in a folder that Python can import from."""
    folder = tmp_path_factory.mktemp("generated")
    # its own tidying would run tools that say nothing about the client
    (folder / "how.yaml").write_text("post_hooks: []\n", encoding="utf-8")
    done = subprocess.run(
        [
            sys.executable, "-m", "openapi_python_client", "generate", "--meta", "none",
            "--path", str(ROOT / "tests" / "snapshots" / "openapi-v1.yaml"),
            "--output-path", str(folder / "forbcast_client"), "--config", str(folder / "how.yaml"),
        ],
        cwd=folder, capture_output=True, text=True, encoding="utf-8", check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    # pictures and archives it leaves out and says so; nothing else may be beyond it
    warned = [line for line in done.stdout.splitlines() if line.startswith("Cannot parse")]
    assert all("Unsupported content_type" in line for line in warned), done.stdout
    assert "Unable to parse" not in done.stdout
    return folder


@pytest.mark.django_db(transaction=True)
def test_a_client_from_the_description_does_an_analysts_work(generated, live_server):
    county = saltmere()
    now = timezone.now()
    ApiToken.objects.create(
        user=county.coordinator, name="Generated", scopes=["read"], digest=digest_of(SECRET), begins=SECRET[:10],
        created_at=now, expires_at=now + timedelta(days=1),
    )  # fmt: skip
    project = MeadowProject.objects.get(name="Paddock to hay")
    year = timezone.localdate(now).year
    walk = {"on": f"{year - 1}-06-20", "whole_site": [{"name": "Yellow rattle"}, {"name": "Red clover"}]}
    asked = read_as(ReturnNew, {"year": year - 1, "visits": [walk]})
    returns.return_send(actor=county.as_(county.lead), project_id=project.public_id, asked=asked, now=now)
    done = subprocess.run(
        [sys.executable, "-c", SESSION, live_server.url, SECRET, str(year - 1)],
        cwd=generated,
        env={**os.environ, "PYTHONPATH": str(generated)},
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    assert done.returncode == 0, done.stderr
    sites = Site.objects.count()
    assert done.stdout.splitlines() == [
        "vocabularies 200",
        f"sites {sites} {sites}",
        f"sown {[project.name]}",
        f"returns {[(project.name, 'sent')]}",
        "result 200",
        "estimate 0.1.0 True True",
        "wrong True 422 /site/area_m2",
    ]
