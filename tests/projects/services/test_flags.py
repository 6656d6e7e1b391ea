"""Flags of an appraisal are put to the group, answered by it and stand beside its answers; visits to an award."""

from datetime import timedelta

import pytest
from django.utils import timezone

from modelling.models import StoredForGood
from projects.contracts.base import read_as
from projects.contracts.bids import FlagAnswered
from projects.contracts.decisions import AwardMove, VisitNew
from projects.contracts.rounds import InterestNew, RoundChange
from projects.errors import NotAllowed, NotFound, RuleBroken, WrongState
from projects.models import AuditEntry, BidAppraisal, FlagAnswer
from projects.selectors.appraisals import latest_appraisals
from projects.selectors.bids import history_of
from projects.selectors.decisions import award_get, due_of, visits_of
from projects.selectors.flags import answers_beside, flags_of, flags_read, put_of
from projects.services import appraisals, awards, flags, jobs, rounds
from projects.services.flags import MOST_ANSWERS
from tests.projects.grants import AFTER, PANEL, VERGE, WRITING, YEWS, grants
from tests.projects.proof import audited, refused

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def scene():
    found = grants()
    found.handed_in(YEWS)
    return found


def appraised(scene):
    appraisals.appraisals_ask(actor=scene.fund, round_id=scene.round.public_id, now=AFTER)
    jobs.jobs_run_due(clock=lambda: PANEL + timedelta(minutes=1))
    return latest_appraisals([scene.bids[YEWS]])[scene.bids[YEWS].pk]


def put(scene, now=AFTER, actor=None):
    return flags.flags_put(actor=actor or scene.fund, bid_id=scene.bids[YEWS].public_id, now=now)


def answer(scene, flag=1, text="A farm gives the seed.", now=AFTER, actor=None):
    asked = read_as(FlagAnswered, {"flag": flag, "text": text})
    return flags.flag_answer(actor=actor or scene.leader(YEWS), bid_id=scene.bids[YEWS].public_id, asked=asked, now=now)


def test_a_group_reads_the_flags_once_they_are_put_and_answers_each(scene):
    bid, lead = scene.bids[YEWS], scene.leader(YEWS)
    with refused(WrongState):
        put(scene)
    row = appraised(scene)
    asked = flags_of(row)
    assert len(asked) > 1
    # before they are put the group does not know of them
    with refused(NotFound):
        flags_read(lead, bid.public_id)
    with refused(NotFound):
        answer(scene)
    with audited("flags_put", "bid", scene.fund):
        put(scene)
    _, rows = flags_read(lead, bid.public_id)
    assert [(each.flag, each.answers) for each in rows] == [(flag, ()) for flag in asked]
    with audited("flag_answer", "bid", lead):
        answer(scene)
    answer(scene, text="Two farms give it.")
    _, rows = flags_read(scene.as_(scene.assessor), bid.public_id)
    assert [said.text for said in rows[0].answers] == ["A farm gives the seed.", "Two farms give it."]
    assert [len(each.answers) for each in rows[1:]] == [0] * (len(asked) - 1)
    # beside the appraisal as it was put, and one made again
    assert [len(said) for said in answers_beside(put_of(bid), asked)] == [2, *[0] * (len(asked) - 1)]
    assert [len(said) for said in answers_beside(put_of(bid), asked[1:])] == [0] * (len(asked) - 1)
    # its group reads that it was done, and the audit holds no word of it
    acts = [entry.act for entry in history_of(lead, bid.public_id)]
    assert acts[:3] == ["flag_answer", "flag_answer", "flags_put"]
    assert not AuditEntry.objects.filter(after__icontains="farm").exists()
    first = FlagAnswer.objects.earliest("pk")
    first.text = "Otherwise."
    with pytest.raises(StoredForGood):
        first.save()


def test_who_puts_and_who_answers(scene):
    appraised(scene)
    for actor in (scene.as_(scene.assessor), scene.as_(scene.county.coordinator)):
        with refused(NotAllowed):
            put(scene, actor=actor)
    # a group does not know of those who read its bid
    with refused(NotFound):
        put(scene, actor=scene.leader(YEWS))
    put(scene)
    with refused(NotAllowed):
        answer(scene, actor=scene.fund)
    with refused(NotFound):
        answer(scene, actor=scene.leader(VERGE))
    with refused(NotFound):
        flags_read(scene.leader(VERGE), scene.bids[YEWS].public_id)
    # whoever becomes near to the group reads none of it any more
    group = scene.bids[YEWS].group.public_id
    rounds.interest_declare(
        actor=scene.fund, round_id=scene.round.public_id, asked=InterestNew(group_id=group), now=AFTER
    )
    with refused(NotFound):
        flags_read(scene.fund, scene.bids[YEWS].public_id)


