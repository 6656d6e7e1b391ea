"""Counts of a lot: stored with their answers, on hold for weeds, and carried into plans as distributions."""

import json
import uuid
from datetime import timedelta

import numpy as np
import pytest

from modelling.arrays import checksum
from modelling.core.plan import LotContent, SeedItem, Spread
from modelling.core.seed import live_by_taxon
from modelling.errors import RequestRefused
from modelling.models import ModelRun, StoredForGood
from modelling.reading import read_as
from modelling.selectors import parameters
from projects.contracts.counts import CountNew, GerminationNew, samples_of_csv
from projects.contracts.donors import AgreementNew, DonorNew, HarvestNew
from projects.contracts.meadows import PlanNew
from projects.errors import NotAllowed, NotFound, RuleBroken
from projects.models import DonorAgreement, DonorMeadow, LotCount, SeedEntry
from projects.rules.access import visible_donors
from projects.selectors.contents import contents_now
from projects.services import counts, donors, harvests, meadows
from tests.projects.county import NOW
from tests.projects.seed import blend, lot, move, split

pytestmark = pytest.mark.django_db
RATTLE, CLOVER, KNAPWEED = "rhinanthus_minor", "trifolium_pratense", "centaurea_nigra"
SIX = (12, 9, 15, 11, 14, 10)


def count(county, row, *numbers, who="member", grams=1.0, taxon=RATTLE, **more):
    asked = {"samples": [{"grams": grams, "counts": {taxon: number}} for number in numbers], **more}
    return counts.count_add(
        actor=county.as_(getattr(county, who)), lot_id=row.public_id, asked=read_as(CountNew, asked), now=NOW
    )[0]  # fmt: skip


def rattle_of(row):
    return next(kind for kind in json.loads(row.answer)["taxa"] if kind["taxon"] == RATTLE)


def kinds(row):
    return {kind.taxon: kind for kind in contents_now(row, NOW.date()).kinds}


def test_the_sack_of_the_coordinator(county):
    row = lot(county, grams=18_400.0, harvested_on="2026-07-20", chaffy=True)
    calm = count(county, row, *SIX)
    told = rattle_of(calm)
    # Garwood (1936): 95 % limits of a count of 71 are 55.45 and 89.56, in 6 g
    assert told["seeds_per_gram"]["middle"] == pytest.approx(71 / 6, rel=1e-5)
    assert told["seeds_per_gram"]["low"] == pytest.approx(55.45 / 6, abs=0.01)
    assert told["seeds_per_gram"]["high"] == pytest.approx(89.56 / 6, abs=0.01)
    # the same limits x 18,400 g
    assert told["seeds_in_sack"]["low"] == pytest.approx(170_000, rel=0.01)
    assert told["seeds_in_sack"]["high"] == pytest.approx(275_000, rel=0.01)
    wild = count(county, row, 41, adds_to_last=True)
    assert (wild.number, rattle_of(wild)["seeds_counted"]) == (2, 112)
    assert rattle_of(wild)["mixing"]["uneven"]
    assert LotCount.objects.get(pk=calm.pk).answer == calm.answer


def test_an_answer_is_text_that_never_changes(county):
    row = count(county, lot(county), *SIX)
    assert row.answer_checksum == checksum(row.answer)
    assert row.request_checksum == checksum(row.request)
    row.answer = "{}"
    with pytest.raises(StoredForGood):
        row.save()
    row.answer_checksum = "0" * 64
    with pytest.raises(NotFound, match="damaged"):
        counts.count_text(row)


def test_a_seed_of_ragwort_puts_the_lot_on_hold(county):
    row = lot(county)
    count(county, row, 0, 1, 0, taxon="jacobaea_vulgaris")
    row.refresh_from_db()
    assert row.held_at == NOW
    assert row.hold_reason == "Counted in it: common ragwort."
    assert SeedEntry.objects.get(lot=row, number=2).act == "held"


