"""The county's pages: what everybody reads, what only some may, and setting a county up."""

import json
import re
from datetime import timedelta
from uuid import uuid4

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from projects import geography
from projects.choices import NetworkRole
from projects.models import District, Group, Job, MeadowProject, Membership, Network, Site, Village, WorkEntry
from projects.rules.access import PUBLIC_ACTOR, may
from projects.selectors import county as figures
from projects.selectors.actors import actor_of
from tests.projects.county import NOW, OUTLINE, appoint, empty_network, join, person, polygon, saltmere

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def that_day():
    with time_machine.travel(NOW + timedelta(hours=2), tick=False):
        yield


@pytest.fixture
def county():
    return saltmere(sown=False)


def anonymous(html):
    """A page without what differs from one request to the next."""
    return re.sub(r'name="csrfmiddlewaretoken" value="[^"]*"', "", html)


# ------------------------------------------------------------------ what everybody reads


def test_the_only_county_is_gone_to_at_once(client, county):
    assert client.get("/county/").headers["Location"] == "/county/saltmere/"


def test_of_several_counties_there_is_a_list(read, county):
    empty_network(name="Fenmark", slug="fenmark")
    links = {a.get("href") for tag, a in read("/county/").tags if tag == "a"}
    assert {"/county/saltmere/", "/county/fenmark/"} <= links


def test_the_first_sentence_answers_from_open_sites_only(read, county):
    page = read("/county/saltmere/")
    assert page.headings[0] == (
        "Two groups in Saltmere are making three meadows on 8,820 m²; three are still to be sown.".replace(
            "8,820 m²", "8,820\u00a0m²"
        )
    )
    assert "Behind the house" not in page.text
    assert "Wenna’s garden" not in page.text
    assert "Private sites counted in" not in page.text


def test_coordinators_read_the_exact_line_as_well(client, read, county):
    client.force_login(county.coordinator)
    text = read("/county/saltmere/").text
    assert (
        "Private sites counted in: two groups are making four meadows on 8,842 m²; four are still to be sown." in text
    )
    client.force_login(county.lead)
    assert "Private sites counted in" not in read("/county/saltmere/").text


def test_what_was_done_this_year(client, read):
    county = saltmere()
    with time_machine.travel(NOW + timedelta(days=9), tick=False):
        page = read("/county/saltmere/")
    assert "In 2026: one meadow sown and the ground made ready for one." in page.text
    assert "1 September 2026: sown, Paddock to hay (Gullhaven Meadow Makers)" in page.text
    with time_machine.travel(NOW + timedelta(days=200), tick=False):
        assert "Nothing has been sown in 2027 so far." in read("/county/saltmere/").text
    assert county.projects["Paddock to hay"].sown_on == NOW.date()


def test_hours_are_told_once_three_groups_have_a_part_in_them(read, county):
    def work(project, minutes):
        WorkEntry.objects.create(project=project, on=NOW.date(), what="cut", heads=2, person_minutes=minutes)

    churchyard, verge = county.projects["Under the yews"], county.projects["Verge of the sea road"]
    work(churchyard, 300)
    work(verge, 240)
    work(county.projects["Behind the house"], 6000)
    assert "hours of work" not in read("/county/saltmere/").text
    third = Group.objects.create(network=county.network, name="Third")
    MeadowProject.objects.filter(pk=county.projects["Paddock to hay"].pk).update(group=third)
    work(county.projects["Paddock to hay"], 60)
    assert "Neighbours gave 10 hours of work to it." in read("/county/saltmere/").text


def test_the_districts_count_open_sites_only(county):
    lines = figures.districts_with_counts(PUBLIC_ACTOR, county.network)
    assert [(line.name, line.groups, line.sites, line.meadows) for line in lines] == [
        ("Inner Sands", 1, 3, 2),
        ("Outer Banks", 1, 0, 0),
    ]


@pytest.mark.parametrize("path", ["", "map.json", "sites/"])
def test_a_private_site_changes_no_byte_of_what_strangers_get(client, county, path):
    before = anonymous(client.get(f"/county/saltmere/{path}").content.decode())
    private = county.sites["Wenna’s garden"]
    WorkEntry.objects.create(
        project=county.projects["Behind the house"], on=NOW.date(), what="cut", heads=2, person_minutes=600
    )
    MeadowProject.objects.filter(site=private).update(stage="sown", sown_on=NOW.date(), stage_since=NOW.date())
    Site.objects.filter(pk=private.pk).update(area_dm2=990_000, name="Moved", kind="field")
    assert anonymous(client.get(f"/county/saltmere/{path}").content.decode()) == before


