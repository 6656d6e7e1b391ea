"""Reviews: blind to each other, calibrated beside the raw mean; whoever is near to a group does not find its bid."""

from datetime import timedelta

import pytest

from projects.contracts.base import read_as
from projects.contracts.bids import NoteNew, ReviewWritten
from projects.contracts.rounds import Appointment, InterestNew
from projects.errors import NotAllowed, NotFound, RuleBroken, WrongState
from projects.models import AuditEntry, Interest, Membership
from projects.selectors import reviews as reads
from projects.selectors.audit import audit_list
from projects.selectors.bids import bid_get, bid_list
from projects.selectors.decisions import award_list, decision_list
from projects.selectors.rounds import choice_list, round_money
from projects.services import reviews, rounds
from tests.projects.county import join
from tests.projects.grants import AFTER, MAKERS, OPENS, PANEL, VERGE, YEWS, grants
from tests.projects.proof import audited, refused

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def scene():
    found = grants(match_percent=0)
    for name in (YEWS, VERGE):
        found.handed_in(name, 400.0)
    return found


def others(scene, user, bid):
    return {row.assessor_id for row in reads.reviews_of(scene.as_(user), bid.public_id)} - {user.pk}


def note(scene, user, bid, text="Ask them who rakes."):
    return reviews.note_add(
        actor=scene.as_(user), bid_id=bid.public_id, asked=read_as(NoteNew, {"text": text}), now=AFTER
    )


def near(scene, user, group=MAKERS):
    return rounds.interest_declare(
        actor=scene.as_(user), round_id=scene.round.public_id,
        asked=InterestNew(group_id=scene.county.groups[group].public_id, reason="My neighbours."), now=AFTER,
    )  # fmt: skip


def test_an_assessor_reads_the_others_only_after_their_own_is_sent(scene):
    bid = scene.bids[YEWS]
    scene.review(scene.second, bid, 5, 4)
    note(scene, scene.second, bid)
    assert others(scene, scene.assessor, bid) == set()
    assert list(reads.notes_of(scene.as_(scene.assessor), bid.public_id)) == []
    scene.review(scene.assessor, bid, 1, 1, send=False)
    assert others(scene, scene.assessor, bid) == set()
    with pytest.raises(NotAllowed):
        reads.panel_of(scene.as_(scene.assessor), scene.round.public_id)
    scene.review(scene.assessor, bid, 2, 1)
    assert others(scene, scene.assessor, bid) == {scene.second.pk}
    assert reads.notes_of(scene.as_(scene.assessor), bid.public_id).count() == 1
    with refused(WrongState, match="it stays as it is"):
        scene.review(scene.assessor, bid, 5, 4)


def test_once_the_panel_is_open_everybody_who_reads_bids_sees_all(scene):
    bid = scene.bids[YEWS]
    scene.review(scene.second, bid, 5, 4)
    scene.review(scene.assessor, bid, 1, 1, send=False)
    scene.move("panel", PANEL)
    assert others(scene, scene.assessor, bid) == {scene.second.pk}
    # one that was not sent is nobody else's
    assert others(scene, scene.second, bid) == set()


def test_the_panel_has_weighted_means_and_the_calibrated_beside_them(scene):
    for bid, low, high in ((scene.bids[YEWS], (2, 2), (4, 4)), (scene.bids[VERGE], (3, 2), (5, 4))):
        scene.review(scene.assessor, bid, *low)
        scene.review(scene.second, bid, *high)
    panel = reads.panel_of(scene.fund, scene.round.public_id)
    # by hand: (3 x 2/5 + 1 x 2/4) / 4 = 42.5 and (3 x 4/5 + 1 x 4/4) / 4 = 85; likewise 57.5 and 100
    assert [round(row.raw_mean, 6) for row in panel.rows] == [63.75, 78.75]
    assert [row.reviews for row in panel.rows] == [2, 2]
    effects = dict(panel.assessors)
    assert effects[scene.assessor] == pytest.approx(-effects[scene.second])
    assert effects[scene.assessor] < 0


def test_a_review_that_is_sent_scores_every_criterion_within_its_reach(scene):
    bid = scene.bids[YEWS]
    with refused(RuleBroken, ("/scores", "missing")):
        scene.review(scene.assessor, bid, 3)
    with refused(RuleBroken, ("/scores/1/score", "out_of_range")):
        scene.review(scene.assessor, bid, 3, 5)
    with refused(RuleBroken, ("/scores/2/criterion", "unknown")):
        scene.review(scene.assessor, bid, 3, 4, 1)
    twice = read_as(ReviewWritten, {"scores": [{"criterion": 1, "score": 1}, {"criterion": 1, "score": 2}]})
    with refused(RuleBroken, ("/scores/1/criterion", "twice")):
        reviews.review_write(actor=scene.as_(scene.assessor), bid_id=bid.public_id, asked=twice, now=AFTER)


