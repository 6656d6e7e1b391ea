"""The county's pages in a real browser: the map, a place tapped on it, a diary by thumb, without JavaScript."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.test import Client
from django.utils import timezone

from modelling.reading import read_as
from projects.contracts.returns import ReturnNew
from projects.models import OutcomeReturn, Site, SitePlace, TaxonRecord, WorkEntry
from projects.services.returns import return_send
from tests.projects.county import saltmere

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE, DESK = {"width": 390, "height": 844}, {"width": 1280, "height": 900}
TODAY = timezone.now()


@pytest.fixture
def county():
    return saltmere(TODAY)


@pytest.fixture
def sign_in(live_server):
    """Put somebody's session into a browser."""

    def enter(context, user):
        client = Client()
        client.force_login(user)
        name = settings.SESSION_COOKIE_NAME
        context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": live_server.url}])

    return enter


@pytest.fixture
def without_javascript(chromium, live_server):
    context = chromium.new_context(base_url=live_server.url, java_script_enabled=False, viewport=PHONE)
    yield context.new_page()
    context.close()


def pages(county):
    group, site = county.groups["Gullhaven Meadow Makers"], county.sites["Churchyard of Gullhaven"]
    planned, sown = county.projects["Under the yews"], county.projects["Paddock to hay"]
    yield from ("/home/", "/county/saltmere/", "/county/saltmere/sites/", "/county/saltmere/set-up/")
    for tail in ("", "edit/", "members/", "sites/new/"):
        yield f"/groups/{group.public_id}/{tail}"
    for tail in ("", "edit/", "remove/", "permissions/", "soil-test/", "funding/", "projects/new/"):
        yield f"/sites/{site.public_id}/{tail}"
    for tail in ("", "plan/", "step/", "diary/new/"):
        yield f"/projects/{planned.public_id}/{tail}"
    for tail in ("", "forecast/", "diary/", f"forecasts/{sown.baseline.public_id}/"):
        yield f"/projects/{sown.public_id}/{tail}"
    told = OutcomeReturn.objects.get()
    yield f"/county/saltmere/returns/?year={told.year}"
    for tail in ("", "names/", "check/"):
        yield f"/returns/{told.public_id}/{tail}"
    yield f"/questions/{told.current.questions.get().public_id}/answer/"


def tell(county):
    """Send last year's return, out of season, with a name to settle."""
    year = TODAY.year - 1
    names = ("cranesbill?", "Common knapweed", "YR", "dock")
    found = [{"label": str(n), "records": [{"name": name} for name in names[: 2 + n % 3]]} for n in range(6)]
    visits = [{"on": f"{year}-04-10", "quadrats": found}]
    row, _ = return_send(
        actor=county.as_(county.lead),
        project_id=county.projects["Paddock to hay"].public_id,
        asked=read_as(ReturnNew, {"year": year, "visits": visits}),
        now=TODAY,
    )
    return row


def faults(page):
    """What axe finds, with everything on the page folded out."""
    page.evaluate("document.querySelectorAll('details').forEach(part => part.open = true)")
    found = Axe().run(page).response["violations"]
    return [(fault["id"], [node["html"] for node in fault["nodes"]]) for fault in found]


def drawn(page):
    page.locator("#map .map-site").first.wait_for()


@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_everybody_can_use_every_page_and_nothing_hangs_over_the_edge(page, county, sign_in, viewport):
    page.set_viewport_size(viewport)
    sign_in(page.context, county.coordinator)
    project = county.projects["Paddock to hay"]
    WorkEntry.objects.create(project=project, on=TODAY.date(), what="cut", heads=3, person_minutes=90, note="Dry.")
    tell(county)
    for path in pages(county):
        assert page.goto(path).status == 200
        page.wait_for_load_state("networkidle")
        assert faults(page) == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"], path


def test_strangers_see_the_map_under_the_strict_policy(page, county):
    page.set_viewport_size(DESK)
    page.goto("/county/saltmere/")
    drawn(page)
    names = page.eval_on_selector_all("#map .map-site", "signs => signs.map(sign => sign.getAttribute('aria-label'))")
    assert len(names) == 4
    assert "Churchyard of Gullhaven: Planned, 180\u00a0m², TA 98 35 (square of 1 km)" in names
    assert page.locator("#map path.map-square").count() == 3
    assert page.locator("#map .frame").count() == 3
    assert page.locator("#legend .sign svg").count() == 6
    assert faults(page) == []


def test_a_site_on_the_map_is_opened_by_keyboard(page, county):
    page.goto("/county/saltmere/")
    drawn(page)
    sign = page.locator("#map .map-site[aria-label^='Long Paddock']")
    sign.focus()
    page.keyboard.press("Enter")
    link = page.locator(".leaflet-popup-content a", has_text="Long Paddock")
    link.wait_for()
    link.click()
    page.wait_for_url(f"**/sites/{county.sites['Long Paddock'].public_id}/")


