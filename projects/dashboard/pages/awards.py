"""An award as its group sees it: the offer, what was paid, what may still be asked for."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from projects.choices import AwardState, PaymentState
from projects.dashboard import words
from projects.models import Award, BidStage, PaymentRequest
from projects.rules.bids import pounds
from projects.rules.due import Due, Whose


class StageRow:
    """A stage of the work and the money for it."""

    def __init__(self, stage: BidStage, payment: PaymentRequest | None, left_pence: int) -> None:
        self.stage, self.payment, self.left_pence = stage, payment, left_pence

    @property
    def told(self) -> str:
        """What became of its money."""
        if self.payment is None:
            if self.left_pence < self.stage.amount_pence:
                return f"not asked for yet; {pounds(self.left_pence)} of the award are left"
            return "not asked for yet"
        amount = pounds(self.payment.amount_pence)
        match self.payment.state:
            case PaymentState.PAID:
                when = f" on {words.day(self.payment.paid_on)}" if self.payment.paid_on else ""
                return f"{amount} paid{when}"
            case PaymentState.ASKED:
                return f"{amount} asked for, not paid yet"
        return f"{amount} was not paid: {self.payment.comment}"

    @property
    def open(self) -> bool:
        """Whether money may be asked for it."""
        return self.payment is None or self.payment.state == PaymentState.REFUSED


class AwardPage:
    """An offer or an award."""

    def __init__(self, row: Award, due: Sequence[Due], today: date) -> None:
        self.row, self.today = row, today
        self.ours = [one for one in due if one.whose is Whose.GROUP]
        self.theirs = [one for one in due if one.whose is not Whose.GROUP]
        latest = {payment.stage_id: payment for payment in row.payments.all()}
        self.stages = [StageRow(stage, latest.get(stage.pk), self.left_pence) for stage in row.bid.stages.all()]

    @property
    def offered(self) -> bool:
        return self.row.state == AwardState.OFFERED

    @property
    def accepted(self) -> bool:
        return self.row.state == AwardState.ACCEPTED

    @property
    def in_time(self) -> bool:
        return self.today <= self.row.accept_by

    @property
    def waits(self) -> bool:
        """Whether conditions are still to be met."""
        return self.row.decision.kind == "conditional" and self.row.conditions_met_at is None

    @property
    def may_ask(self) -> bool:
        return self.accepted and not self.waits and any(stage.open for stage in self.stages) and bool(self.left_pence)

    @property
    def left_pence(self) -> int:
        """What may still be asked for."""
        return self.row.amount_pence - self.row.claimed_pence

    @property
    def sentence(self) -> str:
        row = self.row
        amount = pounds(row.amount_pence)
        match row.state:
            case AwardState.OFFERED if self.in_time:
                return f"You are offered {amount}. Accept or decline it by {words.day(row.accept_by)}."
            case AwardState.OFFERED:
                return f"You were offered {amount} until {words.day(row.accept_by)}. Ask {row.round.funder} about it."
            case AwardState.ACCEPTED:
                return (
                    f"You have {amount}, of which {pounds(row.paid_pence)} are paid and {pounds(self.left_pence)} can "
                    "still be asked for."
                )
            case AwardState.DECLINED:
                return f"You declined {amount}; the money is in the pot again."
            case AwardState.WITHDRAWN:
                return f"The offer of {amount} was withdrawn by {row.round.funder}."
        kept = pounds(row.paid_pence - row.returned_pence)
        return f"It is finished: {kept} of {amount} were spent."

    @property
    def returned(self) -> list[str]:
        """Money that came back."""
        return [
            f"{pounds(row.amount_pence)} on {words.day(row.on)}{f': {row.why}' if row.why else ''}"
            for row in self.row.money_returned.all()
        ]

    @property
    def changes(self) -> list[tuple[str, str, str]]:
        """What was asked to be otherwise: what, why, what became of it."""
        return [
            (
                row.get_kind_display(),
                row.why,
                f"{row.get_state_display().lower()}{f': {row.comment}' if row.comment else ''}",
            )
            for row in self.row.changes.all()
        ]
