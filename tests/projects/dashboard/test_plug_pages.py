"""Plug plants and green hay on pages and over the API."""

from datetime import timedelta

import pytest
from django.utils import timezone

from projects.models import GreenHayDay, PlugBatch, PlugPromise
from tests.projects.api.caller import Caller
from tests.projects.county import saltmere
from tests.projects.plugs import YEWS, batch, donor, note

pytestmark = pytest.mark.django_db


@pytest.fixture
def county():
    return saltmere()


def test_plugs_from_sowing_to_the_meadow(county, client):
    client.force_login(county.coordinator)
    root = f"/county/{county.network.slug}/plugs/"
    said = {"taxon": "succisa_pratensis", "sown_on": "2026-03-20", "sown_count": "200", "seed_from": "Mill Holm"}
    assert client.post(f"{root}new/", {**said, "seed_from": ""}).status_code == 422
    assert "none is potted on yet" in client.post(f"{root}new/", said, follow=True).text
    row = PlugBatch.objects.get()
    at = f"{root}{row.public_id}/"
    assert client.post(f"{at}note/", {"what": "pricked_out", "count": "150", "on": "2026-05-01"}).status_code == 302
    project = county.projects[YEWS]
    refused = client.post(f"{at}promise/", {"project_id": str(project.public_id), "count": "151"})
    assert (refused.status_code, "151 will not do; it must be at most 150" in refused.text) == (422, True)
    assert client.post(f"{at}promise/", {"project_id": str(project.public_id), "count": "90"}).status_code == 302
    page = client.get(at).text
    assert "plugs far better than seed" in page
    assert "150 plants are here; 60 free to be promised." in page
    client.force_login(county.lead)
    assert "90 plugs of devil&#x27;s-bit scabious" in client.get(f"/projects/{project.public_id}/").text
    client.force_login(county.coordinator)
    held = PlugPromise.objects.get()
    answer = client.post(f"{at}promises/{held.public_id}/", {"to": "handed_over"}, follow=True)
    assert "They are handed over." in answer.text
    assert PlugBatch.objects.get().handed_over == 90


def test_green_hay_from_planning_to_calling_off(county, client):
    meadow = donor(county)
    client.force_login(county.coordinator)
    on = timezone.localdate() + timedelta(days=20)
    said = {
        "donor_id": str(meadow.public_id), "project_id": str(county.projects[YEWS].public_id), "donor_area_m2": "40",
        "receptor_area_m2": "160", "cut_on": on.isoformat(), "hours_to_spread": "30", "trailers": "1", "people": "6",
    }  # fmt: skip
    root = f"/county/{county.network.slug}/green-hay/"
    assert client.post(f"{root}new/", {**said, "receptor_area_m2": "600"}).status_code == 422
    page = client.post(f"{root}new/", said, follow=True).text
    assert "30 hours from cut to spread is beyond the 24 hours" in page
    assert "Each square metre of donor goes over 4 m² of receptor" in page
    row = GreenHayDay.objects.get()
    assert f"/green-hay/{row.public_id}/" in client.get(root).text
    client.force_login(county.lead)
    page = client.get(f"/green-hay/{row.public_id}/").text
    assert "of a donor meadow onto" in page
    assert "Mill Holm" not in page
    assert client.post(f"/green-hay/{row.public_id}/", {"to": "called_off"}).status_code == 422
    page = client.post(f"/green-hay/{row.public_id}/", {"to": "called_off", "because": "Rain."}, follow=True).text
    assert "Called off." in page


def test_both_over_the_api(county):
    coordinator, lead = Caller(county.coordinator), Caller(county.lead)
    network = f"networks/{county.network.public_id}"
    row = note(county, batch(county), "pricked_out", 100)
    project = str(county.projects[YEWS].public_id)
    refused = coordinator.post(f"plugs/{row.public_id}/promises/", {"project_id": project, "count": 101})
    assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (422, "/count")
    made = coordinator.post(f"plugs/{row.public_id}/promises/", {"project_id": project, "count": 60})
    assert (made.status_code, made.json()["count"]) == (201, 60)
    lost = coordinator.post(f"plugs/{row.public_id}/events/", {"what": "lost", "count": 70, "on": "2026-09-01"})
    # thirty are left for sixty promised
    assert (lost.json()["alive"], lost.json()["promised"]) == (30, 30)
    assert lead.get(f"plugs/{row.public_id}/promises/").json()["results"][0]["fewer"] == 30
    assert [entry["what"] for entry in lead.get(f"plugs/{row.public_id}/events/").json()["results"]] == [
        "sown", "pricked_out", "promised", "shortened", "lost",
    ]  # fmt: skip
    on = (timezone.localdate() + timedelta(days=9)).isoformat()
    planned = coordinator.post(
        f"{network}/green-hay/",
        {
            "donor_id": str(donor(county).public_id), "project_id": project, "donor_area_m2": 40.0,
            "receptor_area_m2": 100.0, "cut_on": on, "hours_to_spread": 2.0,
        },
    )  # fmt: skip
    assert (planned.status_code, planned.json()["ratio"], planned.json()["donor"]) == (201, 2.5, "Mill Holm")
    assert lead.get(f"green-hay/{planned.json()['id']}/").json()["donor"] == "a donor meadow"
    early = lead.post(f"green-hay/{planned.json()['id']}/moves/", {"to": "done"})
    assert (early.status_code, early.json()["code"]) == (409, "wrong_state")
    kinds = {line["kind"] for line in lead.get(f"projects/{project}/calendar/").json()["results"]}
    assert kinds == {"plugs", "green_hay"}
