"""Bids: written, refused for what is missing, handed in with a receipt, late, withdrawn and handed in again."""

import hashlib
from datetime import timedelta

import orjson
import pytest

from projects.contracts.base import read_as
from projects.contracts.bids import BidChange, BidNew, ProofSeen
from projects.contracts.meadows import PlanNew
from projects.contracts.rounds import RoundChange
from projects.errors import NotAllowed, NotFound, RuleBroken, Stale, WrongState
from projects.models import Bid, BidSubmission, Forecast
from projects.rules.access import PUBLIC_ACTOR
from projects.selectors import bids as reads
from projects.services import bids, meadows, rounds
from tests.projects.county import NOW
from tests.projects.grants import AFTER, CLOSES, OPENS, VERGE, WRITING, YEWS, bid_asked, grants
from tests.projects.proof import audited, refused

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def scene():
    return grants()


def submit(scene, bid, now=WRITING, if_version=None):
    return bids.bid_submit(actor=scene.leader(YEWS), public_id=bid.public_id, if_version=if_version, now=now)


def change(scene, bid, now=WRITING, **said):
    return bids.bid_change(
        actor=scene.leader(YEWS), public_id=bid.public_id, asked=read_as(BidChange, said), if_version=None, now=now
    )


def test_handed_in_it_is_text_with_its_checksum_and_its_forecasts_are_stored(scene):
    bid = scene.bid()
    with audited("forecast_create", "forecast", scene.leader(YEWS)):
        meadows.forecast_create(actor=scene.leader(YEWS), project_id=scene.county.projects[YEWS].public_id, now=WRITING)
    with audited("bid_submit", "bid", scene.leader(YEWS)) as seen:
        receipt = submit(scene, bid)
    bid.refresh_from_db()
    assert (bid.state, bid.number, bid.current, bid.asked_pence) == ("submitted", 1, receipt, 60_000)
    assert receipt.created_at == WRITING
    assert receipt.checksum == hashlib.sha256(receipt.content.encode()).hexdigest() == seen.entry.after["checksum"]
    content = orjson.loads(receipt.content)
    forecast = Forecast.objects.get(project=scene.county.projects[YEWS])
    assert content["projects"][0]["forecast_id"] == str(forecast.public_id)
    assert content["projects"][0]["run_checksum"] == forecast.run.answer_checksum
    assert content["asked_gbp"] == 600.0
    assert receipt.content == orjson.dumps(content, option=orjson.OPT_SORT_KEYS).decode()


def test_what_is_missing_is_told_all_at_once_and_nothing_changes(scene):
    asked = bid_asked(scene.round, scene.county.projects[YEWS], stages=[], proofs=[], summary="")
    bid = bids.bid_create(actor=scene.leader(YEWS), asked=read_as(BidNew, asked), now=WRITING)
    faults = [("/summary", "summary_missing"), ("/stages", "stages"), ("/proofs", "not_shown")]
    with refused(RuleBroken, *faults):
        submit(scene, bid)
    checks = reads.checks_of(reads.bid_get(scene.leader(YEWS), bid.public_id), WRITING.date())
    assert [(check.pointer, check.code) for check in checks if check.blocks] == faults


@pytest.mark.parametrize(
    ("now", "words"),
    [
        (OPENS - timedelta(seconds=1), "This round opens on"),
        (CLOSES, "This round closed on"),
        (AFTER, "your bid came on"),
    ],
)
def test_outside_its_time_a_bid_is_refused_with_the_time_and_its_draft_is_kept(scene, now, words):
    bid = scene.bid(now=NOW)
    with refused(WrongState, match=words) as caught:
        submit(scene, bid, now)
    assert "draft is kept" in str(caught.value)
    assert Bid.objects.get(pk=bid.pk).state == "draft"


def test_the_first_and_the_last_moment_count(scene):
    bid = scene.bid(now=NOW)
    assert submit(scene, bid, CLOSES - timedelta(microseconds=1)).number == 1


def test_a_later_closing_lets_a_bid_in_and_an_earlier_one_is_refused(scene):
    bid = scene.bid()

    def close(at, now):
        return rounds.round_change(
            actor=scene.fund, public_id=scene.round.public_id, asked=RoundChange(closes_at=at), if_version=None, now=now
        )

    with refused(RuleBroken, ("/closes_at", "out_of_range")):
        close(CLOSES - timedelta(days=1), WRITING)
    close(CLOSES + timedelta(days=2), WRITING)
    assert submit(scene, bid, AFTER).number == 1
    with refused(WrongState, match="it is not opened again"):
        close(CLOSES + timedelta(days=90), CLOSES + timedelta(days=3))


