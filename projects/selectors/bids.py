"""Reads of bids: what they say, what is missing, how they were handed in, what became of them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet

from projects.choices import BidState, Need
from projects.errors import NotFound
from projects.models import (
    AuditEntry,
    Bid,
    BidAppraisal,
    BidProject,
    BidSubmission,
    GrantRound,
    MeadowProject,
    OtherFunding,
    Site,
)
from projects.rules import bids as rules
from projects.rules.access import Actor, bids_to_read, demand, may, visible_bids
from projects.rules.permissions import obstacles
from projects.selectors.sites import label_of, permissions_held

#: what makes up a bid, for one query each
PARTS = (
    "lines",
    "stages",
    "promises__project",
    "attachments",
    "proofs",
    "projects__project",
    "projects__plan",
    "projects__forecast",
)
#: longest label that the model takes
LONGEST_LABEL = 200
_WITH = ("round", "group", "network", "current")
#: states in which a bid may still be given money
LIVE = (BidState.CHECKED, BidState.SUBMITTED, BidState.DECIDED)


def bid_list(actor: Actor) -> QuerySet[Bid]:
    """Bids the actor may see: their groups' own, and those they are to read."""
    return Bid.objects.filter(visible_bids(actor)).select_related(*_WITH)


def bid_row(actor: Actor, public_id: UUID) -> Bid:
    """One bid without its parts; raises NotFound."""
    return _one(bid_list(actor), public_id)


def bid_get(actor: Actor, public_id: UUID) -> Bid:
    """One bid with its parts; raises NotFound."""
    return _one(bid_list(actor).prefetch_related(*PARTS), public_id)


def _one(rows: QuerySet[Bid], public_id: UUID) -> Bid:
    row = rows.filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no bid {public_id}, or none that you may see.")
    return row


def bid_to_read(actor: Actor, public_id: UUID) -> Bid:
    """One bid for those who read bids; for its own group and whoever is near to it there is none: NotFound."""
    return _one(Bid.objects.filter(bids_to_read(actor)).select_related(*_WITH), public_id)


def submissions_of(actor: Actor, bid: Bid) -> QuerySet[BidSubmission]:
    """A bid as it was handed in, the latest first; raises NotAllowed."""
    demand(actor, "bid.read", group_id=bid.group_id, network_id=bid.network_id)
    return BidSubmission.objects.filter(bid=bid)


def appraisal_get(actor: Actor, public_id: UUID) -> BidAppraisal:
    """The latest appraisal of a bid as it was handed in last; raises NotFound."""
    bid = bid_to_read(actor, public_id)
    demand(actor, "appraisal.read", network_id=bid.network_id)
    row = BidAppraisal.objects.filter(submission=bid.current_id).order_by("-pk").first() if bid.current_id else None
    if row is None:
        raise NotFound("This bid has not been appraised yet.")
    return row


def history_of(actor: Actor, public_id: UUID) -> QuerySet[AuditEntry]:
    """What was done about a bid, the latest first: all of it for those who read it, for its group what concerns it."""
    bid = bid_row(actor, public_id)
    rows = AuditEntry.objects.filter(object_id=bid.public_id).select_related("actor", "group").order_by("-pk")
    if Bid.objects.filter(bids_to_read(actor), pk=bid.pk).exists():
        return rows
    return rows.filter(group=bid.group_id)


def other_money_of(actor: Actor, bid: Bid) -> QuerySet[OtherFunding]:
    """Money from elsewhere noted for the ground of a bid; raises NotAllowed."""
    demand(actor, "funding.read", group_id=bid.group_id, network_id=bid.network_id)
    sites = MeadowProject.objects.filter(bids__bid=bid).values("site")
    return OtherFunding.objects.filter(site__in=sites).select_related("site").order_by("site__name", "pk")


# ------------------------------------------------------------------ what an assessor would ask


def checks_of(bid: Bid, today: date) -> list[rules.Check]:
    """What is missing in a bid or will be asked."""
    return rules.checklist(bid_facts(bid, today))


def round_fact(round: GrantRound) -> rules.RoundFact:
    """What a round asks for."""
    return rules.RoundFact(
        pot_pence=round.pot_pence,
        group_limit_pence=round.group_limit_pence,
        starts_earliest_on=round.starts_earliest_on,
        longest_months=round.longest_months,
        must_show=tuple(round.must_show),
        match_percent=round.match_percent,
        volunteer_match_percent=round.volunteer_match_percent,
        categories=tuple(round.categories),
        aftercare_years_least=round.aftercare_years_least,
        rates=tuple((rate.skill, rate.from_day, rate.until_day, rate.pence_per_hour) for rate in round.rates.all()),
    )


def line_facts(bid: Bid) -> tuple[rules.LineFact, ...]:
    """The lines of a bid's budget."""
    return tuple(
        rules.LineFact(
            line.category, line.paid_by, line.source, line.skill, line.unit_price_pence, line.net_pence, line.vat_pence,
            line.gross_pence,
        )
        for line in bid.lines.all()
    )  # fmt: skip


