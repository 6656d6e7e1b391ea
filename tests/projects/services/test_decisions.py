"""Decisions and the pot: full, part, on conditions, put off, refused; superseded; the sums always add up."""

import pytest

from projects.contracts.base import read_as
from projects.contracts.decisions import DecisionChange
from projects.contracts.sites import SiteChange
from projects.errors import NotAllowed, NotFound, RuleBroken, Stale, WrongState
from projects.models import Bid, Decision, FundedProject, GrantRound
from projects.selectors.decisions import decision_list, flat_grant, open_awards, open_grant
from projects.selectors.rounds import pots_that_do_not_add_up, round_money
from projects.services import decisions, sites
from tests.projects.grants import AFTER, PANEL, VERGE, YEWS, grants
from tests.projects.proof import audited, refused

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def scene():
    found = grants()
    for name in (YEWS, VERGE):
        found.handed_in(name)
    found.move("panel", PANEL)
    return found


def pot(scene):
    assert pots_that_do_not_add_up() == []
    return GrantRound.objects.get(pk=scene.round.pk).committed_pence


def publish(scene, decision, actor=None, if_version=None):
    return decisions.decision_publish(
        actor=actor or scene.fund, public_id=decision.public_id, if_version=if_version, now=PANEL
    )


def change(scene, decision, **said):
    return decisions.decision_change(
        actor=scene.fund, public_id=decision.public_id, asked=read_as(DecisionChange, said), if_version=None, now=PANEL
    )


def test_a_published_award_takes_its_money_and_the_next_gets_what_is_left(scene):
    scene.decide(scene.bids[YEWS])
    assert pot(scene) == 60_000
    draft = scene.decide(scene.bids[VERGE], publish=False)
    with refused(RuleBroken, ("/amount_gbp", "over_pot")) as caught:
        publish(scene, draft)
    assert caught.value.errors[0].detail == "£400 are left in the pot; £600 are needed."
    change(scene, draft, kind="part", amount_gbp=400.0)
    with audited("decision_publish", "bid", scene.fund):
        publish(scene, draft)
    assert pot(scene) == 100_000
    money = round_money(scene.fund, scene.round.public_id)
    assert (money.free_pence, money.committed_by_rows_pence) == (0, 100_000)


def test_a_draft_moves_no_money_and_is_not_seen_by_the_group(scene):
    draft = scene.decide(scene.bids[YEWS], publish=False)
    assert pot(scene) == 0
    assert not decision_list(scene.leader(YEWS)).exists()
    publish(scene, draft)
    assert decision_list(scene.leader(YEWS)).get() == draft
    assert "We are glad to offer you £600, all that you asked for." in draft.letter


def test_a_published_decision_is_final_and_a_new_one_supersedes_it(scene):
    first = scene.decide(scene.bids[YEWS])
    with refused(WrongState, match="final"):
        change(scene, first, reason="Other")
    with refused(WrongState, match="published already"):
        publish(scene, first)
    second = scene.decide(scene.bids[YEWS], "part", amount_gbp=250.0)
    first.refresh_from_db()
    assert (first.state, second.state, pot(scene)) == ("superseded", "published", 25_000)
    scene.decide(scene.bids[YEWS], "refused", reason="The ground was sold.")
    assert (scene.award(scene.bids[YEWS]).state, pot(scene)) == ("withdrawn", 0)
    assert not FundedProject.objects.exists()
    # money that was set free can be awarded, to the same bid too
    scene.decide(scene.bids[YEWS])
    assert (scene.award(scene.bids[YEWS]).state, pot(scene)) == ("offered", 60_000)


@pytest.mark.parametrize(
    ("asked", "fault"),
    [
        ({"kind": "part"}, ("/amount_gbp", "out_of_range")),
        ({"kind": "part", "amount_gbp": 600.0}, ("/amount_gbp", "out_of_range")),
        ({"kind": "full", "amount_gbp": 599.0}, ("/amount_gbp", "out_of_range")),
        ({"kind": "conditional", "amount_gbp": 601.0}, ("/amount_gbp", "out_of_range")),
        ({"kind": "refused", "amount_gbp": 1.0}, ("/amount_gbp", "contradiction")),
    ],
)
def test_amounts_that_do_not_fit_their_kind(scene, asked, fault):
    with refused(RuleBroken, fault):
        scene.decide(scene.bids[YEWS], **asked)


@pytest.mark.parametrize(
    ("kind", "pointer"), [("refused", "/reason"), ("deferred", "/reason"), ("conditional", "/conditions")]
)
def test_a_group_is_told_why_and_on_what(scene, kind, pointer):
    draft = scene.decide(scene.bids[YEWS], kind, publish=False)
    with refused(RuleBroken, (pointer, "missing")):
        publish(scene, draft)


def test_the_letter_can_be_written_by_hand_and_is_drafted_anew_when_the_facts_change(scene):
    draft = scene.decide(scene.bids[YEWS], "refused", reason="Too many good bids.", publish=False)
    assert "Too many good bids." in draft.letter
    assert draft.feedback == ["It asked for £600; the pot did not reach for every bid."]
    assert "- It asked for £600" in draft.letter
    assert "not on a north slope" in change(scene, draft, reason="Too many, not on a north slope.").letter
    assert "£600, on the conditions" in change(scene, draft, kind="conditional", conditions="A faculty.").letter
    # what somebody wrote is kept
    assert change(scene, draft, letter="Dear neighbours,\nnot this time.").letter.startswith("Dear neighbours")
    assert change(scene, draft, reason="Other.").letter.startswith("Dear neighbours")


