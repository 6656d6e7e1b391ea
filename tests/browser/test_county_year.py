"""The county's year in a real browser: for everybody, over no edge, without JavaScript, and on paper."""

import io

import pypdf
import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone

from tests.projects.county import saltmere
from tests.projects.rollups import PLANTS, meadow, send

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE, DESK = {"width": 390, "height": 844}, {"width": 1280, "height": 900}
YEAR = timezone.now().year - 1


@pytest.fixture
def county():
    found = saltmere()
    for number in range(3):
        name = f"Meadow {number}"
        meadow(found, name, f"{YEAR - 1}-09-01")
        squares = [{"label": "A", "records": [{"name": plant} for plant in PLANTS[: 6 + number]]}]
        send(found, name, YEAR, visits=[{"on": f"{YEAR}-06-20", "quadrats": squares}], cash_gbp=40.0, heads=2)
    return found


@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_everybody_can_read_the_report_and_nothing_hangs_over_the_edge(page, county, viewport):
    page.set_viewport_size(viewport)
    assert page.goto(f"/county/saltmere/year/{YEAR}/").status == 200
    page.locator("#map .map-site").first.wait_for()
    page.evaluate("document.querySelectorAll('details').forEach(part => part.open = true)")
    found = Axe().run(page).response["violations"]
    assert [(fault["id"], [node["html"] for node in fault["nodes"]]) for fault in found] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]
    charts = page.locator("svg.chart:visible")
    assert charts.count() == 2


def test_without_javascript_the_report_is_whole(chromium, live_server, county):
    context = chromium.new_context(base_url=live_server.url, java_script_enabled=False, viewport=PHONE)
    page = context.new_page()
    page.goto(f"/county/saltmere/year/{YEAR}/")
    assert page.locator("#map").is_hidden()
    page.get_by_text("The meadows in a table").click()
    assert page.get_by_role("row").filter(has_text="Meadow 1").first.is_visible()
    page.get_by_label("Kind of place").select_option("verge")
    page.get_by_role("button", name="Show these").click()
    assert "kind=verge" in page.url
    assert "no meadow" in page.locator("h1").inner_text()
    context.close()


def test_it_prints_as_the_summary_of_the_year(page, county):
    page.goto(f"/county/saltmere/year/{YEAR}/")
    document = pypdf.PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True)))
    text = " ".join(sheet.extract_text() for sheet in document.pages)
    assert "Money and hours" in text
    assert "Plan a meadow" not in text
    assert "Show these" not in text
    assert len(document.pages) <= 4
