"""Bids on one scale and what the pot could buy: by jobs, stored once, told to those who were not chosen."""

from datetime import timedelta

import orjson
import pytest

from modelling.arrays import checksum
from modelling.contracts.appraisal_answers import AppraisalAnswer
from modelling.contracts.portfolio import PortfolioAnswer
from modelling.models import StoredForGood
from projects.contracts.base import read_as
from projects.contracts.decisions import AwardMove
from projects.contracts.rounds import ChoiceNew
from projects.errors import NotAllowed, NotFound, RuleBroken, WrongState
from projects.models import AuditEntry, BidAppraisal, BidSubmission, Job, OtherFunding, Permission, RoundChoice
from projects.rules.jobs import JobRefused
from projects.selectors.appraisals import appraisal_question, feedback_for
from projects.selectors.bids import appraisal_get
from projects.selectors.rounds import choice_get, choice_list
from projects.selectors.scarce import MG_PER_KG, needs_of
from projects.services import appraisals, awards, jobs
from tests.projects.grants import AFTER, PANEL, VERGE, WRITING, YEWS, grants
from tests.projects.proof import audited, refused

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def scene():
    found = grants()
    for name in (YEWS, VERGE):
        found.handed_in(name)
    return found


def ask(scene, now=AFTER, **said):
    return appraisals.choice_ask(
        actor=scene.fund, round_id=scene.round.public_id, asked=read_as(ChoiceNew, said), now=now
    )


def run(job):
    jobs.jobs_run_due(clock=lambda: PANEL + timedelta(minutes=1))
    job.refresh_from_db()
    assert (job.state, job.last_error) == ("done", "")
    assert job.progress_done == job.progress_total
    return job.result


def chosen(scene, **said):
    row = RoundChoice.objects.get(public_id=run(ask(scene, **said))["choice"])
    assert row.answer_checksum == checksum(row.answer)
    return row, PortfolioAnswer.model_validate_json(row.answer)


def test_all_bids_are_appraised_once_and_their_text_never_changes(scene):
    with audited("appraisals_ask", "round", scene.fund):
        job = appraisals.appraisals_ask(actor=scene.fund, round_id=scene.round.public_id, now=AFTER)
    assert run(job) == {"made": 2, "refused": []}
    row = appraisal_get(scene.fund, scene.bids[YEWS].public_id)
    answer = AppraisalAnswer.model_validate_json(row.answer)
    assert answer.cost.grant_gbp == 600.0
    assert answer.projects[0].area_m2 == 180.0
    assert answer.recipe.as_of == WRITING.date()
    run(appraisals.appraisals_ask(actor=scene.fund, round_id=scene.round.public_id, now=PANEL))
    assert BidAppraisal.objects.count() == AuditEntry.objects.filter(act="bid_appraise").count() == 2
    row.answer = "{}"
    with pytest.raises(StoredForGood):
        row.save()


def test_what_is_appraised_is_what_was_handed_in(scene):
    before = appraisal_question(scene.bids[YEWS].current)
    site = scene.county.sites["Churchyard of Gullhaven"]
    site.permissions.all().delete()
    site.area_dm2 = 5
    site.save()
    assert appraisal_question(scene.bids[YEWS].current) == before
    assert before.projects[0].estimate.site.area_m2 == 180.0
    assert {part.standing for part in before.permissions} == {"not_asked"}
    assert [(line.fund, line.gross_pence) for line in before.lines] == [("grant", 60_000), ("in_kind", 60_000)]


def test_the_pot_buys_the_best_it_can_and_the_answer_is_kept(scene):
    with audited("choice_ask", "round", scene.fund):
        job = ask(scene)
    row = RoundChoice.objects.get(public_id=run(job)["choice"])
    answer = PortfolioAnswer.model_validate_json(row.answer)
    assert answer.feasible
    assert answer.best.cost_pence <= 100_000
    # both ask for £600 of £1,000: one is in, the other is told why not
    (best,) = answer.best.ids
    (out,) = [bid for bid in scene.bids.values() if str(bid.public_id) != best]
    assert [told.id for told in answer.not_chosen] == [str(out.public_id)]
    assert feedback_for(scene.fund, out, row.public_id)[0] == answer.not_chosen[0].sentence
    assert run(ask(scene, now=PANEL)) == {"choice": str(row.public_id), "refused": []}
    assert RoundChoice.objects.count() == 1
    assert choice_get(scene.fund, row.public_id) == row


def test_a_pin_turns_the_choice_round_and_a_decision_pins_by_itself(scene):
    _, free = chosen(scene)
    (best,) = free.best.ids
    other = next(bid for bid in scene.bids.values() if str(bid.public_id) != best)
    _, pinned = chosen(scene, pins=[str(other.public_id)])
    assert pinned.best.ids == [str(other.public_id)]
    assert pinned.pins[0].ids_without == [best]
    scene.move("panel", PANEL)
    scene.decide(other, "part", amount_gbp=500.0)
    _, after = chosen(scene)
    assert (after.best.ids, after.best.cost_pence) == ([str(other.public_id)], 50_000)
    _, more = chosen(scene, pot_gbp=1200.0)
    assert sorted(more.best.ids) == sorted(str(bid.public_id) for bid in scene.bids.values())
    with refused(RuleBroken, ("/exclusions/0", "contradiction")):
        ask(scene, exclusions=[str(other.public_id)])


