"""Decisions about bids: written with their letter, published for good, superseded by another; the pot holds."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any, Final
from uuid import UUID

from django.db import transaction
from django.db.models import F, Q, Sum
from django.utils import timezone

from projects.choices import AwardState, BidState, DecisionKind, DecisionState
from projects.contracts.base import given, pence
from projects.contracts.decisions import DecisionChange, DecisionNew
from projects.errors import NotAllowed, NotFound, RuleBroken, WrongState, broken
from projects.models import Award, Bid, BidProject, Decision, FundedProject, GrantRound
from projects.rules import decisions as rules
from projects.rules.access import Actor, bids_to_read, demand, of_bids, visible_bids
from projects.rules.bids import pounds
from projects.selectors.appraisals import feedback_for
from projects.services.audit import record
from projects.services.base import found, save_changed, save_new, unchanged_since
from projects.services.bids import may_be_decided
from projects.services.rollups import rollups_refresh

MOST_DECISIONS: Final = 50
#: awards that take their whole amount from the pot
LIVE: Final = (AwardState.OFFERED, AwardState.ACCEPTED)


def decision_draft(*, actor: Actor, bid_id: UUID, asked: DecisionNew, now: datetime) -> Decision:
    """Begin to write a decision; its letter and what would have helped are drafted from what is known."""
    with transaction.atomic():
        bid = found(Bid, bids_to_read(actor), bid_id, "bid", hold=True, with_=("round", "group"))
        demand(actor, "decision.write", network_id=bid.network_id)
        if bid.state not in {BidState.SUBMITTED, BidState.DECIDED}:
            raise WrongState("Only a bid that was handed in can be decided.")
        if now < bid.round.closes_at:
            raise WrongState("The round is still open.")
        if bid.decisions.filter(state=DecisionState.DRAFT).exists():
            raise WrongState("There is a decision being written already; change that.")
        number = bid.decisions.count() + 1
        if number > MOST_DECISIONS:
            raise broken(
                "", "too_many", f"A bid can have {MOST_DECISIONS} decisions.", None, f"at most {MOST_DECISIONS}"
            )
        decision = Decision(
            bid=bid, number=number, kind=asked.kind, conditions=asked.conditions, reason=asked.reason,
            created_by_id=actor.user_id, created_at=now, updated_at=now,
        )  # fmt: skip
        decision.amount_pence = _amount(bid, asked.kind, asked.amount_gbp)
        if asked.kind not in rules.AWARDING:
            decision.feedback = feedback_for(actor, bid, asked.choice_id)
        decision.letter = _letter(decision)
        save_new(decision)
        record(
            actor, now, "decision_draft", "bid", bid.public_id, network=bid.network_id,
            after={"decision": number, "kind": decision.kind, "amount_pence": decision.amount_pence},
        )  # fmt: skip
    return decision


def _amount(bid: Bid, kind: str, asked_gbp: float | None) -> int:
    if kind not in rules.AWARDING:
        if asked_gbp is not None:
            raise broken("/amount_gbp", "contradiction", "Nothing is awarded by this.", asked_gbp, "left out")
        return 0
    amount = bid.asked_pence if asked_gbp is None else pence(asked_gbp)
    if kind == DecisionKind.PART and (asked_gbp is None or amount >= bid.asked_pence):
        raise broken(
            "/amount_gbp", "out_of_range", f"A part of {pounds(bid.asked_pence)} is less than that.", asked_gbp,
            f"less than {bid.asked_pence / 100:.2f}",
        )  # fmt: skip
    if amount > bid.asked_pence or (kind == DecisionKind.FULL and amount != bid.asked_pence):
        raise broken(
            "/amount_gbp", "out_of_range", f"The bid asks for {pounds(bid.asked_pence)}.", asked_gbp,
            f"at most {bid.asked_pence / 100:.2f}",
        )  # fmt: skip
    return amount


def _letter(decision: Decision) -> str:
    bid = decision.bid
    return rules.letter(
        rules.LetterFact(
            kind=decision.kind,
            group=bid.group.name,
            title=bid.title,
            number=bid.number or 0,
            round_name=bid.round.name,
            funder=bid.round.funder,
            amount_pence=decision.amount_pence,
            asked_pence=bid.asked_pence,
            conditions=decision.conditions,
            reason=decision.reason,
            feedback=decision.feedback,
            accept_days=bid.round.accept_days,
            stages=tuple((stage.name, stage.due_on, stage.amount_pence) for stage in bid.stages.all()),
        )
    )


def _held(actor: Actor, public_id: UUID, act: str, if_version: int | None) -> Decision:
    """The decision, with its round, its bid and itself held in this order, as every act on the money does."""
    seen = of_bids(bids_to_read(actor))
    row = found(Decision, seen, public_id, "decision", with_=("bid",))
    demand(actor, act, network_id=row.bid.network_id)
    GrantRound.objects.select_for_update().get(pk=row.bid.round_id)
    Bid.objects.select_for_update(of=("self",)).get(pk=row.bid_id)
    row = found(Decision, seen, public_id, "decision", hold=True, with_=("bid__round", "bid__group"))
    unchanged_since(row, if_version)
    return row


def decision_change(
    *, actor: Actor, public_id: UUID, asked: DecisionChange, if_version: int | None, now: datetime
) -> Decision:
    """Change a decision that is not published; its letter follows until somebody has written in it."""
    with transaction.atomic():
        decision = _held(actor, public_id, "decision.write", if_version)
        if decision.state != DecisionState.DRAFT:
            raise WrongState("A published decision is final; a new one supersedes it.")
        before = _told(decision)
        values = given(asked)
        as_drafted = decision.letter == _letter(decision)
        for name in ("kind", "conditions", "reason"):
            if name in values:
                setattr(decision, name, values[name])
        if {"kind", "amount_gbp"} & values.keys():
            decision.amount_pence = _amount(decision.bid, decision.kind, asked.amount_gbp)
        if "kind" in values:
            helped = decision.kind not in rules.AWARDING
            decision.feedback = feedback_for(actor, decision.bid, None) if helped else []
        if "letter" in values:
            decision.letter = asked.letter
        elif as_drafted:
            decision.letter = _letter(decision)
        save_changed(decision, now)
        record(
            actor, now, "decision_change", "bid", decision.bid.public_id, network=decision.bid.network_id,
            before=before, after=_told(decision),
        )  # fmt: skip
    return decision


def _told(decision: Decision) -> dict[str, Any]:
    """What the audit tells of a decision."""
    return {
        "decision": decision.number, "kind": decision.kind, "amount_pence": decision.amount_pence,
        "state": decision.state, "conditions": decision.conditions, "reason": decision.reason,
    }  # fmt: skip


def decision_publish(*, actor: Actor, public_id: UUID, if_version: int | None, now: datetime) -> Decision:
    """Publish a decision: final from now on. Money is committed or set free by it, and the pot is never exceeded."""
    with transaction.atomic():
        decision = _held(actor, public_id, "decision.publish", if_version)
        bid = decision.bid
        if decision.state != DecisionState.DRAFT:
            raise WrongState("This decision is published already; a new one supersedes it.")
        if bid.state not in {BidState.SUBMITTED, BidState.DECIDED}:
            raise WrongState(f"This bid is {bid.get_state_display().lower()}; it is not decided.")
        if not may_be_decided(bid.round):
            raise WrongState("Decisions are published once the panel is open.")
        _demand_words(decision)
        before = Decision.objects.filter(bid=bid, state=DecisionState.PUBLISHED).first()
        if before is not None:
            before.state = DecisionState.SUPERSEDED
            save_changed(before, now)
        decision.state, decision.published_at = DecisionState.PUBLISHED, now
        save_changed(decision, now)
        award = Award.objects.select_for_update(of=("self",)).filter(bid=bid).first()
        if decision.kind in rules.AWARDING:
            _award(decision, award, now)
        elif award is not None and award.state in LIVE:
            award.decision = decision
            award_end(award, AwardState.WITHDRAWN, now)
        bid.state = BidState.DECIDED
        save_changed(bid, now)
        record(
            actor, now, "decision_publish", "bid", bid.public_id, network=bid.network_id, group=bid.group_id,
            before=None if before is None else _told(before), after=_told(decision),
        )  # fmt: skip
    return decision


def _demand_words(decision: Decision) -> None:
    if decision.kind in {DecisionKind.DEFERRED, DecisionKind.REFUSED} and not decision.reason:
        raise broken("/reason", "missing", "Say to the group why.", decision.reason, "a sentence")
    if decision.kind == DecisionKind.CONDITIONAL and not decision.conditions:
        raise broken("/conditions", "missing", "Say on which conditions.", decision.conditions, "a sentence")
    if not decision.letter.strip():
        raise broken("/letter", "missing", "The letter is empty.", "", "a letter")


# ------------------------------------------------------------------ the money


def commit(round_id: int, pence_more: int) -> None:
    """Take money from a round's pot, or put some back: one UPDATE, which the pot's CHECK stands behind.

    The round tells nobody that it happened: neither its version nor its time of change moves.

    Raises
    ------
    RuleBroken
        If the pot does not hold so much.
    """
    if pence_more == 0:
        return
    changed = GrantRound.objects.filter(pk=round_id, pot_pence__gte=F("committed_pence") + pence_more).update(
        committed_pence=F("committed_pence") + pence_more
    )
    if not changed:
        row = GrantRound.objects.get(pk=round_id)
        free = row.pot_pence - row.committed_pence
        raise broken(
            "/amount_gbp", "over_pot", f"{pounds(free)} are left in the pot; {pounds(pence_more)} are needed.",
            pence_more / 100, f"at most {free / 100:.2f}",
        )  # fmt: skip


def _award(decision: Decision, award: Award | None, now: datetime) -> None:
    bid, round = decision.bid, decision.bid.round
    if award is not None and award.state not in LIVE and award.claimed_pence:
        raise WrongState(f"The award for this bid is {award.get_state_display().lower()}; it cannot be opened again.")
    _demand_limits(decision)
    projects = list(BidProject.objects.filter(bid=bid).select_related("project"))
    _demand_unfunded(bid, projects)
    today = timezone.localdate(now)
    if bid.starts_on is None or bid.ends_on is None:
        raise WrongState("The bid does not say when the work starts and ends.")
    new = award is None
    if award is None:
        award = Award(
            round=round, group=bid.group, bid=bid, starts_on=bid.starts_on, ends_on=bid.ends_on,
            report_due_on=bid.ends_on + timedelta(days=round.report_days), amount_pence=0, committed_pence=0,
            created_at=now, updated_at=now,
        )  # fmt: skip
    if decision.amount_pence < award.claimed_pence:
        raise broken(
            "/amount_gbp", "out_of_range", f"{pounds(award.claimed_pence)} were asked for already.",
            decision.amount_pence / 100, f"at least {award.claimed_pence / 100:.2f}",
        )  # fmt: skip
    taken = award.committed_pence
    raised = new or award.state not in LIVE or award.amount_pence != decision.amount_pence
    if not new and award.decision.conditions != decision.conditions:
        # what was met before says nothing of other conditions
        award.conditions_met_at = None
    award.decision, award.amount_pence = decision, decision.amount_pence
    award.committed_pence = decision.amount_pence - award.returned_pence
    award.restricted_purpose = bid.title
    award.terms = rules.terms(
        decision.conditions, aftercare_years=bid.aftercare_years, report_due_on=award.report_due_on
    )
    if raised and award.state != AwardState.ACCEPTED:
        award.state, award.accept_by = AwardState.OFFERED, today + timedelta(days=round.accept_days)
    commit(round.pk, award.committed_pence - taken)
    if new:
        save_new(award)
    else:
        save_changed(award, now)
    held = set(award.funded.values_list("project_id", flat=True))
    for row in projects:
        if row.project_id not in held:
            save_new(FundedProject(round=round, project=row.project, award=award))
    rollups_refresh(award.funded.values_list("project", flat=True), now)


def _demand_limits(decision: Decision) -> None:
    bid, round = decision.bid, decision.bid.round
    others = Award.objects.filter(round=round).exclude(bid=bid)
    for limit, rows, whose in (
        (round.group_limit_pence, others.filter(group=bid.group_id), str(bid.group)),
        (
            round.district_limit_pence if bid.group.district_id is not None else None,
            others.filter(group__district=bid.group.district_id),
            str(bid.group.district),
        ),
    ):
        if limit is None:
            continue
        taken = rows.aggregate(taken=Sum("committed_pence"))["taken"] or 0
        if taken + decision.amount_pence > limit:
            raise broken(
                "/amount_gbp", "over_limit",
                f"{whose} has {pounds(taken)} of this round already and may have {pounds(limit)}.",
                decision.amount_pence / 100, f"at most {max(limit - taken, 0) / 100:.2f}",
            )  # fmt: skip


def _demand_unfunded(bid: Bid, projects: list[BidProject]) -> None:
    """A project is paid for once a round, and so is ground."""
    elsewhere = FundedProject.objects.filter(round=bid.round_id).exclude(award__bid=bid)
    twice = elsewhere.filter(
        Q(project__in=[row.project_id for row in projects])
        | Q(project__site__in=[row.project.site_id for row in projects])
    ).select_related("project", "award__bid")
    if funded := twice.first():
        raise RuleBroken(
            f"The ground of {funded.project} is paid for in this round already, by bid {funded.award.bid.number}."
        )


def award_end(award: Award, state: AwardState, now: datetime) -> None:
    """End an award: what was not paid, or came back, is in the pot again."""
    taken = award.committed_pence
    award.state = state
    award.committed_pence = award.paid_pence - award.returned_pence
    commit(award.round_id, award.committed_pence - taken)
    save_changed(award, now)
    if not award.paid_pence:
        paid_for = list(award.funded.values_list("project", flat=True))
        award.funded.all().delete()
        rollups_refresh(paid_for, now)


def held_award(actor: Actor, public_id: UUID, act: str, if_version: int | None, *, as_funder: bool) -> Award:
    """An award with its round and itself held in this order; raises NotFound, NotAllowed, Stale.

    Whoever is near to the group acts on its award as one of the group at most, never `as_funder`.
    """
    seen = visible_bids(actor)
    row = Award.objects.filter(of_bids(seen), public_id=public_id).select_related("bid").first()
    if row is None:
        raise NotFound(f"There is no award {public_id}, or none that you may see.")
    demand(actor, act, group_id=row.group_id, network_id=row.bid.network_id)
    if as_funder and not Bid.objects.filter(bids_to_read(actor), pk=row.bid_id).exists():
        raise NotAllowed("You are near to this group; somebody else must do this.")
    GrantRound.objects.select_for_update().get(pk=row.round_id)
    row = found(
        Award, of_bids(seen), public_id, "award", hold=True, with_=("bid__network", "round", "group", "decision")
    )
    unchanged_since(row, if_version)
    return row
