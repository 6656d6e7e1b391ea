"""Awards: accepted, paid by stage, changed, reported on, ended; money that is not spent is in the pot again."""

from datetime import timedelta

import pytest

from projects.contracts.base import read_as
from projects.contracts.decisions import (
    AwardMove,
    ChangeMove,
    ChangeNew,
    EndReport,
    MoneyBack,
    PaymentMove,
    PaymentNew,
)
from projects.errors import NotAllowed, NotFound, RuleBroken, WrongState
from projects.models import GrantRound
from projects.selectors.bids import history_of
from projects.selectors.decisions import award_get, due_of
from projects.selectors.rounds import pots_that_do_not_add_up
from projects.services import awards
from tests.projects.county import join
from tests.projects.grants import LATER, MAKERS, PANEL, VERGE, YEWS, grants
from tests.projects.proof import audited, refused

pytestmark = pytest.mark.django_db(transaction=True)
SOON = PANEL + timedelta(days=5)


@pytest.fixture
def scene():
    found = grants()
    found.handed_in(YEWS)
    found.move("panel", PANEL)
    return found


def pot(scene):
    assert pots_that_do_not_add_up() == []
    return GrantRound.objects.get(pk=scene.round.pk).committed_pence


def move(scene, actor, to, now=SOON, **said):
    award = scene.award(scene.bids[YEWS])
    return awards.award_move(
        actor=actor, public_id=award.public_id, asked=AwardMove(to=to, **said), if_version=None, now=now
    )


def accepted(scene, kind="full", **more):
    scene.decide(scene.bids[YEWS], kind, **more)
    return move(scene, scene.leader(YEWS), "accepted", accounting_year="2026-27")


def ask(scene, stage=1, pounds=300.0, now=LATER):
    return awards.payment_ask(
        actor=scene.leader(YEWS), award_id=scene.award(scene.bids[YEWS]).public_id,
        asked=read_as(PaymentNew, {"stage": stage, "amount_gbp": pounds, "evidence": "Eleven came."}), now=now,
    )  # fmt: skip


def settle(scene, payment, to="paid", now=LATER, **said):
    return awards.payment_settle(
        actor=scene.fund, public_id=payment.public_id, asked=read_as(PaymentMove, {"to": to} | said), if_version=None,
        now=now,
    )  # fmt: skip


def alter(scene, now=LATER, **said):
    return awards.alteration_ask(
        actor=scene.leader(YEWS), award_id=scene.award(scene.bids[YEWS]).public_id,
        asked=read_as(ChangeNew, {"why": "A wet autumn."} | said), now=now,
    )  # fmt: skip


def agree(scene, change, to="agreed", **said):
    return awards.alteration_settle(
        actor=scene.fund, public_id=change.public_id, asked=read_as(ChangeMove, {"to": to} | said), if_version=None,
        now=LATER,
    )  # fmt: skip


def returned(scene, pounds):
    return awards.money_back(
        actor=scene.fund, award_id=scene.award(scene.bids[YEWS]).public_id, now=LATER,
        asked=read_as(MoneyBack, {"amount_gbp": pounds, "on": LATER.date().isoformat()}),
    )  # fmt: skip


def report(scene):
    return awards.report_send(
        actor=scene.leader(YEWS), public_id=scene.award(scene.bids[YEWS]).public_id,
        asked=EndReport(report="It flowers."), if_version=None, now=LATER,
    )  # fmt: skip


