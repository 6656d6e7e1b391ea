"""Reads of decisions and awards, and of what is published about them."""

from __future__ import annotations

from datetime import date
from typing import Any, Final
from uuid import UUID

from django.db.models import Prefetch, Q, QuerySet

from projects.choices import AwardState, ChangeState, PaymentState
from projects.errors import NotFound
from projects.models import (
    Award,
    AwardVisit,
    Bid,
    BidStage,
    ChangeRequest,
    Decision,
    GrantRound,
    MoneyReturned,
    PaymentRequest,
)
from projects.models.decisions import AWARDING
from projects.rules.access import Actor, bids_to_read, demand, of_bids, visible_bids
from projects.rules.awards import AwardFact, due_of_award
from projects.rules.due import Due
from projects.selectors.bids import bid_row

_AWARD_WITH: Final = ("round", "group", "bid", "bid__network", "decision")


def decision_list(actor: Actor) -> QuerySet[Decision]:
    """Decisions the actor may see: drafts for those who read the bid, what is published for its group too."""
    own = of_bids(visible_bids(actor)) & ~Q(state="draft")
    rows = Decision.objects.filter(own | of_bids(bids_to_read(actor)))
    return rows.select_related("bid__round", "bid__group", "bid__network")


def decision_get(actor: Actor, public_id: UUID) -> Decision:
    """One decision; raises NotFound."""
    row = decision_list(actor).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no decision {public_id}, or none that you may see.")
    return row


def decisions_of(actor: Actor, bid_id: UUID) -> QuerySet[Decision]:
    """Decisions about a bid, the latest first; raises NotFound, NotAllowed."""
    bid = bid_row(actor, bid_id)
    demand(actor, "decision.read", group_id=bid.group_id, network_id=bid.network_id)
    return decision_list(actor).filter(bid=bid).order_by("-number")


def award_list(actor: Actor) -> QuerySet[Award]:
    """Awards of bids that exist for the actor, with what a line about each shows."""
    rows = Award.objects.filter(of_bids(visible_bids(actor))).select_related(*_AWARD_WITH)
    return rows.prefetch_related(
        Prefetch("bid__stages", BidStage.objects.order_by("number")),
        Prefetch("payments", PaymentRequest.objects.select_related("stage").order_by("created_at", "pk")),
        Prefetch("changes", ChangeRequest.objects.order_by("created_at", "pk")),
        Prefetch("money_returned", MoneyReturned.objects.order_by("pk")),
    )


def award_get(actor: Actor, public_id: UUID) -> Award:
    """One award; raises NotFound."""
    row = award_list(actor).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no award {public_id}, or none that you may see.")
    return row


def payment_get(actor: Actor, public_id: UUID) -> PaymentRequest:
    """One payment request; raises NotFound."""
    row = (
        PaymentRequest.objects.filter(of_bids(visible_bids(actor), "award__bid"), public_id=public_id)
        .select_related("award__bid", "award__round", "stage")
        .first()
    )
    if row is None:
        raise NotFound(f"There is no payment request {public_id}, or none that you may see.")
    return row


def alteration_get(actor: Actor, public_id: UUID) -> ChangeRequest:
    """One request to change; raises NotFound."""
    row = (
        ChangeRequest.objects.filter(of_bids(visible_bids(actor), "award__bid"), public_id=public_id)
        .select_related("award__bid", "award__round")
        .first()
    )
    if row is None:
        raise NotFound(f"There is no request to change {public_id}, or none that you may see.")
    return row


def visits_of(actor: Actor, award: Award) -> QuerySet[AwardVisit]:
    """Visits to what an award pays for, the latest first; raises NotAllowed."""
    demand(actor, "visit.read", group_id=award.group_id, network_id=award.bid.network_id)
    return AwardVisit.objects.filter(award=award).order_by("-on", "-pk")


