"""Lists of plants that rules name: which of the kinds found are on them, and what counts as one entry."""

from __future__ import annotations

from collections.abc import Mapping

from modelling.core.outcomes.found import Plant
from modelling.core.parameters import ParameterSet


def entries(parameters: ParameterSet, name: str) -> list[Mapping[str, str]]:
    """Rows of one list."""
    return [row for row in parameters.nouns["indicator_taxa"].values() if row["list"] == name]


def entry_of(plant: Plant, rows: list[Mapping[str, str]]) -> str:
    """What a plant counts as on a list; "" where it is not on it.

    A species stands on a list by its name, or by its genus where the list has the whole genus. A plant written
    down only by its genus is on a list that has the genus, not on one that has species of it.
    """
    for row in rows:
        name = row["scientific_name"].casefold()
        on_list = {
            "species": bool(plant.slug) and plant.slug == row["key"],
            "genus": bool(plant.genus) and plant.genus == name,
            "genus_word": plant.is_genus and plant.genus == name,
        }
        if on_list[row["rank"]]:
            return row["counts_as"]
    return ""
