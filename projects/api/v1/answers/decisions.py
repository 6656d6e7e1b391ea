"""Decisions, awards, payments and changes; open data about grants."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from projects.api.v1.answers.base import Answer, Named, NounAnswer, named, noun
from projects.api.v1.answers.rounds import PENCE
from projects.models import Award, AwardVisit, ChangeRequest, Decision, MoneyReturned, PaymentRequest
from projects.selectors.decisions import due_of


class DecisionAnswer(NounAnswer):
    """What was decided about a bid."""

    bid: Named
    number: int
    kind: str
    state: str
    amount_gbp: float
    conditions: str
    reason: str
    feedback: list[str]
    """What would have helped, in plain words."""
    letter: str
    published_at: datetime | None


class Decisions(Answer):
    """Decisions about a bid, the latest first."""

    results: list[DecisionAnswer]


class PaymentAnswer(NounAnswer):
    """Money asked for at the end of a stage."""

    stage: int
    stage_name: str
    state: str
    amount_gbp: float
    evidence: str
    comment: str
    paid_on: date | None


class Payments(Answer):
    """Payment requests of an award."""

    results: list[PaymentAnswer]


class AlterationAnswer(NounAnswer):
    """Something a group wants to do otherwise."""

    kind: str
    state: str
    before: dict[str, Any]
    after: dict[str, Any]
    why: str
    comment: str


class Alterations(Answer):
    """Requests to change something in an award."""

    results: list[AlterationAnswer]


class ReturnedAnswer(Answer):
    """Money that came back."""

    id: UUID
    amount_gbp: float
    on: date
    why: str


class MoneyBacks(Answer):
    """Money of an award that came back."""

    results: list[ReturnedAnswer]


class VisitAnswer(Answer):
    """Somebody went to see what an award pays for."""

    id: UUID
    on: date
    by_role: str
    """fund_manager or assessor; no name is told."""
    seen: str
    next: str
    created_at: datetime


class Visits(Answer):
    """Visits to what an award pays for, the latest first."""

    results: list[VisitAnswer]


class DueAnswer(Answer):
    """Something that is due."""

    code: str
    text: str
    whose: str
    by: date | None
    late: bool


class AwardAnswer(NounAnswer):
    """Money promised to a group for a bid."""

    round: Named
    group: Named
    bid: Named
    decision_id: UUID
    state: str
    amount_gbp: float
    claimed_gbp: float
    paid_gbp: float
    returned_gbp: float
    accept_by: date
    starts_on: date
    ends_on: date
    report_due_on: date
    terms: str
    restricted_purpose: str
    accounting_year: str
    accepted_at: datetime | None
    conditions_met_at: datetime | None
    report: str
    reported_at: datetime | None
    due: list[DueAnswer]


class OpenGrants(Answer):
    """Published awards in the fields of the open standard for grants data."""

    grants: list[dict[str, Any]]


def decision_answer(row: Decision) -> dict[str, Any]:
    found = DecisionAnswer(
        **noun(row),
        bid=named(row.bid),
        number=row.number,
        kind=row.kind,
        state=row.state,
        amount_gbp=row.amount_pence / PENCE,
        conditions=row.conditions,
        reason=row.reason,
        feedback=row.feedback,
        letter=row.letter,
        published_at=row.published_at,
    )
    return found.model_dump(mode="json")


def payment_answer(row: PaymentRequest) -> dict[str, Any]:
    found = PaymentAnswer(
        **noun(row),
        stage=row.stage.number,
        stage_name=row.stage.name,
        state=row.state,
        amount_gbp=row.amount_pence / PENCE,
        evidence=row.evidence,
        comment=row.comment,
        paid_on=row.paid_on,
    )
    return found.model_dump(mode="json")


def alteration_answer(row: ChangeRequest) -> dict[str, Any]:
    found = AlterationAnswer(
        **noun(row),
        kind=row.kind,
        state=row.state,
        before=_in_pounds(row.before),
        after=_in_pounds(row.after),
        why=row.why,
        comment=row.comment,
    )
    return found.model_dump(mode="json")


def _in_pounds(told: dict[str, Any]) -> dict[str, Any]:
    if "stages_pence" not in told:
        return told
    return {"stages_gbp": [amount / PENCE for amount in told["stages_pence"]]}


def returned_answer(row: MoneyReturned) -> dict[str, Any]:
    found = ReturnedAnswer(id=row.public_id, amount_gbp=row.amount_pence / PENCE, on=row.on, why=row.why)
    return found.model_dump(mode="json")


def visit_answer(row: AwardVisit) -> dict[str, Any]:
    found = VisitAnswer(
        id=row.public_id, on=row.on, by_role=row.by_role, seen=row.seen, next=row.next, created_at=row.created_at
    )
    return found.model_dump(mode="json")


def award_answer(row: Award, today: date) -> dict[str, Any]:
    found = AwardAnswer(
        **noun(row),
        round=named(row.round),
        group=named(row.group),
        bid=named(row.bid),
        decision_id=row.decision.public_id,
        state=row.state,
        amount_gbp=row.amount_pence / PENCE,
        claimed_gbp=row.claimed_pence / PENCE,
        paid_gbp=row.paid_pence / PENCE,
        returned_gbp=row.returned_pence / PENCE,
        accept_by=row.accept_by,
        starts_on=row.starts_on,
        ends_on=row.ends_on,
        report_due_on=row.report_due_on,
        terms=row.terms,
        restricted_purpose=row.restricted_purpose,
        accounting_year=row.accounting_year,
        accepted_at=row.accepted_at,
        conditions_met_at=row.conditions_met_at,
        report=row.report,
        reported_at=row.reported_at,
        due=[
            DueAnswer(code=due.code, text=due.text, whose=due.whose, by=due.by, late=due.late)
            for due in due_of(row, today)
        ],
    )
    return found.model_dump(mode="json")
