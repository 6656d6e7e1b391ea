"""A site's pages: registering it in four ways, what others see of where it is, and what is noted about it."""

import json
from datetime import timedelta

import pytest
import time_machine

from projects.models import OtherFunding, Permission, Site, SitePlace, SoilTest
from tests.projects.county import NOW, all_permissions, polygon, saltmere

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def that_day():
    with time_machine.travel(NOW + timedelta(hours=2), tick=False):
        yield


@pytest.fixture
def county(client):
    found = saltmere(sown=False)
    client.force_login(found.lead)
    return found


@pytest.fixture
def register(client, county):
    """Send the form of a new site."""

    def post(**values):
        path = f"/groups/{county.groups['Gullhaven Meadow Makers'].public_id}/sites/new/"
        return client.post(path, {"name": "Sea wall", "kind": "green", "area_m2": "400"} | values)

    return post


def place_of(site):
    found = SitePlace.objects.get(site=site)
    return (round(found.easting_m), round(found.northing_m), found.side_m, found.given)


def text_of(response):
    return response.content.decode().replace("&#x27;", "'").replace("\u00a0", " ")


# ------------------------------------------------------------------ registering


def test_by_grid_reference(client, read, county, register):
    response = register(grid_reference="ta 9812 3507")
    site = Site.objects.get(name="Sea wall")
    assert response.headers["Location"] == f"/sites/{site.public_id}/"
    assert place_of(site) == (598_125, 435_075, 10, "grid_reference")
    assert (site.area_dm2, site.publicity) == (40_000, "square_1_km")
    text = read(f"/sites/{site.public_id}/").text
    assert "Sea wall is registered." in text
    assert "TA 9812 3507, a square of 10 m." in text
    assert "Others see: a square of 1 km, TA 98 35, and the name." in text


def test_by_latitude_and_longitude(county, register):
    assert register(latitude="53.79", longitude="1.01").status_code == 302
    easting, northing, side, given = place_of(Site.objects.get(name="Sea wall"))
    assert (side, given) == (1, "coordinates")
    assert 598_000 < easting < 600_000
    assert 434_000 < northing < 437_000


def test_by_outline_without_an_area(read, county, register):
    ring = polygon((598_200, 435_100), (598_240, 435_100), (598_240, 435_130), (598_200, 435_130), (598_200, 435_100))
    feature = {"type": "Feature", "properties": {}, "geometry": ring}
    assert register(outline=json.dumps(feature), area_m2="", publicity="exact").status_code == 302
    site = Site.objects.get(name="Sea wall")
    assert abs(site.area_dm2 - 120_000) < 200
    assert "Everybody sees the place itself and the name." in read(f"/sites/{site.public_id}/").text


def test_by_the_village_only_it_is_never_shown_more_precisely(read, county, register):
    village = county.villages["Gullhaven"]
    assert register(village_id=str(village.public_id), publicity="square_100_m").status_code == 302
    site = Site.objects.get(name="Sea wall")
    assert (site.shown_side_m, site.village) == (1000, "Gullhaven")
    text = read(f"/sites/{site.public_id}/").text
    assert "Only its village is on record, Gullhaven: a square of 1 km, TA 98 35." in text
    assert "Others see: a square of 1 km, TA 98 35, and the name. No more is on record." in text


