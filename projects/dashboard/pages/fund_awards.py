"""Decisions and awards in words, for those who give the money."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from projects.choices import ChangeKind, DecisionKind
from projects.dashboard import words
from projects.models import Award, ChangeRequest, Decision, PaymentRequest
from projects.rules.bids import pounds
from projects.rules.due import Due, Whose
from projects.selectors.rounds import Money


class DecisionPage:
    """One decision."""

    def __init__(self, row: Decision, money: Money | None, before: Decision | None) -> None:
        self.row, self.money, self.before = row, money, before

    @property
    def what(self) -> str:
        kind = str(DecisionKind(self.row.kind).label)
        return f"{kind}: {pounds(self.row.amount_pence)}" if self.row.amount_pence else kind

    @property
    def sentence(self) -> str:
        group = self.row.bid.group.name
        match self.row.state:
            case "draft":
                return f"{self.what}, for {group}. It is being written; the group sees nothing of it."
            case "published":
                when = "" if self.row.published_at is None else f" on {words.day(self.row.published_at.date())}"
                return (
                    f"{self.what}, for {group}. Published{when}; it is final, and only another decision supersedes it."
                )
        return f"{self.what}, for {group}. It was superseded."

    @property
    def needed_pence(self) -> int:
        """What publishing it takes from the pot, less what the decision before it took."""
        taken = self.before.amount_pence if self.before is not None else 0
        return self.row.amount_pence - taken

    @property
    def fits(self) -> bool:
        return self.money is None or self.needed_pence <= self.money.free_pence

    @property
    def confirmation(self) -> str:
        """The sum against the pot, in one sentence."""
        if self.money is None:
            return "The pot’s sums cannot be shown to you, since a bid in it is hidden from you."
        free, pot = self.money.free_pence, self.money.pot_pence
        if self.needed_pence <= 0:
            freed = f" {pounds(-self.needed_pence)} return to it." if self.needed_pence else ""
            return f"This takes nothing from the pot of {pounds(pot)}, of which {pounds(free)} are free.{freed}"
        if not self.fits:
            return (
                f"This takes {pounds(self.needed_pence)} and only {pounds(free)} of the pot of {pounds(pot)} are free: "
                "it cannot be published as it is."
            )
        return (
            f"This takes {pounds(self.needed_pence)} of the {pounds(free)} that are free in the pot of {pounds(pot)}; "
            f"{pounds(free - self.needed_pence)} are left."
        )


class AwardPage:
    """One award: where its money is, and whose move it is."""

    def __init__(self, row: Award, dues: Sequence[Due], today: date) -> None:
        self.row, self.dues, self.today = row, dues, today

    @property
    def sentence(self) -> str:
        row, group = self.row, self.row.group.name
        amount, paid = pounds(row.amount_pence), pounds(row.paid_pence)
        match row.state:
            case "offered":
                late = ", which has gone by" if row.accept_by < self.today else ""
                return f"{amount} are offered to {group}, who can accept until {words.day(row.accept_by)}{late}."
            case "accepted":
                return f"{group} accepted {amount}; {paid} of it were paid."
            case "declined":
                return f"{group} declined the {amount}; the money is in the pot again."
            case "withdrawn":
                return f"The {amount} for {group} were withdrawn; {paid} had been paid."
        kept = row.paid_pence - row.returned_pence
        rest = row.amount_pence - kept
        tail = f"; {pounds(rest)} were not spent and are in the pot again" if rest else ", all that was awarded"
        return f"{group} finished with {pounds(kept)}{tail}."

    @property
    def ours(self) -> list[str]:
        """The funder's move."""
        return [due.text for due in self.dues if due.whose == Whose.NETWORK]

    @property
    def theirs(self) -> list[tuple[str, str]]:
        """The group's move: what, and by when."""
        return [
            (due.text, words.day(due.by) if due.by is not None else "")
            for due in self.dues
            if due.whose != Whose.NETWORK
        ]

    @property
    def stages(self) -> list[dict[str, Any]]:
        """Each stage with what was asked and paid for it."""
        live = {row.stage_id: row for row in self.row.payments.all() if row.state != "refused"}
        out = []
        for stage in self.row.bid.stages.all():
            payment = live.get(stage.pk)
            paid = payment is not None and payment.paid_on is not None
            if payment is None:
                stands = "not asked for"
            elif paid and payment.paid_on is not None:
                stands = f"{pounds(payment.amount_pence)} paid on {words.day(payment.paid_on)}"
            else:
                stands = f"{pounds(payment.amount_pence)} asked for"
            out.append(
                {
                    "name": stage.name, "due": words.day(stage.due_on), "amount": pounds(stage.amount_pence),
                    "evidence": stage.evidence, "stands": stands,
                    "waiting": payment if payment is not None and not paid else None,
                }
            )  # fmt: skip
        return out

    @property
    def changes(self) -> list[tuple[ChangeRequest, str, str]]:
        return [
            (row, str(ChangeKind(row.kind).label), str(row.get_state_display()).lower())
            for row in self.row.changes.all()
        ]

    @property
    def returned(self) -> list[str]:
        return [
            f"{pounds(row.amount_pence)} came back on {words.day(row.on)}{f': {row.why}' if row.why else ''}."
            for row in self.row.money_returned.all()
        ]


def payment_words(row: PaymentRequest) -> str:
    """A payment request in one sentence."""
    return f"{row.award.group.name} ask for {pounds(row.amount_pence)} at the end of “{row.stage.name}”."


def change_words(row: ChangeRequest) -> list[tuple[str, str, str]]:
    """What a request to change would alter: what, as it is, as it would be."""
    before, after = row.before, row.after
    match row.kind:
        case "date":
            return [
                (label, words.day(before[name]), words.day(after[name]))
                for name, label in (("starts_on", "Work starts"), ("ends_on", "Work ends"))
                if before.get(name) != after.get(name)
            ]
        case "budget":
            stages = [stage.name for stage in row.award.bid.stages.all()]
            rows = zip(stages, before["stages_pence"], after["stages_pence"], strict=True)
            return [(name, pounds(was), pounds(will)) for name, was, will in rows if was != will]
    return [(str(ChangeKind(row.kind).label), _said(before), _said(after))]


def _said(values: Mapping[str, Any]) -> str:
    return str(values.get("words", ""))
