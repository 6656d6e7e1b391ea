"""The county's pages: what everybody reads, what only some may, and setting a county up."""

import pytest

from tests.projects.county import saltmere

pytestmark = pytest.mark.django_db


def addresses(county):
    paths = [
        "/home/",
        "/county/",
        "/county/new/",
        "/county/saltmere/",
        "/county/saltmere/map.json",
        "/county/saltmere/sites/",
        "/county/saltmere/set-up/",
    ]
    for group in county.groups.values():
        paths += [f"/groups/{group.public_id}/{tail}" for tail in ("", "edit/", "members/", "sites/new/")]
    for site in county.sites.values():
        paths += [
            f"/sites/{site.public_id}/{tail}"
            for tail in ("", "edit/", "remove/", "permissions/", "soil-test/", "funding/", "projects/new/")
        ]
    for project in county.projects.values():
        paths += [
            f"/projects/{project.public_id}/{tail}"
            for tail in ("", "edit/", "plan/", "forecast/", "step/", "diary/", "diary/new/")
        ]
    project = county.projects["Paddock to hay"]
    paths.append(f"/projects/{project.public_id}/forecasts/{project.baseline.public_id}/")
    return paths


@pytest.mark.parametrize("who", ["visitor", "lead", "member", "neighbour", "coordinator", "operator", "stranger"])
def test_smoke(client, who):
    county = saltmere()
    if who != "visitor":
        client.force_login(getattr(county, who))
    found = {}
    for path in addresses(county):
        response = client.get(path)
        found.setdefault(response.status_code, []).append(path)
    print(who, {k: len(v) for k, v in found.items()})
    assert not set(found) - {200, 302, 403, 404}