def test_a_garden_is_private_unless_its_group_says_otherwise(read, county, register):
    register(kind="garden", name="Back garden", grid_reference="TA 9812 3507")
    register(kind="garden", name="Open garden", grid_reference="TA 9812 3507", publicity="square_10_km")
    private, open_ = Site.objects.get(name="Back garden"), Site.objects.get(name="Open garden")
    assert (private.publicity, private.shown_side_m) == ("private", None)
    assert (open_.publicity, open_.shown_side_m) == ("square_10_km", 10_000)
    text = read(f"/sites/{private.public_id}/").text
    assert "Others see nothing: only your group and the network’s coordinators know that this site exists." in text


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({}, "Say where it is, in one way"),
        ({"grid_reference": "TA 98 35", "latitude": "53.7", "longitude": "1"}, "told in more than one way"),
        ({"latitude": "53.7"}, "Latitude and longitude go together."),
        ({"latitude": "1.0", "longitude": "53.7"}, "the other way round they are inside"),
        ({"grid_reference": "TI 98 35"}, "TI is no 100 km square of the British grid."),
        ({"outline": "{nonsense"}, "This is not GeoJSON"),
        ({"outline": '{"type": "Polygon", "coordinates": []}'}, "The ring has 0 positions"),
        ({"outline": "[" * 2000}, "This is not GeoJSON"),
        ({"grid_reference": "TA 98 35", "name": ""}, "Give it a name"),
        ({"grid_reference": "TA 98 35", "kind": "swamp"}, "swamp"),
        ({"grid_reference": "TA 98 35", "area_m2": "a lot"}, "“a lot” is not a number"),
        ({"grid_reference": "TA 98 35", "area_m2": ""}, "Say how big the ground is, in m²."),
        ({"grid_reference": "TA 98 35", "area_m2": "900 ha"}, "9,000,000 will not do; it must be at most 1,000,000."),
        ({"grid_reference": "TA 98 35", "net_area_m2": "500"}, "The area to become meadow is larger"),
        ({"grid_reference": "TA 98 35", "zone_1": "by the gate"}, "Say how big it is."),
        ({"grid_reference": "TA 98 35", "zone_1": "a", "zone_1_m2": "300", "zone_2": "b", "zone_2_m2": "200"},
         "The zones add up to 500 m², the site has 400 m²."),
        ({"grid_reference": "TA 98 35", "zone_1": "A", "zone_1_m2": "3", "zone_2": "a", "zone_2_m2": "2"},
         "Two zones have the same name."),
        ({"grid_reference": "TA 98 35", "name": "school BANK"}, "The group has a site of this name already."),
        ({"grid_reference": "TA 98 35", "name": "Null\u0000"}, "Null"),
        ({"grid_reference": "TA 98 35", "resident_species": "\u0007"}, "cannot be shown (U+0007)"),
        ({"village_id": "6dd6a8a6-0000-4000-8000-000000000000"}, "is not in the list; choose one that is."),
    ],
)  # fmt: skip
def test_what_cannot_be_registered_is_told_and_stays_typed(county, register, values, words):
    response = register(**values)
    text = text_of(response)
    assert response.status_code == 422
    assert words in text
    assert f'value="{values.get("grid_reference", "")}"' in text or "grid_reference" not in values
    assert Site.objects.count() == 5
    assert SitePlace.objects.count() == 5


def test_all_faults_are_told_at_once(county, register):
    text = text_of(register(name="", area_m2="-3", grid_reference="nowhere at all", slope_degrees="200"))
    for words in ("Give it a name", "-3 will not do", "200 will not do"):
        assert words in text
    assert "3 things to put right" in text


def test_zones_and_plants_are_kept(read, county, register):
    register(
        grid_reference="TA 98 35", zone_1="Bank", zone_1_m2="120", zone_1_sward="short_turf",
        resident_species="cowslip\nLotus corniculatus, knapweed", existing_interest=["orchids", "waxcaps"],
    )  # fmt: skip
    site = Site.objects.get(name="Sea wall")
    assert [(zone.name, zone.area_dm2, zone.sward) for zone in site.zones.all()] == [("Bank", 12_000, "short_turf")]
    assert site.resident_species == ["cowslip", "Lotus corniculatus", "knapweed"]
    assert site.existing_interest == ["orchids", "waxcaps"]
    assert "Plants already there cowslip, Lotus corniculatus, knapweed." in read(f"/sites/{site.public_id}/").text


def test_registering_is_for_leads(client, county, register):
    client.force_login(county.member)
    assert register(grid_reference="TA 98 35").status_code == 403
    assert Site.objects.count() == 5


# ------------------------------------------------------------------ the page


