"""A group's pages: what strangers read, what is due at home, and who belongs to it."""

from datetime import date, timedelta

import pytest
import time_machine

from projects.choices import GroupRole
from projects.models import Group, Job, Membership, Permission, SoilTest, WorkEntry
from tests.projects.county import NOW, all_permissions, join, saltmere

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def that_day():
    with time_machine.travel(NOW + timedelta(hours=2), tick=False):
        yield


@pytest.fixture
def county():
    return saltmere(sown=False)


@pytest.fixture
def makers(county):
    return county.groups["Gullhaven Meadow Makers"]


def links(page):
    return {a.get("href") for tag, a in page.tags if tag == "a"}


def test_strangers_read_what_the_group_says_and_its_open_sites(read, county, makers):
    page = read(f"/groups/{makers.public_id}/")
    assert "Neighbours with scythes." in page.text
    assert "How to reach them. Ask at the post office." in page.text
    assert "Long Paddock" in page.text
    for hidden in ("Wenna’s garden", "Wenna Marsh", "Jory Lanthorn", "Your move", "soil test"):
        assert hidden not in page.text


def test_a_private_site_changes_no_byte_of_a_groups_public_page(client, county, makers):
    before = client.get(f"/groups/{makers.public_id}/").content
    county.sites["Wenna’s garden"].projects.update(stage="lapsed", cause="people")
    county.sites["Wenna’s garden"].permissions.all().delete()
    assert client.get(f"/groups/{makers.public_id}/").content == before


def test_members_find_what_is_due_and_whose_move_it_is(client, read, county, makers):
    churchyard = county.sites["Churchyard of Gullhaven"]
    Permission.objects.filter(site=churchyard, key="churchyard_body").update(
        need="needed", state="asked", asked_on=date(2026, 8, 20)
    )
    client.force_login(county.member)
    page = read(f"/groups/{makers.public_id}/")
    assert [h for h in page.headings if "move" in h] == ["Your group’s move", "The authorities’ move"]
    assert "Agreement of the churchyard's keepers: asked on 20 August 2026, no answer yet." not in page.text
    assert "Agreement of the churchyard's keepers: asked since 20 August 2026, no answer yet." in page.text
    assert "Make the forecast of the plan: what it costs, and what will grow. Under the yews" in page.text
    assert "Wenna Marsh, lead" in page.text
    assert "Wenna’s garden" in page.text
    assert f"/groups/{makers.public_id}/invite/" not in links(page)
    client.force_login(county.lead)
    assert f"/groups/{makers.public_id}/invite/" in links(read(f"/groups/{makers.public_id}/"))


def test_advice_stands_apart_and_once_for_all_its_places(client, read, county, makers):
    client.force_login(county.member)
    text = read(f"/groups/{makers.public_id}/").text
    assert text.count("No soil test is on record.") == 1
    SoilTest.objects.create(site=county.sites["Long Paddock"], taken_on=NOW.date(), soil_ph=6.5)
    text = read(f"/groups/{makers.public_id}/").text
    assert "than anything else. Churchyard of Gullhaven, Wenna’s garden" in text


def test_after_sowing_the_cuts_are_due_and_ticked_off_by_the_diary(client, read):
    county = saltmere()
    group = county.groups["Gullhaven Meadow Makers"]
    path = f"/groups/{group.public_id}/"
    with time_machine.travel(date(2027, 8, 20), tick=False):
        client.force_login(county.member)
        assert "overdue First summer: cut 1 of" in read(path).text
        WorkEntry.objects.create(project=county.projects["Paddock to hay"], on="2027-08-01", what="cut", heads=3)
        assert "overdue First summer: cut 1 of" not in read(path).text
        assert "First summer: cut 2 of" in read(path).text
        WorkEntry.objects.update(struck_at=NOW, struck_because="entered twice")
        assert "overdue First summer: cut 1 of" in read(path).text


def test_help_for_a_lead_without_a_site(client, read, county):
    new = Group.objects.create(network=county.network, name="Newcomers")
    join(county.stranger, new, GroupRole.LEAD)
    client.force_login(county.stranger)
    page = read(f"/groups/{new.public_id}/")
    assert "Everything begins with a piece of ground. Register the first site" in page.text
    assert f"/groups/{new.public_id}/sites/new/" in links(page)


def test_a_closed_group_is_not_there(client, county, makers):
    Group.objects.filter(pk=makers.pk).update(closed_at=NOW)
    client.force_login(county.coordinator)
    for tail in ("", "edit/", "members/", "sites/new/"):
        assert client.get(f"/groups/{makers.public_id}/{tail}").status_code == 404


# ------------------------------------------------------------------ what it says of itself


def test_a_lead_changes_what_the_group_says(client, read, county, makers):
    client.force_login(county.lead)
    path = f"/groups/{makers.public_id}/edit/"
    sent = {"name": makers.name, "about": "", "contact": "Ask at the inn.", "version": str(makers.version)}
    assert client.post(path, sent).headers["Location"] == f"/groups/{makers.public_id}/"
    makers.refresh_from_db()
    assert (makers.about, makers.contact, makers.district) == ("", "Ask at the inn.", None)
    assert "Saved." in read(f"/groups/{makers.public_id}/").text


