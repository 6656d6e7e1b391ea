"""Yearly returns."""

from datetime import datetime
from typing import Any
from uuid import UUID

import orjson

from projects.api.v1.answers.base import Answer, Named, NounAnswer, named, noun
from projects.models import OutcomeReturn, ReturnQuestion, ReturnVersion
from projects.selectors.returns import names_to_settle


class QuestionAnswer(NounAnswer):
    """Something unlikely in a return, and what was said of it."""

    code: str
    pointer: str
    text: str
    answer: str
    accepted: bool


class CandidateAnswer(Answer):
    """A plant that a written name may stand for."""

    taxon: str
    name: str
    score: int
    """Likeness, 0 to 100."""


class NameAnswer(Answer):
    """A written name that is not settled."""

    name: str
    records: int
    status: str
    candidates: list[CandidateAnswer]


class ReturnAnswer(NounAnswer):
    """One year of one project."""

    project: Named
    group: Named
    year: int
    state: str
    version_number: int
    """Of the latest sent."""
    agreed_version: int | None
    """Of the version that counts."""
    came_by: str
    on_behalf: bool
    checksum: str
    """SHA-256 of what was sent."""


class ReturnDetailAnswer(ReturnAnswer):
    """A return with what was sent, what is asked about it, and names to settle."""

    content: dict[str, Any]
    """As it was sent."""
    questions: list[QuestionAnswer]
    names_to_settle: list[NameAnswer]


class ReturnVersionAnswer(Answer):
    """A version of a return."""

    id: UUID
    number: int
    submission_id: UUID
    came_by: str
    on_behalf: bool
    checksum: str
    created_at: datetime
    content: dict[str, Any]


def _fields(row: OutcomeReturn) -> dict[str, Any]:
    version = row.current
    return {
        **noun(row),
        "project": named(row.project),
        "group": named(row.group),
        "year": row.year,
        "state": row.state,
        "version_number": version.number if version else 0,
        "agreed_version": row.agreed.number if row.agreed else None,
        "came_by": version.came_by if version else "",
        "on_behalf": bool(version and version.on_behalf),
        "checksum": version.checksum if version else "",
    }


def return_answer(row: OutcomeReturn) -> dict[str, Any]:
    return ReturnAnswer(**_fields(row)).model_dump(mode="json")


def question_answer(row: ReturnQuestion) -> dict[str, Any]:
    return _question(row).model_dump(mode="json")


def _question(row: ReturnQuestion) -> QuestionAnswer:
    return QuestionAnswer(
        **noun(row),
        code=row.code,
        pointer=row.pointer,
        text=row.text,
        answer=row.answer,
        accepted=row.accepted_at is not None,
    )


def return_detail(row: OutcomeReturn) -> dict[str, Any]:
    version = row.current
    found = ReturnDetailAnswer(
        **_fields(row),
        content=orjson.loads(version.content) if version else {},
        questions=[_question(question) for question in version.questions.all()] if version else [],
        names_to_settle=[
            NameAnswer(
                name=name,
                records=records,
                status=match.status,
                candidates=[
                    CandidateAnswer(taxon=each.taxon, name=each.name, score=each.score) for each in match.candidates
                ],
            )
            for name, records, match in (names_to_settle(version) if version else ())
        ],
    )
    return found.model_dump(mode="json")


def version_answer(row: ReturnVersion) -> dict[str, Any]:
    found = ReturnVersionAnswer(
        id=row.public_id,
        number=row.number,
        submission_id=row.submission_id,
        came_by=row.came_by,
        on_behalf=row.on_behalf,
        checksum=row.checksum,
        created_at=row.created_at,
        content=orjson.loads(row.content),
    )
    return found.model_dump(mode="json")
