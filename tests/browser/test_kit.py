"""Kit by thumb: the scarifier is asked for, a clash is explained, and every page holds for everybody."""

from datetime import timedelta

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.test import Client
from django.utils import timezone

from projects.models import KitBooking
from tests.projects.county import saltmere
from tests.projects.kit import VERGE, YEWS, book, fault, scarifier, show
from tests.projects.plugs import batch, donor, hay, note, promise

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE, DESK = {"width": 390, "height": 844}, {"width": 1280, "height": 900}
NOW = timezone.now()
DAY = timezone.localdate() + timedelta(days=12)


@pytest.fixture
def county():
    return saltmere()


def sign_in(page, person, live_server):
    client = Client()
    client.force_login(person)
    name = settings.SESSION_COOKIE_NAME
    page.context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": live_server.url}])


def holds(page, width, path):
    page.wait_for_load_state("networkidle")
    found = Axe().run(page).response["violations"]
    assert [(fault["id"], [node["html"] for node in fault["nodes"]]) for fault in found] == [], path
    assert page.evaluate("document.documentElement.scrollWidth") <= width, path


def test_the_scarifier_is_asked_for_on_a_phone_and_a_clash_is_explained(chromium, county, live_server):
    # a page of its own: a refused form answers 422, which a browser's console calls an error
    context = chromium.new_context(base_url=live_server.url, locale="en-GB", timezone_id="Europe/London")
    page = context.new_page()
    item = scarifier(county)
    for who in ("lead", "neighbour"):
        show(county, item, who, may_show=True)
    book(county, item, "neighbour", VERGE, on=DAY, now=NOW)
    sign_in(page, county.lead, live_server)
    page.set_viewport_size(PHONE)
    page.goto(f"/county/{county.network.slug}/kit/")
    page.get_by_role("link", name="The scarifier").click()
    page.get_by_label("From which day?").fill(DAY.isoformat())
    page.get_by_role("button", name="Look").click()
    page.get_by_text("No: The scarifier is with Brackwater Verges").wait_for()
    holds(page, PHONE["width"], "the answer")
    page.get_by_role("link", name="Ask for it").click()
    page.get_by_label("For which meadow?").select_option(label=f"{YEWS}, Gullhaven Meadow Makers")
    page.get_by_label("From which day?").fill(DAY.isoformat())
    page.get_by_label("What for, and who fetches it?").fill("Moss under the yews.")
    page.get_by_role("button", name="Ask for it").click()
    told = page.get_by_role("alert")
    told.get_by_text("The scarifier is with Brackwater Verges").wait_for()
    # nothing typed is lost
    assert page.get_by_label("What for, and who fetches it?").input_value() == "Moss under the yews."
    holds(page, PHONE["width"], "the clash")
    page.get_by_label("From which day?").fill((DAY + timedelta(days=2)).isoformat())
    page.get_by_role("button", name="Ask for it").click()
    page.get_by_role("status").get_by_text("The scarifier is asked for").wait_for()
    holds(page, PHONE["width"], "the booking")
    assert KitBooking.objects.filter(group__name="Gullhaven Meadow Makers").count() == 1
    context.close()


@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_everybody_can_use_the_pages_and_nothing_hangs_over_the_edge(page, county, live_server, viewport):
    item = scarifier(county)
    show(county, item)
    booking = book(county, item, on=DAY, now=NOW)
    fault(county, item, out_of_use_from=(DAY + timedelta(days=9)).isoformat())
    plants = note(county, batch(county), "pricked_out", 90)
    promise(county, plants, 40)
    day = hay(county, donor(county), cut_on=DAY.isoformat(), hours_to_spread=30.0, now=NOW)
    sign_in(page, county.coordinator, live_server)
    page.set_viewport_size(viewport)
    root = f"/county/{county.network.slug}"
    at = f"{root}/kit/{item.public_id}"
    for path in (
        f"{root}/kit/", f"{root}/kit/calendar/", f"{root}/kit/new/", f"{at}/?on={DAY}", f"{at}/book/", f"{at}/edit/",
        f"{at}/fault/", f"{at}/shown/", f"/kit-bookings/{booking.public_id}/",
        f"/kit-bookings/{booking.public_id}/cancel/", f"/groups/{booking.group.public_id}/kit/", f"{root}/plugs/",
        f"{root}/plugs/new/", f"{root}/plugs/{plants.public_id}/", f"{root}/plugs/{plants.public_id}/note/",
        f"{root}/plugs/{plants.public_id}/promise/", f"{root}/green-hay/", f"{root}/green-hay/new/",
        f"/green-hay/{day.public_id}/", f"/projects/{booking.project.public_id}/",
    ):  # fmt: skip
        assert page.goto(path).status == 200
        holds(page, viewport["width"], path)
