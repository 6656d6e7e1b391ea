"""Flags put to a group, with its answers."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from projects.api.v1.answers.base import Answer
from projects.models import FlagsPut
from projects.selectors.flags import FlagRead


class FlagAnswerAnswer(Answer):
    """What the group said."""

    number: int
    text: str
    created_at: datetime


class PutFlag(Answer):
    """Something to look at, put to the group. It decides nothing."""

    number: int
    """For answering it."""
    code: str
    sentence: str
    numbers: dict[str, float]
    """The figures of the sentence, units in the names."""
    source: str
    """Where the rule comes from."""
    confidence: str
    question: str
    """What is asked; empty where there is nothing particular, which may be answered too."""
    answers: list[FlagAnswerAnswer]
    """The first one first; the last one counts."""


class PutFlags(Answer):
    """All flags put to a group about its bid."""

    put_at: datetime
    results: list[PutFlag]


def flags_answer(put: FlagsPut, rows: list[FlagRead]) -> dict[str, Any]:
    """Flags with their answers; nothing else of the appraisal."""
    told = ("code", "sentence", "numbers", "source", "confidence", "question")
    found = PutFlags(
        put_at=put.created_at,
        results=[
            PutFlag(
                number=row.number,
                **{name: row.flag[name] for name in told},
                answers=[
                    FlagAnswerAnswer(number=said.number, text=said.text, created_at=said.created_at)
                    for said in row.answers
                ],
            )
            for row in rows
        ],
    )
    return found.model_dump(mode="json")
