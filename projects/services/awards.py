"""Awards: accepted, paid by stage, changed, reported on, ended; money that is not spent comes back."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any, Final
from uuid import UUID

from django.db import transaction
from django.db.models import F, Q, Sum
from django.utils import timezone

from projects.choices import AwardState, ChangeState, NetworkRole, PaymentState
from projects.contracts.base import pence
from projects.contracts.decisions import (
    AwardMove,
    ChangeMove,
    ChangeNew,
    EndReport,
    MoneyBack,
    PaymentMove,
    PaymentNew,
    VisitNew,
)
from projects.errors import NotFound, WrongState, broken
from projects.models import Award, AwardVisit, ChangeRequest, MoneyReturned, PaymentRequest
from projects.rules.access import Actor
from projects.rules.awards import BY_THE_GROUP, FOLLOWS
from projects.rules.bids import month_later, pounds
from projects.services.audit import record, snapshot
from projects.services.base import found, save_changed, save_new, touched, unchanged_since
from projects.services.decisions import award_end, commit, held_award
from projects.services.rollups import rollups_refresh

MOST_CHANGES: Final = 100
MOST_REFUSED: Final = 100
MOST_VISITS: Final = 100


def _note(actor: Actor, award: Award, act: str, now: datetime, **told: Any) -> None:
    """The audit entry of an act on an award, under its bid."""
    bid = award.bid
    record(actor, now, act, "bid", bid.public_id, network=bid.network_id, group=award.group_id, **told)


def _own(actor: Actor, public_id: UUID, act: str, if_version: int | None = None) -> Award:
    return held_award(actor, public_id, act, if_version, as_funder=False)


def _managed(actor: Actor, public_id: UUID, act: str, if_version: int | None = None) -> Award:
    return held_award(actor, public_id, act, if_version, as_funder=True)


def award_move(*, actor: Actor, public_id: UUID, asked: AwardMove, if_version: int | None, now: datetime) -> Award:
    """Accept or decline an offer as its group; note that conditions are met, withdraw or finish it as its funder."""
    with transaction.atomic():
        if asked.to in BY_THE_GROUP:
            award = _own(actor, public_id, "award.accept", if_version)
        else:
            award = _managed(actor, public_id, "award.manage", if_version)
        if asked.to not in FOLLOWS[AwardState(award.state)]:
            raise WrongState(f"This award is {award.get_state_display().lower()}; that cannot be done to it now.")
        before = snapshot(award)
        match asked.to:
            case "accepted":
                if timezone.localdate(now) > award.accept_by:
                    raise WrongState(f"The offer could be accepted until {award.accept_by:%-d %B %Y}; ask the funder.")
                if not asked.accounting_year:
                    raise broken(
                        "/accounting_year", "missing", "Say in which accounting year the money is first shown.", "",
                        "such as 2026-27",
                    )  # fmt: skip
                award.state, award.accounting_year = AwardState.ACCEPTED, asked.accounting_year
                award.accepted_by_id, award.accepted_at = actor.user_id, now
                save_changed(award, now)
                rollups_refresh(award.funded.values_list("project", flat=True), now)
            case "declined":
                award_end(award, AwardState.DECLINED, now)
            case "conditions_met":
                if award.decision.kind != "conditional" or award.conditions_met_at is not None:
                    raise WrongState("This award waits for no conditions.")
                award.conditions_met_at = now
                save_changed(award, now)
            case "withdrawn":
                if not asked.comment:
                    raise broken("/comment", "missing", "Say why the award is withdrawn.", "", "a sentence")
                award_end(award, AwardState.WITHDRAWN, now)
            case "finished":
                if award.reported_at is None:
                    raise WrongState("The group’s report is not there yet.")
                if award.payments.filter(state=PaymentState.ASKED).exists():
                    raise WrongState("A payment request is not settled yet.")
                award_end(award, AwardState.FINISHED, now)
        told = {"comment": asked.comment} if asked.comment else {}
        _note(actor, award, f"award_{asked.to}", now, before=before, after=snapshot(award) | told)
    return award


def report_send(*, actor: Actor, public_id: UUID, asked: EndReport, if_version: int | None, now: datetime) -> Award:
    """Send the report at the end of an award; until it is finished a later one takes its place."""
    with transaction.atomic():
        award = _own(actor, public_id, "award.report", if_version)
        _demand_accepted(award)
        award.report, award.reported_at = asked.report, now
        save_changed(award, now)
        _note(actor, award, "report_send", now, after={"letters": len(asked.report)})
    return award


def _demand_accepted(award: Award) -> None:
    if award.state != AwardState.ACCEPTED:
        raise WrongState(f"This award is {award.get_state_display().lower()}; it must be accepted for that.")


# ------------------------------------------------------------------ payments


def payment_ask(*, actor: Actor, award_id: UUID, asked: PaymentNew, now: datetime) -> PaymentRequest:
    """Ask for the money of a stage; once for each, unless it was refused."""
    with transaction.atomic():
        award = _own(actor, award_id, "payment.ask")
        _demand_accepted(award)
        if award.decision.kind == "conditional" and award.conditions_met_at is None:
            raise WrongState("The conditions of the award are not noted as met yet.")
        stage = award.bid.stages.filter(number=asked.stage).first()
        if stage is None:
            raise broken("/stage", "unknown", "The bid has no stage of this number.", asked.stage, "a stage of the bid")
        if award.payments.filter(stage=stage).exclude(state=PaymentState.REFUSED).exists():
            raise WrongState(f"Money for “{stage.name}” was asked for already.")
        if award.payments.count() >= MOST_REFUSED:
            raise broken("", "too_many", f"An award can have {MOST_REFUSED} requests.", None, f"at most {MOST_REFUSED}")
        amount = pence(asked.amount_gbp)
        if amount > stage.amount_pence:
            raise broken(
                "/amount_gbp", "out_of_range", f"“{stage.name}” is {pounds(stage.amount_pence)}.", asked.amount_gbp,
                f"at most {stage.amount_pence / 100:.2f}",
            )  # fmt: skip
        _claim(award, amount)
        payment = save_new(
            PaymentRequest(
                award=award, stage=stage, amount_pence=amount, evidence=asked.evidence, created_by_id=actor.user_id,
                created_at=now, updated_at=now,
            )
        )  # fmt: skip
        touched(award, now)
        _note(actor, award, "payment_ask", now, after={"stage": stage.number, "amount_pence": amount})
    return payment


def _claim(award: Award, amount: int) -> None:
    """Count a request against the award by one UPDATE, which its CHECK stands behind."""
    rows = Award.objects.filter(pk=award.pk, amount_pence__gte=F("claimed_pence") + amount)
    if not rows.update(claimed_pence=F("claimed_pence") + amount):
        award.refresh_from_db(fields=["claimed_pence", "amount_pence"])
        left = award.amount_pence - award.claimed_pence
        raise broken(
            "/amount_gbp", "over_award", f"{pounds(left)} of the award are left to ask for.", amount / 100,
            f"at most {left / 100:.2f}",
        )  # fmt: skip


def payment_settle(
    *, actor: Actor, public_id: UUID, asked: PaymentMove, if_version: int | None, now: datetime
) -> PaymentRequest:
    """Note a payment as made on a day, or refuse it; refused, it may be asked for again."""
    with transaction.atomic():
        row = PaymentRequest.objects.filter(public_id=public_id).select_related("award").first()
        if row is None:
            raise NotFound(f"There is no payment request {public_id}, or none that you may see.")
        award = _managed(actor, row.award.public_id, "payment.settle")
        payment = found(PaymentRequest, Q(award=award), public_id, "payment request", hold=True, with_=("stage",))
        unchanged_since(payment, if_version)
        if payment.state != PaymentState.ASKED:
            raise WrongState(f"This request is settled: {payment.get_state_display().lower()}.")
        payment.state, payment.comment = asked.to, asked.comment
        if asked.to == PaymentState.PAID:
            _demand_accepted(award)
            payment.paid_on = asked.on or timezone.localdate(now)
            if payment.paid_on > timezone.localdate(now):
                raise broken(
                    "/on", "in_future", "This day is still to come; note the payment once it is made.",
                    payment.paid_on.isoformat(), "a day up to today",
                )  # fmt: skip
            Award.objects.filter(pk=award.pk).update(paid_pence=F("paid_pence") + payment.amount_pence)
        else:
            Award.objects.filter(pk=award.pk).update(claimed_pence=F("claimed_pence") - payment.amount_pence)
        save_changed(payment, now)
        touched(award, now)
        _note(
            actor, award, f"payment_{asked.to}", now,
            after={"stage": payment.stage.number, "amount_pence": payment.amount_pence, "comment": asked.comment},
        )  # fmt: skip
    return payment


def money_back(*, actor: Actor, award_id: UUID, asked: MoneyBack, now: datetime) -> MoneyReturned:
    """Note money that came back; it can be awarded again."""
    with transaction.atomic():
        award = _managed(actor, award_id, "award.manage")
        amount = pence(asked.amount_gbp)
        if asked.on > timezone.localdate(now):
            raise broken("/on", "in_future", "This day is still to come.", asked.on.isoformat(), "a day up to today")
        rows = Award.objects.filter(pk=award.pk, paid_pence__gte=F("returned_pence") + amount)
        changed = rows.update(
            returned_pence=F("returned_pence") + amount, committed_pence=F("committed_pence") - amount
        )
        if not changed:
            kept = award.paid_pence - award.returned_pence
            raise broken(
                "/amount_gbp", "out_of_range", f"The group holds {pounds(kept)} of this award.", asked.amount_gbp,
                f"at most {kept / 100:.2f}",
            )  # fmt: skip
        commit(award.round_id, -amount)
        row = MoneyReturned(
            award=award, amount_pence=amount, on=asked.on, why=asked.why, created_by_id=actor.user_id, created_at=now
        )
        row.full_clean(validate_unique=False, validate_constraints=False)
        row.save()
        touched(award, now)
        _note(actor, award, "money_back", now, after={"amount_pence": amount, "on": asked.on.isoformat()})
    return row


# ------------------------------------------------------------------ visits


def visit_note(*, actor: Actor, award_id: UUID, asked: VisitNew, now: datetime) -> AwardVisit:
    """Note a visit to what an award pays for; the group reads it, and it stays as it is written."""
    with transaction.atomic():
        award = _managed(actor, award_id, "visit.write")
        if award.state not in {AwardState.ACCEPTED, AwardState.FINISHED}:
            raise WrongState(f"This award is {award.get_state_display().lower()}; there is nothing of it to visit.")
        if asked.on > timezone.localdate(now):
            raise broken("/on", "in_future", "This day is still to come.", asked.on.isoformat(), "a day up to today")
        if award.visits.count() >= MOST_VISITS:
            raise broken("", "too_many", f"An award can have {MOST_VISITS} visits.", None, f"at most {MOST_VISITS}")
        roles = actor.networks.get(award.bid.network_id, frozenset())
        row = AwardVisit(
            award=award, on=asked.on, seen=asked.seen, next=asked.next, created_by_id=actor.user_id, created_at=now,
            by_role=NetworkRole.FUND_MANAGER if NetworkRole.FUND_MANAGER in roles else NetworkRole.ASSESSOR,
        )  # fmt: skip
        row.full_clean(validate_unique=False, validate_constraints=False)
        row.save()
        _note(actor, award, "visit_note", now, after={"on": asked.on.isoformat(), "by_role": row.by_role})
    return row


# ------------------------------------------------------------------ changes


def alteration_ask(*, actor: Actor, award_id: UUID, asked: ChangeNew, now: datetime) -> ChangeRequest:
    """Ask to do something otherwise than the bid said, with what holds before and after."""
    with transaction.atomic():
        award = _own(actor, award_id, "alteration.ask")
        _demand_accepted(award)
        if award.changes.filter(kind=asked.kind, state=ChangeState.ASKED).exists():
            raise WrongState("A request to change this is not settled yet.")
        if award.changes.count() >= MOST_CHANGES:
            raise broken("", "too_many", f"An award can have {MOST_CHANGES} changes.", None, f"at most {MOST_CHANGES}")
        before, after = _before_and_after(award, asked)
        row = save_new(
            ChangeRequest(
                award=award, kind=asked.kind, before=before, after=after, why=asked.why, created_by_id=actor.user_id,
                created_at=now, updated_at=now,
            )
        )  # fmt: skip
        touched(award, now)
        _note(actor, award, "alteration_ask", now, before=before, after=after | {"kind": asked.kind})
    return row


def _before_and_after(award: Award, asked: ChangeNew) -> tuple[dict[str, Any], dict[str, Any]]:
    if asked.kind == "date":
        starts, ends = asked.starts_on or award.starts_on, asked.ends_on or award.ends_on
        last = month_later(starts, award.round.longest_months)
        if ends < starts or starts < award.round.starts_earliest_on or ends > last:
            raise broken(
                "/ends_on", "out_of_range",
                f"Work starts on {award.round.starts_earliest_on:%-d %B %Y} at the earliest and lasts at most "
                f"{award.round.longest_months} months.",
                ends.isoformat(), f"{starts.isoformat()} to {last.isoformat()}",
            )  # fmt: skip
        return (
            {"starts_on": award.starts_on.isoformat(), "ends_on": award.ends_on.isoformat()},
            {"starts_on": starts.isoformat(), "ends_on": ends.isoformat()},
        )
    if asked.kind == "budget":
        stages = list(award.bid.stages.all())
        amounts = [pence(amount) for amount in asked.stages]
        if len(amounts) != len(stages):
            raise broken(
                "/stages", "out_of_range", f"The bid has {len(stages)} stages.", len(amounts), str(len(stages))
            )
        was = [stage.amount_pence for stage in stages]
        if sum(amounts) != sum(was):
            raise broken(
                "/stages", "out_of_range", f"The stages came to {pounds(sum(was))}; the sum stays.",
                sum(amounts) / 100, f"{sum(was) / 100:.2f} together",
            )  # fmt: skip
        return {"stages_pence": was}, {"stages_pence": amounts}
    return {"words": asked.before}, {"words": asked.after}


def alteration_settle(
    *, actor: Actor, public_id: UUID, asked: ChangeMove, if_version: int | None, now: datetime
) -> ChangeRequest:
    """Agree or refuse a change. Agreed dates and stages hold from now on; seed and ground are the plan's to change."""
    with transaction.atomic():
        row = ChangeRequest.objects.filter(public_id=public_id).select_related("award").first()
        if row is None:
            raise NotFound(f"There is no request to change {public_id}, or none that you may see.")
        award = _managed(actor, row.award.public_id, "alteration.settle")
        change = found(ChangeRequest, Q(award=award), public_id, "request to change", hold=True)
        unchanged_since(change, if_version)
        if change.state != ChangeState.ASKED:
            raise WrongState(f"This request is settled: {change.get_state_display().lower()}.")
        change.state, change.comment = asked.to, asked.comment
        if asked.to == ChangeState.AGREED:
            _demand_accepted(award)
            _apply(award, change, now)
        save_changed(change, now)
        touched(award, now)
        _note(
            actor, award, f"alteration_{asked.to}", now,
            before=change.before, after=change.after | {"kind": change.kind, "comment": asked.comment},
        )  # fmt: skip
    return change


def _apply(award: Award, change: ChangeRequest, now: datetime) -> None:
    if change.kind == "date":
        for name in ("starts_on", "ends_on"):
            setattr(award, name, date.fromisoformat(change.after[name]))
        award.report_due_on = award.ends_on + timedelta(days=award.round.report_days)
        save_changed(award, now)
    elif change.kind == "budget":
        stages = list(award.bid.stages.all())
        for stage, amount in zip(stages, change.after["stages_pence"], strict=True):
            claimed = (
                stage.payments.filter(award=award)
                .exclude(state=PaymentState.REFUSED)
                .aggregate(claimed=Sum("amount_pence"))["claimed"]
            )
            if amount < (claimed or 0):
                raise WrongState(f"{pounds(claimed)} were asked for “{stage.name}” already.")
            stage.amount_pence = amount
            stage.save(update_fields=["amount_pence"])
