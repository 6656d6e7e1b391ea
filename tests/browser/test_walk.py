"""A summer walk typed on a phone: the signal goes, the page is opened again, and one return comes of it."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.test import Client
from django.utils import timezone

from projects.models import OutcomeReturn, ReturnVersion, TaxonRecord
from tests.projects.county import saltmere

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE = {"width": 390, "height": 844}
TODAY = timezone.now()


@pytest.fixture
def county():
    return saltmere(TODAY)


@pytest.fixture
def phone(chromium, live_server, county):
    """A member's phone, and its open page."""
    context = chromium.new_context(base_url=live_server.url, viewport=PHONE, locale="en-GB", has_touch=True)
    client = Client()
    client.force_login(county.member)
    name = settings.SESSION_COOKIE_NAME
    context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": live_server.url}])
    yield context.new_page()
    context.close()


@pytest.fixture
def address(county):
    return f"/projects/{county.projects['Paddock to hay'].public_id}/walk/{TODAY.year}/"


def kept(page):
    """Drafts that this device holds."""
    return page.evaluate("Object.keys(localStorage).filter((key) => key.startsWith('forbcast-walk:')).length")


def type_in(page):
    page.get_by_label("Day of the walk").fill(f"{TODAY:%Y-%m-%d}")
    page.get_by_label("Other plants seen").fill("cranesbill?\nladys bedstraw\nYR ++")
    page.locator("summary", has_text="if you laid some").click()
    page.locator("summary", has_text="Quadrat 1").first.click()
    page.locator("[name=q0-plants]").fill("Common knapweed\ndock")
    page.locator("[name=q0-bare]").fill("5")


def test_typed_cut_off_opened_again_and_sent_it_is_one_return_with_everything(phone, address):
    phone.goto(address)
    # the form is on the phone before the signal goes
    phone.locator("#walk[data-kept]").wait_for(state="attached")
    type_in(phone)
    phone.context.set_offline(True)
    phone.get_by_role("button", name="Send the summer").click()
    phone.locator("#walk-state", has_text="No signal. It is kept on this device").wait_for()
    assert not OutcomeReturn.objects.exists()

    phone.reload()
    phone.locator("#walk-state", has_text="still to be sent").wait_for()
    assert phone.get_by_label("Other plants seen").input_value() == "cranesbill?\nladys bedstraw\nYR ++"
    assert phone.locator("[name=q0-plants]").input_value() == "Common knapweed\ndock"
    assert kept(phone) == 1

    phone.context.set_offline(False)
    phone.evaluate("dispatchEvent(new Event('online'))")
    phone.wait_for_url("**/returns/*/")
    assert kept(phone) == 0
    row = OutcomeReturn.objects.get()
    assert ReturnVersion.objects.count() == 1
    names = sorted(TaxonRecord.objects.filter(version_of=row.current).values_list("name", flat=True))
    assert names == ["Common knapweed", "YR ++", "cranesbill?", "dock", "ladys bedstraw"]


def test_an_answer_that_is_lost_on_its_way_makes_no_second_return(phone, address):
    phone.goto(address)
    type_in(phone)

    def lost(route):
        route.fetch()
        route.abort()

    phone.route(f"**{address}", lambda route: lost(route) if route.request.method == "POST" else route.continue_())
    phone.get_by_role("button", name="Send the summer").click()
    phone.locator("#walk-state", has_text="No signal").wait_for()
    assert ReturnVersion.objects.count() == 1
    phone.unroute(f"**{address}")
    phone.get_by_role("button", name="Send the summer").click()
    phone.wait_for_url("**/returns/*/")
    assert ReturnVersion.objects.count() == 1
    assert kept(phone) == 0


def test_what_is_typed_survives_a_closed_page_and_can_be_thrown_away(phone, address):
    phone.goto(address)
    phone.get_by_label("Other plants seen").fill("red clover")
    phone.goto("/home/")
    phone.goto(address)
    phone.locator("#walk-state", has_text="is back").wait_for()
    assert phone.get_by_label("Other plants seen").input_value() == "red clover"
    phone.get_by_role("button", name="Throw it away").click()
    phone.wait_for_function("document.querySelector('[name=also]').value === ''")
    assert kept(phone) == 0


def test_signed_out_in_the_meantime_it_stays_and_asks_to_sign_in(phone, address):
    phone.goto(address)
    type_in(phone)
    phone.context.clear_cookies()
    phone.get_by_role("button", name="Send the summer").click()
    phone.get_by_role("link", name="Sign in and send it again.").wait_for()
    assert kept(phone) == 1
    assert not OutcomeReturn.objects.exists()


def test_what_is_wrong_is_told_beside_its_field_and_the_draft_stays(phone, address):
    phone.goto(address)
    type_in(phone)
    phone.locator("[name=q0-bare]").fill("140")
    phone.get_by_role("button", name="Send the summer").click()
    phone.locator("#id_q0-bare_error").wait_for()
    phone.locator("[name=q0-bare]").fill("14")
    phone.get_by_role("button", name="Send the summer").click()
    phone.wait_for_url("**/returns/*/")
    assert kept(phone) == 0


def test_signing_out_warns_while_something_waits(phone, address):
    phone.goto(address)
    phone.get_by_label("Other plants seen").fill("red clover")
    asked = []

    def stay(dialog):
        asked.append(dialog.message)
        dialog.dismiss()

    phone.on("dialog", stay)
    phone.goto("/account/")
    phone.get_by_role("button", name="Sign out").click()
    assert "not sent yet" in asked[0]
    assert phone.url.endswith("/account/")


@pytest.mark.parametrize("width", [390, 1280])
def test_the_form_and_the_sheet_can_be_used_by_everybody(phone, address, width):
    phone.set_viewport_size({"width": width, "height": 900})
    for path in (address, f"{address}sheet/"):
        phone.goto(path)
        if path == address:
            for summary in phone.locator("form summary").all()[:3]:
                summary.click()
        found = Axe().run(phone)
        assert found.violations_count == 0, found.generate_report()
        assert phone.evaluate("document.documentElement.scrollWidth") <= width