# ------------------------------------------------------------------ the map and the list


def test_the_map_shows_strangers_squares_and_the_group_places(client, county):
    def sites(user=None):
        if user:
            client.force_login(user)
        return {site["name"]: site for site in client.get("/county/saltmere/map.json").json()["sites"]}

    seen = sites()
    assert set(seen) == {"Churchyard of Gullhaven", "Long Paddock", "School bank", "Brackwater verge"}
    churchyard = seen["Churchyard of Gullhaven"]
    assert (churchyard["where"], churchyard["square"], churchyard["shape"]) == (
        "TA 98 35 (square of 1 km)", True, "planned",
    )  # fmt: skip
    assert churchyard["geometry"]["type"] == "Polygon"
    assert (seen["Long Paddock"]["square"], seen["Long Paddock"]["geometry"]["type"]) == (False, "Polygon")
    assert seen["School bank"]["where"] == "TA 93 X (square of 2 km)"
    assert seen["School bank"]["shape"] == "none"
    own = sites(county.member)
    assert own["Churchyard of Gullhaven"]["where"] == "TA 9812 3507 (square of 10 m)"
    assert own["Churchyard of Gullhaven"]["square"] is False
    assert own["Wenna’s garden"]["where"] == "TA 98456 35789"
    assert own["Brackwater verge"]["where"] == "TB 223 412 (square of 100 m)"


def test_the_map_has_the_outlines_and_the_villages(client, county):
    data = client.get("/county/saltmere/map.json").json()
    assert len(data["outline"][0]) == len(OUTLINE)
    corner = geography.read_latitude_longitude(*data["outline"][0][0])
    assert (round(corner.easting_m), round(corner.northing_m)) == OUTLINE[0]
    assert [district["name"] for district in data["districts"]] == ["Inner Sands", "Outer Banks"]
    assert [village["name"] for village in data["villages"]] == ["Brackwater", "Gullhaven"]


def test_the_list_is_filtered_by_its_address(read, county):
    makers = county.groups["Gullhaven Meadow Makers"].public_id
    inner = county.districts["Inner Sands"].public_id
    assert "Four sites." in read("/county/saltmere/sites/").text
    assert "Three sites fit." in read(f"/county/saltmere/sites/?group={makers}").text
    assert "Three sites fit." in read(f"/county/saltmere/sites/?district={inner}").text
    page = read(f"/county/saltmere/sites/?group={makers}&kind=school")
    assert "One site fits." in page.text
    assert "School bank" in page.text
    assert "Two sites fit." in read("/county/saltmere/sites/?stage=planned").text
    assert "No sites fit." in read("/county/saltmere/sites/?stage=sown").text


def test_a_filter_that_means_nothing_is_told_and_left_out(read, county):
    page = read("/county/saltmere/sites/?kind=volcano&district=x%00y", status=422)
    assert "“volcano” is not in the list; choose one that is." in page.text
    assert "Long Paddock" in page.text


def test_the_list_comes_in_pages_of_fifty_and_keeps_its_filters(read, county):
    like = county.sites["School bank"]
    for i in range(60):
        like.pk, like.id, like.name = None, None, f"Bank {i:02}"
        like.public_id = uuid4()
        like.save(force_insert=True)
    page = read("/county/saltmere/sites/?kind=school")
    assert "61 sites fit. All sites. 1 to 50 are shown." in page.text
    more = [a["href"] for tag, a in page.tags if tag == "a" and a.get("rel") == "next"]
    assert more == ["?kind=school&page=2"]
    assert "51 to 61 are shown." in read(f"/county/saltmere/sites/{more[0]}").text


def test_longer_lists_ask_the_database_no_more_often(client, county):
    def queries(path):
        with CaptureQueriesContext(connection) as found:
            assert client.get(path).status_code == 200
        return len(found)

    paths = ("/county/saltmere/", "/county/saltmere/sites/", "/county/saltmere/map.json")
    before = [queries(path) for path in paths]
    like = county.sites["Brackwater verge"]
    for i in range(20):
        like.pk, like.id, like.name = None, None, f"Verge {i:02}"
        like.public_id = uuid4()
        like.save(force_insert=True)
    assert [queries(path) for path in paths] == before


# ------------------------------------------------------------------ beginning


def test_help_for_a_visitor_where_nothing_is_set_up(read, db):
    page = read("/county/")
    assert page.headings[0] == "No county is set up here yet"
    assert "begun by whoever runs this server" in page.text