def test_what_cannot_be_is_refused_at_its_field(county):
    row = lot(county, grams=1000.0)
    for values, expected in (
        ({"samples": [{"grams": 1.0, "counts": {RATTLE: 1.5}}]}, "/samples/0/counts/rhinanthus_minor"),
        ({"samples": [{"grams": 0.0, "counts": {RATTLE: 1}}]}, "/samples/0/grams"),
        ({"samples": [{"grams": -1.0, "counts": {RATTLE: 1}}]}, "/samples/0/grams"),
    ):
        with pytest.raises(RequestRefused) as caught:
            read_as(CountNew, values)
        assert caught.value.errors[0].pointer == expected
    # the lightest rattle seed of the tables: a thousand weigh more than a gram
    with pytest.raises(RequestRefused) as caught:
        count(county, row, 1000)
    assert [(e.pointer, e.code) for e in caught.value.errors] == [
        ("/samples/0/counts/rhinanthus_minor", "too_many_seeds")
    ]
    with pytest.raises(RuleBroken) as refused:
        count(county, row, 5, adds_to_last=True)
    assert refused.value.errors[0].pointer == "/adds_to_last"
    with pytest.raises(RuleBroken):
        count(county, row, 5, counted_on=(NOW + timedelta(days=1)).date().isoformat())
    assert LotCount.objects.count() == 0


def test_members_of_the_network_count_and_nobody_else(county):
    row = lot(county)
    for who in ("member", "lead", "neighbour", "coordinator"):
        count(county, row, 3, who=who)
    for who in ("stranger", "operator"):
        with pytest.raises(NotFound):
            count(county, row, 3, who=who)
    assert LotCount.objects.count() == 4


def test_sent_twice_it_is_there_once(county):
    row, key = lot(county), str(uuid.uuid4())
    assert count(county, row, 3, submission_id=key) == count(county, row, 3, submission_id=key)
    assert LotCount.objects.count() == 1


def test_a_table_of_sub_samples():
    text = "﻿grams,Rhinanthus minor,trifolium_pratense\n1.0,12,3\n1.5,9,0\n\n"
    assert samples_of_csv(text) == [
        {"grams": 1.0, "counts": {RATTLE: 12, CLOVER: 3}},
        {"grams": 1.5, "counts": {RATTLE: 9, CLOVER: 0}},
    ]
    with pytest.raises(RequestRefused) as caught:
        samples_of_csv("grams,rhinanthus_minor\nmuch,1.5\n1,many\n")
    assert [error.pointer for error in caught.value.errors] == [
        "/samples/0/grams", "/samples/0/counts/rhinanthus_minor", "/samples/1/counts/rhinanthus_minor",
    ]  # fmt: skip
    for text in ("", "grams\n", "weight,a\n1,2\n", "grams,a,a\n1,2,3\n"):
        if text == "grams\n":
            continue
        with pytest.raises(RequestRefused):
            samples_of_csv(text)


# ------------------------------------------------------------------ what is in it


def test_a_count_before_a_cleaning_says_nothing_of_what_is_there_now(county):
    row = lot(county)
    count(county, row, *SIX)
    assert kinds(row)[RATTLE].basis == "counted"
    move(county, row, "cleaned", 500.0)
    row.refresh_from_db()
    assert kinds(row) == {}


def test_what_the_supplier_declares_is_taken_as_a_wide_guess(county):
    row = lot(county, declared=[{"taxon": KNAPWEED, "percent": 20.0}])
    kind = kinds(row)[KNAPWEED]
    weight = parameters().number("taxon_values", KNAPWEED, "thousand_seed_weight").middle
    assert kind.basis == "declared"
    # derivation: a fifth of a gram, divided by the weight of a seed
    assert kind.seeds_per_g[1] == pytest.approx(0.2 / (weight / 1000), rel=0.1)
    assert kind.seeds_per_g[2] / kind.seeds_per_g[0] > 1.5


def donor(county, **more):
    said = {
        "network_id": str(county.network.public_id), "name": "Ness meadow", "habitat": "damp", "area_m2": 10_000.0,
        "plants": [{"taxon": RATTLE, "cover_percent": 10.0}, {"taxon": KNAPWEED, "cover_percent": 20.0}],
        "owner": "A. N. Owner", **more,
    }  # fmt: skip
    row = donors.donor_create(actor=county.as_(county.coordinator), asked=read_as(DonorNew, said), now=NOW)
    agreed = {
        "signed_on": "2026-01-05", "starts_on": "2026-01-05", "ends_on": "2030-12-31", "window_opens": "07-01",
        "window_closes": "08-31", "area_m2": 5000.0, "methods": ["brush", "hand"],
    }  # fmt: skip
    donors.agreement_add(
        actor=county.as_(county.coordinator), donor_id=row.public_id, asked=read_as(AgreementNew, agreed), now=NOW
    )
    return row


