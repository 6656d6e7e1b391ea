"""Flags on pages: put to a group, read and answered by it, beside the flag for those who read the bid; visits."""

from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from projects.contracts.base import read_as
from projects.contracts.decisions import AwardMove
from projects.models import AwardVisit, GrantRound
from projects.selectors.appraisals import latest_appraisals
from projects.selectors.flags import flags_of
from projects.services import appraisals, awards, jobs
from tests.projects.dashboard.conftest import Page
from tests.projects.grants import YEWS, grants

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def scene():
    found = grants(closes_at=(timezone.now() + timedelta(days=10)).isoformat())
    found.handed_in(YEWS)
    GrantRound.objects.filter(pk=found.round.pk).update(closes_at=timezone.now() - timedelta(hours=1))
    return found


def browser(user):
    client = Client()
    client.force_login(user)
    return client


def page_of(answer, status=200):
    assert answer.status_code == status, Page(answer.content.decode()).text[:500]
    return Page(answer.content.decode())


def hrefs(page):
    return {attrs.get("href") for tag, attrs in page.tags if tag == "a"}


def test_flags_are_put_read_and_answered(scene):
    bid = scene.bids[YEWS]
    appraisals.appraisals_ask(actor=scene.fund, round_id=scene.round.public_id, now=timezone.now())
    jobs.jobs_run_due(clock=timezone.now)
    first = flags_of(latest_appraisals([bid])[bid.pk])[0]
    fund, lead, ours = browser(scene.manager), browser(scene.county.lead), f"/bids/{bid.public_id}/"
    theirs = f"/fund/bids/{bid.public_id}/"
    # before that the group does not see its appraisal
    assert first["sentence"] not in page_of(lead.get(ours)).text
    page_of(lead.get(f"{ours}flags/1/"), 404)
    assert f"{theirs}put/" in hrefs(page_of(fund.get(theirs)))
    assert "They see nothing else of the appraisal" in page_of(fund.get(f"{theirs}put/")).text
    assert fund.post(f"{theirs}put/").headers["Location"] == f"{theirs}#flags"
    assert "This was put to the group already." in page_of(fund.post(f"{theirs}put/"), 422).text
    page = page_of(lead.get(ours))
    assert first["sentence"] in page.text
    assert first["source"] in page.text
    assert "no answer yet" in page.text
    assert "Modelled" not in page.text
    # nothing said: what is there to do stands beside the field
    assert "has to be filled in" in page_of(lead.post(f"{ours}flags/1/", {"text": " "}), 422).text
    said = lead.post(f"{ours}flags/1/", {"text": "A farm gives the seed."})
    assert said.headers["Location"] == f"{ours}#flag-1"
    assert "You answered: A farm gives the seed." in page_of(lead.get(ours)).text
    lead.post(f"{ours}flags/1/", {"text": "Two farms give it."})
    for reader in (fund, browser(scene.assessor)):
        text = page_of(reader.get(theirs)).text
        assert "The group answers: Two farms give it." in text
        assert "A farm gives the seed." in text
        assert "No answer by the group yet." in text


def test_a_visit_is_noted_by_the_funder_and_read_by_the_group(scene):
    scene.move("panel", timezone.now())
    scene.decide(scene.bids[YEWS], now=timezone.now())
    award = scene.award(scene.bids[YEWS])
    said = read_as(AwardMove, {"to": "accepted", "accounting_year": "2026-27"})
    awards.award_move(
        actor=scene.leader(YEWS), public_id=award.public_id, asked=said, if_version=None, now=timezone.now()
    )
    fund, theirs = browser(scene.manager), f"/fund/awards/{award.public_id}/"
    assert f"{theirs}visit/" in hrefs(page_of(fund.get(theirs)))
    today = timezone.localdate()
    tomorrow = (today + timedelta(days=1)).isoformat()
    page = page_of(fund.post(f"{theirs}visit/", {"on": tomorrow, "seen": "Rattle."}), 422)
    assert "This day is still to come." in page.text
    page = page_of(fund.post(f"{theirs}visit/", {"on": today.isoformat(), "seen": ""}), 422)
    assert "has to be filled in" in page.text
    sent = {"on": today.isoformat(), "seen": "Rattle in seed.", "next": "Cut in August."}
    assert fund.post(f"{theirs}visit/", sent).headers["Location"] == f"{theirs}#visits"
    assert AwardVisit.objects.get().by_role == "fund_manager"
    text = page_of(browser(scene.county.lead).get(f"/awards/{award.public_id}/")).text
    assert "Rattle in seed." in text
    assert "Next: Cut in August." in text
    assert scene.manager.name not in text
