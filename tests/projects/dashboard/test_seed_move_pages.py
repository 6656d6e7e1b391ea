"""What happens to a sack, told on a phone: each refusal beside its field, nothing typed lost, each role its own."""

from datetime import date

import pytest
from django.test import Client

from projects.dashboard import words
from projects.models import SeedPromise
from tests.projects.county import saltmere
from tests.projects.seed import MAKERS, lot, move, promise, promise_move

pytestmark = pytest.mark.django_db


@pytest.fixture
def scene():
    county = saltmere(sown=False)
    client = Client()
    client.force_login(county.coordinator)
    return county, client


def text(answer):
    return answer.content.decode()


def of(row):
    return f"/county/saltmere/seed/{row.public_id}/"


def test_seed_is_promised_fetched_sown_and_brought_back(scene):
    county, client = scene
    row = lot(county, "Barn", 1000.0)
    group = county.groups[MAKERS]
    page = of(row)
    said = {"whom": str(group.public_id), "grams": "0.4 kg", "by": "2026-12-01", "note": "Bring a tub."}
    assert client.post(f"{page}promise/", said).status_code == 302
    made = SeedPromise.objects.get()
    assert (made.group, made.promised_mg, made.by) == (group, 400_000, date(2026, 12, 1))
    told = f"{page}promises/{made.public_id}/"
    assert client.post(told, {"to": "handed_over", "grams": "300"}).status_code == 302
    member = Client()
    member.force_login(county.member)
    shown = text(member.get(told))
    assert "It was sown" in shown
    assert "It was handed over" not in shown
    assert member.post(told, {"to": "handed_over", "grams": "1"}).status_code == 422
    assert member.post(told, {"to": "sown", "grams": "250"}).status_code == 302
    assert member.post(told, {"to": "returned"}).status_code == 302
    made.refresh_from_db()
    row.refresh_from_db()
    # 1000 - 300 handed over + the 50 left of it brought back; 100 still promised
    assert (made.sown_mg, made.returned_mg, row.balance_mg, row.promised_mg) == (250_000, 50_000, 750_000, 100_000)


def test_a_promise_for_a_meadow_is_of_its_group(scene):
    county, client = scene
    row = lot(county, "Barn", 1000.0)
    project = county.projects["Paddock to hay"]
    said = {"whom": str(project.public_id), "grams": "10", "handed_over": "on"}
    assert client.post(f"{of(row)}promise/", said).status_code == 302
    made = SeedPromise.objects.get()
    assert (made.project, made.group, made.handed_mg) == (project, project.group, 10_000)


def test_more_than_is_free_is_refused_beside_its_field_and_all_typed_stays(scene):
    county, client = scene
    row = lot(county, "Barn", 1000.0)
    promise(county, row, 700.0)
    whom = str(county.groups[MAKERS].public_id)
    answer = client.post(f"{of(row)}promise/", {"whom": whom, "grams": "301", "note": "For the <hill>."})
    shown = text(answer)
    assert answer.status_code == 422
    assert '<p class="wrong" id="id_grams_error">1 kg of Barn are left, 700 g of them promised: 301 g' in shown
    assert 'value="301"' in shown
    assert "For the &lt;hill&gt;." in shown
    assert f'value="{whom}" selected' in shown
    nobody = client.post(f"{of(row)}promise/", {"grams": "1"})
    assert nobody.status_code == 422
    assert 'id="id_whom_error"' in text(nobody)
    assert SeedPromise.objects.count() == 1


def test_a_form_sent_twice_acts_once(scene):
    county, client = scene
    row = lot(county, "Barn", 1000.0)
    page = client.get(f"{of(row)}gone/")
    sent = page.context["form"]["submission_id"].value()
    for _ in range(2):
        said = {"act": "used", "grams": "10", "submission_id": str(sent)}
        assert client.post(f"{of(row)}gone/", said).status_code == 302
    row.refresh_from_db()
    assert row.balance_mg == 990_000


def test_damp_seed_is_dried_and_weighed(scene):
    county, client = scene
    row = lot(county, "Loft", 1000.0, state="drying")
    page = f"{of(row)}weigh/"
    heavier = client.post(page, {"act": "dried", "grams": "1200", "reason": "On the floor."})
    assert heavier.status_code == 422
    assert 'id="id_grams_error">1,200 will not do; it must be at most 1 kg.' in text(heavier)
    assert "On the floor." in text(heavier)
    assert 'id="id_grams_error"' in text(client.post(page, {"act": "dried"}))
    other = client.post(page, {"act": "dried", "grams": "300", "grams_before": "500"})
    assert 'id="id_grams_before_error">There should be 1 kg' in text(other)
    assert client.post(page, {"act": "dried", "grams": "400", "grams_before": "1 kg"}).status_code == 302
    row.refresh_from_db()
    assert (row.state, row.balance_mg) == ("dry", 400_000)


