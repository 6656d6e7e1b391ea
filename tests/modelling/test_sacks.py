"""A sack from its counts: refused by the field, answered sensibly however little was counted."""

import numpy as np
import pytest

from modelling.contracts.sacks import SackAnswer
from modelling.errors import RequestRefused
from modelling.sacks import count_sack, portions, read_sack

RATTLE = "rhinanthus_minor"


def asked(*counts, grams=1.0, taxon=RATTLE, **others):
    return {"samples": [{"grams": grams, "counts": {taxon: count}} for count in counts], **others}


def answer(data):
    found = count_sack(read_sack(data))
    SackAnswer.model_validate(found)
    return found


def fault(data):
    with pytest.raises(RequestRefused) as caught:
        read_sack(data)
    return [(error.pointer, error.code) for error in caught.value.errors]


def test_six_pinches_and_then_a_wild_one():
    calm = answer(asked(12, 9, 15, 11, 14, 10, sack_g=18_400.0))
    assert "11.8 seeds a gram (71 in 6 g), 9.24 to 14.9" in calm["sentences"][0]
    assert "170,000 to 270,000 in the sack" in calm["sentences"][0]
    # at 2.56 g a thousand (Kew Seed Information Database), 11.8 seeds a gram are 3.0 per cent
    share = calm["taxa"][0]["mass_percent"]
    assert share["low"] < 3.0 < share["high"]
    assert not calm["taxa"][0]["mixing"]["uneven"]
    wild = answer(asked(12, 9, 15, 11, 14, 10, 41, sack_g=18_400.0))
    assert wild["taxa"][0]["mixing"]["uneven"]
    assert "not well mixed" in wild["sentences"][0]
    assert any("divide the heap" in sentence for sentence in wild["sentences"])
    width = {name: v["taxa"][0]["seeds_in_sack_clumped"] for name, v in (("calm", calm), ("wild", wild))}
    assert width["wild"]["high"] - width["wild"]["low"] > 2 * (width["calm"]["high"] - width["calm"]["low"])


@pytest.mark.parametrize(
    "data",
    [
        asked(7),
        asked(0, 0, 0, sack_g=5_000_000.0),
        asked(100_000, grams=1000.0),
        asked(0, 1, grams=0.2),
        asked(300, 1, 2, sack_g=3.0),
        asked(1, 2, taxon="dactylorhiza_fuchsii"),
        asked(5, 5, years_in_store=50.0, germination=[{"taxon": RATTLE, "germinated": 0, "tested": 1}]),
    ],
)
def test_whatever_was_counted_the_figures_are_in_order(data):
    for taxon in answer(data)["taxa"]:
        for name, value in taxon.items():
            if isinstance(value, dict) and {"low", "high"} <= value.keys():
                assert 0 <= value["low"] <= value["middle"] <= value["high"], name
                assert np.isfinite(value["high"])
        if taxon["alive_share"]:
            assert taxon["alive_share"]["high"] <= 1


def test_one_sub_sample_says_nothing_of_mixing():
    found = answer(asked(7))
    assert found["taxa"][0]["mixing"] is None
    assert found["taxa"][0]["seeds_per_gram_clumped"] is None
    assert any("One sub-sample cannot show" in sentence for sentence in found["sentences"])


def test_rattle_ages_faster_than_others_and_a_test_tells_more():
    def alive(**others):
        return answer(asked(10, 10, **others))["taxa"][0]["alive_share"]

    fresh, old = alive(), alive(years_in_store=2.0)
    assert old["middle"] < fresh["middle"] / 2
    daisy = [
        answer(asked(9, taxon="leucanthemum_vulgare", years_in_store=y))["taxa"][0]["alive_share"] for y in (0.0, 2.0)
    ]
    assert daisy[1]["middle"] > daisy[0]["middle"] / 2
    tested = alive(years_in_store=2.0, germination=[{"taxon": RATTLE, "germinated": 90, "tested": 100}])
    assert tested["middle"] > 0.8
    assert tested["high"] - tested["low"] < old["high"] - old["low"]


def test_weeds_that_the_law_names_put_a_lot_on_hold():
    assert answer(asked(1, 0, taxon="jacobaea_vulgaris"))["on_hold"] == ["jacobaea_vulgaris"]
    assert answer(asked(0, 0, taxon="jacobaea_vulgaris"))["on_hold"] == []
    assert "before promising" in answer(asked(1, 0, taxon="rumex_crispus"))["sentences"][0]


@pytest.mark.parametrize(
    ("data", "faults"),
    [
        ({}, [("/samples", "missing")]),
        ({"samples": []}, [("/samples", "too_few")]),
        (asked(1.5), [(f"/samples/0/counts/{RATTLE}", "not_a_whole_number")]),
        (asked(-1), [(f"/samples/0/counts/{RATTLE}", "out_of_range")]),
        (asked(1, grams=0.0), [("/samples/0/grams", "out_of_range")]),
        (asked(1, grams=-3.0), [("/samples/0/grams", "out_of_range")]),
        # 2.56 g a thousand: a gram holds some four hundred seeds of rattle, never ten thousand
        (asked(10_000), [(f"/samples/0/counts/{RATTLE}", "too_many_seeds")]),
        (asked(1, taxon="yelow_ratle"), [("/samples/0/counts/yelow_ratle", "unknown_plant")]),
        (asked(1, 1, sack_g=1.0), [("/sack_g", "contradiction")]),
        (
            asked(1, germination=[{"taxon": RATTLE, "germinated": 5, "tested": 4}]),
            [("/germination/0", "contradiction")],
        ),
        (
            asked(1, germination=[{"taxon": "primula_veris", "germinated": 1, "tested": 4}]),
            [("/germination/0/taxon", "not_counted")],
        ),
        (
            {"samples": [{"grams": 1.0, "counts": {RATTLE: 1}}, {"grams": 1.0, "counts": {"primula_veris": 1}}]},
            [("/samples/0/counts", "not_counted"), ("/samples/1/counts", "not_counted")],
        ),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(data, faults):
    assert fault(data) == faults


@pytest.mark.parametrize(
    ("sacks", "printed"),
    # Washington Administrative Code 16-301-095: bags to sample of a lot
    [(7, 6), (10, 6), (23, 7), (50, 10), (100, 15), (200, 25), (300, 30), (400, 30)],
)
def test_portions_from_many_sacks_as_printed(sacks, printed):
    assert portions(sacks) == printed


def test_of_few_sacks_all_are_sampled_at_five_portions_or_more():
    assert [portions(sacks) for sacks in (1, 4, 5, 6)] == [5, 5, 5, 6]