def harvest(county, row, who="coordinator", **more):
    said = {"on": "2026-07-20", "method": "brush", "area_m2": 3000.0, "fresh_g": 20_000.0, "lot_name": "Ness 2026"}
    return harvests.harvest_add(
        actor=county.as_(getattr(county, who)), donor_id=row.public_id, asked=read_as(HarvestNew, said | more), now=NOW
    )[0]  # fmt: skip


def test_what_was_not_counted_is_guessed_from_the_donor_and_much_less_sure(county):
    made = harvest(county, donor(county)).lot
    move(county, made, "dried", 9_400.0)
    made.refresh_from_db()
    count(county, made, *SIX)
    found = kinds(made)
    assert {taxon: kind.basis for taxon, kind in found.items()} == {RATTLE: "counted", KNAPWEED: "donor"}

    def width(taxon):
        return found[taxon].seeds_per_g[2] / found[taxon].seeds_per_g[0]

    assert width(RATTLE) < 2 < width(KNAPWEED)
    # all kinds together weigh no more than the sack
    weighs = sum(
        kind.seeds_per_g[1] * parameters().number("taxon_values", taxon, "thousand_seed_weight").middle / 1000
        for taxon, kind in found.items()
    )
    assert weighs < 1


def test_a_blend_holds_what_its_parts_hold_by_weight(county):
    rich, poor = lot(county, "Rich"), lot(county, "Poor")
    count(county, rich, *[20] * 6)
    count(county, poor, *[0] * 6)
    mixed = blend(county, "Mixed", (rich, 300.0), (poor, 100.0))
    whole, part = kinds(rich)[RATTLE], kinds(mixed)[RATTLE]
    # derivation: three quarters of it holds what the rich sack holds
    assert part.seeds_per_g[1] == pytest.approx(0.75 * whole.seeds_per_g[1], rel=0.03)
    jar = split(county, rich, "Jar", 10.0)
    assert kinds(jar)[RATTLE].seeds_per_g == pytest.approx(whole.seeds_per_g, rel=0.05)


def test_a_germination_test_and_age_move_what_is_alive(county):
    fresh = lot(county, "Fresh", harvested_on="2026-08-01")
    old = lot(county, "Old", harvested_on="2023-08-01")
    for row in (fresh, old):
        count(county, row, *SIX)
    # yellow rattle loses half of what lives in about a year (sack_values): three years leave an eighth
    assert kinds(old)[RATTLE].alive[1] < kinds(fresh)[RATTLE].alive[1] / 3
    asked = {"taxon": RATTLE, "germinated": 90, "tested": 100, "on": "2026-08-30"}
    counts.germination_add(
        actor=county.as_(county.member), lot_id=old.public_id, asked=read_as(GerminationNew, asked), now=NOW
    )
    assert kinds(old)[RATTLE].alive[1] > 0.7
    for values, pointer in (({"on": "2026-09-30"}, "/on"), ({"on": "2023-01-01"}, "/on"), ({"taxon": "x"}, "/taxon")):
        with pytest.raises(RuleBroken) as caught:
            counts.germination_add(
                actor=county.as_(county.member), lot_id=old.public_id,
                asked=read_as(GerminationNew, asked | values), now=NOW,
            )  # fmt: skip
        assert caught.value.errors[0].pointer == pointer


# ------------------------------------------------------------------ into a plan


def test_a_lot_in_the_core_is_sown_as_a_distribution():
    content = LotContent(RATTLE, Spread(8.0, 10.0, 12.5), Spread(0.4, 0.5, 0.6))
    item = SeedItem(kg=2.0, lot="a", contents=(content,))
    live = live_by_taxon(parameters(), [item], 100.0, 1, 4000)[RATTLE]
    # derivation: 2,000 g on 100 m2 at 10 seeds a gram, half of them alive
    assert np.median(live) == pytest.approx(100.0, rel=0.03)
    assert np.quantile(live, 0.1) < 80 < 120 < np.quantile(live, 0.9)
    # the same sack is the same on every site
    again = live_by_taxon(parameters(), [item], 200.0, 1, 4000)[RATTLE]
    assert np.allclose(live, 2 * again)