def test_what_is_spilt_needs_a_reason_and_what_is_promised_cannot_go(scene):
    county, client = scene
    row = lot(county, "Barn", 1000.0)
    promise(county, row, 700.0)
    page = f"{of(row)}gone/"
    assert 'id="id_reason_error">Say why: others will ask.' in text(client.post(page, {"act": "spilt", "grams": "5"}))
    assert 'id="id_grams_error"' in text(client.post(page, {"act": "discarded", "grams": "301", "reason": "Mould."}))
    assert client.post(page, {"act": "spilt", "grams": "5", "reason": "A mouse."}).status_code == 302
    row.refresh_from_db()
    assert row.balance_mg == 995_000


def test_on_hold_and_off_it_with_a_reason(scene):
    county, client = scene
    row = lot(county, "Barn", 1000.0)
    page = f"{of(row)}hold/"
    first = client.get(page)
    assert "Put it on hold" in text(first)
    assert 'id="id_reason_error"' in text(client.post(page, {"act": "held"}))
    assert client.post(page, {"act": "held", "reason": "Ragwort?"}).status_code == 302
    assert "Take off hold" in text(client.get(of(row)))
    # the form of before: the lot has changed since, and the reason typed stays
    version = first.context["form"]["version"].value()
    stale = client.post(page, {"act": "held", "reason": "Dock.", "version": str(version)})
    assert stale.status_code == 409
    assert "Dock." in text(stale)
    assert client.post(page, {"act": "cleared", "reason": "It was groundsel."}).status_code == 302
    row.refresh_from_db()
    assert row.held_at is None


def test_a_member_sees_no_button_that_is_not_theirs(scene):
    county, client = scene
    row = lot(county, "Barn", 1000.0)
    assert "Promise some" in text(client.get(of(row)))
    client.force_login(county.member)
    shown = text(client.get(of(row)))
    for told in ("Promise some", "Used, spilt", "Put on hold"):
        assert told not in shown
    for page in ("promise", "weigh", "gone", "hold"):
        assert client.get(f"{of(row)}{page}/").status_code == 403


def test_a_group_reads_what_to_fetch_by_when_and_what_to_tell(scene):
    county, client = scene
    group = county.groups[MAKERS]
    page = f"/groups/{group.public_id}/seed/"
    client.force_login(county.member)
    assert "No seed is waiting for you." in text(client.get(page))
    row, other = lot(county, "Barn", 1000.0), lot(county, "Loft", 500.0)
    promise(county, row, 400.0, by="2099-12-01", note="Bring a tub.")
    out = promise(county, other, 100.0)
    promise_move(county, out, "handed_over", 100.0)
    shown = text(client.get(page))
    assert f"400 g of seed to fetch by {words.day('2099-12-01')}." in shown
    assert "100 g is with you: tell what was sown and what comes back." in shown
    assert "Bring a tub." in shown
    assert f"/county/saltmere/seed/{other.public_id}/promises/{out.public_id}/" in shown
    for where in ("/home/", f"/groups/{group.public_id}/"):
        assert "400 g of seed to fetch" in text(client.get(where))
    client.force_login(county.neighbour)
    assert client.get(page).status_code == 403


def test_what_was_to_be_fetched_before_today_is_overdue(scene):
    county, client = scene
    promise(county, lot(county, "Barn", 1000.0), 400.0, by="2026-01-02")
    shown = text(client.get(f"/groups/{county.groups[MAKERS].public_id}/seed/"))
    assert "one lot is overdue" in shown
    assert 'class="late"' in shown


def test_seed_brought_back_to_a_lot_on_hold_is_taken_and_not_given_out(scene):
    county, client = scene
    row = lot(county, "Barn", 1000.0)
    made = promise(county, row, 400.0)
    promise_move(county, made, "handed_over", 300.0)
    move(county, row, "held", reason="Ragwort in it.")
    told = f"{of(row)}promises/{made.public_id}/"
    refused = client.post(told, {"to": "handed_over", "grams": "50", "reason": "By bike."})
    assert refused.status_code == 422
    assert "is on hold: Ragwort in it." in text(refused)
    assert "By bike." in text(refused)
    assert client.post(told, {"to": "returned", "grams": "20"}).status_code == 302