def test_names_on_the_map_do_not_lie_on_each_other(page, county):
    page.goto("/county/saltmere/")
    drawn(page)
    boxes = page.evaluate(
        """[...document.querySelectorAll('.map-village span:not(.map-left-out)')].map(name => {
            const box = name.getBoundingClientRect();
            return [box.left, box.top, box.right, box.bottom];
        })"""
    )
    for i, one in enumerate(boxes):
        for other in boxes[i + 1 :]:
            assert one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]


def test_a_place_is_tapped_on_the_map(page, county, sign_in):
    page.set_viewport_size(PHONE)
    sign_in(page.context, county.lead)
    page.goto(f"/groups/{county.groups['Gullhaven Meadow Makers'].public_id}/sites/new/")
    page.locator("#map .map-county").wait_for()
    page.get_by_label("What do you call it?").fill("Dune slack")
    page.get_by_label("What kind of place is it?").select_option("field")
    page.get_by_label("How big is it?").fill("1.5 ha")
    page.get_by_label("Grid reference", exact=True).fill("somewhere")
    page.locator("#map").click(position={"x": 170, "y": 200})
    assert page.get_by_label("Grid reference", exact=True).input_value() == ""
    latitude = float(page.get_by_label("or latitude").input_value())
    assert 53.6 < latitude < 54.2
    page.get_by_role("button", name="Register the site").click()
    assert "Others see: a square of 1 km" in page.locator("#where").inner_text()
    site = Site.objects.get(name="Dune slack")
    assert (site.area_dm2, SitePlace.objects.get(site=site).given) == (1_500_000, "coordinates")


def test_a_line_of_the_diary_by_thumb(page, county, sign_in):
    page.set_viewport_size(PHONE)
    sign_in(page.context, county.member)
    page.goto(f"/projects/{county.projects['Paddock to hay'].public_id}/diary/new/")
    heights = page.evaluate(
        """[...document.querySelectorAll('main button, main summary, main select, main input:not([type=hidden])')]
            .filter(thing => thing.checkVisibility()).map(thing => thing.getBoundingClientRect().height)"""
    )
    assert len(heights) == 6
    assert min(heights) >= 44
    page.get_by_label("How many people came?").fill("5")
    page.get_by_label("Hours each").fill("2")
    page.get_by_role("button", name="Put it in the diary").dblclick()
    page.wait_for_url("**/diary/#line-*")
    assert "five people, 10 hours" in page.locator("li:target").inner_text()
    assert WorkEntry.objects.count() == 1


def test_the_whole_way_without_javascript(without_javascript, county, sign_in):
    page = without_javascript
    sign_in(page.context, county.lead)
    page.goto("/county/saltmere/")
    assert page.locator("#map").is_hidden()
    assert page.get_by_role("link", name="Long Paddock").is_visible()
    page.goto("/home/")
    page.get_by_role("link", name="Gullhaven Meadow Makers").click()
    page.get_by_role("link", name="Register a site").click()
    page.get_by_role("button", name="Register the site").click()
    assert "3 things to put right" in page.get_by_role("alert").inner_text()
    page.get_by_label("What do you call it?").fill("Lifeboat lawn")
    page.get_by_label("What kind of place is it?").select_option("green")
    page.get_by_label("How big is it?").fill("300")
    page.get_by_label("Grid reference", exact=True).fill("TA 98 35")
    page.get_by_role("button", name="Register the site").click()
    page.get_by_role("link", name="Begin a meadow project").click()
    page.get_by_label("What do you call it?").fill("Lawn to meadow")
    page.get_by_label("Take the usual plan").check()
    page.get_by_role("button", name="Begin").click()
    page.get_by_role("button", name="Make a forecast of today").click()
    assert page.get_by_role("heading", level=1).inner_text().startswith("Your 300")
    page.get_by_role("link", name="Lawn to meadow").click()
    page.get_by_role("link", name="It has moved on").click()
    page.get_by_label("Ready to start").check()
    page.get_by_role("button", name="Note it").click()
    assert "find out whether it is needed" in page.get_by_role("alert").inner_text()


def test_a_name_is_settled_by_thumb_without_javascript(without_javascript, county, sign_in, live_server):
    row = tell(county)
    page = without_javascript
    sign_in(page.context, county.member)
    page.goto(f"{live_server.url}/returns/{row.public_id}/")
    page.get_by_label("Meadow crane's-bill (Geranium pratense)", exact=False).check()
    page.get_by_label("Read it so in the group’s later returns", exact=False).check()
    page.get_by_role("button", name="Settle these names").click()
    page.get_by_text("One name is settled, and the walk judged anew.").wait_for()
    assert page.get_by_role("button", name="Agree it").count() == 0
    assert set(TaxonRecord.objects.filter(name="cranesbill?").values_list("taxon", flat=True)) == {"geranium_pratense"}
