"""Sharing seed out on pages: begun, held, worked out, accepted; and what a group that got none is told."""

from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from projects.models import SeedPromise, ShareOut
from projects.selectors.share_outs import latest_result
from projects.services.jobs import jobs_run_due
from tests.projects.county import NOW, saltmere
from tests.projects.jobs import Clock
from tests.projects.seed import MAKERS, lot
from tests.projects.share_outs import PADDOCK, YARD, accept, meadow, sharing, wish, worked_out


@pytest.fixture
def county(db):
    return saltmere()


@pytest.fixture
def coordinator(county):
    client = Client()
    client.force_login(county.coordinator)
    return client


@pytest.fixture
def member(county):
    client = Client()
    client.force_login(county.member)
    return client


def begin(client, county, **more):
    said = {"name": "July", "year": "2027", "objective": "area", "reach": "", "machines": ""} | more
    return client.post(f"/county/{county.network.slug}/share-outs/", said)


def test_a_sharing_is_begun_held_worked_out_and_accepted(county, coordinator):
    sack = lot(county, grams=1000.0)
    wish(county, YARD, 700.0, 300.0)
    wish(county, PADDOCK, 5000.0, 300.0)

    answer = begin(coordinator, county)
    row = ShareOut.objects.get()
    address = f"/share-outs/{row.public_id}/"
    assert (answer.status_code, answer["Location"]) == (302, address)
    assert "nothing is worked out yet" in coordinator.get(address).text

    held = coordinator.post(
        f"{address}hold/",
        {
            "source": str(sack.public_id), "project": str(county.projects[YARD].public_id), "how": "give",
            "grams": "0.4 kg", "version": str(row.version),
        },
    )  # fmt: skip
    assert held.status_code == 302
    assert "Under the yews gets at least 400 g of Sack of the ness" in coordinator.get(address).text

    assert coordinator.post(address).status_code == 302
    assert "It is being worked out" in coordinator.get(address).text
    # the page asked by the server's clock, not by the county's
    jobs_run_due(clock=Clock(timezone.now() + timedelta(minutes=1)))
    page = coordinator.get(address).text
    result = latest_result(row)
    assert "1 kg of seed goes to" in page
    assert "400 g held by hand" in page
    assert "Accept and promise" in page

    done = coordinator.post(f"{address}accept/", {"result": str(result.public_id)})
    assert done.status_code == 302
    assert "Accept and promise" not in coordinator.get(address).text
    sack.refresh_from_db()
    assert sack.promised_mg == 1_000_000
    # a second coordinator's page has aged
    again = coordinator.post(f"{address}accept/", {"result": str(result.public_id)})
    assert again.status_code == 409
    assert SeedPromise.objects.filter(lot=sack).count() in {1, 2}


def test_a_harvest_is_added_and_a_fault_keeps_what_was_typed(county, coordinator):
    donor = meadow(county)
    row = sharing(county)
    address = f"/share-outs/{row.public_id}/harvest/"
    typed = {
        "donor": str(donor.public_id), "first_day": "2027-07-23", "last_day": "2027-07-10", "half_day": "2 kg",
        "most": "", "whole": "9 kg", "version": str(row.version),
    }  # fmt: skip
    wrong = coordinator.post(address, typed)
    assert wrong.status_code == 422
    assert "The last ripe day lies before the first." in wrong.text
    assert 'value="9 kg"' in wrong.text

    right = coordinator.post(address, typed | {"last_day": "2027-07-30"})
    assert right.status_code == 302
    page = coordinator.get(f"/share-outs/{row.public_id}/").text
    assert "Long meadow: ripe from 23 July 2027 to 30 July 2027, 2 kg a half-day" in page.replace(
        "\N{NO-BREAK SPACE}", " "
    )


def test_what_is_held_is_let_go(county, coordinator):
    sack = lot(county)
    wish(county, YARD, 700.0)
    held = {"source_id": str(sack.public_id), "project_id": str(county.projects[YARD].public_id), "how": "forbid"}
    row = sharing(county, held=[held])
    address = f"/share-outs/{row.public_id}/"
    assert "Under the yews gets nothing of Sack of the ness" in coordinator.get(address).text

    assert coordinator.post(f"{address}held/0/let-go/", {"version": str(row.version)}).status_code == 302
    assert "Nothing is held." in coordinator.get(address).text
    assert coordinator.post(f"{address}held/0/let-go/").status_code == 404


def test_a_group_that_got_none_is_told_why_without_a_word_of_others(county, coordinator, member):
    lot(county, "Sack of the far ness", 400.0)
    wish(county, YARD, 700.0, 300.0)
    wish(county, PADDOCK, 5000.0, 300.0)
    row = sharing(county)
    accept(county, row, worked_out(county, row))
    address = f"/groups/{county.groups[MAKERS].public_id}/seed-wishes/"

    page = member.get(address).text
    assert "gets none, because others make more of the seed within its reach." in page
    assert "What would change it:" in page
    assert "Sack of the far ness" not in page
    # the member may read, the lead may hope
    assert "Hope for seed" not in page
    assert member.post(address, {}).status_code == 403


def test_a_lead_hopes_for_seed(county):
    lead = Client()
    lead.force_login(county.lead)
    address = f"/groups/{county.groups[MAKERS].public_id}/seed-wishes/"
    typed = {
        "project": str(county.projects[YARD].public_id), "year": str(NOW.year + 1), "target": "0.7 kg", "least": "90 g",
        "note": "",
    }  # fmt: skip
    assert lead.post(address, typed).status_code == 302
    assert "Under the yews, 2027: 700 g" in lead.get(address).text
    wrong = lead.post(address, typed | {"least": "2 kg"})
    assert wrong.status_code == 422
    assert "The least is more than the target." in wrong.text