def test_only_those_appointed_read_and_score(scene):
    rounds.assessor_appoint(
        actor=scene.fund, round_id=scene.round.public_id, now=AFTER,
        asked=Appointment(user_id=scene.second.public_id, appointed=False),
    )  # fmt: skip
    with refused(NotFound):
        scene.review(scene.second, scene.bids[YEWS], 1, 1)
    assert not bid_list(scene.as_(scene.second)).exists()
    with refused(NotAllowed):
        scene.review(scene.manager, scene.bids[YEWS], 1, 1)


def test_whoever_declares_an_interest_never_sees_the_bid_again(scene):
    bid, other = scene.bids[YEWS], scene.bids[VERGE]
    assert set(bid_list(scene.as_(scene.assessor))) == {bid, other}
    with audited("interest_declare", "round", scene.as_(scene.assessor)):
        near(scene, scene.assessor)
    near(scene, scene.assessor)
    assert Interest.objects.count() == 1
    assert set(bid_list(scene.as_(scene.assessor))) == {other}
    for read in (
        lambda: bid_get(scene.as_(scene.assessor), bid.public_id),
        lambda: reads.reviews_of(scene.as_(scene.assessor), bid.public_id),
        lambda: reads.notes_of(scene.as_(scene.assessor), bid.public_id),
        lambda: scene.review(scene.assessor, bid, 1, 1),
        lambda: note(scene, scene.assessor, bid),
    ):
        with pytest.raises(NotFound):
            read()
    scene.move("panel", PANEL)
    assert [row.bid for row in reads.panel_of(scene.as_(scene.assessor), scene.round.public_id).rows] == [other]


@pytest.mark.parametrize("who", ["manager", "coordinator"])
def test_sums_from_which_a_hidden_bid_could_be_worked_out_are_hidden_too(scene, who):
    user = scene.manager if who == "manager" else scene.county.coordinator
    scene.move("panel", PANEL)
    scene.decide(scene.bids[YEWS], "full")
    assert round_money(scene.as_(user), scene.round.public_id).committed_pence == 40_000
    seen = audit_list(scene.as_(scene.county.coordinator)).filter(object_id=scene.bids[YEWS].public_id)
    assert seen.exists()
    near(scene, user)
    with pytest.raises(NotFound):
        round_money(scene.as_(user), scene.round.public_id)
    assert not choice_list(scene.as_(user)).exists()
    assert not decision_list(scene.as_(user)).exists()
    assert not award_list(scene.as_(user)).exists()
    if who == "coordinator":
        assert not audit_list(scene.as_(user)).filter(object_id=scene.bids[YEWS].public_id).exists()
        assert audit_list(scene.as_(user)).filter(object_id=scene.bids[VERGE].public_id).exists()


def test_a_member_of_the_bidding_group_reads_its_bid_as_a_member_only(scene):
    bid = scene.bids[YEWS]
    membership = join(scene.assessor, scene.county.groups[MAKERS])
    assert bid_get(scene.as_(scene.assessor), bid.public_id) == bid
    with pytest.raises(NotFound):
        scene.review(scene.assessor, bid, 1, 1)
    with pytest.raises(NotFound):
        reads.reviews_of(scene.as_(scene.assessor), bid.public_id)
    # leaving the group after the round opened does not help
    Membership.objects.filter(pk=membership.pk).update(until=AFTER)
    with pytest.raises(NotFound):
        bid_get(scene.as_(scene.assessor), bid.public_id)
    Membership.objects.filter(pk=membership.pk).update(until=OPENS - timedelta(days=1))
    assert bid_get(scene.as_(scene.assessor), bid.public_id) == bid


def test_a_group_never_reads_what_is_said_of_its_bid_not_even_in_the_audit(scene):
    bid = scene.bids[YEWS]
    scene.review(scene.assessor, bid, 1, 1)
    note(scene, scene.assessor, bid)
    lead = scene.leader(YEWS)
    for read in (reads.reviews_of, reads.notes_of):
        with pytest.raises(NotFound):
            read(lead, bid.public_id)
    acts = set(audit_list(lead).filter(object_id=bid.public_id).values_list("act", flat=True))
    assert acts == {"bid_create", "bid_submit"}
    entry = AuditEntry.objects.get(act="review_send")
    assert (entry.group_id, entry.after) == (None, {"scores": 2})


def test_scores_of_somebody_who_turns_out_to_be_near_count_no_more(scene):
    bid = scene.bids[YEWS]
    scene.review(scene.assessor, bid, 5, 4)
    scene.review(scene.second, bid, 0, 0)
    assert reads.panel_of(scene.fund, scene.round.public_id).rows[0].raw_mean == 50.0
    near(scene, scene.assessor)
    row = reads.panel_of(scene.fund, scene.round.public_id).rows[0]
    assert (row.raw_mean, row.reviews) == (0.0, 1)
    join(scene.second, scene.county.groups[MAKERS])
    row = reads.panel_of(scene.fund, scene.round.public_id).rows[0]
    assert (row.raw_mean, row.reviews) == (None, 0)
