"""Sharing seed out: wishes, what is worked out of a season's rows, and accepting it whole or not at all."""

from uuid import uuid4

import orjson
import pytest

from projects.contracts.base import read_as
from projects.contracts.share_outs import ShareOutChange, WishNew
from projects.errors import NotAllowed, NotFound, Stale, WrongState
from projects.models import AuditEntry, SeedPromise, SeedWish, ShareOutResult
from projects.rules.jobs import JobRefused
from projects.rules.share_outs import suits
from projects.selectors.lots import lots_that_do_not_add_up
from projects.selectors.share_outs import question_of, result_answer, told_to_group
from projects.services import share_outs
from tests.projects.county import NOW
from tests.projects.seed import MAKERS, lot, promise
from tests.projects.share_outs import PADDOCK, YARD, YEAR, accept, meadow, sharing, wish, worked_out

TODAY = NOW.date()


def given(answer):
    return {(share["source"], share["project"]): share["mg"] for share in answer["shares"]}


def test_what_is_free_in_store_goes_to_those_who_hope_for_it_and_is_promised(county):
    sack = lot(county, grams=2000.0)
    promise(county, sack, 500.0)
    # half a gram and more on 400 m2 and a hectare
    wish(county, YARD, 700.0)
    wish(county, PADDOCK, 5000.0)
    row = sharing(county)
    result = worked_out(county, row)
    answer = result_answer(result)

    # 1.5 kg are free, and both can use all of it
    assert sum(given(answer).values()) == 1_500_000
    assert answer["solved"]["status"] == "proven_best"
    assert {key for key, _ in given(answer)} == {str(sack.public_id)}

    done = accept(county, row, result)

    assert (done.state, done.accepted) == ("accepted", result)
    sack.refresh_from_db()
    assert (sack.balance_mg, sack.promised_mg) == (2_000_000, 2_000_000)
    promised = SeedPromise.objects.exclude(note="")
    assert {(str(sack.public_id), str(p.project.public_id)): p.promised_mg for p in promised} == given(answer)
    assert lots_that_do_not_add_up() == []
    entry = AuditEntry.objects.filter(act="share_out_accept").get()
    assert entry.after == {"result": str(result.public_id), "promises": len(answer["shares"])}


def test_a_lot_that_changed_since_is_named_and_nothing_is_promised(county):
    one, two = lot(county, "Sack one", 800.0), lot(county, "Sack two", 800.0)
    wish(county, YARD, 700.0)
    wish(county, PADDOCK, 5000.0)
    row = sharing(county)
    result = worked_out(county, row)
    promise(county, two, 1.0)
    before = SeedPromise.objects.count()

    with pytest.raises(Stale, match="Sack two changed since this was worked out"):
        accept(county, row, result)

    assert SeedPromise.objects.count() == before
    one.refresh_from_db()
    assert one.promised_mg == 0
    row.refresh_from_db()
    assert row.state == "open"
    # worked out again, it can be accepted; the old result cannot
    again = worked_out(county, row)
    with pytest.raises(Stale, match="worked out anew"):
        accept(county, row, result)
    assert accept(county, row, again).state == "accepted"
    with pytest.raises(WrongState, match="accepted already"):
        accept(county, row, again)


def test_what_is_held_by_hand_is_kept_and_what_cannot_be_is_not_accepted(county):
    sack = lot(county, grams=1000.0)
    wish(county, YARD, 700.0)
    wish(county, PADDOCK, 5000.0)
    yard = str(county.projects[YARD].public_id)
    held = {"source_id": str(sack.public_id), "project_id": yard, "how": "give", "grams": 650.0}
    row = sharing(county, held=[held])
    answer = result_answer(worked_out(county, row))
    assert given(answer)[str(sack.public_id), yard] >= 650_000

    too_much = read_as(ShareOutChange, {"settings": {"held": [held | {"grams": 1200.0}]}})
    share_outs.share_out_change(
        actor=county.as_(county.coordinator), public_id=row.public_id, asked=too_much, if_version=None, now=NOW
    )
    result = worked_out(county, row)
    limits = {fault["limit"] for fault in result_answer(result)["infeasible"]}
    assert limits == {"seed", "target"}
    with pytest.raises(WrongState, match="cannot be kept"):
        accept(county, row, result)
    assert not SeedPromise.objects.exists()