def test_strangers_see_the_square_and_no_more(client, read, county):
    site = county.sites["Churchyard of Gullhaven"]
    Site.objects.filter(pk=site.pk).update(access_note="The key hangs in the porch.", village="Gullhaven")
    client.logout()
    page = read(f"/sites/{site.public_id}/")
    assert "It lies somewhere in a square of 1 km, TA 98 35." in page.text
    for hidden in ("9812", "porch", "Others see", "Permissions", "Rank grass"):
        assert hidden not in page.text
    estimate = [a["href"] for tag, a in page.tags if tag == "a" and a.get("href", "").startswith("/plan/?")]
    assert estimate == ["/plan/?area_m2=180&kind=churchyard"]


def test_a_coarse_square_is_not_made_finer_by_the_villages_name(client, read, county):
    site = county.sites["School bank"]
    client.logout()
    page = read(f"/sites/{site.public_id}/")
    assert "It lies somewhere in a square of 2 km, TA 93 X." in page.text
    assert "TA 98 35" not in page.text


def test_a_private_site_is_not_there_for_others(client, county):
    path = f"/sites/{county.sites['Wenna’s garden'].public_id}/"
    client.logout()
    missing = text_of(client.get("/sites/00000000-0000-4000-8000-000000000000/"))
    assert client.get(path).status_code == 404
    assert text_of(client.get(path)) == missing
    client.force_login(county.neighbour)
    for tail in ("", "edit/", "permissions/", "soil-test/", "funding/", "projects/new/", "remove/"):
        assert client.get(path + tail).status_code == 404
        assert client.post(path + tail, {}).status_code in {404, 405}


def test_its_own_people_may_estimate_the_ground_as_it_is_known(read, county):
    site = county.sites["Churchyard of Gullhaven"]
    SoilTest.objects.create(site=site, taken_on=NOW.date(), olsen_p_mg_per_l=18.5)
    page = read(f"/sites/{site.public_id}/")
    assert [a["href"] for tag, a in page.tags if tag == "a" and a.get("href", "").startswith("/plan/?")] == [
        "/plan/?area_m2=180&kind=churchyard&sward=rank_grass&olsen_p_mg_per_l=18.5"
    ]


# ------------------------------------------------------------------ changing


def edit(client, site, **values):
    page = client.get(f"/sites/{site.public_id}/edit/")
    form = page.context["form"]
    sent = {name: form[name].value() for name in form.fields if form[name].value() not in (None, "")}
    return client.post(f"/sites/{site.public_id}/edit/", sent | values)


def test_only_what_was_changed_changes(client, county):
    site = county.sites["Long Paddock"]
    before = SitePlace.objects.get(site=site)
    assert edit(client, site, name="Long Paddock, north").status_code == 302
    site.refresh_from_db()
    assert (site.name, site.sward, site.publicity) == ("Long Paddock, north", "rank_grass", "exact")
    assert SitePlace.objects.get(site=site).outline == before.outline


def test_a_number_is_emptied_and_a_place_made_private(client, read, county):
    site = county.sites["Churchyard of Gullhaven"]
    edit(client, site, gate_width_m="2.4", slope_degrees="12", access_note="By the lychgate")
    site.refresh_from_db()
    assert (site.gate_width_cm, site.slope_degrees) == (240, 12.0)
    edit(client, site, gate_width_m="", access_note="", publicity="private")
    site.refresh_from_db()
    assert (site.gate_width_cm, site.slope_degrees, site.access_note) == (None, 12.0, "")
    assert (site.publicity, site.shown_side_m) == ("private", None)
    assert place_of(site)[:2] == (598_125, 435_075)
    client.logout()
    assert client.get(f"/sites/{site.public_id}/").status_code == 404


def test_a_new_place_takes_the_place_of_the_old(client, county):
    site = county.sites["Churchyard of Gullhaven"]
    assert edit(client, site, grid_reference="TA 97 33").status_code == 302
    assert place_of(site) == (597_500, 433_500, 1000, "grid_reference")


