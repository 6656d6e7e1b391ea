"""A group's bid in words: where it stands, its money, what an assessor would ask, what became of it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Final

from projects.choices import BidState, LineCategory, PaidBy, PromiseKind
from projects.dashboard import words
from projects.dashboard.forms.bids import plant_label
from projects.dashboard.pages.rounds import RoundPage
from projects.models import Award, Bid, BidLine, BidPromise, BidSubmission, Decision
from projects.models.decisions import AWARDING
from projects.rules.bids import Check, pounds
from projects.rules.rounds import WRITABLE, Phase, said

#: where in the form a field stands
PARTS: Final = {
    "about": "What it is for",
    "budget": "Budget",
    "stages": "Stages",
    "promises": "Promises",
    "papers": "Papers",
}
_PART_OF: Final = {"lines": "budget", "stages": "stages", "promises": "promises", "proofs": "papers"}
_OFFERED: Final = {"offered": "an offer waits for your answer", "accepted": "accepted", "declined": "you declined it"}


class CheckLine:
    """One thing to put right, with where."""

    def __init__(self, check: Check) -> None:
        self.text = check.text
        self.part = _PART_OF.get(check.pointer.split("/")[1], "about")
        self.called = words.lowered(PARTS[self.part])


class LineRow:
    """A line of the budget, with its sums."""

    def __init__(self, line: BidLine) -> None:
        self.line = line
        self.category = LineCategory(line.category).label
        self.paid_by = PaidBy(line.paid_by).label
        quantity = words.figure(line.quantity_milli / 1000, 7)
        self.sum = f"{quantity} {line.unit} at {pounds(line.unit_price_pence)}".replace("  ", " ")


class BidPage:
    """One bid of a group."""

    def __init__(
        self, row: Bid, checks: Sequence[Check], submissions: Sequence[BidSubmission], decision: Decision | None,
        award: Award | None, now: datetime,
    ) -> None:  # fmt: skip
        self.row, self.decision, self.award = row, decision, award
        self.round = RoundPage(row.round, now)
        self.submissions = submissions
        self.blocking = [CheckLine(check) for check in checks if check.blocks]
        self.asked = [CheckLine(check) for check in checks if not check.blocks]
        self.lines = [LineRow(line) for line in row.lines.all()]

    # ------------------------------------------------------------ where it stands

    @property
    def writable(self) -> bool:
        return self.row.state in WRITABLE

    @property
    def late(self) -> bool:
        """Whether it was not handed in when the round closed."""
        return self.row.state in {*WRITABLE, BidState.WITHDRAWN} and not self.round.may_begin

    @property
    def may_take_up(self) -> bool:
        return self.row.state == BidState.WITHDRAWN and self.round.may_begin

    @property
    def may_withdraw(self) -> bool:
        return self.row.state == BidState.SUBMITTED

    @property
    def sentence(self) -> str:
        """What it asks for and where it stands."""
        asks = f"It asks {self.row.round.name} for {pounds(self.row.asked_pence)}."
        if self.late:
            return (
                f"{self.round.when} This bid was not handed in by then, so it is not read. "
                "Your draft is kept, and what stands in it can be used in a later round."
            )
        match self.row.state:
            case BidState.DRAFT:
                return f"{asks} It is a draft, seen by your group and the coordinators only. {self.round.when}"
            case BidState.CHECKED:
                return f"{asks} Your group has looked it over; it is not handed in yet. {self.round.when}"
            case BidState.SUBMITTED:
                return f"{asks} It is handed in as number {self.row.number}. {self.round.when}"
            case BidState.WITHDRAWN:
                return f"{asks} It is withdrawn and will not be read. {self.round.when}"
        return f"{asks} {self.outcome}"

    @property
    def next_move(self) -> str:
        """What the group does now, in a few words; empty where it waits."""
        if self.late:
            return "closed before it was handed in"
        match self.row.state:
            case BidState.DRAFT | BidState.CHECKED:
                return "write on, then hand in"
            case BidState.SUBMITTED:
                return "handed in; wait for the decision" if self.round.phase is not Phase.OPEN else "handed in"
            case BidState.WITHDRAWN:
                return "withdrawn"
        if self.award is not None:
            return _OFFERED.get(self.award.state, self.award.get_state_display().lower())
        return self.decision.get_kind_display().lower() if self.decision else "decided"

    # ------------------------------------------------------------ money

    def _gross(self, paid_by: PaidBy) -> int:
        return sum(line.line.gross_pence for line in self.lines if line.line.paid_by == paid_by)

    @property
    def sums(self) -> list[tuple[str, str]]:
        """Who pays what."""
        whole = sum(line.line.gross_pence for line in self.lines)
        found = [
            ("Asked of this round", pounds(self.row.asked_pence)),
            ("Money from elsewhere", pounds(self._gross(PaidBy.MATCH))),
            ("Given in kind", pounds(self._gross(PaidBy.IN_KIND))),
            ("The whole work", pounds(whole)),
        ]
        return [row for row in found if row[1] != "£0"] if whole else []

    @property
    def promises(self) -> list[str]:
        """Each promise in words."""
        return [_promised(promise) for promise in self.row.promises.all()]

    @property
    def open_flags(self) -> int:
        return len(self.blocking)

    @property
    def checklist_sentence(self) -> str:
        """Whether it can be handed in, first."""
        if self.blocking:
            n = len(self.blocking)
            return (
                f"{words.opened(words.counted(n))} {words.plural(n, 'thing keeps', 'things keep')} it from being "
                "handed in."
            )
        if self.asked:
            n = len(self.asked)
            return (
                f"It can be handed in. An assessor would still ask about {words.counted(n)} {words.plural(n, 'thing')}."
            )
        return "It can be handed in, and nothing stands out that an assessor would ask."

    # ------------------------------------------------------------ what became of it

    @property
    def outcome(self) -> str:
        """The decision in one sentence."""
        decision = self.decision
        if decision is None:
            return "It is not decided yet."
        when = "" if decision.published_at is None else f" on {words.day(decision.published_at.date())}"
        what = decision.get_kind_display()
        if decision.kind in AWARDING:
            return f"{what}{when}: {pounds(decision.amount_pence)}."
        return f"{what}{when}."

    @property
    def is_awarded(self) -> bool:
        return self.decision is not None and self.decision.kind in AWARDING

    @property
    def receipts(self) -> list[tuple[BidSubmission, str, bool]]:
        """Each time it was handed in: row, moment, whether it is what counts."""
        return [(row, said(row.created_at), row.pk == self.row.current_id) for row in self.submissions]


def _promised(promise: BidPromise) -> str:
    year, where = promise.by_year, f" on {promise.project.name}" if promise.project else ""
    match PromiseKind(promise.kind):
        case PromiseKind.SPECIES_PER_M2:
            return f"{promise.amount} kinds in a square metre{where} by {year}"
        case PromiseKind.PLANT:
            return f"{words.opened(plant_label(promise.plant))}{where} by {year}"
        case PromiseKind.AREA_M2:
            return f"{words.area(promise.amount)} of meadow{where} by {year}"
        case PromiseKind.VOLUNTEER_HOURS:
            return f"{promise.amount:,} hours by volunteers{where} by {year}"
    return f"{promise.amount:,} people reached{where} by {year}"