def test_a_harvest_to_be_made_is_planned_by_its_agreement_and_not_promised(county):
    donor = meadow(county)
    harvest = {
        "donor_id": str(donor.public_id), "first_day": "2027-07-10", "last_day": "2027-07-23", "half_day_g": 2000.0,
        "whole_g": 9000.0,
    }  # fmt: skip
    wish(county, PADDOCK, 9000.0)
    row = sharing(county, harvests=[harvest])
    question, lots = question_of(row, TODAY)

    assert lots == {}
    # one hectare of three may be harvested in a year
    assert question["donors"][0]["allowed_share"] == pytest.approx(1 / 3)
    answer = result_answer(worked_out(county, row))
    (share,) = answer["shares"]
    assert (share["source"], share["mg"]) == (str(donor.public_id), 3_000_000)
    assert answer["harvests"][0]["half_days"] == 2
    accept(county, row, worked_out(county, row))
    assert not SeedPromise.objects.exists()


def test_a_meadow_without_an_agreement_gives_nothing(county):
    donor = meadow(county)
    harvest = {
        "donor_id": str(donor.public_id), "first_day": "2035-07-10", "last_day": "2035-07-23", "half_day_g": 2000.0,
        "whole_g": 9000.0,
    }  # fmt: skip
    wish(county, PADDOCK, 9000.0)
    question, _ = question_of(sharing(county, harvests=[harvest]), TODAY)
    assert question["donors"][0]["whole_mg"] == 0


def test_a_group_is_told_of_its_own_wishes_only(county):
    lot(county, grams=400.0)
    wish(county, YARD, 700.0, 300.0)
    wish(county, PADDOCK, 5000.0, 300.0)
    row = sharing(county)
    group = county.groups[MAKERS]
    assert told_to_group(county.as_(county.member), group) == []
    accept(county, row, worked_out(county, row))

    told = told_to_group(county.as_(county.member), group)
    assert {wish.project.name for _, wish, _ in told} == {YARD, PADDOCK}
    assert sorted("reason" in entry for _, _, entry in told) == [False, True]
    assert told_to_group(county.as_(county.neighbour), group) == []


def test_a_wish_said_again_is_changed_and_keeps_its_place(county):
    first = wish(county, YARD, 700.0)
    again = wish(county, YARD, 800.0)
    assert (again.pk, again.target_mg, again.version, SeedWish.objects.count()) == (first.pk, 800_000, 2, 1)
    assert again.created_at == first.created_at


def test_they_are_made_by_those_of_the_table(county):
    said = {"project_id": str(county.projects[YARD].public_id), "year": YEAR, "target_g": 5.0, "least_g": 1.0}
    asked = read_as(WishNew, said)
    assert share_outs.wish_make(actor=county.as_(county.lead), asked=asked, now=NOW).target_mg == 5000
    with pytest.raises(NotAllowed):
        share_outs.wish_make(actor=county.as_(county.member), asked=asked, now=NOW)
    with pytest.raises(NotFound):
        share_outs.wish_make(actor=county.as_(county.stranger), asked=asked, now=NOW)
    row = sharing(county)
    with pytest.raises(NotFound):
        share_outs.share_out_ask(actor=county.as_(county.lead), public_id=row.public_id, now=NOW)
    with pytest.raises(NotFound):
        share_outs.share_out_accept(actor=county.as_(county.lead), public_id=row.public_id, result_id=uuid4(), now=NOW)


def test_nobody_who_hopes_is_no_job(county):
    row = sharing(county)
    with pytest.raises(WrongState, match="hopes for seed in 2027"):
        share_outs.share_out_ask(actor=county.as_(county.coordinator), public_id=row.public_id, now=NOW)


@pytest.mark.parametrize("payload", [None, {}, {"share_out": "x", "question": {}, "lots": {}}, []])
def test_a_payload_that_is_none_makes_no_job(payload):
    with pytest.raises(JobRefused):
        share_outs.check_share_out(payload)


def test_a_job_done_twice_leaves_two_results_with_one_answer(county):
    # a worker that dies after saving is followed by one that does it all again: the same text, and the latest counts
    lot(county, grams=400.0)
    wish(county, YARD, 700.0)
    row = sharing(county)
    one, two = worked_out(county, row), worked_out(county, row)
    assert (one.answer_checksum, one.inputs_checksum) == (two.answer_checksum, two.inputs_checksum)
    assert ShareOutResult.objects.count() == 2
    assert orjson.loads(one.request)["projects"][0]["points"]


@pytest.mark.parametrize(
    ("wetness", "ph", "found"),
    [
        ("", None, None),
        ("moist", None, ["chalky", "damp", "dry", "sour", "upland"]),
        ("moist", 6.2, ["damp", "dry", "upland"]),
        ("wet", 6.2, ["damp", "wet"]),
        ("dry", 7.8, ["chalky", "dry"]),
        ("damp", 5.0, ["sour", "wet"]),
        ("", 6.2, ["damp", "dry", "upland"]),
    ],
)
def test_whose_seed_suits_which_ground(wetness, ph, found):
    assert suits(wetness, ph) == found
