"""The seed store on a phone: what is left, one sack, one sub-sample after another, nothing lost on a fault."""

import pytest
from django.test import Client

from projects.models import LotCount
from tests.projects.county import saltmere
from tests.projects.seed import lot, move, promise
from tests.projects.services.test_counts import donor

pytestmark = pytest.mark.django_db
RATTLE = "rhinanthus_minor"


@pytest.fixture
def scene():
    county = saltmere(sown=False)
    client = Client()
    client.force_login(county.member)
    return county, client


def text(answer):
    return answer.content.decode()


def test_the_store_in_one_sentence(scene):
    county, client = scene
    row = lot(county, "Barn", 3000.0)
    held = lot(county, "Loft", 1000.0)
    promise(county, row, 500.0)
    move(county, held, "held", reason="Ragwort in it.")
    shown = text(client.get("/county/saltmere/seed/"))
    assert "4 kg of seed in two lots: 500 g promised, 2.5 kg free." in shown
    assert "On hold: ragwort in it." in shown


def test_an_owner_is_named_to_coordinators_alone(scene):
    county, client = scene
    row = donor(county)
    assert "Ness meadow" not in text(client.get("/county/saltmere/seed/"))
    row.agreements.update(name_told=True)
    shown = text(client.get("/county/saltmere/seed/"))
    assert "Ness meadow" in shown
    assert "A. N. Owner" not in shown
    client.force_login(county.coordinator)
    assert "A. N. Owner" in text(client.get("/county/saltmere/seed/"))


def test_sub_samples_are_kept_one_after_another(scene):
    county, client = scene
    row = lot(county, "Barn", 18_400.0)
    page = f"/county/saltmere/seed/{row.public_id}/"
    first = client.post(f"{page}count/", {"grams": "1", "taxon_1": RATTLE, "count_1": "12", "drawn": "divided"})
    assert (first.status_code, first.headers["Location"]) == (302, f"{page}count/")
    for number in ("9", "15", "11", "14", "10"):
        assert client.post(f"{page}count/", {"grams": "1 g", "count_1": number}).status_code == 302
    shown = text(client.get(page))
    # 71 seeds in 6 g: 11.8 a gram, exact limits 9.24 to 14.9 (Garwood 1936)
    assert "11.8 seeds a gram (71 in 6 g), 9.24 to 14.9" in shown
    assert "<svg" in shown
    assert "6 sub-samples" in shown
    assert LotCount.objects.count() == 6


def test_what_is_wrong_stands_beside_its_field_and_nothing_typed_is_lost(scene):
    county, client = scene
    row = lot(county, "Barn")
    page = f"/county/saltmere/seed/{row.public_id}/count/"
    answer = client.post(page, {"grams": "1", "taxon_1": RATTLE, "count_1": "5000", "drawn": "top"})
    shown = text(answer)
    assert answer.status_code == 422
    assert "5,000 seeds of yellow rattle weigh at least" in shown
    assert 'value="5000"' in shown
    half = client.post(page, {"grams": "1", "taxon_1": RATTLE, "count_1": "1.5"})
    assert half.status_code == 422
    assert "not a whole number" in text(half)
    assert client.post(page, {"grams": "0", "taxon_1": RATTLE, "count_1": "1"}).status_code == 422
    assert client.post(page, {"grams": "1"}).status_code == 422
    assert LotCount.objects.count() == 0


def test_a_stranger_finds_no_sack(scene):
    county, client = scene
    row = lot(county, "Barn")
    client.force_login(county.stranger)
    assert client.get("/county/saltmere/seed/").status_code == 403
    assert client.get(f"/county/saltmere/seed/{row.public_id}/").status_code == 404


def test_the_day_of_a_count_may_be_told(scene):
    county, client = scene
    row = lot(county, "Barn")
    page = f"/county/saltmere/seed/{row.public_id}/count/"
    said = {"grams": "1", "taxon_1": RATTLE, "count_1": "12", "counted_on": "2099-01-02"}
    answer = client.post(page, said)
    assert answer.status_code == 422
    assert 'id="id_counted_on_error"' in text(answer)
    assert client.post(page, said | {"counted_on": "2026-02-03"}).status_code == 302
    assert LotCount.objects.get().counted_on.isoformat() == "2026-02-03"


def test_a_germination_test_is_kept_and_an_impossible_one_stands_beside_its_field(scene):
    county, client = scene
    row = lot(county, "Barn")
    page = f"/county/saltmere/seed/{row.public_id}/"
    said = {"taxon": RATTLE, "tested": "50", "germinated": "51", "on": "2026-02-03"}
    answer = client.post(f"{page}germination/", said)
    assert answer.status_code == 422
    assert 'id="id_germinated_error"' in text(answer)
    assert 'value="51"' in text(answer)
    assert client.post(f"{page}germination/", {"on": "2026-02-03"}).status_code == 422
    assert client.post(f"{page}germination/", said | {"germinated": "31"}).status_code == 302
    assert "Yellow rattle: 31 of 50 seeds germinated" in text(client.get(page))
