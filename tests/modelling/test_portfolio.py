"""What the pot could buy, told: a county's round small enough to follow by hand."""

import numpy as np
import pytest

from modelling.contracts.portfolio import PortfolioQuestion
from modelling.errors import RequestRefused
from modelling.portfolio import choose
from modelling.reading import read_as


def bid(key, pounds, **more):
    return {"id": key, "cost_pence": pounds * 100, "group": more.pop("group", key), "score": None, **more}


def question(bids, pot=10_000, **more):
    limits = {"pot_pence": pot * 100, **more.pop("limits", {})}
    return read_as(PortfolioQuestion, {"bids": bids, "limits": limits, **more})


#: a and b fill the pot exactly and bring 3.5 ha; c alone would bring 3; d is dear for what it brings
BIDS = [bid("a", 6_000), bid("b", 4_000), bid("c", 7_000), bid("d", 9_500)]
OUTCOMES = {"a": [2.0, 2.0], "b": [1.0, 2.0], "c": [3.0, 3.0], "d": [1.0, 1.0]}


def test_the_best_set_and_the_runner_up():
    found = choose(question(BIDS), OUTCOMES)

    assert found["best"] == {
        "ids": ["a", "b"], "cost_pence": 1_000_000, "value": 3.5, "expected_outcome": 3.5, "worst_mean_outcome": 3.0,
    }  # fmt: skip
    assert found["runner_up"]["ids"] == ["c"]
    assert found["solved"]["status"] == "proven_best"
    assert found["sentence"] == (
        "£10,000 of the £10,000 funds 2 of 4 bids and brings 3.5 species-rich hectares to be expected. No other set "
        "brings more."
    )


def test_why_a_bid_is_not_in_it():
    # c brings 3 ha for £7,000: 0.5 ha more would do; or at £4,000 beside a (2 + 3 = 5), or £6,000 beside b (4.5)
    found = {entry["id"]: entry for entry in choose(question(BIDS), OUTCOMES)["not_chosen"]}

    c = found["c"]
    assert c["would_exceed"] == [{"limit": "pot", "by": 700_000, "ids": ["a", "b", "c"]}]
    assert c["value_to_gain"] == pytest.approx(0.5, abs=1e-6)
    assert c["pence_cheaper"] == 100_000
    assert c["sentence"] == (
        "With it, the pot is short by £7,000. It would be as good to take it if it were £1,000 cheaper or better by "
        "0.5 species-rich hectares."
    )
    # d brings 1 ha: beside c for £7,000 there are £3,000 left for it, and 3 + 1 is more than 3.5
    assert found["d"]["pence_cheaper"] == 650_000


def test_the_price_of_the_pot_and_the_frontier():
    # £1,000 more: b and c for £11,000 bring 4.5
    found = choose(question(BIDS, frontier_steps=5), OUTCOMES)

    assert found["prices"] == [
        {
            "limit": "pot", "step": 100_000, "used": 1_000_000, "most": 1_000_000,
            "value_gained": pytest.approx(1.0, abs=1e-6), "ids_in": ["c"], "ids_out": ["a"],
        }
    ]  # fmt: skip
    assert [(point["budget_pence"], point["chosen"]["ids"]) for point in found["frontier"]] == [
        (200_000, []),
        (400_000, ["b"]),
        (600_000, ["a"]),
        (800_000, ["c"]),
        (1_000_000, ["a", "b"]),
    ]


def test_what_a_pin_costs():
    # d in fills the pot: 1 ha instead of 3.5
    pinned = [*BIDS[:3], BIDS[3] | {"pinned": "in"}]

    found = choose(question(pinned), OUTCOMES)

    assert found["best"]["ids"] == ["d"]
    (pin,) = found["pins"]
    assert (pin["id"], pin["pinned"], pin["ids_without"]) == ("d", "in", ["a", "b"])
    assert pin["value_lost"] == pytest.approx(2.5, abs=1e-6)


def test_pins_that_cannot_be_held_are_told_with_the_sum_that_is_missing():
    pinned = [BIDS[0], BIDS[1], *(entry | {"pinned": "in"} for entry in BIDS[2:])]

    found = choose(question(pinned), OUTCOMES)

    assert not found["feasible"]
    assert found["best"] is None
    assert found["infeasible"] == [{"limit": "pot", "by": 650_000, "ids": ["c", "d"]}]
    assert found["sentence"] == "The bids held in cannot all be funded: the pot is short by £6,500."


