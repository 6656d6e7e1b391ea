"""Assessors' scores, told."""

from typing import Any

import pytest

from modelling.contracts.scores import ScoreQuestion
from modelling.errors import RequestRefused
from modelling.reading import read_as
from modelling.scores import calibrated


def asked(table: dict[str, dict[str, float]]) -> dict[str, Any]:
    entries = [
        {"bid": bid, "assessor": assessor, "score": float(score)}
        for bid, scores in table.items()
        for assessor, score in scores.items()
    ]
    return calibrated(read_as(ScoreQuestion, {"scores": entries}))


def test_a_harsh_assessor_is_made_up_for() -> None:
    # Hale gives ten points less than the others; only the second bid is spared her
    table = {
        "one": {"Ash": 70, "Birch": 71, "Hale": 60},
        "two": {"Ash": 68, "Birch": 69},
        "three": {"Ash": 50, "Birch": 52, "Hale": 41},
        "four": {"Birch": 30, "Hale": 20},
    }

    found = asked(table)
    bids = {entry["bid"]: entry for entry in found["bids"]}

    assert [entry["bid"] for entry in found["bids"]] == ["one", "two", "three", "four"]
    assert bids["one"]["mean"] < bids["two"]["mean"]
    assert bids["one"]["adjusted"] > bids["two"]["adjusted"]
    leniency = {entry["assessor"]: entry["leniency"] for entry in found["assessors"]}
    assert leniency["Hale"] < -5 < 0 < leniency["Birch"]
    assert bids["two"]["first_below"] == "three"
    assert bids["four"]["first_below"] is None
    assert found["sentences"][-1].endswith("Three of 4 bids are clearly above some other.")


def test_too_few_scores_say_so() -> None:
    found = asked({"one": {"Ash": 70}, "two": {"Birch": 20}})

    assert found["parts"] == 2
    assert [entry["first_below"] for entry in found["bids"]] == [None, None]
    assert found["sentences"][0].startswith("The scores fall into two parts")
    assert found["sentences"][1].startswith("There are too few scores")


def test_nothing_scored_and_scored_twice() -> None:
    assert asked({})["sentences"] == ["Nothing has been scored."]
    twice = {"bid": "one", "assessor": "Ash", "score": 1.0}
    with pytest.raises(RequestRefused, match="twice"):
        read_as(ScoreQuestion, {"scores": [twice, twice]})
