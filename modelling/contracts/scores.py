"""Scores of assessors in, bids on one scale out."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from modelling.contracts.answers import Answer
from modelling.contracts.requests import Key, Strict

MOST_SCORES = 5_000


class Scored(Strict):
    """One score that one assessor gave one bid."""

    bid: Key
    assessor: Key
    score: Annotated[float, Field(ge=-1_000_000, le=1_000_000)]


class ScoreQuestion(Strict):
    """Put the scores of several assessors on one scale. The table may have gaps."""

    scores: Annotated[tuple[Scored, ...], Field(max_length=MOST_SCORES, strict=False)]

    @model_validator(mode="after")
    def _once(self) -> ScoreQuestion:
        pairs = [(entry.bid, entry.assessor) for entry in self.scores]
        if len(set(pairs)) < len(pairs):
            raise ValueError("an assessor scored the same bid twice")
        return self


class BidScore(Answer):
    """One bid, as if every assessor had scored it."""

    bid: str
    scores: int
    mean: float
    adjusted: float
    standard_error: float | None
    """Of the adjusted score; null where the scores cannot tell."""
    part: int
    """Bids of two parts have no chain of assessors in common: they cannot be told apart by their scores."""
    first_below: str | None
    """The best of the bids of the same part that is clearly below this one; null where none is."""


class AssessorScore(Answer):
    """One assessor."""

    assessor: str
    scores: int
    leniency: float
    """Points above the others, drawn towards 0 the more the fewer scores there are."""


class ScoreAnswer(Answer):
    """Scores on one scale, the best bid first; ties by id."""

    sentences: list[str]
    bids: list[BidScore]
    assessors: list[AssessorScore]
    parts: int
    noise_sd: float | None
    leniency_sd: float | None
