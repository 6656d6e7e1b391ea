"""Donor meadows on a phone: what grows there, what was agreed, a harvest with what speaks against it, seed bought."""

import pytest
from django.test import Client

from projects.models import DonorAgreement, Harvest, SeedLot
from tests.projects.county import saltmere
from tests.projects.services.test_counts import donor

pytestmark = pytest.mark.django_db
HARVEST = {
    "on": "2026-07-20", "method": "brush", "area_m2": "3000", "fresh_g": "20 kg", "lot_name": "Ness 2026", "sacks": "4",
}  # fmt: skip


@pytest.fixture
def scene():
    county = saltmere(sown=False)
    client = Client()
    client.force_login(county.coordinator)
    row = donor(county)
    return county, client, row, f"/county/saltmere/donors/{row.public_id}/"


def text(answer):
    return answer.content.decode()


def test_owners_and_agreements_are_told_to_coordinators_alone(scene):
    county, client, row, page = scene
    shown = text(client.get(page))
    assert "A. N. Owner" in shown
    assert "Agreed" in shown
    client.force_login(county.member)
    assert client.get(page).status_code == 404
    row.agreements.update(name_told=True)
    shown = text(client.get(page))
    assert "A. N. Owner" not in shown
    assert "<h2>Agreed</h2>" not in shown
    assert client.get(f"{page}harvest/").status_code == 403
    assert client.get(f"{page}agree/").status_code == 403


def test_a_harvest_makes_a_lot_of_fresh_seed_once(scene):
    _, client, row, page = scene
    form = client.get(f"{page}harvest/").context["form"]
    said = HARVEST | {"submission_id": str(form["submission_id"].value())}
    first, again = (client.post(f"{page}harvest/", said) for _ in range(2))
    lot = SeedLot.objects.get()
    assert first.headers["Location"] == again.headers["Location"] == f"/county/saltmere/seed/{lot.public_id}/"
    assert (lot.state, lot.balance_mg, lot.sacks, lot.harvest.donor) == ("fresh", 20_000_000, 4, row)
    assert "Spread it thin on paper" in text(client.get(first.headers["Location"]))


def test_all_that_speaks_against_a_harvest_is_told_and_a_reason_lets_it_pass(scene):
    _, client, _, page = scene
    # before the agreed weeks, beyond the agreed area, more than the meadow can spare
    early = HARVEST | {"on": "2026-06-01", "area_m2": "8000", "note": "With two trailers."}
    answer = client.post(f"{page}harvest/", early)
    shown = text(answer)
    assert answer.status_code == 422
    assert len(answer.context["form"].cautions) == 3
    assert "Harvesting is agreed from" in shown
    assert "leave" in shown
    assert "With two trailers." in shown
    assert Harvest.objects.count() == 0
    assert client.post(f"{page}harvest/", early | {"reason": "The owner rang."}).status_code == 302
    assert Harvest.objects.get().cautions[0] == "outside_window"


def test_a_lead_notes_their_own_harvest_and_cannot_wave_a_caution_aside(scene):
    county, client, row, page = scene
    row.agreements.update(name_told=True)
    client.force_login(county.lead)
    form = client.get(f"{page}harvest/").context["form"]
    assert "reason" not in form.fields
    early = client.post(f"{page}harvest/", HARVEST | {"on": "2026-06-01", "reason": "I say so."})
    assert early.status_code == 422
    assert "A coordinator who decides otherwise" in text(early)
    said = HARVEST | {"group_id": str(form["group_id"].value())}
    assert client.post(f"{page}harvest/", said).status_code == 302
    assert Harvest.objects.get().group.name == "Gullhaven Meadow Makers"


def test_what_was_agreed_is_noted_and_faults_stand_beside_their_fields(scene):
    _, client, _, page = scene
    said = {
        "signed_on": "2026-01-05", "starts_on": "2026-01-05", "ends_on": "2030-12-31", "window_opens": "07-01",
        "window_closes": "09-15", "area_m2": "0.4 ha", "methods": ["brush", "hand"], "consents": "Sands office\nParish",
    }  # fmt: skip
    for wrong, field in (
        ({"window_opens": "1 July"}, "window_opens"), ({"area_m2": "99 ha"}, "area_m2"), ({"methods": []}, "methods"),
    ):  # fmt: skip
        answer = client.post(f"{page}agree/", said | wrong)
        assert answer.status_code == 422, field
        assert f'id="id_{field}_error"' in text(answer), field
        assert "Sands office" in text(answer)
    for backwards in ({"ends_on": "2025-01-01"}, {"window_closes": "06-01"}):
        assert client.post(f"{page}agree/", said | backwards).status_code == 422
    there = DonorAgreement.objects.count()
    assert client.post(f"{page}agree/", said).status_code == 302
    assert DonorAgreement.objects.count() == there + 1
    made = DonorAgreement.objects.get(consents__isnull=False, window_closes="09-15")
    assert (made.area_dm2, made.methods, made.consents) == (400_000, ["brush", "hand"], ["Sands office", "Parish"])


def test_seed_that_was_bought_comes_in_with_its_label_and_its_price(scene):
    county, client, _, _ = scene
    page = "/county/saltmere/seed/new/"
    said = {
        "name": "Mixture of the sands", "origin": "bought", "grams": "2 kg", "state": "dry", "sacks": "1",
        "gbp_per_kg": "£120", "taxon_1": "rhinanthus_minor", "percent_1": "101", "supplier": "Sands Seeds",
    }  # fmt: skip
    wrong = client.post(page, said)
    assert wrong.status_code == 422
    assert 'id="id_percent_1_error"' in text(wrong)
    assert "Sands Seeds" in text(wrong)
    assert client.post(page, {"origin": "bought", "state": "dry"}).status_code == 422
    assert client.post(page, said | {"percent_1": "20 %"}).status_code == 302
    lot = SeedLot.objects.get()
    assert (lot.balance_mg, lot.price_pence_per_kg) == (2_000_000, 12_000)
    assert lot.declared == [{"taxon": "rhinanthus_minor", "percent": 20.0}]
    again = client.post(page, said | {"percent_1": "20"})
    assert again.status_code == 422
    assert 'id="id_name_error"' in text(again)
    client.force_login(county.lead)
    assert client.get(page).status_code == 403
