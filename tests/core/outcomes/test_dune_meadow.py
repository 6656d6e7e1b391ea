"""The dune meadow survey of Jongman, ter Braak and van Tongeren (1987): 20 sites, cover classes, two mosses.

The published values were worked out from the classes as they stand, mosses in.
"""

import numpy as np
import pytest

from modelling.core.outcomes import diversity
from modelling.core.outcomes.found import Plant, Sighting, Square, stand_of
from tests.core.conftest import worked_examples
from tests.core.outcomes.made import accumulation_by_hand, pool_by_hand

SITES = worked_examples("dune_meadow")
NAMES = {row["code"]: row for row in worked_examples("dune_meadow_names")}
CODES = [column for column in SITES[0] if column != "site"]
CLASSES = np.array([[float(site[code]) for code in CODES] for site in SITES])


def quadrats(codes):
    return [{code for code in codes if site[code] != "0"} for site in SITES]


def test_every_code_has_a_name_that_it_shortens():
    assert list(NAMES) == CODES
    for code, row in NAMES.items():
        genus, species = row["name"].split()
        # the codes take four letters of each, or three where the word is short
        assert genus[:3] == code[:3]
        assert code.endswith((species[: len(code) - 4], species[: len(code) - 3]))
        assert "Jongman" in row["source"]


@pytest.mark.parametrize("row", worked_examples("dune_meadow_published"), ids=lambda row: f"site {row['site']}")
def test_richness_shannon_and_simpson_are_those_of_vegan(row):
    values = CLASSES[int(row["site"]) - 1]
    assert diversity.richness(values) == int(row["richness"])
    assert diversity.shannon(values) == pytest.approx(float(row["shannon"]), abs=1e-6)
    assert diversity.simpson(values) == pytest.approx(float(row["simpson"]), abs=1e-6)
    assert diversity.hill(values, 2) == pytest.approx(float(row["inverse_simpson"]), abs=1e-6)
    assert diversity.evenness(values) == pytest.approx(float(row["evenness"]), abs=1e-6)


@pytest.mark.parametrize("row", worked_examples("dune_meadow_pool"), ids=lambda row: row["estimate"])
def test_the_pool_of_kinds_is_that_of_vegan(row):
    found = diversity.pool((CLASSES > 0).sum(axis=0), len(SITES))
    assert getattr(found, row["estimate"]) == pytest.approx(float(row["value"]), abs=1e-6)


def test_without_the_mosses_28_kinds_are_left_and_the_estimates_are_those_by_hand():
    vascular = [code for code in CODES if NAMES[code]["vascular"] == "yes"]
    plants = {
        code: Plant(key=code, name=NAMES[code]["name"], kind="forb" if code in vascular else "moss") for code in CODES
    }
    squares = [
        Square(site["site"], "sown", 4.0, tuple(Sighting(plants[c]) for c in CODES if site[c] != "0")) for site in SITES
    ]
    stand = stand_of(squares, 1.0)
    found, expected = diversity.pool(stand.in_quadrats, stand.n), pool_by_hand(quadrats(vascular))
    assert (found.seen, len(vascular)) == (28, 28)
    for name, value in expected.items():
        assert getattr(found, name) == pytest.approx(value, abs=1e-9), name
    assert stand.counts.tolist() == [len(quadrat) for quadrat in quadrats(vascular)]
    assert stand.area_m2 == 4.0


def test_kinds_accumulate_as_over_every_choice_of_the_first_twelve_sites():
    first = quadrats(CODES)[:12]
    held = np.array([sum(code in quadrat for quadrat in first) for code in CODES])
    assert diversity.accumulation(held, 12) == pytest.approx(accumulation_by_hand(first), abs=1e-9)
