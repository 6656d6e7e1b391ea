"""Kit on pages: the question, a clash with everything typed kept, handing out and back, months."""

from datetime import date, timedelta

import pytest
from django.utils import timezone

from projects.dashboard.pages.kit import month_after, month_of_item
from projects.models import KitBooking, KitFault, KitItem, KitShowing
from projects.rules.kit import Half
from tests.projects.county import saltmere
from tests.projects.kit import GARDEN, VERGE, YEWS, book, move, scarifier, show

pytestmark = pytest.mark.django_db
DAY = timezone.localdate() + timedelta(days=30)
NOW = timezone.now()


@pytest.fixture
def county():
    return saltmere()


def at(county, item, tail=""):
    return f"/county/{county.network.slug}/kit/{item.public_id}/{tail}"


def test_can_i_have_it_then_and_who_shows_us(county, client, read):
    item = scarifier(county)
    show(county, item, "neighbour", may_show=True)
    client.force_login(county.lead)
    page = read(f"{at(county, item)}?on={DAY}")
    assert "Yes: The scarifier is free on" in page.text
    assert "you are shown it first (starting, stopping, clearing), by somebody of Brackwater Verges or" in page.text
    assert "Ned Farrow" not in page.text
    book(county, item, "neighbour", VERGE, on=DAY, now=NOW)
    page = read(f"{at(county, item)}?on={DAY}")
    assert "No: The scarifier is with Brackwater Verges on" in page.text
    # what for is not told to others
    assert VERGE not in page.text
    assert "The end comes after the beginning" in read(f"{at(county, item)}?on={DAY}&until=2020-01-01").text


def test_a_clash_is_explained_beside_its_field_and_nothing_typed_is_lost(county, client, read):
    item = scarifier(county)
    for who in ("lead", "neighbour"):
        show(county, item, who)
    book(county, item, "neighbour", VERGE, on=DAY, now=NOW)
    client.force_login(county.lead)
    typed = {"project": str(county.projects[YEWS].public_id), "first_on": str(DAY), "note": "Moss under the yews."}
    answer = client.post(at(county, item, "book/"), typed)
    assert answer.status_code == 422
    assert "The scarifier is with Brackwater Verges" in answer.text
    assert "Moss under the yews." in answer.text
    assert client.post(at(county, item, "book/"), {"first_on": "soon"}).status_code == 422
    typed["first_on"] = str(DAY + timedelta(days=2))
    answer = client.post(at(county, item, "book/"), typed, follow=True)
    assert "The scarifier is asked for on" in answer.text
    row = KitBooking.objects.get(group__name="Gullhaven Meadow Makers")
    assert f"/kit-bookings/{row.public_id}/" in client.get(f"/projects/{row.project.public_id}/").text


def test_from_agreeing_to_taking_back(county, client):
    item = scarifier(county)
    row = book(county, item, on=DAY, to_be_shown=True, now=NOW)
    client.force_login(county.coordinator)
    path = f"/kit-bookings/{row.public_id}/"
    assert str(row.public_id) in client.get(f"/county/{county.network.slug}/kit/").text
    assert client.post(path, {"to": "refused"}).status_code == 422
    assert "It is agreed." in client.post(path, {"to": "agreed"}, follow=True).text
    assert "Nobody of Gullhaven Meadow Makers has been shown" in client.post(path, {"condition": "good"}).text
    sent = {"condition": "good", "shown_now": str(county.lead.public_id), "meter_hours": "12.5"}
    assert "It is handed out." in client.post(path, sent, follow=True).text
    assert (KitItem.objects.get().meter_minutes, KitShowing.objects.get().user) == (750, county.lead)
    client.force_login(county.lead)
    assert client.post(path, {"condition": "faulty"}).status_code == 422
    sent = {"condition": "faulty", "fault": "The belt slips.", "meter_hours": "13"}
    assert "It is back." in client.post(path, sent, follow=True).text
    assert KitFault.objects.get().what == "The belt slips."
    # nothing comes after that
    assert client.post(path, {"to": "agreed"}).status_code in {302, 403}


