"""Flags in words: the sentence, its figures, where its rule comes from, and what the group says."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from projects.dashboard import words
from projects.dashboard.pages.estimate import CONFIDENCE
from projects.models import FlagAnswer, FlagsPut
from projects.selectors.flags import FlagRead

_POINTS = {"p10": "low", "p50": "middle", "p90": "high"}


class FlagLine:
    """One flag, with the answers to it."""

    def __init__(self, flag: Mapping[str, Any], answers: Sequence[FlagAnswer], number: int = 0) -> None:
        self.number = number
        self.sentence = str(flag["sentence"])
        self.question = str(flag["question"])
        self.figures = "; ".join(figure_words(key, value) for key, value in flag["numbers"].items())
        self.source = str(flag["source"])
        self.confidence = CONFIDENCE.get(flag["confidence"], str(flag["confidence"]))
        self.answer = answers[-1] if answers else None
        self.earlier = list(answers[:-1])


class FlagsPage:
    """All flags put to a group."""

    def __init__(self, put: FlagsPut, rows: Sequence[FlagRead]) -> None:
        self.put = put
        self.flags = [FlagLine(row.flag, row.answers, row.number) for row in rows]

    @property
    def open(self) -> int:
        """How many have no answer yet."""
        return sum(flag.answer is None for flag in self.flags)

    @property
    def sentence(self) -> str:
        """How many wait, first."""
        many = words.counted(len(self.flags))
        asked = f"{words.opened(many)} {words.plural(len(self.flags), 'thing was', 'things were')} put to you"
        if not self.open:
            return f"{asked}; each has your answer."
        return f"{asked}; {words.counted(self.open)} {words.plural(self.open, 'has', 'have')} no answer yet."


def figure_words(key: str, number: float) -> str:
    """A figure of a flag, by its name: "p10_gbp" is "low £170"."""
    name = " ".join(_POINTS.get(part, part) for part in key.split("_"))
    if key.endswith("_gbp"):
        return f"{name.removesuffix(' gbp')} {words.pounds_exact(number)}"
    if "summer" in key or "year" in key.split("_"):
        return f"{name} {number:.0f}"
    if "share" in key or "chance" in key:
        return f"{name} {words.odds(number)}"
    return f"{name} {words.figure(number, 4)}"