def test_a_site_changed_in_the_meantime_is_told_with_what_differs(client, county):
    site = county.sites["Churchyard of Gullhaven"]
    old = site.version
    Site.objects.filter(pk=site.pk).update(shade="shade", version=old + 1)
    response = edit(client, site, version=str(old), shade="sun", name="Mine")
    text = text_of(response)
    assert response.status_code == 409
    assert "How much shade?:" in text
    assert 'value="Mine"' in text
    assert Site.objects.get(pk=site.pk).name == "Churchyard of Gullhaven"
    assert edit(client, site, name="Mine").status_code == 302


def test_changing_is_for_leads(client, county):
    client.force_login(county.member)
    site = county.sites["Churchyard of Gullhaven"]
    assert client.post(f"/sites/{site.public_id}/edit/", {"name": "Ours"}).status_code == 403
    assert Site.objects.get(pk=site.pk).name == "Churchyard of Gullhaven"


def test_a_site_is_removed_unless_a_meadow_was_begun_on_it(client, county):
    bank, churchyard = county.sites["School bank"], county.sites["Churchyard of Gullhaven"]
    assert client.post(f"/sites/{bank.public_id}/remove/").status_code == 302
    assert not Site.objects.filter(pk=bank.pk).exists()
    response = client.post(f"/sites/{churchyard.public_id}/remove/")
    assert response.status_code == 409
    assert "It can be made private instead." in text_of(response)
    assert Site.objects.filter(pk=churchyard.pk).exists()


# ------------------------------------------------------------------ permissions


def permission(client, site, row, **values):
    sent = {"permission": str(row.public_id), f"p{row.pk}-version": str(row.version)}
    sent |= {f"p{row.pk}-need": row.need, f"p{row.pk}-state": row.state}
    return client.post(
        f"/sites/{site.public_id}/permissions/", sent | {f"p{row.pk}-{name}": value for name, value in values.items()}
    )


def test_what_came_of_a_permission_is_noted(client, read, county):
    site = county.sites["Churchyard of Gullhaven"]
    row = site.permissions.get(key="churchyard_body")
    page = read(f"/sites/{site.public_id}/permissions/")
    assert "Six of six are still missing; nothing is dug or sown before." in page.text
    assert (
        permission(
            client, site, row, need="needed", state="given", answered_on="2026-08-30", expires_on="2027-08-29",
            signed_by="Church council", reference="CC/7",
        ).status_code
        == 302
    )  # fmt: skip
    row.refresh_from_db()
    assert (row.state, row.signed_by, str(row.expires_on)) == ("given", "Church council", "2027-08-29")
    page = read(f"/sites/{site.public_id}/permissions/")
    assert "Given by Church council on 30 August 2026, until 29 August 2027." in page.text
    assert "Five of six are still missing" in page.text


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"state": "given"}, "Say on which day the permission was given or refused."),
        ({"state": "given", "answered_on": "2026-08-30"}, "Say who gave it: the office is enough."),
        ({"state": "asked", "asked_on": "2026-09-02"}, "2026-09-02 is still to come."),
        ({"state": "asked", "asked_on": "30/8/26"}, "This is not a date"),
        ({"state": "perhaps"}, "perhaps"),
    ],
)
def test_what_does_not_hold_together_is_told_beside_its_field(client, county, values, words):
    site = county.sites["Churchyard of Gullhaven"]
    row = site.permissions.get(key="churchyard_body")
    response = permission(client, site, row, note="Kept", **values)
    text = text_of(response)
    assert response.status_code == 422
    assert words in text
    assert 'value="Kept"' in text
    row.refresh_from_db()
    assert (row.state, row.version) == ("not_asked", 1)


def test_a_permission_of_ones_own_is_added(client, read, county):
    site = county.sites["School bank"]
    path = f"/sites/{site.public_id}/permissions/"
    sent = {"permission": "new", "new-label": "The caretaker’s word", "new-need": "needed", "new-state": "not_asked"}
    assert client.post(path, sent).status_code == 302
    assert "The caretaker’s word Needed, not asked yet." in read(path).text
    assert client.post(path, sent).status_code == 422
    assert client.post(path, sent | {"new-label": ""}).status_code == 422
    assert Permission.objects.filter(site=site, label="The caretaker’s word").count() == 1