def test_from_offer_to_end_and_what_was_not_spent_is_in_the_pot_again(scene):
    award = accepted(scene)
    assert (award.state, award.accounting_year, award.restricted_purpose) == ("accepted", "2026-27", f"Flowers: {YEWS}")
    with audited("payment_ask", "bid", scene.leader(YEWS)):
        first = ask(scene)
    settle(scene, first)
    settle(scene, ask(scene, 2, 200.0))
    award.refresh_from_db()
    assert (award.claimed_pence, award.paid_pence, pot(scene)) == (50_000, 50_000, 60_000)
    returned(scene, 20.0)
    assert pot(scene) == 58_000
    with refused(WrongState, match="report is not there"):
        move(scene, scene.fund, "finished", LATER)
    report(scene)
    assert move(scene, scene.fund, "finished", LATER).state == "finished"
    assert pot(scene) == 48_000
    acts = [entry.act for entry in history_of(scene.leader(YEWS), scene.bids[YEWS].public_id)]
    assert acts == [
        "award_finished", "report_send", "money_back", "payment_paid", "payment_ask", "payment_paid", "payment_ask",
        "award_accepted", "decision_publish", "bid_submit", "bid_create",
    ]  # fmt: skip
    assert "decision_draft" in [entry.act for entry in history_of(scene.fund, scene.bids[YEWS].public_id)]


@pytest.mark.parametrize(("to", "as_funder"), [("declined", False), ("withdrawn", True)])
def test_an_offer_that_comes_to_nothing_returns_its_money(scene, to, as_funder):
    scene.decide(scene.bids[YEWS])
    assert pot(scene) == 60_000
    move(scene, scene.fund if as_funder else scene.leader(YEWS), to, comment="The ground was sold.")
    assert pot(scene) == 0
    with refused(WrongState):
        move(scene, scene.leader(YEWS), "accepted", accounting_year="2026-27")


def test_an_offer_is_accepted_within_its_time_and_with_the_accounting_year(scene):
    scene.decide(scene.bids[YEWS])
    with refused(RuleBroken, ("/accounting_year", "missing")):
        move(scene, scene.leader(YEWS), "accepted")
    with refused(WrongState, match="could be accepted until"):
        move(scene, scene.leader(YEWS), "accepted", PANEL + timedelta(days=31), accounting_year="2026-27")
    with refused(NotAllowed):
        move(scene, scene.as_(scene.county.member), "accepted", accounting_year="2026-27")
    with refused(NotAllowed):
        move(scene, scene.fund, "accepted", accounting_year="2026-27")


def test_conditions_come_before_payments(scene):
    accepted(scene, "conditional", conditions="The faculty in writing.")
    with refused(WrongState, match="conditions of the award"):
        ask(scene)
    move(scene, scene.fund, "conditions_met")
    assert ask(scene).state == "asked"
    with refused(WrongState, match="no conditions"):
        move(scene, scene.fund, "conditions_met")


def test_conditions_met_are_not_other_conditions_met(scene):
    accepted(scene, "conditional", conditions="The faculty in writing.")
    move(scene, scene.fund, "conditions_met")
    scene.decide(scene.bids[YEWS], "conditional", conditions="A risk look of the bank as well.")
    with refused(WrongState, match="conditions of the award"):
        ask(scene)
    move(scene, scene.fund, "conditions_met")
    assert ask(scene).state == "asked"


def test_conditions_met_stay_met_while_they_are_the_same(scene):
    accepted(scene, "conditional", conditions="The faculty in writing.")
    move(scene, scene.fund, "conditions_met")
    scene.decide(scene.bids[YEWS], "conditional", conditions="The faculty in writing.")
    assert ask(scene).state == "asked"


def test_a_stage_is_paid_once_and_never_more_than_it_is(scene):
    accepted(scene)
    with refused(RuleBroken, ("/amount_gbp", "out_of_range")):
        ask(scene, 1, 300.01)
    with refused(RuleBroken, ("/stage", "unknown")):
        ask(scene, 3)
    payment = ask(scene)
    with refused(WrongState, match="asked for already"):
        ask(scene)
    settle(scene, payment, "refused", comment="Nothing was sown.")
    assert scene.award(scene.bids[YEWS]).claimed_pence == 0
    again = ask(scene)
    settle(scene, again)
    with refused(WrongState, match="is settled"):
        settle(scene, again)
    second = ask(scene, 2)
    with refused(RuleBroken, ("/on", "in_future")):
        settle(scene, second, on=(LATER + timedelta(days=1)).date().isoformat())