def test_nothing_is_put_before_the_round_closed_nor_answered_once_it_is_decided(scene):
    appraised(scene)
    with refused(WrongState):
        put(scene, now=WRITING)
    put(scene)
    with refused(WrongState):
        put(scene)
    with refused(RuleBroken, ("/flag", "unknown")):
        answer(scene, flag=1000)
    for _ in range(MOST_ANSWERS):
        answer(scene)
    with refused(RuleBroken, ("/flag", "too_many")):
        answer(scene)
    scene.move("panel", PANEL)
    answer(scene, flag=2, now=PANEL)
    scene.decide(scene.bids[YEWS], "refused", reason="Others grow more.")
    with refused(WrongState):
        answer(scene, flag=2, now=PANEL)
    assert BidAppraisal.objects.count() == 1


# ------------------------------------------------------------------ awards, rounds


def accepted(scene, kind="full", **more):
    scene.move("panel", PANEL)
    scene.decide(scene.bids[YEWS], kind, **more)
    award = scene.award(scene.bids[YEWS])
    said = AwardMove(to="accepted", accounting_year="2026-27")
    awards.award_move(
        actor=scene.leader(YEWS), public_id=award.public_id, asked=said, if_version=None, now=PANEL + timedelta(days=5)
    )
    return award


def visit(scene, award, actor, on, now=PANEL + timedelta(days=90)):
    asked = read_as(VisitNew, {"on": on.isoformat(), "seen": "Rattle in seed.", "next": "Cut in August."})
    return awards.visit_note(actor=actor, award_id=award.public_id, asked=asked, now=now)


def test_a_visit_is_read_by_the_group_with_a_role_and_no_name(scene):
    scene.move("panel", PANEL)
    scene.decide(scene.bids[YEWS])
    award, day = scene.award(scene.bids[YEWS]), (PANEL + timedelta(days=80)).date()
    with refused(WrongState):
        visit(scene, award, scene.fund, day)
    said = AwardMove(to="accepted", accounting_year="2026-27")
    awards.award_move(
        actor=scene.leader(YEWS), public_id=award.public_id, asked=said, if_version=None, now=PANEL + timedelta(days=5)
    )
    for actor in (scene.leader(YEWS), scene.as_(scene.county.coordinator)):
        with refused(NotAllowed):
            visit(scene, award, actor, day)
    with audited("visit_note", "bid", scene.fund):
        visit(scene, award, scene.fund, day)
    visit(scene, award, scene.as_(scene.assessor), day - timedelta(days=3))
    with refused(RuleBroken, ("/on", "in_future")):
        visit(scene, award, scene.fund, day + timedelta(days=60))
    rows = visits_of(scene.leader(YEWS), award_get(scene.leader(YEWS), award.public_id))
    assert [(row.on, row.by_role, row.next) for row in rows] == [
        (day, "fund_manager", "Cut in August."),
        (day - timedelta(days=3), "assessor", "Cut in August."),
    ]


def test_of_an_award_in_part_only_what_is_left_is_to_be_asked_for(scene):
    # £600 in two stages of £300, £400 awarded: £300 for the first, £100 for the second
    award = accepted(scene, "part", amount_gbp=400.0)
    award = award_get(scene.fund, award.public_id)
    late = max(stage.due_on for stage in award.bid.stages.all())
    told = [due.text for due in due_of(award, late) if due.code == "stage"]
    assert told == ["Ask for £300 once “Sown” is done.", "Ask for £100 once “Cut and counted” is done."]


def test_a_settled_round_is_not_changed_any_more(scene):
    scene.move("panel", PANEL)
    scene.decide(scene.bids[YEWS])
    changed = {"name": "Another", "about": "Other words.", "pot_gbp": 5000.0, "accept_days": 50}
    scene.move("settled", PANEL)
    for name, value in changed.items():
        with refused(WrongState):
            rounds.round_change(
                actor=scene.fund, public_id=scene.round.public_id, asked=read_as(RoundChange, {name: value}),
                if_version=None, now=timezone.now(),
            )  # fmt: skip
