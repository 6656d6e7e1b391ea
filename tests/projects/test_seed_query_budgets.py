"""Pages of the seed store ask the database as often for thirty rows as for three, and as often as the file says."""

import json

import pytest
from django.urls import reverse

from modelling.reading import read_as
from projects.contracts.counts import GerminationNew
from projects.contracts.donors import HarvestNew
from projects.models import DonorPlant, Harvest
from projects.services import counts as count_acts
from projects.services import harvests
from tests.projects.county import NOW, saltmere
from tests.projects.seed import MAKERS, lot, promise, promise_move
from tests.projects.services.test_counts import donor
from tests.projects.test_query_budgets import FILE, counts

pytestmark = pytest.mark.django_db


def grow_store(county, row, meadow, rows):
    """So many more lots, promises of one, tests of it, plants and harvests of one donor meadow."""
    coordinator = county.as_(county.coordinator)
    there = Harvest.objects.count()
    for number in range(there, there + rows):
        promise(county, lot(county, f"Sack {number}"), 10.0)
        promise_move(county, promise(county, row, 1.0, note=f"Tub {number}."), "handed_over", 0.5)
        tested = {"taxon": "rhinanthus_minor", "germinated": 1, "tested": 2, "on": "2026-03-01"}
        count_acts.germination_add(
            actor=coordinator, lot_id=row.public_id, asked=read_as(GerminationNew, tested), now=NOW
        )
        DonorPlant.objects.create(donor=meadow, taxon=f"kind {number}", cover_percent=1.0)
        taken = {
            "on": "2026-02-01", "method": "hand", "area_m2": 0.1, "fresh_g": 5.0, "lot_name": f"Picked {number}",
            "reason": "Counted.",
        }  # fmt: skip
        harvests.harvest_add(actor=coordinator, donor_id=meadow.public_id, asked=read_as(HarvestNew, taken), now=NOW)


def test_a_store_of_three_and_one_of_thirty_ask_alike(client):
    county = saltmere(sown=False)
    client.force_login(county.coordinator)
    row, meadow = lot(county, "Barn"), donor(county)
    slug, group = county.network.slug, county.groups[MAKERS]
    pages = {
        "county-seed": {"slug": slug}, "seed-lot": {"slug": slug, "lot_id": row.public_id},
        "seed-promise": {"slug": slug, "lot_id": row.public_id},
        "seed-donor": {"slug": slug, "donor_id": meadow.public_id}, "group-seed": {"group_id": group.public_id},
    }  # fmt: skip
    paths = {name: reverse(name, kwargs=kwargs) for name, kwargs in pages.items()}
    grow_store(county, row, meadow, 3)
    few = counts(paths, client)
    grow_store(county, row, meadow, 27)
    assert counts(paths, client) == few
    assert few == json.loads(FILE.read_text(encoding="utf-8"))["seed_pages"]
