"""The seed store in a real browser: over no edge on a phone, for everybody, and a sack counted by thumb."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.test import Client

from tests.projects.county import saltmere
from tests.projects.seed import lot, promise, promise_move
from tests.projects.services.test_counts import SIX, count, donor

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
PHONE, DESK = {"width": 390, "height": 844}, {"width": 1280, "height": 900}


@pytest.fixture
def scene(page, live_server):
    county = saltmere(sown=False)
    client = Client()
    client.force_login(county.coordinator)
    name = settings.SESSION_COOKIE_NAME
    page.context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": live_server.url}])
    row = lot(county, "Ness meadow 2026, brushed", 18_400.0)
    lot(county, "Damp loft", 900.0, state="drying")
    count(county, row, *SIX)
    owed = promise(county, row, 2_500.0, by="2026-12-01", note="Bring two tubs.")
    promise_move(county, owed, "handed_over", 1_000.0)
    return page, row, owed, donor(county)


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_pages_keep_within_the_screen_and_are_for_everybody(scene, size):
    page, row, owed, meadow = scene
    page.set_viewport_size(size)
    base, donors = "/county/saltmere/seed/", f"/county/saltmere/donors/{meadow.public_id}/"
    forms = ("", "count/", "count/?new=1", "germination/", "promise/", f"promises/{owed.public_id}/", "weigh/", "gone/")
    for path in (
        base,
        f"{base}new/",
        *(f"{base}{row.public_id}/{form}" for form in (*forms, "hold/")),
        *(f"{donors}{form}" for form in ("", "agree/", "harvest/")),
        f"/groups/{owed.group.public_id}/seed/",
    ):
        page.goto(path)
        assert page.evaluate("document.documentElement.scrollWidth") <= size["width"], path
        found = Axe().run(page).response["violations"]
        assert [(one["id"], [node["html"][:120] for node in one["nodes"]]) for one in found] == [], path


def test_a_sub_sample_is_kept_by_thumb_and_the_next_is_asked_for(scene):
    page, row, _, _ = scene
    page.set_viewport_size(PHONE)
    page.goto(f"/county/saltmere/seed/{row.public_id}/count/")
    field = page.get_by_label("Yellow rattle")
    assert field.bounding_box()["height"] >= 44
    field.fill("41")
    page.get_by_role("button", name="Keep it, and the next").click()
    assert "7 counted so far" in page.content()
    page.goto(f"/county/saltmere/seed/{row.public_id}/")
    assert "the sack is not well mixed" in page.content()


def test_a_blend_is_asked_for_by_thumb_and_its_answer_stands_first(scene):
    page, _, owed, _ = scene
    page.set_viewport_size(PHONE)
    page.goto(f"/projects/{owed.group.projects.get(name='Paddock to hay').public_id}/blend/")
    page.get_by_role("button", name="Find the blend").click()
    assert "m²" in page.locator("h1").inner_text()
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    found = Axe().run(page).response["violations"]
    assert [(one["id"], [node["html"][:120] for node in one["nodes"]]) for one in found] == []
