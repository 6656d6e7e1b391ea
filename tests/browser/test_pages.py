"""The pages in a real browser: on a phone and on a desk, without JavaScript, on paper."""

import io

import pypdf
import pytest
from axe_playwright_python.sync_playwright import Axe

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

CHURCHYARD = (
    "area_m2=180&kind=churchyard&sward=rank_grass&volunteers=8&hours_per_session=3&budget_gbp=150"
    "&kit_to_hand=pedestrian_scarifier&as_of=2026-08-15"
)
FIELD = "area_m2=20000&kind=field&last_use=grazing&olsen_p_mg_per_l=31&as_of=2026-08-15"
PATCH = "area_m2=0.9&kind=garden&mix_1=neutral_flowers_with_rattle&mix_1_g=3&as_of=2026-08-15"
PATHS = [
    "/",
    "/plan/",
    f"/estimate/?{CHURCHYARD}",
    f"/estimate/?{FIELD}",
    f"/estimate/?{PATCH}",
    f"/estimate/plan-sheet/?{CHURCHYARD}",
    f"/estimate/sowing-day/?{CHURCHYARD}",
    "/how-we-know/",
    "/how-we-know/taxon_values/?q=rattle",
    "/how-we-know/sources/",
    "/problems/too_costly/",
]
PHONE, DESK = {"width": 390, "height": 844}, {"width": 1280, "height": 900}


@pytest.fixture
def without_javascript(chromium, live_server):
    """A page of a browser that runs no JavaScript."""
    context = chromium.new_context(base_url=live_server.url, java_script_enabled=False, viewport=PHONE)
    yield context.new_page()
    context.close()


def faults(page):
    """Return what axe finds serious or worse, with everything on the page folded out."""
    page.evaluate("document.querySelectorAll('details').forEach(part => part.open = true)")
    found = Axe().run(page).response["violations"]
    return [
        (fault["id"], [node["html"] for node in fault["nodes"]])
        for fault in found
        if fault["impact"] in {"serious", "critical"}
    ]


@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize("path", PATHS)
def test_everybody_can_use_it_and_nothing_hangs_over_the_edge(page, path, viewport):
    page.set_viewport_size(viewport)
    page.goto(path)
    assert faults(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]


def test_the_form_with_faults_in_it_can_be_used_by_everybody(chromium, live_server):
    # A page of its own: Chromium logs the status 422 as an error, which the other fixture forbids.
    context = chromium.new_context(base_url=live_server.url, viewport=PHONE)
    page = context.new_page()
    assert page.goto("/estimate/?area_m2=lots&soil_ph=12&sward=meadow&mix_1_g=3").status == 422
    assert faults(page) == []
    page.get_by_role("alert").get_by_role("link", name="Soil pH").click()
    assert page.evaluate("document.activeElement.name || location.hash") in {"soil_ph", "#id_soil_ph"}
    context.close()


@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_of_each_chart_the_drawing_that_fits_is_shown(page, viewport):
    page.set_viewport_size(viewport)
    page.goto(f"/estimate/?{CHURCHYARD}")
    shown = "chart-narrow" if viewport is PHONE else "chart-wide"
    classes = page.evaluate(
        "[...document.querySelectorAll('svg.chart')].filter(c => c.checkVisibility()).map(c => c.getAttribute('class'))"
    )
    assert classes == [f"chart {shown}"] * 7


def test_words_in_charts_are_at_least_12_pixels_high(page):
    page.set_viewport_size(PHONE)
    page.goto(f"/estimate/?{CHURCHYARD}")
    smallest = page.evaluate(
        """Math.min(...[...document.querySelectorAll('svg.chart-narrow text')].map(
            words => parseFloat(getComputedStyle(words).fontSize) * words.getScreenCTM().a))"""
    )
    assert smallest >= 12


def test_the_whole_way_without_javascript(without_javascript):
    page = without_javascript
    page.goto("/")
    page.get_by_label("How big is the ground?").fill("180")
    page.get_by_role("button", name="Tell me what it takes").click()
    assert page.get_by_role("heading", level=1).inner_text().startswith("Your 180")
    page.get_by_role("link", name="Change the plan").click()
    assert page.get_by_label("How big is the ground?").input_value() == "180"
    page.get_by_label("Rank grass").check()
    page.get_by_text("Seed and plugs").click()
    page.get_by_label("Plant 1", exact=True).fill("yellow rattle")
    page.get_by_label("g of plant 1", exact=True).fill("a pinch")
    page.get_by_role("button", name="Work it out").first.click()
    assert "One thing to put right" in page.get_by_role("alert").inner_text()
    assert page.get_by_label("g of plant 1", exact=True).input_value() == "a pinch"
    page.get_by_label("g of plant 1", exact=True).fill("0.18 kg")
    page.get_by_role("button", name="Work it out").first.click()
    assert "180 g of yellow rattle" in page.locator("#seed").inner_text().replace("\u00a0", " ")


def test_changing_the_area_moves_the_numbers(page):
    page.goto(f"/estimate/?{CHURCHYARD}")
    before = page.get_by_role("heading", level=1).inner_text()
    page.get_by_label("Another size?").fill("360")
    page.get_by_role("button", name="Work it out again").click()
    after = page.get_by_role("heading", level=1).inner_text()
    assert before != after
    assert after.startswith("Your 360")
    assert "kind=churchyard" in page.url


def test_the_form_can_be_filled_by_keyboard_alone(page):
    page.goto("/plan/")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the text"
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.type("400")
    page.keyboard.press("Enter")
    page.wait_for_url("**/estimate/?area_m2=400&as_of=*")


def test_things_to_touch_are_thumb_sized(page):
    page.set_viewport_size(PHONE)
    page.goto("/plan/")
    heights = page.evaluate(
        """[...document.querySelectorAll('button, summary, .choice, select, input[type=text], nav a')]
            .filter(thing => thing.checkVisibility()).map(thing => thing.getBoundingClientRect().height)"""
    )
    assert min(heights) >= 40


@pytest.mark.parametrize("query", [CHURCHYARD, FIELD, PATCH], ids=["churchyard", "field", "patch"])
@pytest.mark.parametrize(("sheet", "sides"), [("plan-sheet", 2), ("sowing-day", 1)])
def test_sheets_fit_their_paper_and_bear_their_recipe(page, query, sheet, sides):
    page.goto(f"/estimate/{sheet}/?{query}")
    paper = pypdf.PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True)))
    assert len(paper.pages) == sides
    for side in paper.pages:
        assert (round(float(side.mediabox.width)), round(float(side.mediabox.height))) == (595, 842)  # A4 in points
        text = side.extract_text().replace("\u00a0", " ")
        assert "Made for 15 August 2026 by Forbcast" in text
        assert "Plan a meadow" not in text


def test_the_call_for_programs_can_be_copied(page):
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.goto(f"/estimate/?{CHURCHYARD}")
    page.get_by_text("The same from a program").click()
    page.get_by_role("button", name="Copy").click()
    page.get_by_role("button", name="Copied").wait_for()
    assert '"kind": "churchyard"' in page.evaluate("navigator.clipboard.readText()")
