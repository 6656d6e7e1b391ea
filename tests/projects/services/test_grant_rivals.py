"""Two at the same moment in a grant round: threads with connections of their own, on committed rows."""

from datetime import timedelta

import pytest

from projects.choices import GroupRole
from projects.contracts.base import read_as
from projects.contracts.decisions import AwardMove, DecisionNew, MoneyBack, PaymentMove, PaymentNew
from projects.contracts.rounds import RoundMove
from projects.errors import RuleBroken, Stale, WrongState
from projects.models import (
    Award,
    Bid,
    BidSubmission,
    Decision,
    FundedProject,
    GrantRound,
    MoneyReturned,
    PaymentRequest,
    Review,
)
from projects.selectors.rounds import pots_that_do_not_add_up
from projects.services import awards, bids, decisions, meadows, rounds
from tests.projects.county import join, person
from tests.projects.grants import CLOSES, LATER, MAKERS, PANEL, VERGE, WRITING, YEWS, grants
from tests.projects.services.test_job_rivals import side_by_side
from tests.projects.services.test_noun_rivals import acts, split

pytestmark = pytest.mark.django_db(transaction=True)
REPEATS = 3
REFUSALS = (RuleBroken, Stale, WrongState)


@pytest.fixture
def scene():
    return grants()


def rivals(*turns):
    """What each rival got: a row, or the refusal it met. Anything else that is raised fails the test."""
    waiting = list(turns)

    def one():
        try:
            return waiting.pop()()
        except REFUSALS as refusal:
            return refusal

    return side_by_side(len(turns), one)


def pot(scene):
    assert pots_that_do_not_add_up() == []
    row = GrantRound.objects.get(pk=scene.round.pk)
    assert row.committed_pence <= row.pot_pence
    return row.committed_pence


def publish(scene, decision):
    return lambda: decisions.decision_publish(
        actor=scene.fund, public_id=decision.public_id, if_version=None, now=PANEL
    )


def panel(scene):
    for name in (YEWS, VERGE):
        scene.handed_in(name)
    scene.move("panel", PANEL)


def test_two_awards_at_once_for_the_last_pounds_are_one(scene):
    panel(scene)
    for _ in range(REPEATS):
        drafts = [scene.decide(bid, publish=False) for bid in scene.bids.values()]
        rows, lost = split(rivals(*(publish(scene, draft) for draft in drafts)))
        assert (len(rows), [type(one) for one in lost]) == (1, [RuleBroken])
        assert lost[0].errors[0].code == "over_pot"
        assert pot(scene) == 60_000
        assert FundedProject.objects.count() == 1
        # the money goes back, and both are tried again
        Decision.objects.filter(state="draft").delete()
        scene.decide(rows[0].bid, "refused", reason="Again.")
        assert pot(scene) == 0


def test_two_publishings_of_a_decision_are_one(scene):
    panel(scene)
    for repeat in range(1, REPEATS + 1):
        draft = scene.decide(scene.bids[YEWS], publish=False)
        rows, lost = split(rivals(publish(scene, draft), publish(scene, draft)))
        assert (len(rows), [type(one) for one in lost]) == (1, [WrongState])
        assert pot(scene) == 60_000
        assert Decision.objects.filter(state="published").count() == 1
        assert acts("decision_publish") == repeat


def test_two_drafts_of_a_decision_are_one(scene):
    panel(scene)
    asked = read_as(DecisionNew, {"kind": "full"})
    bid = scene.bids[YEWS]

    def draft():
        return decisions.decision_draft(actor=scene.fund, bid_id=bid.public_id, asked=asked, now=PANEL)

    rows, lost = split(rivals(draft, draft))
    assert (len(rows), Decision.objects.count()) == (1, 1)
    assert type(lost[0]) in {WrongState, RuleBroken}


def accepted(scene):
    panel(scene)
    scene.decide(scene.bids[YEWS])
    award = scene.award(scene.bids[YEWS])
    asked = AwardMove(to="accepted", accounting_year="2026-27")
    awards.award_move(actor=scene.leader(YEWS), public_id=award.public_id, asked=asked, if_version=None, now=PANEL)
    return award


def test_money_for_a_stage_asked_from_eight_phones_is_asked_once(scene):
    award = accepted(scene)
    asked = read_as(PaymentNew, {"stage": 1, "amount_gbp": 300.0, "evidence": "Eleven came."})

    def ask():
        return awards.payment_ask(actor=scene.leader(YEWS), award_id=award.public_id, asked=asked, now=LATER)

    rows, lost = split(rivals(*[ask] * 8))
    assert (len(rows), {type(one) for one in lost}) == (1, {WrongState})
    assert PaymentRequest.objects.count() == acts("payment_ask") == 1
    assert Award.objects.get(pk=award.pk).claimed_pence == 30_000

    def pay():
        return awards.payment_settle(
            actor=scene.fund, public_id=rows[0].public_id, asked=PaymentMove(to="paid"), if_version=None, now=LATER
        )

    paid, lost = split(rivals(pay, pay))
    assert (len(paid), [type(one) for one in lost]) == (1, [WrongState])
    assert Award.objects.get(pk=award.pk).paid_pence == 30_000

    back = read_as(MoneyBack, {"amount_gbp": 200.0, "on": LATER.date().isoformat()})

    def give_back():
        return awards.money_back(actor=scene.fund, award_id=award.public_id, asked=back, now=LATER)

    given, lost = split(rivals(give_back, give_back))
    assert (len(given), [type(one) for one in lost]) == (1, [RuleBroken])
    assert (MoneyReturned.objects.count(), pot(scene)) == (1, 40_000)


