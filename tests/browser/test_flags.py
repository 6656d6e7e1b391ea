"""From a telephone: what an appraisal asks is put to a group and answered, a paper added, a visit noted and read."""

from datetime import timedelta

import pytest
from django.utils import timezone

from projects.contracts.base import read_as
from projects.contracts.decisions import AwardMove
from projects.models import AwardVisit, FlagAnswer, GrantRound
from projects.services import appraisals, awards, jobs
from tests.browser.test_bids import fit
from tests.browser.test_fund_pages import PHONE, sign_in
from tests.projects.grants import VERGE, YEWS, grants

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def scene():
    found = grants(closes_at=(timezone.now() + timedelta(days=10)).isoformat())
    for name in (YEWS, VERGE):
        found.handed_in(name)
    return found


def test_asked_answered_and_visited(page, live_server, scene):
    bid = scene.bids[YEWS]
    draft = scene.bid(YEWS)
    page.set_viewport_size(PHONE)
    sign_in(page, live_server, scene.county.lead)
    page.goto(f"/bids/{draft.public_id}/edit/papers/")
    page.get_by_label("Add a paper").set_input_files(
        files=[{"name": "quote.pdf", "mimeType": "application/pdf", "buffer": b"abc"}]
    )
    page.get_by_role("button", name="Save the draft").click()
    page.get_by_text("quote.pdf, 3").wait_for()
    page.goto(f"/bids/{draft.public_id}/edit/papers/")
    fit(page)

    GrantRound.objects.filter(pk=scene.round.pk).update(closes_at=timezone.now() - timedelta(hours=1))
    appraisals.appraisals_ask(actor=scene.fund, round_id=scene.round.public_id, now=timezone.now())
    jobs.jobs_run_due(clock=timezone.now)
    sign_in(page, live_server, scene.manager)
    page.goto(f"/fund/bids/{bid.public_id}/")
    page.get_by_role("link", name="Put them to the group").click()
    fit(page)
    page.get_by_role("button", name="Put them to the group").click()
    page.get_by_text("Put to the group on").wait_for()
    sign_in(page, live_server, scene.county.lead)
    page.goto(f"/bids/{bid.public_id}/")
    fit(page)
    page.get_by_role("link", name="Answer it").first.click()
    fit(page)
    page.get_by_label("What does your group say to it?").fill("A farm gives the seed.")
    page.get_by_role("button", name="Send the answer").click()
    page.get_by_text("You answered: A farm gives the seed.").wait_for()
    assert FlagAnswer.objects.get().text == "A farm gives the seed."
    sign_in(page, live_server, scene.assessor)
    page.goto(f"/fund/bids/{bid.public_id}/")
    page.get_by_text("The group answers: A farm gives the seed.").wait_for()
    fit(page)

    scene.move("panel", timezone.now())
    scene.decide(bid, now=timezone.now())
    award = scene.award(bid)
    said = read_as(AwardMove, {"to": "accepted", "accounting_year": "2026-27"})
    awards.award_move(
        actor=scene.leader(YEWS), public_id=award.public_id, asked=said, if_version=None, now=timezone.now()
    )
    page.goto(f"/fund/awards/{award.public_id}/visit/")
    fit(page)
    page.get_by_label("What was seen").fill("Rattle in seed.")
    page.get_by_role("button", name="Note it").click()
    page.get_by_text("Rattle in seed.").wait_for()
    fit(page)
    assert AwardVisit.objects.get().by_role == "assessor"
    sign_in(page, live_server, scene.county.lead)
    page.goto(f"/awards/{award.public_id}/")
    page.get_by_text("Rattle in seed.").wait_for()
    fit(page)