def test_an_operator_sets_up_a_network(client, read, db):
    client.force_login(person("Orla Quill", is_operator=True))
    assert "You run this server, so it is yours to begin" in read("/county/").text
    response = client.post("/county/new/", {"name": "Saltmere", "slug": "saltmere", "about": "By the sea."})
    assert response.headers["Location"] == "/county/saltmere/"
    assert Network.objects.get().about == "By the sea."
    page = read("/county/saltmere/")
    assert "The network is set up. Now it needs a coordinator." in page.text
    assert "/county/saltmere/invite/" in {a.get("href") for tag, a in page.tags if tag == "a"}


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"name": "", "slug": "saltmere"}, "Say what the county is called."),
        ({"name": "Salt", "slug": "Salt Mere"}, "'Salt Mere'"),
        ({"name": "Salt", "slug": "new"}, "“new” is an address of its own here; take another."),
    ],
)
def test_a_network_that_cannot_be_is_told_beside_its_field(client, said, words, db):
    client.force_login(person("Orla Quill", is_operator=True))
    response = client.post("/county/new/", said)
    assert response.status_code == 422
    html = response.content.decode().replace("&#x27;", "'")
    assert words in html
    for value in filter(None, said.values()):
        assert f'value="{value}"' in html
    assert not Network.objects.exists()


def test_nobody_else_sets_up_a_network(client, county):
    client.force_login(county.coordinator)
    assert client.get("/county/new/").status_code == 403
    assert client.post("/county/new/", {"name": "Other", "slug": "other"}).status_code == 403
    assert Network.objects.count() == 1


def test_a_coordinator_adds_districts_villages_and_groups(client, read, db):
    network = empty_network()
    coordinator = person("Tamsin Oake")
    appoint(coordinator, network)
    client.force_login(coordinator)
    assert "You coordinate this network: draw its outline" in read("/county/saltmere/").text
    assert "There is no group yet: add one, then invite somebody to lead it." in read("/home/").text
    path = "/county/saltmere/set-up/"

    def post(part, **values):
        return client.post(path, {"part": part} | {f"{part}-{name}": value for name, value in values.items()})

    assert post("district", name="Inner Sands").headers["Location"] == f"{path}#district"
    district = str(District.objects.get().public_id)
    assert post("village", name="Gullhaven", grid_reference="ta9835", district_id=district).status_code == 302
    assert post("group", name="Makers", district_id=district, contact="At the inn").status_code == 302
    outline = json.dumps({"type": "Feature", "properties": {}, "geometry": polygon(*OUTLINE)})
    version = str(Network.objects.get().version)
    assert post("county", name="Saltmere", about="Tides.", outline=outline, version=version).status_code == 302
    village = Village.objects.get()
    assert (village.easting_m, village.northing_m, village.district.name) == (598_000, 435_000, "Inner Sands")
    assert Group.objects.get().contact == "At the inn"
    network.refresh_from_db()
    assert (network.about, len(network.outline[0])) == ("Tides.", len(OUTLINE))


@pytest.mark.parametrize(
    ("part", "values", "words"),
    [
        ("district", {"name": "inner sands"}, "There is a district of this name already."),
        ("village", {"name": "Far", "grid_reference": "TA 98"}, "a village needs four figures"),
        ("village", {"name": "Far", "grid_reference": "12 34"}, "has no letters"),
        ("group", {"name": "Brackwater Verges"}, "There is a group of this name in the network already."),
        ("county", {"name": "Saltmere", "outline": "{"}, "This is not GeoJSON"),
        ("county", {"name": "Saltmere", "outline": '{"type": "Point"}'}, "This is a Point"),
    ],
)  # fmt: skip
def test_what_cannot_be_added_is_told_and_stays_typed(client, county, part, values, words):
    client.force_login(county.coordinator)
    counts = [model.objects.count() for model in (District, Village, Group)]
    response = client.post(
        "/county/saltmere/set-up/", {"part": part} | {f"{part}-{name}": value for name, value in values.items()}
    )
    html = response.content.decode()
    assert response.status_code == 422
    assert words in html
    assert values["name"] in html
    assert [model.objects.count() for model in (District, Village, Group)] == counts


def test_a_county_changed_in_the_meantime_is_told_and_sent_again(client, county):
    client.force_login(county.coordinator)
    old = county.network.version
    sent = {"part": "county", "county-name": "Saltmere", "county-about": "Mine.", "county-version": str(old)}
    Network.objects.filter(pk=county.network.pk).update(about="Theirs.", version=old + 1)
    response = client.post("/county/saltmere/set-up/", sent)
    html = response.content.decode()
    assert response.status_code == 409
    assert "About the network: Theirs." in html
    assert f'name="county-version" value="{old + 1}"' in html
    assert Network.objects.get().about == "Theirs."
    assert client.post("/county/saltmere/set-up/", sent | {"county-version": str(old + 1)}).status_code == 302
    assert Network.objects.get().about == "Mine."


