"""A grant round in a real browser: scored, an interest declared, a bid pinned, a decision published; for everybody."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.test import Client
from django.utils import timezone

from projects.contracts.base import read_as
from projects.contracts.bids import NoteNew
from projects.contracts.decisions import AwardMove, PaymentNew
from projects.models import Decision, Interest, Review, RoundChoice
from projects.services import appraisals, awards, jobs, reviews
from tests.projects.grants import AFTER, LATER, PANEL, VERGE, YEWS, grants

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE, DESK = {"width": 390, "height": 844}, {"width": 1280, "height": 900}


@pytest.fixture
def scene():
    found = grants(announced=True)
    for name, pounds in ((YEWS, 600.0), (VERGE, 500.0)):
        found.handed_in(name, pounds, narrative="We are many, and the mower is ours.")
    return found


def sign_in(page, live_server, user):
    client = Client()
    client.force_login(user)
    name = settings.SESSION_COOKIE_NAME
    page.context.clear_cookies()
    page.context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": live_server.url}])


def work():
    jobs.jobs_run_due(clock=timezone.now)


def everything_done(scene):
    """Bids scored, appraised, chosen among, one decided, accepted and asking for money, one draft beside."""
    for user, scores in ((scene.assessor, (5, 4)), (scene.second, (2, 3))):
        for bid in scene.bids.values():
            scene.review(user, bid, *scores)
    scene.move("panel", PANEL)
    appraisals.appraisals_ask(actor=scene.fund, round_id=scene.round.public_id, now=AFTER)
    asked = read_as(appraisals.ChoiceNew, {})
    appraisals.choice_ask(actor=scene.fund, round_id=scene.round.public_id, asked=asked, now=AFTER)
    work()
    yews, verge = scene.bids[YEWS], scene.bids[VERGE]
    reviews.note_add(actor=scene.fund, bid_id=yews.public_id, asked=NoteNew(text="Ask about the gate."), now=PANEL)
    scene.decide(yews, "full")
    award = scene.award(yews)
    awards.award_move(
        actor=scene.leader(YEWS), public_id=award.public_id,
        asked=AwardMove(to="accepted", accounting_year="2026-27"), if_version=None, now=PANEL,
    )  # fmt: skip
    asked = read_as(PaymentNew, {"stage": 1, "amount_gbp": 300.0, "evidence": "Eleven came."})
    payment = awards.payment_ask(actor=scene.leader(YEWS), award_id=award.public_id, asked=asked, now=LATER)
    draft = scene.decide(verge, "refused", reason="The pot did not reach.", publish=False)
    return award, payment, draft


@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_everybody_can_use_the_pages_and_nothing_hangs_over_the_edge(page, live_server, scene, viewport):
    award, payment, draft = everything_done(scene)
    sign_in(page, live_server, scene.manager)
    page.set_viewport_size(viewport)
    at, bid = f"/fund/rounds/{scene.round.public_id}/", f"/fund/bids/{scene.bids[YEWS].public_id}/"
    addresses = [
        "/fund/", at, f"{at}edit/", f"{at}interest/", f"{at}panel/", f"{at}choose/",
        f"/fund/choices/{RoundChoice.objects.get().public_id}/", "/fund/county/saltmere/new/",
        "/fund/county/saltmere/money/", bid, f"{bid}note/", f"{bid}seen/", f"{bid}decide/",
        f"/fund/decisions/{draft.public_id}/", f"/fund/decisions/{draft.public_id}/publish/",
        f"/fund/awards/{award.public_id}/", f"/fund/awards/{award.public_id}/move/",
        f"/fund/awards/{award.public_id}/money-back/", f"/fund/payments/{payment.public_id}/",
    ]  # fmt: skip
    for path in addresses:
        look(page, path, viewport)
    sign_in(page, live_server, scene.assessor)
    look(page, f"{bid}score/", viewport)


def look(page, path, viewport):
    assert page.goto(path).status == 200, path
    page.wait_for_load_state("networkidle")
    found = Axe().run(page).response["violations"]
    assert [(fault["id"], [node["html"] for node in fault["nodes"]]) for fault in found] == [], path
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"], path


def test_a_bid_is_scored_by_thumb_and_an_interest_takes_another_away(page, live_server, scene):
    sign_in(page, live_server, scene.assessor)
    page.set_viewport_size(PHONE)
    at = f"/fund/rounds/{scene.round.public_id}/"
    page.goto(at)
    page.get_by_text("Two of two bids wait for your scores.").wait_for()
    page.get_by_role("link", name=f"Flowers: {YEWS}").click()
    page.get_by_role("link", name="Score it").click()
    page.get_by_label("Why, for Flowers").fill("Cowslips nearby.")
    page.get_by_role("group", name="Flowers: 0 to 5").get_by_label("4", exact=True).check()
    page.get_by_role("button", name="Keep as a draft").click()
    page.get_by_text("Kept as a draft").wait_for()
    assert Review.objects.get().sent_at is None
    page.get_by_role("group", name="People: 0 to 4").get_by_label("3", exact=True).check()
    page.get_by_role("button", name="Send for good").click()
    # three parts of 4 in 5, and one part of 3 in 4: 78.75
    page.get_by_text("78.8 of 100").wait_for()
    assert Review.objects.get().sent_at is not None
    page.goto(f"/fund/bids/{scene.bids[VERGE].public_id}/")
    page.get_by_role("link", name="I am near to this group").click()
    page.get_by_role("button", name="Declare it for good").click()
    page.get_by_text("You have scored the only bid.").wait_for()
    assert Interest.objects.get().group == scene.bids[VERGE].group
    assert VERGE not in page.content()


def test_a_manager_pins_and_publishes(page, live_server, scene):
    sign_in(page, live_server, scene.manager)
    page.goto(f"/fund/rounds/{scene.round.public_id}/")
    page.get_by_role("button", name="Open the panel").click()
    page.get_by_role("link", name="What the pot could buy").first.click()
    page.get_by_text("Nothing has been worked out yet.").wait_for()
    page.get_by_label(f"Hold it: bid 2, Flowers: {VERGE}").select_option(label="Held in")
    page.get_by_role("button", name="Work it out").click()
    page.get_by_text("is waiting to be worked out").wait_for()
    work()
    page.get_by_role("link", name="Look again").click()
    page.get_by_role("link", name="Read it").click()
    page.get_by_role("heading", name="What the pot could buy").wait_for()
    page.get_by_text("Held in, which costs").wait_for()
    page.goto(f"/fund/bids/{scene.bids[VERGE].public_id}/decide/")
    page.get_by_label("Awarded in full").check()
    page.get_by_role("button", name="Keep it").click()
    page.get_by_role("link", name="Look once more and publish").click()
    page.get_by_text("This takes £500 of the £1,000 that are free").wait_for()
    page.get_by_role("button", name="Publish it").click()
    page.get_by_text("The decision is published").wait_for()
    assert Decision.objects.get().state == "published"