def test_cancelling_frees_it(county, client):
    row = book(county, scarifier(county, shown_first=""), on=DAY, now=NOW)
    client.force_login(county.member)
    assert client.post(f"/kit-bookings/{row.public_id}/cancel/", {"because": "Rain."}).status_code == 403
    client.force_login(county.lead)
    answer = client.post(f"/kit-bookings/{row.public_id}/cancel/", {"because": "Rain."}, follow=True)
    assert "its half-days are free again" in answer.text
    assert row.half_days.count() == 0


def test_coordinators_add_change_show_and_mend(county, client):
    client.force_login(county.coordinator)
    root = f"/county/{county.network.slug}/kit/"
    assert client.post(f"{root}new/", {"name": ""}).status_code == 422
    said = {"name": "Sieves", "kind": "cleaning", "width_m": "60 m"}
    assert "at most" in client.post(f"{root}new/", said).text
    answer = client.post(f"{root}new/", said | {"width_m": "0.6"}, follow=True)
    item = KitItem.objects.get()
    assert (answer.status_code, item.width_cm) == (200, 60)
    initial = {"name": "Sieves", "kind": "cleaning", "width_m": "0.6", "gap_half_days": "2", "version": "1"}
    assert client.post(at(county, item, "edit/"), initial).status_code == 302
    assert KitItem.objects.get().gap_half_days == 2
    noted = {"user_id": str(county.member.public_id), "shown_on": "2026-09-01", "may_show": "on"}
    assert client.post(at(county, item, "shown/"), noted).status_code == 302
    showing = KitShowing.objects.get()
    assert (showing.user, showing.may_show) == (county.member, True)
    client.post(at(county, item, "shown/"), {"remove": str(showing.public_id)})
    assert client.post(at(county, item, "shown/"), {"remove": "x"}).status_code == 404
    assert KitShowing.objects.count() == 0
    book(county, KitItem.objects.get(), on=DAY, now=NOW)
    fault = {"what": "A mesh is torn.", "found_on": "2026-09-01", "out_of_use_from": "2026-09-01"}
    answer = client.post(at(county, item, "fault/"), fault, follow=True)
    assert "It touches one booking: Gullhaven Meadow Makers, on" in answer.text
    assert "out of use since 1" in answer.text.replace("\u00a0", " ")
    answer = client.post(at(county, item, f"faults/{KitFault.objects.get().public_id}/mend/"), follow=True)
    assert "It is mended." in answer.text


def test_who_has_what_by_months(county, client, read):
    item = scarifier(county, shown_first="")
    book(county, item, project=GARDEN, on=DAY, now=NOW)
    client.force_login(county.neighbour)
    page = read(f"/county/{county.network.slug}/kit/calendar/")
    assert "The scarifier, Gullhaven Meadow Makers" in page.text
    assert "The scarifier, kept free" in page.text
    assert GARDEN not in page.text
    for said in ("2026-13", "x", "9999-12", "0001-01", "2026-12"):
        assert client.get(f"/county/{county.network.slug}/kit/calendar/?from={said}").status_code == 200


def test_a_group_reads_what_is_due_of_its_kit(county, client):
    item = scarifier(county, shown_first="")
    row = book(county, item, on=DAY, now=NOW)
    client.force_login(county.lead)
    group = f"/groups/{row.group.public_id}/"
    assert "nobody has agreed yet" in client.get(group).text
    move(county, row, "agreed", now=NOW)
    assert "The scarifier is yours on" in client.get(group).text
    assert "is agreed on" in client.get(f"{group}kit/").text


def test_a_month_is_a_table_of_weeks():
    # February 2027 begins on a Monday and has four weeks
    taken = {
        Half(date(2027, 2, 3), 0): "Makers", Half(date(2027, 2, 3), 1): "Makers", Half(date(2027, 2, 4), 0): "",
        Half(date(2027, 2, 9), 1): "Makers",
    }  # fmt: skip
    month = month_of_item(taken, date(2027, 2, 1))
    assert (month.name, len(month.weeks)) == ("February 2027", 4)
    told = {cell.on.day: cell.told for week in month.weeks for cell in week if cell.told}
    assert told == {3: "all day", 4: "a.m. kept", 9: "p.m."}
    assert month_after(date(2026, 12, 1)) == date(2027, 1, 1)