def test_an_award_that_was_declined_binds_nothing(scene):
    scene.move("panel", PANEL)
    scene.decide(scene.bids[VERGE])
    award = scene.award(scene.bids[VERGE])
    awards.award_move(
        actor=scene.leader(VERGE), public_id=award.public_id, asked=AwardMove(to="declined", comment="We cannot."),
        if_version=None, now=PANEL,
    )  # fmt: skip
    # the pot holds one of the two alone: it is free for the other
    _, after = chosen(scene)
    assert after.best.ids == [str(scene.bids[YEWS].public_id)]
    with refused(RuleBroken, ("/pins/0", "contradiction")):
        ask(scene, pins=[str(scene.bids[VERGE].public_id)])


def test_a_refusal_tells_which_limit_bound_and_which_flags_stood(scene):
    row, answer = chosen(scene)
    (told,) = answer.not_chosen
    bid = next(bid for bid in scene.bids.values() if str(bid.public_id) == told.id)
    scene.move("panel", PANEL)
    decision = scene.decide(bid, "refused", reason="The pot did not reach.", choice_id=str(row.public_id))
    assert decision.feedback[0] == told.sentence
    flags = orjson.loads(appraisal_get(scene.fund, bid.public_id).answer)["flags"]
    assert set(decision.feedback[1:]) <= {flag["sentence"] for flag in flags}
    assert all(line in decision.letter for line in decision.feedback)


def test_by_scores_every_bid_must_have_some(scene):
    scene.review(scene.assessor, scene.bids[YEWS], 5, 4)
    with refused(RuleBroken, ("/objective", "missing")):
        ask(scene, objective="score")
    scene.review(scene.assessor, scene.bids[VERGE], 1, 1)
    _, answer = chosen(scene, objective="score")
    assert answer.best.ids == [str(scene.bids[YEWS].public_id)]
    assert answer.best.value == 100.0


def test_choosing_waits_for_the_closing_and_is_for_the_fund_manager(scene):
    with refused(WrongState, match="choose after that"):
        ask(scene, now=WRITING)
    for actor, told in (
        (scene.as_(scene.assessor), NotAllowed), (scene.as_(scene.county.coordinator), NotAllowed),
        (scene.leader(YEWS), NotFound),
    ):  # fmt: skip
        with refused(told):
            appraisals.choice_ask(actor=actor, round_id=scene.round.public_id, asked=ChoiceNew(), now=AFTER)
        with refused(told):
            appraisals.appraisals_ask(actor=actor, round_id=scene.round.public_id, now=AFTER)
    unknown = "7d3c1a52-6c1e-4f0a-9b57-2a8f4c6d1e90"
    with refused(RuleBroken, ("/pins/0", "unknown")):
        ask(scene, pins=[unknown])
    assert not choice_list(scene.leader(YEWS)).exists()


def test_bids_for_the_same_ground_exclude_each_other(scene):
    job = ask(scene)
    assert job.payload["question"]["limits"]["exclusive"] == []
    garden = scene.county.projects["Behind the house"]
    garden.site = scene.county.sites["Churchyard of Gullhaven"]
    garden.save()
    third = scene.handed_in("Behind the house", 200.0, title="The other half of the churchyard")
    job = ask(scene)
    assert job.payload["question"]["limits"]["exclusive"] == [
        sorted([str(third.public_id), str(scene.bids[YEWS].public_id)])
    ]


@pytest.mark.parametrize(
    "payload", [None, {}, {"submissions": {}}, {"submissions": {"a": "b"}}, {"submissions": {"a": 1}}]
)
def test_payloads_that_are_none_are_refused(payload):
    for check in (appraisals.check_appraisals, appraisals.check_choice):
        with pytest.raises(JobRefused):
            check(payload)


def test_a_worker_that_dies_in_the_middle_is_taken_over_and_nothing_is_made_twice(scene):
    job = ask(scene)

    class Died(BaseException):
        pass

    held = jobs.job_claim(now=AFTER)
    lease = jobs.Lease(held, lambda: AFTER)

    class Dying:
        def progress(self, done):
            lease.progress(done)
            raise Died

        def hand_back_when_time_is_up(self):
            pass

    with pytest.raises(Died):
        appraisals.choice(held, Dying())
    assert (BidAppraisal.objects.count(), RoundChoice.objects.count()) == (1, 0)
    jobs.jobs_run_due(clock=lambda: AFTER + timedelta(minutes=5))
    job.refresh_from_db()
    assert (job.state, job.attempts) == ("done", 2)
    assert (BidAppraisal.objects.count(), RoundChoice.objects.count(), Job.objects.count()) == (2, 1, 1)


