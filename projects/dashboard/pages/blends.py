"""A blend of seed in words: how much of which, what it reaches, and what it misses."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from modelling.selectors import vocabularies
from projects.dashboard import words

_GROUPS: Final = {"rattle": "Yellow rattle", "forbs": "Other flowers", "grass": "Grass"}


class BlendPage:
    """What a blend comes to."""

    def __init__(self, answer: Mapping[str, Any], lots: Mapping[str, str]) -> None:
        self.answer, self.lots = answer, lots
        lists = vocabularies()
        self._labels = {row["key"]: row["label"] for name in ("mixes", "taxa") for row in lists[name]}

    @property
    def sentence(self) -> str:
        """The answer."""
        return str(self.answer["sentences"][0])

    @property
    def others(self) -> list[str]:
        """What is missed and by how much, and whatever else is to be said."""
        return [str(text) for text in self.answer["sentences"][1:]]

    @property
    def items(self) -> list[tuple[str, str, str, str]]:
        """What goes in: its name, how much, in which packs, and its share of the weight."""
        found = []
        for item in self.answer["items"]:
            name = self.lots.get(item["lot"] or "") or words.opened(self._labels.get(item["mix"] or item["taxon"], ""))
            packs = words.listed(
                f"{pack['count']} {words.plural(pack['count'], 'pack')} of {words.weight(pack['grams'] / 1000, 4)}"
                for pack in item["packs"]
            )
            share = f"{words.figure(item['share_percent'])} %"
            found.append((name, words.weight(item["kg"], 6), packs or "from the store", share))
        return found

    @property
    def reached(self) -> list[tuple[str, str, str, str]]:
        """Each target: its name, what was aimed at, what is reached, and what is missed."""
        found = []
        for row in self.answer["reached"]:
            name = _GROUPS.get(row["target"]) or words.opened(self._labels.get(row["target"], row["target"]))
            aim = f"at least {row['least']:g}" if row["least"] is not None else f"at most {row['most']:g}"
            aim += ", by the tables" if row["assumed"] else ""
            missed = words.figure(row["missed_by"]) if row["missed_by"] else ""
            found.append((name, aim, words.figure(row["live_per_m2"]), missed))
        return found

    @property
    def left_out(self) -> str:
        """Kinds that do not suit the ground."""
        return words.listed(self._labels.get(key, key) for key in self.answer["left_out"])