def test_declined_and_withdrawn_at_once_returns_the_money_once(scene):
    panel(scene)
    scene.decide(scene.bids[YEWS])
    award = scene.award(scene.bids[YEWS])

    def decline():
        asked = AwardMove(to="declined")
        return awards.award_move(
            actor=scene.leader(YEWS), public_id=award.public_id, asked=asked, if_version=None, now=PANEL
        )

    def withdraw():
        asked = AwardMove(to="withdrawn", comment="A mistake.")
        return awards.award_move(actor=scene.fund, public_id=award.public_id, asked=asked, if_version=None, now=PANEL)

    rows, lost = split(rivals(decline, withdraw))
    assert (len(rows), [type(one) for one in lost], pot(scene)) == (1, [WrongState], 0)


def submit(scene, bid, now=CLOSES - timedelta(microseconds=1)):
    actor = scene.leader(YEWS)
    return lambda: bids.bid_submit(actor=actor, public_id=bid.public_id, if_version=None, now=now)


def forecast(scene, now=CLOSES - timedelta(microseconds=1)):
    project = scene.county.projects[YEWS]
    meadows.forecast_create(actor=scene.leader(YEWS), project_id=project.public_id, now=now)


def test_at_the_closing_moment_one_is_in_and_one_is_late(scene):
    forecast(scene)
    first, second = scene.bid(), scene.bid("Paddock to hay", 100.0)
    rows, lost = split(rivals(submit(scene, first), submit(scene, second, CLOSES)))
    assert ([row.bid_id for row in rows], [type(one) for one in lost]) == ([first.pk], [WrongState])
    assert Bid.objects.get(pk=second.pk).state == "draft"


def test_a_bid_handed_in_twice_at_once_has_one_receipt(scene):
    forecast(scene)
    bid = scene.bid()
    rows, lost = split(rivals(*[submit(scene, bid)] * 4))
    assert (len(rows), {type(one) for one in lost} <= {WrongState, Stale}) == (1, True)
    assert BidSubmission.objects.count() == acts("bid_submit") == 1
    assert GrantRound.objects.get(pk=scene.round.pk).bids_numbered == 1


def test_two_bids_at_once_get_two_numbers_and_for_one_project_one_of_them_gets_in(scene):
    forecast(scene)
    other = scene.bid("Paddock to hay", 100.0)
    bid, twin = scene.bid(), scene.bid(title="The same ground", pounds=100.0)
    rows, lost = split(rivals(*(submit(scene, each) for each in (bid, twin, other))))
    assert (len(rows), [type(one) for one in lost]) == (2, [RuleBroken])
    assert "project_twice" in {fault.code for fault in lost[0].errors}
    assert set(Bid.objects.filter(number__isnull=False).values_list("number", flat=True)) == {1, 2}


def test_the_panel_opens_while_the_last_bid_is_being_handed_in(scene):
    forecast(scene)
    bid = scene.bid()

    def open_panel():
        return rounds.round_move(
            actor=scene.fund, public_id=scene.round.public_id, asked=RoundMove(to="panel"), if_version=None,
            now=CLOSES + timedelta(seconds=1),
        )  # fmt: skip

    found = rivals(submit(scene, bid), open_panel)
    rows, lost = split(found)
    assert len(rows) in {1, 2}
    state = Bid.objects.get(pk=bid.pk).state
    assert state == ("submitted" if not lost else "draft")
    assert GrantRound.objects.get(pk=scene.round.pk).state == "panel"


def test_a_review_sent_twice_at_once_is_sent_once(scene):
    bid = scene.handed_in()

    def send():
        scene.review(scene.assessor, bid, 3, 3)
        return True

    rows, lost = split(rivals(send, send))
    assert len(rows) == 1
    assert type(lost[0]) in {WrongState, RuleBroken}
    assert Review.objects.count() == acts("review_send") == 1


def test_withdrawn_while_it_is_decided_it_is_one_or_the_other(scene):
    panel(scene)
    second_lead = person("Isla Reed")
    join(second_lead, scene.county.groups[MAKERS], GroupRole.LEAD)
    draft = scene.decide(scene.bids[YEWS], publish=False)
    bid = scene.bids[YEWS]

    def withdraw():
        return bids.bid_move(
            actor=scene.as_(second_lead), public_id=bid.public_id, to="withdrawn", if_version=None, now=WRITING
        )

    rows, lost = split(rivals(withdraw, publish(scene, draft)))
    assert (len(rows), [type(one) for one in lost]) == (1, [WrongState])
    bid.refresh_from_db()
    assert (bid.state, pot(scene)) in {("decided", 60_000), ("withdrawn", 0)}
