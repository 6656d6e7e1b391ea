"""The seed store in a real browser: over no edge on a phone, for everybody, and a sack counted by thumb."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.test import Client

from tests.projects.county import saltmere
from tests.projects.seed import lot, promise
from tests.projects.services.test_counts import SIX, count

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
PHONE, DESK = {"width": 390, "height": 844}, {"width": 1280, "height": 900}


@pytest.fixture
def scene(page, live_server):
    county = saltmere(sown=False)
    client = Client()
    client.force_login(county.lead)
    name = settings.SESSION_COOKIE_NAME
    page.context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": live_server.url}])
    row = lot(county, "Ness meadow 2026, brushed", 18_400.0)
    lot(county, "Damp loft", 900.0, state="drying")
    count(county, row, *SIX)
    promise(county, row, 2_500.0)
    return page, row


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_pages_keep_within_the_screen_and_are_for_everybody(scene, size):
    page, row = scene
    page.set_viewport_size(size)
    base = "/county/saltmere/seed/"
    for path in (
        base,
        f"{base}{row.public_id}/",
        f"{base}{row.public_id}/count/",
        f"{base}{row.public_id}/count/?new=1",
    ):
        page.goto(path)
        assert page.evaluate("document.documentElement.scrollWidth") <= size["width"], path
        found = Axe().run(page).response["violations"]
        assert [(one["id"], [node["html"][:120] for node in one["nodes"]]) for one in found] == [], path


def test_a_sub_sample_is_kept_by_thumb_and_the_next_is_asked_for(scene):
    page, row = scene
    page.set_viewport_size(PHONE)
    page.goto(f"/county/saltmere/seed/{row.public_id}/count/")
    field = page.get_by_label("Yellow rattle")
    assert field.bounding_box()["height"] >= 44
    field.fill("41")
    page.get_by_role("button", name="Keep it, and the next").click()
    assert "7 counted so far" in page.content()
    page.goto(f"/county/saltmere/seed/{row.public_id}/")
    assert "the sack is not well mixed" in page.content()