def test_a_part_award_holds_the_sum_of_its_payments(scene):
    accepted(scene, "part", amount_gbp=450.0)
    ask(scene)
    with refused(RuleBroken, ("/amount_gbp", "over_award")) as caught:
        ask(scene, 2)
    assert caught.value.errors[0].detail == "£150 of the award are left to ask for."
    assert ask(scene, 2, 150.0).amount_pence == 15_000


def test_no_more_comes_back_than_was_paid(scene):
    accepted(scene)
    settle(scene, ask(scene, 1, 100.0))
    returned(scene, 60.0)
    with refused(RuleBroken, ("/amount_gbp", "out_of_range")) as caught:
        returned(scene, 40.01)
    assert caught.value.errors[0].detail == "The group holds £40 of this award."
    assert pot(scene) == 54_000


def test_agreed_dates_and_stages_hold_with_before_and_after_kept(scene):
    award = accepted(scene)
    ends = award.ends_on + timedelta(days=200)
    date_change = alter(scene, kind="date", ends_on=ends.isoformat())
    assert date_change.before["ends_on"] == award.ends_on.isoformat()
    agree(scene, date_change)
    award.refresh_from_db()
    assert (award.ends_on, award.report_due_on) == (ends, ends + timedelta(days=60))
    budget = alter(scene, kind="budget", stages=[250.0, 350.0])
    agree(scene, budget)
    assert list(award.bid.stages.values_list("amount_pence", flat=True)) == [25_000, 35_000]
    seed = alter(scene, kind="seed", before="Yellow rattle", after="Eyebright")
    agree(scene, seed, "refused", comment="Rattle is what the round paid for.")
    with refused(WrongState, match="is settled"):
        agree(scene, seed)
    assert (seed.before, seed.after) == ({"words": "Yellow rattle"}, {"words": "Eyebright"})


def test_changes_that_break_the_rounds_rules_are_refused(scene):
    award = accepted(scene)
    with refused(RuleBroken, ("/ends_on", "out_of_range")):
        alter(scene, kind="date", ends_on=(award.starts_on + timedelta(days=1200)).isoformat())
    with refused(RuleBroken, ("/stages", "out_of_range")):
        alter(scene, kind="budget", stages=[300.0, 301.0])
    alter(scene, kind="budget", stages=[0.0, 600.0])
    with refused(WrongState, match="not settled yet"):
        alter(scene, kind="budget", stages=[100.0, 500.0])


def test_a_stage_never_falls_below_what_was_asked_for_it(scene):
    accepted(scene)
    ask(scene)
    change = alter(scene, kind="budget", stages=[200.0, 400.0])
    with refused(WrongState, match="£300 were asked for"):
        agree(scene, change)


def test_what_is_due_and_whose_move_it_is(scene):
    def due(now):
        award = award_get(scene.fund, scene.award(scene.bids[YEWS]).public_id)
        return [(one.code, one.whose.value, one.late) for one in due_of(award, now.date())]

    scene.decide(scene.bids[YEWS], "conditional", conditions="The faculty in writing.")
    assert due(PANEL) == [("accept", "group", False)]
    assert due(PANEL + timedelta(days=31)) == [("accept", "group", True)]
    move(scene, scene.leader(YEWS), "accepted", accounting_year="2026-27")
    assert due(SOON) == [("conditions", "group", False)]
    move(scene, scene.fund, "conditions_met")
    assert due(PANEL + timedelta(days=60)) == [("stage", "group", False)]
    ask(scene)
    alter(scene, kind="budget", stages=[300.0, 300.0])
    assert {(code, whose) for code, whose, _ in due(LATER)} == {("payment", "network"), ("change", "network")}
    late = due(PANEL + timedelta(days=900))
    assert ("report", "group", True) in late
    assert ("stage", "group", True) in late


def test_a_fund_manager_who_is_near_to_the_group_does_not_pay_it(scene):
    accepted(scene)
    payment = ask(scene)
    join(scene.manager, scene.county.groups[MAKERS])
    with refused(NotAllowed, match="somebody else must do this"):
        settle(scene, payment)
    with pytest.raises(NotFound):
        award_get(scene.leader(VERGE), scene.award(scene.bids[YEWS]).public_id)