def test_withdrawn_changed_and_handed_in_again_it_keeps_its_number_and_both_texts(scene):
    bid = scene.handed_in()
    with refused(WrongState, match="withdraw it first"):
        change(scene, bid, title="Other")
    for to in ("withdrawn", "draft"):
        bids.bid_move(actor=scene.leader(YEWS), public_id=bid.public_id, to=to, if_version=None, now=WRITING)
    change(scene, bid, title="Other")
    receipt = submit(scene, bid)
    assert receipt.number == 2
    first, second = BidSubmission.objects.filter(bid=bid).order_by("number")
    assert (orjson.loads(first.content)["title"], orjson.loads(second.content)["title"]) == (
        f"Flowers: {YEWS}",
        "Other",
    )
    assert Bid.objects.get(pk=bid.pk).number == 1


def test_a_bid_changed_in_the_meantime_is_not_handed_in(scene):
    bid = scene.bid()
    change(scene, bid, title="Other")
    with refused(Stale):
        submit(scene, bid, if_version=bid.version)


def test_a_line_is_reconciled_to_the_penny(scene):
    bid = scene.bid()
    line = {"what": "Seed", "category": "seed", "paid_by": "grant", "quantity": 0.333, "unit_price_gbp": 10.0}
    with refused(RuleBroken, ("/lines/0/net_gbp", "not_reconciled"), match=None):
        change(scene, bid, lines=[line | {"net_gbp": 3.34}])
    with refused(RuleBroken, ("/lines/0/gross_gbp", "not_reconciled")):
        change(scene, bid, lines=[line | {"net_gbp": 3.33, "vat_gbp": 0.67, "gross_gbp": 3.99}])
    changed = change(scene, bid, lines=[line | {"net_gbp": 3.33, "vat_gbp": 0.67, "gross_gbp": 4.0}])
    assert changed.asked_pence == 400
    assert changed.lines.get().gross_pence == 400


def test_a_project_is_in_one_live_bid_of_a_round(scene):
    scene.handed_in()
    second = scene.bid(title="Again", pounds=100.0)
    with pytest.raises(RuleBroken) as caught:
        submit(scene, second)
    assert ("/project_ids/0", "project_twice") in [(fault.pointer, fault.code) for fault in caught.value.errors]


def test_a_plan_changed_after_handing_in_does_not_change_what_was_handed_in(scene):
    bid = scene.handed_in()
    project = scene.county.projects[YEWS]
    meadows.plan_create(
        actor=scene.leader(YEWS), project_id=project.public_id, asked=read_as(PlanNew, {"plan": {}}), if_version=None,
        now=AFTER,
    )  # fmt: skip
    assert bid.projects.get().plan.number == 1


def test_others_ground_and_others_groups_are_refused(scene):
    other = scene.county.projects[VERGE]
    bid = scene.bid()
    with refused(RuleBroken, ("/project_ids/0", "unknown")):
        change(scene, bid, project_ids=[str(other.public_id)])
    asked = read_as(BidNew, bid_asked(scene.round, other))
    with refused(NotAllowed):
        bids.bid_create(actor=scene.leader(YEWS), asked=asked, now=WRITING)


def test_a_draft_is_seen_by_its_group_and_the_coordinators_only(scene):
    bid = scene.bid()
    for user in (scene.county.lead, scene.county.member, scene.county.coordinator):
        assert reads.bid_get(scene.as_(user), bid.public_id) == bid
    for actor in (scene.fund, scene.as_(scene.assessor), scene.leader(VERGE), PUBLIC_ACTOR):
        with pytest.raises(NotFound):
            reads.bid_get(actor, bid.public_id)


def test_only_groups_of_the_district_may_bid_where_the_round_says_so():
    county_round = grants(name="Inner only")
    inner = county_round.county.districts["Inner Sands"].public_id
    scene_round = county_round.round
    scene_round.district = county_round.county.districts["Inner Sands"]
    scene_round.save()
    assert scene_round.district.public_id == inner
    county_round.bid(YEWS)
    with refused(RuleBroken, ("/group_id", "not_eligible")):
        county_round.bid(VERGE)


def test_what_was_seen_is_dated_by_the_fund_manager_and_stays_through_a_change(scene):
    bid = scene.handed_in()
    asked = ProofSeen(what="constitution", seen_on=AFTER.date())
    with refused(RuleBroken, ("/what", "not_said")):
        bids.proof_seen(
            actor=scene.fund, public_id=bid.public_id, asked=ProofSeen(what="accounts", seen_on=AFTER.date()), now=AFTER
        )
    with audited("proof_seen", "bid", scene.fund):
        bids.proof_seen(actor=scene.fund, public_id=bid.public_id, asked=asked, now=AFTER)
    for to in ("withdrawn", "draft"):
        bids.bid_move(actor=scene.leader(YEWS), public_id=bid.public_id, to=to, if_version=None, now=AFTER)
    changed = change(scene, bid, now=AFTER, proofs=[{"what": "constitution", "has_it": True}])
    assert changed.proofs.get().seen_on == AFTER.date()
    changed = change(scene, bid, now=AFTER, proofs=[{"what": "constitution", "has_it": False}])
    assert changed.proofs.get().seen_on is None