def test_limits_by_group_hold_over_all_its_awards():
    scene = grants(group_limit_gbp=500.0)
    bid = scene.handed_in(YEWS, 300.0)
    scene.handed_in("Behind the house", 200.0, title="Garden")
    GrantRound.objects.filter(pk=scene.round.pk).update(group_limit_pence=40_000)
    scene.move("panel", PANEL)
    scene.decide(bid)
    draft = scene.decide(scene.bids["Behind the house"], publish=False)
    with refused(RuleBroken, ("/amount_gbp", "over_limit")) as caught:
        publish(scene, draft)
    assert "has £300 of this round already and may have £400" in caught.value.errors[0].detail


def test_limits_by_district_hold_over_its_groups(scene):
    GrantRound.objects.filter(pk=scene.round.pk).update(district_limit_pence=59_999)
    draft = scene.decide(scene.bids[YEWS], publish=False)
    with refused(RuleBroken, ("/amount_gbp", "over_limit"), match=None) as caught:
        publish(scene, draft)
    assert caught.value.errors[0].detail.startswith("Inner Sands")


def test_a_decision_waits_for_the_closing_and_its_publication_for_the_panel():
    scene = grants()
    bid = scene.handed_in()
    with refused(WrongState, match="still open"):
        scene.decide(bid, now=scene.round.opens_at)
    draft = scene.decide(bid, publish=False, now=AFTER)
    with refused(WrongState, match="once the panel is open"):
        publish(scene, draft)
    with refused(WrongState, match="being written already"):
        scene.decide(bid, publish=False, now=AFTER)


def test_others_do_not_decide(scene):
    draft = scene.decide(scene.bids[YEWS], publish=False)
    for actor, told in (
        (scene.as_(scene.assessor), NotAllowed), (scene.as_(scene.county.coordinator), NotAllowed),
        (scene.leader(YEWS), NotFound), (scene.leader(VERGE), NotFound),
    ):  # fmt: skip
        with refused(told):
            publish(scene, draft, actor)
    with refused(Stale):
        publish(scene, draft, if_version=draft.version + 1)


def test_the_database_itself_keeps_the_pot(scene):
    from django.db import IntegrityError, transaction

    with pytest.raises(IntegrityError), transaction.atomic():
        GrantRound.objects.filter(pk=scene.round.pk).update(committed_pence=100_001)
    with pytest.raises(IntegrityError), transaction.atomic():
        GrantRound.objects.filter(pk=scene.round.pk).update(committed_pence=1, pot_pence=0)


def test_a_total_that_does_not_add_up_is_found(scene):
    scene.decide(scene.bids[YEWS])
    GrantRound.objects.filter(pk=scene.round.pk).update(committed_pence=59_999)
    assert pots_that_do_not_add_up() == [scene.round.public_id]


# ------------------------------------------------------------------ open data


def test_published_awards_are_open_data_and_nothing_else_is(scene):
    assert not open_awards().exists()
    scene.decide(scene.bids[YEWS], "part", amount_gbp=123.45)
    scene.decide(scene.bids[VERGE], "refused", reason="Too many.")
    grant = open_grant(open_awards().get())
    # the fields that the open standard for grants data requires of every grant
    assert {
        "id", "title", "description", "currency", "amountAwarded", "awardDate", "recipientOrganization",
        "fundingOrganization",
    } <= grant.keys()  # fmt: skip
    assert (grant["amountAwarded"], grant["amountAppliedFor"], grant["currency"]) == (123.45, 600.0, "GBP")
    assert grant["id"].startswith("tideline-")
    assert "/" not in grant["id"]
    assert grant["awardDate"] == PANEL.date().isoformat()
    assert grant["fundingOrganization"] == [{"id": "GB-CHC-0000000", "name": "Tideline Trust"}]
    assert len(grant["title"]) <= 140
    text = str(grant)
    for told in (YEWS, "Churchyard"):
        assert told not in text.replace(grant["title"], "")


def test_a_cell_that_a_spreadsheet_would_work_out_is_led_by_an_apostrophe(scene):
    scene.decide(scene.bids[YEWS])
    Bid.objects.filter(pk=scene.bids[YEWS].pk).update(title="=1+1")
    assert flat_grant(open_grant(open_awards().get()))[1] == "'=1+1"


def test_numbers_of_decisions_count_up_whoever_writes_them(scene):
    for _ in range(3):
        scene.decide(scene.bids[YEWS])
    assert list(Decision.objects.order_by("number").values_list("number", flat=True)) == [1, 2, 3]


def test_an_award_for_private_ground_tells_nothing_of_it(scene):
    """Whether the ground is private or open, no byte of the open data differs."""
    county = scene.county
    GrantRound.objects.filter(pk=scene.round.pk).update(state="announced")
    garden = scene.handed_in("Behind the house", 100.0, title="A small meadow", summary="Seed for a group.")
    GrantRound.objects.filter(pk=scene.round.pk).update(state="panel")
    scene.decide(garden)
    told = str(open_grant(open_awards().get()))
    for word in ("Behind the house", "Wenna", "35789", "garden"):
        assert word not in told
    site = county.sites["Wenna’s garden"]
    sites.site_change(
        actor=scene.leader(YEWS), public_id=site.public_id, asked=SiteChange(publicity="square_1_km"), if_version=None,
        now=PANEL,
    )  # fmt: skip
    assert str(open_grant(open_awards().get())) == told


def test_terms_and_letter_of_an_award_say_what_it_is_for(scene):
    scene.decide(scene.bids[YEWS], "conditional", conditions="The faculty in writing.")
    terms = scene.award(scene.bids[YEWS]).terms
    assert "looked after for 3 years" in terms
    assert terms.endswith("Conditions:\nThe faculty in writing.")
