"""Bids, reviews and notes."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

import orjson

from projects.api.v1.answers.base import Answer, Named, NounAnswer, named, noun
from projects.api.v1.answers.rounds import PENCE, PersonAnswer, person
from projects.models import AuditEntry, Bid, BidNote, BidSubmission, Review
from projects.rules.bids import Check
from projects.selectors.bids import content_of
from projects.selectors.reviews import total_of


class ReceiptAnswer(Answer):
    """That a bid was handed in."""

    id: UUID
    number: int
    """Of the times it was handed in."""
    checksum: str
    """SHA-256 of the text as it was handed in."""
    created_at: datetime


class SubmissionAnswer(ReceiptAnswer):
    """A bid as it was handed in."""

    content: dict[str, Any]


class BidAnswer(NounAnswer):
    """A bid in short."""

    round: Named
    group: Named
    title: str
    number: int | None
    """Within its round, from the first time it is handed in."""
    state: str
    asked_gbp: float
    receipt: ReceiptAnswer | None


class BidLineAnswer(Answer):
    """A line of a budget."""

    what: str
    category: str
    paid_by: str
    source: str
    quantity: float
    unit: str
    skill: str | None
    unit_price_gbp: float
    net_gbp: float
    vat_gbp: float
    gross_gbp: float


class BidStageAnswer(Answer):
    """A part of the work after which money is asked for."""

    name: str
    due_on: date
    amount_gbp: float
    evidence: str


class BidPromiseAnswer(Answer):
    """What will be there by the end of a year."""

    kind: str
    amount: int
    by_year: int
    plant: str
    project_id: UUID | None


class BidAttachmentAnswer(Answer):
    """A paper that goes with a bid."""

    name: str
    size_bytes: int
    checksum: str


class BidProofAnswer(Answer):
    """What a group says it can show, and the day on which somebody saw it."""

    what: str
    has_it: bool
    seen_on: date | None


class BidProjectAnswer(Answer):
    """A project of a bid, with what it was handed in with."""

    id: UUID
    name: str
    plan_number: int | None
    forecast_id: UUID | None


class BidDetailAnswer(BidAnswer):
    """All that a bid says."""

    summary: str
    narrative: str
    other_funding_note: str
    starts_on: date | None
    ends_on: date | None
    aftercare_years: int
    children_come: bool
    vat_recovered: bool
    projects: list[BidProjectAnswer]
    lines: list[BidLineAnswer]
    stages: list[BidStageAnswer]
    promises: list[BidPromiseAnswer]
    attachments: list[BidAttachmentAnswer]
    proofs: list[BidProofAnswer]


class CheckAnswer(Answer):
    """One thing that is missing, or that an assessor will ask."""

    code: str
    text: str
    pointer: str
    """JSON Pointer into the bid."""
    blocks: bool
    """Whether the bid cannot be handed in like this."""


class Checklist(Answer):
    """What is missing in a bid or will be asked, what blocks it first."""

    ready: bool
    results: list[CheckAnswer]


class ScoreAnswer(Answer):
    """The score on one criterion."""

    criterion: int
    name: str
    score: int
    most: int
    comment: str


class ReviewAnswer(NounAnswer):
    """What one assessor makes of a bid."""

    assessor: PersonAnswer
    bid: Named
    scores: list[ScoreAnswer]
    total: float
    """Of 100, by the criteria's weights."""
    comment: str
    sent_at: datetime | None


class Reviews(Answer):
    """Reviews of a bid that the caller may see by now."""

    results: list[ReviewAnswer]


class NoteAnswer(Answer):
    """Something said about a bid."""

    author: PersonAnswer
    text: str
    created_at: datetime


class Notes(Answer):
    """Notes about a bid."""

    results: list[NoteAnswer]


class EventAnswer(Answer):
    """Something that was done about a bid."""

    at: datetime
    act: str
    by: str
    before: dict[str, Any] | None
    after: dict[str, Any] | None


def receipt(row: BidSubmission) -> ReceiptAnswer:
    """Return that a bid was handed in."""
    return ReceiptAnswer(id=row.public_id, number=row.number, checksum=row.checksum, created_at=row.created_at)


def _fields(row: Bid) -> dict[str, Any]:
    return {
        **noun(row),
        "round": named(row.round),
        "group": named(row.group),
        "title": row.title,
        "number": row.number,
        "state": row.state,
        "asked_gbp": row.asked_pence / PENCE,
        "receipt": receipt(row.current) if row.current else None,
    }


def bid_answer(row: Bid) -> dict[str, Any]:
    return BidAnswer(**_fields(row)).model_dump(mode="json")


def bid_detail(row: Bid) -> dict[str, Any]:
    seen = {proof.what: proof.seen_on for proof in row.proofs.all()}
    content = content_of(row)
    content["proofs"] = [proof | {"seen_on": seen[proof["what"]]} for proof in content["proofs"]]
    projects = [
        BidProjectAnswer(
            id=each.project.public_id,
            name=each.project.name,
            plan_number=each.plan.number if each.plan else None,
            forecast_id=each.forecast.public_id if each.forecast else None,
        )
        for each in row.projects.all()
    ]
    return BidDetailAnswer(**(content | _fields(row)), projects=projects).model_dump(mode="json")


def submission_answer(row: BidSubmission) -> dict[str, Any]:
    found = SubmissionAnswer(**receipt(row).model_dump(), content=orjson.loads(row.content))
    return found.model_dump(mode="json")


def checklist_answer(checks: list[Check]) -> dict[str, Any]:
    rows = [CheckAnswer(code=c.code, text=c.text, pointer=c.pointer, blocks=c.blocks) for c in checks]
    return Checklist(ready=not any(c.blocks for c in checks), results=rows).model_dump(mode="json")


def review_answer(row: Review) -> dict[str, Any]:
    found = ReviewAnswer(
        **noun(row),
        assessor=person(row.assessor),
        bid=named(row.bid),
        scores=[
            ScoreAnswer(
                criterion=score.criterion.position,
                name=score.criterion.name,
                score=score.score,
                most=score.criterion.most,
                comment=score.comment,
            )
            for score in row.scores.all()
        ],
        total=round(total_of(row), 2),
        comment=row.comment,
        sent_at=row.sent_at,
    )
    return found.model_dump(mode="json")


def note_answer(row: BidNote) -> dict[str, Any]:
    return NoteAnswer(author=person(row.author), text=row.text, created_at=row.created_at).model_dump(mode="json")


def event_answer(row: AuditEntry) -> dict[str, Any]:
    found = EventAnswer(
        at=row.at, act=row.act, by=str(row.actor) if row.actor else "", before=row.before, after=row.after
    )
    return found.model_dump(mode="json")