def test_a_plan_may_name_a_lot_and_its_forecast_keeps_what_was_known(county):
    row = lot(county, grams=5000.0)
    count(county, row, *SIX)
    lead, project = county.as_(county.lead), county.projects["Under the yews"]
    plan = {"seed": [{"lot": str(row.public_id), "kg": 0.36}], "sow_on": "2026-09-20"}
    meadows.plan_create(
        actor=lead, project_id=project.public_id, asked=read_as(PlanNew, {"plan": plan}), if_version=None, now=NOW
    )
    forecast = meadows.forecast_create(actor=lead, project_id=project.public_id, now=NOW)
    answer = json.loads(ModelRun.objects.get(pk=forecast.run_id).answer)
    item = answer["seed"]["items"][0]
    assert (item["key"], item["label"], item["packs"]) == (str(row.public_id), "Seed of the network’s own lot", [])
    # derivation: 71 seeds in 6 g, 360 g on 180 m2, and about a half to nine tenths of them alive
    assert 23.7 * 0.5 < answer["seed"]["taxa"][0]["live_seeds_per_m2"]["p50"] < 23.7
    with pytest.raises(RequestRefused) as caught:
        meadows.plan_create(
            actor=lead, project_id=project.public_id, if_version=None, now=NOW,
            asked=read_as(PlanNew, {"plan": {"seed": [{"lot": str(uuid.uuid4()), "kg": 1.0}]}}),
        )  # fmt: skip
    assert [(e.pointer, e.code) for e in caught.value.errors] == [("/plan/seed/0/lot", "unknown_lot")]


# ------------------------------------------------------------------ harvests


@pytest.mark.parametrize(
    ("values", "codes"),
    [
        ({"on": "2025-07-20"}, ["no_agreement"]),
        ({"on": "2026-06-20"}, ["outside_window"]),
        ({"method": "combine"}, ["method_not_agreed"]),
        ({"area_m2": 5000.1}, ["beyond_agreed_area", "too_large_a_share"]),
    ],
)
def test_what_speaks_against_a_harvest_is_told_and_a_coordinator_may_say_why(county, values, codes):
    row = donor(county)
    with pytest.raises(RuleBroken) as caught:
        harvest(county, row, **values)
    assert [error.code for error in caught.value.errors] == codes
    made = harvest(county, row, **values, reason="The owner agreed on the day.")
    assert made.cautions[: len(codes)] == codes


def test_the_same_ground_rests_between_harvests(county):
    row = donor(county)
    for year, area in (("2024", 4000.0), ("2025", 4000.0)):
        harvest(county, row, on=f"{year}-07-20", area_m2=area, lot_name=year, reason="Before the agreement.")
    # 4,000 + 4,000 + 2,000 fit beside each other on 10,000 m2; another half does not
    with pytest.raises(RuleBroken) as caught:
        harvest(county, row, area_m2=2000.1)
    assert [error.code for error in caught.value.errors] == ["no_rest"]
    assert harvest(county, row, area_m2=2000.0).cautions == []


def test_a_harvest_makes_a_lot_of_fresh_seed_and_a_lead_needs_no_reason_of_a_coordinator(county):
    row = donor(county)
    row.agreements.update(name_told=True)
    made = harvest(county, row, who="lead")
    assert (made.lot.origin, made.lot.state, made.lot.made_mg) == ("harvested", "fresh", 20_000_000)
    with pytest.raises(RuleBroken):
        harvest(county, row, who="lead", on="2026-06-20", lot_name="Early", reason="We were there.")
    with pytest.raises(NotAllowed):
        harvest(county, row, who="member", lot_name="Other")
    with pytest.raises(NotFound):
        harvest(county, row, who="stranger", lot_name="Other")


def test_a_donor_whose_owner_will_not_be_named_is_the_coordinators_alone(county):
    row = donor(county)
    with pytest.raises(NotFound):
        harvest(county, row, who="lead")
    assert "A. N. Owner" not in repr(row.agreements.values()) + repr(SeedEntry.objects.values())


def test_an_owner_is_named_by_the_last_word_alone(county):
    row = donor(county)
    first = row.agreements.get()
    member = county.as_(county.member)

    def named():
        return DonorMeadow.objects.filter(visible_donors(member), pk=row.pk).exists()

    row.agreements.update(name_told=True)
    assert named() is True
    # agreed anew without a name: the older word counts no more
    values = {field.attname: getattr(first, field.attname) for field in first._meta.concrete_fields}
    later = {"name_told": False, "starts_on": first.starts_on + timedelta(days=1), "public_id": uuid.uuid4()}
    second = DonorAgreement.objects.create(**{key: value for key, value in values.items() if key != "id"} | later)
    assert named() is False
    DonorAgreement.objects.filter(pk=second.pk).update(name_told=True)
    assert named() is True
    # ended, it names nobody, and what came before it does not either
    DonorAgreement.objects.filter(pk=second.pk).update(ended_on=NOW.date())
    assert named() is False