def bid_facts(bid: Bid, today: date) -> rules.BidFact:
    """What the checklist is made from."""
    named = list(
        BidProject.objects.filter(bid=bid)
        .select_related("project__site")
        .prefetch_related(
            "project__site__permissions", "project__site__soil_tests", "project__site__other_funding", "project__plans"
        )
    )
    others = Bid.objects.filter(round=bid.round_id, state__in=LIVE).exclude(pk=bid.pk)
    taken = set(
        BidProject.objects.filter(bid__in=others, project__in=[row.project_id for row in named]).values_list(
            "project_id", flat=True
        )
    )
    elsewhere = sum(others.filter(group=bid.group_id).values_list("asked_pence", flat=True))
    return rules.BidFact(
        round=round_fact(bid.round),
        summary=bid.summary,
        starts_on=bid.starts_on,
        ends_on=bid.ends_on,
        aftercare_years=bid.aftercare_years,
        children_come=bid.children_come,
        vat_recovered=bid.vat_recovered,
        other_funding_note=bid.other_funding_note,
        projects=tuple(_project_fact(row, row.project_id in taken, bid.starts_on or today) for row in named),
        lines=line_facts(bid),
        stages=tuple((stage.due_on, stage.amount_pence) for stage in bid.stages.all()),
        promises=tuple((promise.kind, promise.amount, promise.by_year) for promise in bid.promises.all()),
        proofs={proof.what: proof.has_it for proof in bid.proofs.all()},
        asked_elsewhere_pence=elsewhere,
    )


def _project_fact(row: BidProject, elsewhere: bool, on: date) -> rules.ProjectFact:
    site = row.project.site
    return rules.ProjectFact(
        name=row.project.name,
        has_plan=bool(row.project.plans.all()),
        has_soil_test=bool(site.soil_tests.all()),
        obstacles=obstacles(permissions_held(site), on),
        other_funders=tuple(money.funder for money in site.other_funding.all()),
        elsewhere=elsewhere,
    )


def sites_of(bids: Iterable[Bid]) -> dict[int, set[int]]:
    """Ground of bids: bid -> sites, as keys of the database."""
    found: dict[int, set[int]] = defaultdict(set)
    rows = BidProject.objects.filter(bid__in=list(bids)).values_list("bid_id", "project__site_id")
    for bid_id, site_id in rows:
        found[bid_id].add(site_id)
    return found


def may_read_as_staff(actor: Actor, bid: Bid) -> bool:
    """Whether the actor reads this bid as one of those who decide about it."""
    return may(actor, "review.read", network_id=bid.network_id) and (
        Bid.objects.filter(Q(pk=bid.pk) & bids_to_read(actor)).exists()
    )


def ground_facts(site: Site) -> dict[str, Any]:
    """What is known of a site's permissions and other money when a bid is handed in; nothing of where it lies."""
    standings = {"given": "held", "asked": "asked", "refused": "refused", "not_asked": "not_asked"}
    return {
        "permissions": [
            {
                "label": label_of(row), "key": None if row.label else row.key,
                "standing": "not_needed" if row.need == Need.NOT_NEEDED else standings[row.state],
                "expires_on": row.expires_on.isoformat() if row.expires_on else None,
            }
            for row in site.permissions.all()
        ],
        "other_funding": [
            {
                "label": f"{row.funder}: {row.what_for}"[:LONGEST_LABEL], "pence": row.amount_pence,
                "from_day": row.starts_on.isoformat() if row.starts_on else None,
                "until_day": row.ends_on.isoformat() if row.ends_on else None,
            }
            for row in site.other_funding.all()
        ],
    }  # fmt: skip


def content_of(bid: Bid) -> dict[str, Any]:
    """What a bid says, as its contract reads it; money in pounds."""
    return {
        "title": bid.title,
        "summary": bid.summary,
        "narrative": bid.narrative,
        "other_funding_note": bid.other_funding_note,
        "starts_on": bid.starts_on.isoformat() if bid.starts_on else None,
        "ends_on": bid.ends_on.isoformat() if bid.ends_on else None,
        "aftercare_years": bid.aftercare_years,
        "children_come": bid.children_come,
        "vat_recovered": bid.vat_recovered,
        "lines": [
            {
                "what": line.what, "category": line.category, "paid_by": line.paid_by, "source": line.source,
                "quantity": line.quantity_milli / 1000, "unit": line.unit, "skill": line.skill or None,
                "unit_price_gbp": line.unit_price_pence / 100, "net_gbp": line.net_pence / 100,
                "vat_gbp": line.vat_pence / 100, "gross_gbp": line.gross_pence / 100,
            }
            for line in bid.lines.all()
        ],
        "stages": [
            {
                "name": stage.name, "due_on": stage.due_on.isoformat(), "amount_gbp": stage.amount_pence / 100,
                "evidence": stage.evidence,
            }
            for stage in bid.stages.all()
        ],
        "promises": [
            {
                "kind": promise.kind, "amount": promise.amount, "by_year": promise.by_year, "plant": promise.plant,
                "project_id": str(promise.project.public_id) if promise.project else None,
            }
            for promise in bid.promises.all()
        ],
        "attachments": [
            {"name": paper.name, "size_bytes": paper.size_bytes, "checksum": paper.checksum}
            for paper in bid.attachments.all()
        ],
        "proofs": [{"what": proof.what, "has_it": proof.has_it} for proof in bid.proofs.all()],
    }  # fmt: skip