def due_of(award: Award, today: date) -> list[Due]:
    """What is due for an award of `award_list`."""
    asked = {row.stage_id for row in award.payments.all() if row.state != PaymentState.REFUSED}
    return due_of_award(
        AwardFact(
            state=award.state,
            accept_by=award.accept_by,
            report_due_on=award.report_due_on,
            reported=award.reported_at is not None,
            waits_for_conditions=award.decision.kind == "conditional" and award.conditions_met_at is None,
            stages=tuple(
                (stage.name, stage.due_on, stage.amount_pence)
                for stage in award.bid.stages.all()
                if stage.pk not in asked
            ),
            left_pence=award.amount_pence - award.claimed_pence,
            payments_waiting=sum(row.state == PaymentState.ASKED for row in award.payments.all()),
            changes_waiting=sum(row.state == ChangeState.ASKED for row in award.changes.all()),
        ),
        today,
    )


# ------------------------------------------------------------------ open data about grants

#: headings of the flat form, in the standard's own words, by path in the nested one
OPEN_HEADINGS: Final = {
    "id": "Identifier",
    "title": "Title",
    "description": "Description",
    "currency": "Currency",
    "amountAppliedFor": "Amount Applied For",
    "amountAwarded": "Amount Awarded",
    "amountDisbursed": "Amount Disbursed",
    "awardDate": "Award Date",
    "plannedDates.startDate": "Planned Dates:Start Date",
    "plannedDates.endDate": "Planned Dates:End Date",
    "recipientOrganization.id": "Recipient Org:Identifier",
    "recipientOrganization.name": "Recipient Org:Name",
    "fundingOrganization.id": "Funding Org:Identifier",
    "fundingOrganization.name": "Funding Org:Name",
    "grantProgramme.code": "Grant Programme:Code",
    "grantProgramme.title": "Grant Programme:Title",
    "beneficiaryLocation.name": "Beneficiary Location:Name",
    "beneficiaryLocation.countryCode": "Beneficiary Location:Country Code",
    "fromOpenCall": "From An Open Call?",
    "dateModified": "Last Modified",
}


def open_awards() -> QuerySet[Award]:
    """Published awards that stand, or of which money was paid: what anybody may know. Nothing of sites and projects."""
    stands = Q(decision__state="published", decision__kind__in=AWARDING) & ~Q(
        state__in=[AwardState.DECLINED, AwardState.WITHDRAWN]
    )
    rows = Award.objects.filter(stands | Q(paid_pence__gt=0))
    return rows.select_related("round__network", "group__district", "bid", "decision")


def open_grant(award: Award) -> dict[str, Any]:
    """One published award in the fields of the open standard for grants data."""
    round: GrantRound = award.round
    bid: Bid = award.bid
    prefix = round.grant_prefix or round.network.slug
    published = award.decision.published_at or award.created_at
    place = award.group.district or round.network
    return {
        "id": f"{prefix}-{award.public_id}",
        "title": bid.title,
        "description": bid.summary,
        "currency": "GBP",
        "amountAppliedFor": bid.asked_pence / 100,
        "amountAwarded": award.amount_pence / 100,
        "amountDisbursed": (award.paid_pence - award.returned_pence) / 100,
        "awardDate": published.date().isoformat(),
        "plannedDates": [{"startDate": award.starts_on.isoformat(), "endDate": award.ends_on.isoformat()}],
        "recipientOrganization": [{"id": f"{prefix}-org-{award.group.public_id}", "name": award.group.name}],
        "fundingOrganization": [{"id": round.funder_org_id or f"{prefix}-funder", "name": round.funder}],
        "grantProgramme": [{"code": str(round.public_id), "title": round.name}],
        "beneficiaryLocation": [{"name": place.name, "countryCode": "GB"}],
        "fromOpenCall": "Yes",
        "dateModified": award.updated_at.isoformat(),
    }


def flat_grant(grant: dict[str, Any]) -> list[str]:
    """One award as a row under OPEN_HEADINGS; what a spreadsheet would take for a formula is led by an apostrophe."""
    row = []
    for path in OPEN_HEADINGS:
        value: Any = grant
        for step in path.split("."):
            value = value[0] if isinstance(value, list) else value
            value = value[step]
        text = f"{value:.2f}" if isinstance(value, float) else str(value)
        row.append(f"'{text}" if text[:1] in {"=", "+", "-", "@", "\t", "\r"} else text)
    return row