def test_a_permission_changed_in_the_meantime_is_told(client, county):
    site = county.sites["Churchyard of Gullhaven"]
    row = site.permissions.get(key="churchyard_body")
    Permission.objects.filter(pk=row.pk).update(state="refused", answered_on="2026-08-01", version=2)
    response = permission(client, site, row, need="needed", state="asked")
    assert response.status_code == 409
    assert "How far has it come?: Refused" in text_of(response)
    assert Permission.objects.get(pk=row.pk).state == "refused"


def test_a_permission_of_another_site_is_not_found(client, county):
    row = county.sites["Brackwater verge"].permissions.first()
    response = permission(client, county.sites["School bank"], row, state="refused", answered_on="2026-08-01")
    assert response.status_code == 404
    assert Permission.objects.get(pk=row.pk).version == 1


def test_members_read_permissions_and_do_not_change_them(client, county):
    client.force_login(county.member)
    site = county.sites["Churchyard of Gullhaven"]
    row = site.permissions.first()
    assert "Note what has come of it" not in text_of(client.get(f"/sites/{site.public_id}/permissions/"))
    assert permission(client, site, row, need="not_needed").status_code == 403
    assert Permission.objects.get(pk=row.pk).need == "unknown"


def test_with_all_permissions_work_may_start(read, county):
    site = county.sites["Churchyard of Gullhaven"]
    all_permissions(site)
    assert "All are there: work may start." in read(f"/sites/{site.public_id}/").text


# ------------------------------------------------------------------ soil tests, other money


def test_a_soil_test_is_noted_and_taken_away(client, read, county):
    site = county.sites["Churchyard of Gullhaven"]
    path = f"/sites/{site.public_id}/soil-test/"
    sent = {"taken_on": "2026-08-01", "olsen_p_mg_per_l": "18.5", "soil_ph": "6.8", "laboratory": "Brine Lab"}
    assert client.post(path, sent).headers["Location"] == path
    assert "1 August 2026 phosphorus 18.5 mg/l, pH 6.8 (Brine Lab)" in read(path).text
    row = SoilTest.objects.get()
    client.force_login(county.member)
    assert client.post(path, {"remove": str(row.public_id)}).status_code == 403
    assert SoilTest.objects.count() == 1
    client.force_login(county.lead)
    assert client.post(path, {"remove": str(row.public_id)}).status_code == 302
    assert not SoilTest.objects.exists()
    assert client.post(path, {"remove": str(row.public_id)}).status_code == 404


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"taken_on": "2026-08-01"}, "Say what was found: the phosphorus, its index or the pH."),
        ({"soil_ph": "6"}, "This has to be filled in."),
        ({"taken_on": "2026-09-02", "soil_ph": "6"}, "2026-09-02 is still to come."),
        ({"taken_on": "2026-08-01", "soil_ph": "12"}, "12 will not do; it must be at most 10."),
        ({"taken_on": "1066-10-14", "soil_ph": "6"}, "Read 1066-10-14"),
    ],
)
def test_a_soil_test_that_cannot_be_is_told(client, county, values, words):
    site = county.sites["Churchyard of Gullhaven"]
    response = client.post(f"/sites/{site.public_id}/soil-test/", values)
    assert response.status_code == 422
    assert words in text_of(response)
    assert not SoilTest.objects.exists()


def test_other_money_is_noted_and_taken_away(client, read, county):
    site = county.sites["Long Paddock"]
    path = f"/sites/{site.public_id}/funding/"
    sent = {"funder": "Tide Fund", "what_for": "Hedges", "amount_gbp": "£1,200.50", "starts_on": "2026-04-01"}
    assert client.post(path, sent).status_code == 302
    assert OtherFunding.objects.get().amount_pence == 120_050
    assert "Tide FundHedges £1,200.50from 1 April 2026" in read(path).text
    wrong = client.post(path, sent | {"ends_on": "2026-03-01"})
    assert wrong.status_code == 422
    assert "It ends before it starts." in text_of(wrong)
    assert client.post(path, {"remove": str(OtherFunding.objects.get().public_id)}).status_code == 302
    assert not OtherFunding.objects.exists()