def test_a_bid_that_cannot_be_appraised_is_told_and_does_not_stop_the_others(scene):
    content = orjson.loads(scene.bids[VERGE].current.content)
    content["promises"] = [{"kind": "people", "amount": 0, "by_year": 2030}]
    text = orjson.dumps(content, option=orjson.OPT_SORT_KEYS).decode()
    broken = BidSubmission(bid=scene.bids[VERGE], number=2, content=text, checksum=checksum(text))
    broken.save()
    scene.bids[VERGE].current = broken
    scene.bids[VERGE].save()
    result = run(ask(scene, pot_gbp=2000.0))
    assert [row["bid"] for row in result["refused"]] == [str(scene.bids[VERGE].public_id)]
    answer = PortfolioAnswer.model_validate_json(RoundChoice.objects.get().answer)
    assert str(scene.bids[VERGE].public_id) not in answer.best.ids


def test_other_money_and_permissions_reach_the_appraisal_as_they_were(scene):
    garden = scene.county.sites["Wenna’s garden"]
    OtherFunding.objects.create(site=garden, funder="Sands", what_for="seed", ends_on=WRITING.date())
    Permission.objects.filter(site=garden).update(need="not_needed")
    bid = scene.handed_in("Behind the house", 150.0, other_funding_note="Only the fence.")
    question = appraisal_question(bid.current)
    (money,) = question.other_funding
    assert (money.label, money.from_day, money.until_day) == ("Sands: seed", WRITING.date(), WRITING.date())
    assert {part.standing for part in question.permissions} == {"not_needed"}


def test_seed_and_a_machine_that_do_not_reach_for_everybody_bind(scene):
    bids = list(scene.bids.values())
    needs = {bid: needs_of([bid])[bid.pk] for bid in bids}
    item = next(iter(needs[scene.bids[YEWS]].seed_mg))
    both = sum(need.seed_mg.get(item, 0) for need in needs.values())
    taken = {str(bid.public_id): needs[bid].seed_mg.get(item, 0) for bid in bids}
    assert max(taken.values()) > 0
    seed = [{"item": item, "kg": (both - 1) / MG_PER_KG}]
    _, answer = chosen(scene, pot_gbp=1200.0, seed=seed)
    assert sum(taken[bid] for bid in answer.best.ids) < both
    assert f"seed:{item}" in {price.limit for price in answer.prices}
    _, answer = chosen(scene, pot_gbp=1200.0, seed=[{"item": item, "kg": (both + 1) / MG_PER_KG}])
    assert len(answer.best.ids) == 2
    machine = next(iter(needs[scene.bids[YEWS]].half_days), None) or "pedestrian_scarifier"
    job = ask(scene, machine={"machine": machine, "half_days": 0})
    asked = job.payload["question"]
    assert asked["limits"]["harvester_half_days"] == 0
    assert {row["id"]: row["harvester_half_days"] for row in asked["bids"]} == {
        str(bid.public_id): needs[bid].half_days.get(machine, 0) for bid in bids
    }


def test_a_bid_in_part_counts_with_that_sum_and_so_much_of_its_outcome(scene):
    yews, verge = (scene.bids[name] for name in (YEWS, VERGE))
    _, whole = chosen(scene, exclusions=[str(verge.public_id)])
    part = [{"bid_id": str(yews.public_id), "amount_gbp": 300.0}]
    _, answer = chosen(scene, exclusions=[str(verge.public_id)], parts=part)
    assert (answer.best.cost_pence, whole.best.cost_pence) == (30_000, 60_000)
    assert answer.best.value == pytest.approx(whole.best.value / 2, rel=1e-6)
    # £300 and £600 fit into £1,000
    _, answer = chosen(scene, parts=part)
    assert sorted(answer.best.ids) == sorted(str(bid.public_id) for bid in scene.bids.values())
    with refused(RuleBroken, ("/parts/0/amount_gbp", "out_of_range")):
        ask(scene, parts=[part[0] | {"amount_gbp": 700.0}])
    scene.move("panel", PANEL)
    scene.decide(yews, "full")
    with refused(RuleBroken, ("/parts/0/bid_id", "contradiction")):
        ask(scene, parts=part)
    with refused(RuleBroken, ("/parts/0/bid_id", "unknown")):
        ask(scene, parts=[part[0] | {"bid_id": "7d3c1a52-6c1e-4f0a-9b57-2a8f4c6d1e90"}])


def test_limits_by_group_and_district_can_be_typed_in(scene):
    _, answer = chosen(scene, pot_gbp=1200.0, group_limit_gbp=500.0)
    assert answer.best.ids == []
    limits = ask(scene, group_limit_gbp=500.0, district_limit_gbp=700.0).payload["question"]["limits"]
    assert (limits["per_group_pence"], limits["per_district_pence"]) == (50_000, 70_000)


def test_a_district_is_told_by_its_name(scene):
    bids = list(scene.bids.values())
    _, answer = chosen(scene, district_limit_gbp=500.0, pot_gbp=1200.0)
    assert {row.id: row.sentence.partition(" is passed")[0] for row in answer.not_chosen} == {
        str(bid.public_id): f"With it, the limit of {bid.group.district.name}" for bid in bids
    }