def test_setting_up_is_for_coordinators(client, county):
    for user in (county.lead, county.stranger):
        client.force_login(user)
        assert client.get("/county/saltmere/set-up/").status_code == 403
        assert client.post("/county/saltmere/set-up/", {"part": "district", "district-name": "X"}).status_code == 403
    assert District.objects.count() == 2
    client.force_login(county.coordinator)
    assert client.post("/county/saltmere/set-up/", {"part": "castle"}).status_code == 404


# ------------------------------------------------------------------ home, jobs


def test_home_is_for_those_signed_in(client, county):
    assert client.get("/home/").headers["Location"] == "/sign-in/?next=%2Fhome%2F"


def test_home_shows_what_is_due_in_ones_groups(client, read, county):
    client.force_login(county.lead)
    page = read("/home/")
    assert "Gullhaven Meadow Makers" in page.text
    assert "Write the plan." in page.text
    assert "Make the forecast of the plan" in page.text
    assert "Brackwater" not in page.text


def test_home_shows_a_coordinator_what_waits_for_the_network(client, read, county):
    Membership.objects.filter(group=county.groups["Brackwater Verges"]).delete()
    Group.objects.create(network=county.network, name="Newcomers")
    client.force_login(county.coordinator)
    text = read("/home/").text
    assert "Two groups have nobody to lead them, four plans have no forecast yet and one group has no site yet." in text


def test_home_helps_somebody_without_a_group(client, read, county):
    client.force_login(county.stranger)
    assert "You belong to no group yet." in read("/home/").text


def test_all_meadows_are_forecast_by_a_job_with_a_page(client, read, county):
    client.force_login(county.coordinator)
    response = client.post("/county/saltmere/forecast-all/")
    job = Job.objects.get()
    assert response.headers["Location"] == f"/jobs/{job.public_id}/"
    page = read(f"/jobs/{job.public_id}/")
    assert page.headings[0] == "Waiting to begin: 4 to do."
    assert ("meta", {"http-equiv": "refresh", "content": "3"}) in page.tags
    Job.objects.update(
        state="running", progress_done=3, lease_token=job.public_id, lease_until=NOW + timedelta(hours=3)
    )
    assert read(f"/jobs/{job.public_id}/").headings[0] == "3 of 4 done."


def test_a_finished_job_tells_what_could_not_be_forecast(client, read, county):
    client.force_login(county.coordinator)
    client.post("/county/saltmere/forecast-all/")
    refused = county.projects["Under the yews"]
    result = {"made": 3, "refused": [{"project": str(refused.public_id), "detail": "The gate is too narrow."}]}
    Job.objects.update(state="done", progress_done=4, finished_at=NOW, result=result)
    job = Job.objects.get()
    page = read(f"/jobs/{job.public_id}/")
    assert page.headings[0] == "Done: three forecasts made, one could not be."
    assert "Under the yews: The gate is too narrow." in page.text
    assert not [tag for tag, a in page.tags if tag == "meta" and "http-equiv" in a]


def test_a_failed_job_is_started_again_by_whose_it_is(client, read, county):
    client.force_login(county.coordinator)
    client.post("/county/saltmere/forecast-all/")
    Job.objects.update(state="failed", finished_at=NOW, attempts=3)
    path = f"/jobs/{Job.objects.get().public_id}/"
    assert "This stopped before its end." in read(path).headings[0]
    client.force_login(county.lead)
    assert client.get(path).status_code == 404
    assert client.post(path).status_code == 404
    assert Job.objects.get().state == "failed"
    client.force_login(county.coordinator)
    assert client.post(path).status_code == 302
    assert Job.objects.get().state == "waiting"
    assert client.post(path).status_code == 409


def test_forecasting_all_is_for_coordinators(client, county):
    client.force_login(county.lead)
    assert client.post("/county/saltmere/forecast-all/").status_code == 403
    assert client.get("/county/saltmere/forecast-all/").status_code == 405
    assert not Job.objects.exists()


def test_with_nothing_under_way_there_is_nothing_to_forecast(client, db):
    network = empty_network()
    coordinator = person("Tamsin Oake")
    appoint(coordinator, network, NetworkRole.COORDINATOR)
    client.force_login(coordinator)
    response = client.post("/county/saltmere/forecast-all/")
    assert response.status_code == 409
    assert "There is no project under way to forecast." in response.content.decode()