def test_every_limit_is_told_apart():
    needy = [
        bid("a", 100, group="one", district="north", seed=[{"item": "rattle", "mg": 6_000}], harvester_half_days=2),
        bid("b", 100, group="one", district="north", seed=[{"item": "rattle", "mg": 5_000}], harvester_half_days=2),
    ]
    limits = {
        "per_group_pence": 15_000, "per_district_pence": 12_000, "seed": [{"item": "rattle", "mg": 8_000}],
        "harvester_half_days": 3, "exclusive": [["a", "b"]],
    }  # fmt: skip

    found = choose(question(needy, limits=limits), {"a": [2.0], "b": [1.0]})

    (left,) = found["not_chosen"]
    assert {entry["limit"]: entry["by"] for entry in left["would_exceed"]} == {
        "per_group:one": 5_000, "per_district:north": 8_000, "seed:rattle": 3_000, "harvester": 1, "exclusive:a, b": 1,
    }  # fmt: skip
    assert [price["limit"] for price in found["prices"]] == [
        "pot",
        "per_group",
        "per_district",
        "seed:rattle",
        "harvester",
    ]
    assert left["pence_cheaper"] is None
    assert left["sentence"].startswith("With it, the limit of one group is passed by £50, the limit of north is passed")


def test_scores_need_no_draws_and_draws_need_one_length():
    scored = [entry | {"score": score} for entry, score in zip(BIDS, (10, 20, 35, 5), strict=True)]

    assert choose(question(scored, objective="score"), {})["best"]["ids"] == ["c"]
    with pytest.raises(RequestRefused, match="different lengths"):
        choose(question(BIDS), OUTCOMES | {"a": [1.0]})
    with pytest.raises(RequestRefused, match="outcome of b are missing"):
        choose(question(BIDS), {key: draws for key, draws in OUTCOMES.items() if key != "b"})
    with pytest.raises(RequestRefused, match="outcome of b are missing"):
        choose(question(BIDS), OUTCOMES | {"b": [float("nan"), 1.0]})


def test_a_round_without_bids_and_bids_that_bring_nothing():
    assert choose(question([]), {})["best"]["ids"] == []

    found = choose(question(BIDS), {key: [0.0, 0.0] for key in OUTCOMES})

    assert found["best"]["ids"] == []
    assert found["not_chosen"][0]["sentence"] == "It adds nothing to what the best set brings."


def test_a_larger_pot_never_brings_less_and_a_limit_never_more():
    rng = np.random.Generator(np.random.PCG64(11))
    bids = [bid(f"b{i:02}", int(rng.random() * 9_000) + 500, group=f"g{i % 4}") for i in range(20)]
    outcomes = {entry["id"]: rng.random(50) for entry in bids}
    plain = {"frontier_steps": 0, "explained": 0}

    values = [choose(question(bids, pot, **plain), outcomes)["best"]["value"] for pot in (5_000, 20_000, 60_000)]
    limited = choose(question(bids, 60_000, limits={"per_group_pence": 900_000}, **plain), outcomes)["best"]["value"]

    assert values == sorted(values)
    assert limited <= values[-1]


def test_the_chance_of_being_in_the_best_set_counts_the_worlds_each_bid_wins():
    # in the first world a and b bring 3 ha and c 2.5; in the second c brings 3 and a and b together 1
    worlds = {"a": [2.0, 0.0], "b": [1.0, 1.0], "c": [2.5, 3.0], "d": [1.0, 1.0]}
    found = choose(question(BIDS), worlds)
    assert found["worlds_tried"] == 2
    assert {row["id"]: row["in_best"] for row in found["chances"]} == {"a": 0.5, "b": 0.5, "c": 0.5, "d": 0.0}
    # a world in which nothing comes up tells nothing
    barren = choose(question(BIDS), {key: [*values, 0.0] for key, values in worlds.items()})
    assert (barren["worlds_tried"], barren["worlds_telling"]) == (3, 2)
    assert barren["chances"] == found["chances"]
    # pins hold in every world
    held = choose(question([bid("a", 6_000, pinned="in"), *BIDS[1:]]), worlds)
    assert {row["id"]: row["in_best"] for row in held["chances"]} == {"a": 1.0, "b": 1.0, "c": 0.0, "d": 0.0}


def test_little_ground_is_told_in_square_metres():
    found = choose(question(BIDS), {key: [value / 1000 for value in values] for key, values in OUTCOMES.items()})
    assert "brings 35 species-rich m² to be expected." in found["sentence"]
    assert "better by 5 species-rich m²." in next(row for row in found["not_chosen"] if row["id"] == "c")["sentence"]


def test_scores_know_no_worlds():
    found = choose(question([bid("a", 6_000) | {"score": 3.0}], objective="score"), {})
    assert (found["chances"], found["worlds_tried"]) == ([], 0)
    assert choose(question(BIDS, worlds_tried=0), OUTCOMES)["chances"] == []