def test_two_leads_who_change_it_at_once_are_told(client, county, makers):
    client.force_login(county.lead)
    path = f"/groups/{makers.public_id}/edit/"
    sent = {"name": "Gullhaven Makers", "about": "Mine.", "contact": "", "version": str(makers.version)}
    Group.objects.filter(pk=makers.pk).update(about="Theirs.", version=makers.version + 1)
    response = client.post(path, sent)
    html = response.content.decode()
    assert response.status_code == 409
    assert "About the group: Theirs." in html
    assert "Mine.</textarea>" in html
    assert Group.objects.get(pk=makers.pk).about == "Theirs."


def test_a_group_without_a_name_is_refused_with_everything_typed(client, county, makers):
    client.force_login(county.lead)
    response = client.post(f"/groups/{makers.public_id}/edit/", {"name": " ", "about": "Kept.", "contact": "x\u0001y"})
    html = response.content.decode()
    assert response.status_code == 422
    assert "Say what the group is called." in html
    assert "cannot be shown (U+0001)" in html
    assert "Kept.</textarea>" in html
    assert Group.objects.get(pk=makers.pk).version == makers.version


def test_a_member_does_not_change_it(client, county, makers):
    client.force_login(county.member)
    assert client.post(f"/groups/{makers.public_id}/edit/", {"name": "Ours"}).status_code == 403
    assert Group.objects.get(pk=makers.pk).name == "Gullhaven Meadow Makers"


# ------------------------------------------------------------------ who belongs to it


def of(user):
    return Membership.objects.get(user=user)


def test_a_lead_makes_somebody_a_lead(client, read, county, makers):
    client.force_login(county.lead)
    path = f"/groups/{makers.public_id}/members/"
    row = of(county.member)
    assert client.post(path, {"membership": row.public_id, "act": "lead", "version": row.version}).status_code == 302
    assert of(county.member).role == "lead"
    stale = client.post(path, {"membership": row.public_id, "act": "member", "version": row.version})
    assert stale.status_code == 409
    assert of(county.member).role == "lead"


def test_the_only_lead_stays(client, county, makers):
    client.force_login(county.lead)
    path = f"/groups/{makers.public_id}/members/"
    for act in ("member", "end"):
        response = client.post(path, {"membership": of(county.lead).public_id, "act": act, "sure": "yes"})
        assert response.status_code == 422
        assert "This is the group’s only lead. Make somebody else a lead first." in response.content.decode()
    assert (of(county.lead).role, of(county.lead).until) == ("lead", None)


def test_a_member_leaves_and_ends_nobody_elses_membership(client, county, makers):
    client.force_login(county.member)
    path = f"/groups/{makers.public_id}/members/"
    assert client.post(path, {"membership": of(county.lead).public_id, "act": "end"}).status_code == 403
    assert of(county.lead).until is None
    asked = client.post(path, {"membership": of(county.member).public_id, "act": "end"})
    assert asked.status_code == 200
    assert "Leave Gullhaven Meadow Makers?" in asked.content.decode()
    assert of(county.member).until is None
    response = client.post(path, {"membership": of(county.member).public_id, "act": "end", "sure": "yes"})
    assert response.headers["Location"] == "/home/"
    assert of(county.member).until is not None
    assert client.get(path).status_code == 403


@pytest.mark.parametrize("membership", ["", "nobody", "00000000-0000-0000-0000-000000000000"])
def test_a_membership_that_is_not_there_is_not_found(client, county, makers, membership):
    client.force_login(county.lead)
    path = f"/groups/{makers.public_id}/members/"
    assert client.post(path, {"membership": membership, "act": "end"}).status_code == 404
    assert Membership.objects.filter(until__isnull=True).count() == 3


def test_a_lead_has_all_the_groups_meadows_forecast(client, county, makers):
    all_permissions(county.sites["Long Paddock"])
    client.force_login(county.member)
    assert client.post(f"/groups/{makers.public_id}/forecast-all/").status_code == 403
    assert not Job.objects.exists()
    client.force_login(county.lead)
    response = client.post(f"/groups/{makers.public_id}/forecast-all/")
    job = Job.objects.get()
    assert response.headers["Location"] == f"/jobs/{job.public_id}/"
    assert job.progress_total == 3


def test_a_button_of_the_members_page_that_there_is_not_is_told_so(client, county):
    client.force_login(county.lead)
    group = county.groups["Gullhaven Meadow Makers"]
    membership = group.memberships.get(user=county.member)
    answer = client.post(f"/groups/{group.public_id}/members/", {"membership": membership.public_id, "act": "crown"})
    assert answer.status_code == 404
    membership.refresh_from_db()
    assert (membership.role, membership.until) == ("member", None)