# ------------------------------------------------------------------ every page


def addresses(county):
    """Each page of the county with the act it stands for and the thing it is about."""
    yield from [("/county/new/", "network.create", None), ("/county/saltmere/set-up/", "network.change", None)]
    yield from [(f"/county/saltmere/{tail}", "network.read", None) for tail in ("", "map.json", "sites/")]
    acts = {"": "read", "edit/": "change", "sites/new/": "site.create", "members/": "membership.read"}
    for group in county.groups.values():
        yield from [(f"/groups/{group.public_id}/{tail}", act, group) for tail, act in acts.items()]
    acts = {"": "read", "edit/": "change", "remove/": "remove", "projects/new/": "project.create"}
    acts |= {"permissions/": "permission.read", "soil-test/": "soil_test.read", "funding/": "funding.read"}
    for site in county.sites.values():
        yield from [(f"/sites/{site.public_id}/{tail}", act, site) for tail, act in acts.items()]
    acts = {"": "read", "edit/": "change", "step/": "change", "plan/": "plan.create", "forecast/": "forecast.read"}
    acts |= {"diary/": "diary.read", "diary/new/": "diary.write"}
    for project in county.projects.values():
        yield from [(f"/projects/{project.public_id}/{tail}", act, project) for tail, act in acts.items()]


def expected(actor, act, thing, county):
    """The status that the table of access calls for."""
    noun = {Group: "group", Site: "site", MeadowProject: "project"}.get(type(thing), "network")
    group = thing if isinstance(thing, Group) else getattr(thing, "group", None)
    where = {"group_id": group.pk if group else None, "network_id": county.network.pk}
    site = thing.site if isinstance(thing, MeadowProject) else thing
    if getattr(site, "publicity", "") == "private" and not may(actor, "site.read_detail", **where):
        return 404
    if may(actor, act if "." in act else f"{noun}.{act}", **where):
        return 200
    return 302 if actor.user_id is None else 403


@pytest.mark.parametrize("who", ["visitor", "stranger", "member", "lead", "neighbour", "coordinator", "operator"])
def test_pages_answer_each_role_as_the_table_of_access_says(client, county, who):
    user = None if who == "visitor" else getattr(county, who)
    if user:
        client.force_login(user)
    actor = actor_of(user)
    found = {path: client.get(path).status_code for path, _, _ in addresses(county)}
    assert found == {path: expected(actor, act, thing, county) for path, act, thing in addresses(county)}


def test_nothing_is_inline_and_readers_find_their_way(client):
    county = saltmere()
    client.force_login(county.lead)
    project = county.projects["Paddock to hay"]
    paths = [path for path, _, _ in addresses(county) if not path.endswith(".json")]
    paths.append("/home/")
    paths.append(f"/projects/{project.public_id}/forecasts/{project.baseline.public_id}/")
    for path in paths:
        html = client.get(path).content.decode()
        assert not re.findall(r"<style|\sstyle=|\son[a-z]+=[\"']|javascript:", html), path
        assert len(re.findall(r"<h1[ >]", html)) == 1, path
        identifiers = re.findall(r"\sid=\"([^\"]+)\"", html)
        assert len(identifiers) == len(set(identifiers)), path
        for named in re.findall(r"(?:aria-describedby|aria-labelledby|\sfor)=\"\s*([^\"]+)\"", html):
            assert set(named.split()) <= set(identifiers), path


def test_pages_of_those_signed_in_are_kept_by_nobody(client, county):
    client.force_login(county.lead)
    for path in ("/home/", f"/sites/{county.sites['School bank'].public_id}/"):
        response = client.get(path)
        assert "no-store" in response.headers["Cache-Control"]
        assert "Cookie" in response.headers["Vary"]


def test_somebody_signed_out_in_the_meantime_finds_what_was_typed(client, county):
    path = f"/projects/{county.projects['Under the yews'].public_id}/diary/new/"
    response = client.post(path, {"on": "2026-09-01", "what": "cut", "note": "Half <b>done</b>."})
    html = response.content.decode()
    assert response.status_code == 403
    assert "Half &lt;b&gt;done&lt;/b&gt;." in html
    assert "/sign-in/?next=%2Fprojects%2F" in html
    assert not WorkEntry.objects.exists()


def test_members_who_join_find_their_group(client, read, county):
    join(county.stranger, county.groups["Brackwater Verges"])
    client.force_login(county.stranger)
    assert "Brackwater Verges" in read("/home/").text
