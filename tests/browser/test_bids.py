"""A group bids from a telephone: from the round it reads to the receipt, every page for everybody and over no edge."""

from datetime import timedelta

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.test import Client
from django.utils import timezone

from projects.models import Bid, BidSubmission
from tests.projects.grants import PANEL, YEWS, grants

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE = {"width": 390, "height": 844}


@pytest.fixture
def scene():
    return grants(closes_at=(timezone.now() + timedelta(days=10)).isoformat())


@pytest.fixture
def phone(page, scene, live_server):
    client = Client()
    client.force_login(scene.county.lead)
    name = settings.SESSION_COOKIE_NAME
    page.context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": live_server.url}])
    page.set_viewport_size(PHONE)
    return page


def fit(page):
    """What somebody cannot use on this page, or what hangs over its edge."""
    page.wait_for_load_state("networkidle")
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"], page.url
    found = Axe().run(page).response["violations"]
    assert [(fault["id"], [node["html"] for node in fault["nodes"]]) for fault in found] == [], page.url


def test_from_the_round_to_the_receipt(phone, scene):
    group = scene.county.projects[YEWS].group
    phone.goto(f"/groups/{group.public_id}/bids/")
    fit(phone)
    phone.get_by_role("link", name="What it asks").click()
    fit(phone)
    phone.get_by_role("link", name="Begin a bid for").click()
    phone.get_by_label("What shall it be called?").fill("Flowers under the yews")
    phone.get_by_label(YEWS).check()
    fit(phone)
    phone.get_by_role("button", name="Begin the draft").click()

    phone.get_by_label("What will be done, in a few sentences?").fill("Seed, and many mornings.")
    starts = PANEL.date() + timedelta(days=30)
    phone.get_by_label("First day of the work").fill(starts.isoformat())
    phone.get_by_label("Last day of the work").fill((starts + timedelta(days=600)).isoformat())
    phone.get_by_label("For how many years").fill("5")
    fit(phone)
    phone.get_by_role("button", name="on to budget").click()

    phone.get_by_label("What", exact=True).nth(0).fill("Seed")
    phone.get_by_label("How many").nth(0).fill("2")
    phone.get_by_label("Price of one").nth(0).fill("100")
    phone.get_by_label("VAT on the line").nth(0).fill("40")
    phone.get_by_label("Kind", exact=True).nth(0).select_option("seed")
    phone.get_by_label("Who pays", exact=True).nth(0).select_option("grant")
    phone.get_by_label("What", exact=True).nth(1).fill("Mornings")
    phone.get_by_label("How many").nth(1).fill("40")
    phone.get_by_label("Of what").nth(1).fill("h")
    phone.get_by_label("Price of one").nth(1).fill("15")
    phone.get_by_label("Kind", exact=True).nth(1).select_option("volunteers")
    phone.get_by_label("Who pays", exact=True).nth(1).select_option("in_kind")
    phone.get_by_label("Skill").nth(1).select_option("unskilled")
    fit(phone)
    phone.get_by_role("button", name="on to stages").click()

    # 2 × £100 with £40 VAT
    phone.get_by_text("The round is to pay £240.").wait_for()
    phone.get_by_label("What is done by then").nth(0).fill("Sown")
    phone.get_by_label("By when").nth(0).fill((starts + timedelta(days=60)).isoformat())
    phone.get_by_label("How much is asked for then").nth(0).fill("240")
    fit(phone)
    phone.get_by_role("button", name="on to promises").click()

    phone.get_by_label("What", exact=True).nth(0).select_option("species_per_m2")
    phone.get_by_label("How many").nth(0).fill("9")
    phone.get_by_label("By the end of which year").nth(0).fill("2031")
    fit(phone)
    phone.get_by_role("button", name="on to papers").click()

    phone.get_by_label("Yes, we can show it").check()
    fit(phone)
    phone.get_by_role("button", name="Save the draft").click()

    phone.get_by_text("It can be handed in.").wait_for()
    fit(phone)
    phone.get_by_role("link", name="Look it over and hand it in").click()
    fit(phone)
    phone.get_by_role("button", name="Hand it in").click()
    phone.get_by_text("This page is your receipt.").wait_for()
    fit(phone)
    sent = BidSubmission.objects.get()
    assert phone.get_by_text(sent.checksum).count() >= 1
    assert Bid.objects.get().asked_pence == 24_000
    phone.goto(f"/bids/{sent.bid.public_id}/")
    fit(phone)
    phone.get_by_role("link", name="Withdraw it").click()
    fit(phone)


def test_a_fault_is_told_beside_its_field_and_nothing_typed_is_lost(chromium, scene, live_server):
    bid = scene.bid()
    client = Client()
    client.force_login(scene.county.lead)
    # a page of its own: Chromium logs the refusal, which is wanted here
    context = chromium.new_context(base_url=live_server.url, viewport=PHONE)
    name = settings.SESSION_COOKIE_NAME
    context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": live_server.url}])
    page = context.new_page()
    page.goto(f"/bids/{bid.public_id}/edit/budget/")
    page.get_by_label("What", exact=True).nth(2).fill("Rakes & sacks")
    page.get_by_label("How many").nth(2).fill("2 or 3")
    page.get_by_role("button", name="Save the draft").click()
    page.get_by_text("“2 or 3” is not a number").first.wait_for()
    assert page.get_by_label("What", exact=True).nth(2).input_value() == "Rakes & sacks"
    fit(page)
    context.close()
    assert bid.lines.count() == 2


def test_an_offer_is_accepted_and_paid_by_thumb(phone, scene):
    bid = scene.handed_in()
    scene.round.closes_at = timezone.now() - timedelta(hours=1)
    scene.round.save(update_fields=["closes_at"])
    scene.move("panel", timezone.now())
    scene.decide(bid, now=timezone.now())
    award = scene.award(bid)
    phone.goto(f"/bids/{bid.public_id}/letter/")
    fit(phone)
    phone.goto(f"/bids/{bid.public_id}/")
    phone.get_by_role("link", name="Answer the offer").click()
    fit(phone)
    phone.get_by_role("link", name="Accept or decline", exact=True).click()
    phone.get_by_label("We accept it").check()
    phone.get_by_label("In which accounting year").fill("2026-27")
    fit(phone)
    phone.get_by_role("button", name="Send the answer").click()
    phone.get_by_text("of which £0 are paid and £600 can still be asked for").wait_for()
    phone.get_by_role("link", name="Ask for a payment").click()
    phone.get_by_label("What shows that it was done?").fill("Sown by twelve people on a dry Saturday.")
    fit(phone)
    phone.get_by_role("button", name="Ask for it").click()
    phone.get_by_text("£300 asked for, not paid yet").wait_for()
    for tail in ("change", "report"):
        phone.goto(f"/awards/{award.public_id}/{tail}/")
        fit(phone)
    phone.goto(f"/county/{scene.county.network.slug}/rounds/")
    fit(phone)
    phone.goto(f"/rounds/{scene.round.public_id}/")
    fit(phone)
