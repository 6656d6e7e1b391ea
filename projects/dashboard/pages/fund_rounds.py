"""A grant round in words, for those who give the money and those who read its bids."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from projects.choices import LineCategory, Proof, Skill
from projects.dashboard import words
from projects.models import Bid, GrantRound, Review
from projects.rules import rounds as rules
from projects.rules.bids import pounds
from projects.rules.rounds import Phase
from projects.selectors.fund import FunderMoney, MoneyLine
from projects.selectors.rounds import Money

PENCE = 100
#: what the manager does next, by where the round stands: word of the act, button, what it means
NEXT = {
    Phase.DRAFT: (
        "announced",
        "Announce it",
        "Everybody sees it then. Its rules stay as they are; only the name, the text, a larger pot or a later closing "
        "can still be changed.",
    ),
    Phase.READING: (
        "panel",
        "Open the panel",
        "Assessors see each other’s scores then, and decisions can be published.",
    ),
    Phase.PANEL: ("settled", "Settle the round", "No bid is scored after that. Awards run on."),
}


class RoundDesk:
    """A round as those who run it see it."""

    def __init__(self, round: GrantRound, now: datetime, bids: Sequence[Bid], money: Money | None) -> None:
        self.round, self.bids, self.money = round, bids, money
        self.phase = rules.phase(round.state, round.opens_at, round.closes_at, now)

    @property
    def next(self) -> tuple[str, str, str] | None:
        """What the manager can do with the round now."""
        return NEXT.get(self.phase)

    @property
    def asked_pence(self) -> int:
        return sum(bid.asked_pence for bid in self.bids)

    @property
    def _bids_words(self) -> str:
        count = len(self.bids)
        if not count:
            return "no bid has been handed in"
        return (
            f"{words.counted(count)} {words.plural(count, 'bid')} {words.plural(count, 'asks', 'ask')} for "
            f"{pounds(self.asked_pence)}"
        )

    @property
    def sentence(self) -> str:
        """Where the round stands, in one sentence."""
        pot, closes, opens = pounds(self.round.pot_pence), said(self.round.closes_at), said(self.round.opens_at)
        match self.phase:
            case Phase.DRAFT:
                return f"This round of {pot} is being written; nobody else sees it yet."
            case Phase.COMING:
                return f"This round of {pot} is announced and takes bids from {opens} to {closes}."
            case Phase.OPEN:
                return f"Bids for the {pot} can be handed in until {closes}; so far, {self._bids_words}."
            case Phase.READING:
                return f"The round closed on {closes}: {self._bids_words}, and there are {pot}."
            case Phase.PANEL:
                return f"The panel sits: {self._bids_words} of {pot}{self._committed}."
        return f"The round is settled: {self._bids_words} of {pot}{self._committed}."

    @property
    def _committed(self) -> str:
        return "" if self.money is None else f"; {pounds(self.money.committed_pence)} are promised"

    @property
    def money_words(self) -> str:
        """Where the money is."""
        if self.money is None:
            return ""
        money = self.money
        return (
            f"Of {pounds(money.pot_pence)}, {pounds(money.committed_pence)} are promised and "
            f"{pounds(money.free_pence)} are free; {pounds(money.paid_pence)} were paid"
            + (f" and {pounds(money.returned_pence)} came back" if money.returned_pence else "")
            + "."
        )

    @property
    def facts(self) -> list[tuple[str, str]]:
        """The rules, as label and words."""
        row = self.round
        found = [
            ("Opens", said(row.opens_at)),
            ("Closes", said(row.closes_at)),
            ("Work starts", f"on {words.day(row.starts_earliest_on)} at the earliest, for at most "
                            f"{row.longest_months} months"),
            ("For", f"groups of {row.district.name}" if row.district else "groups of the whole county"),
            ("Most", _most(row)),
            ("Match", _match(row)),
            ("Pays for", words.listed(words.lowered(str(LineCategory(key).label)) for key in row.categories)
             or "everything that is asked for"),
            ("Groups show", words.listed(words.lowered(str(Proof(key).label)) for key in row.must_show) or "nothing"),
            ("Yearly care", f"promised for at least {words.counted(row.aftercare_years_least)} "
                            f"{words.plural(row.aftercare_years_least, 'year')}"
             if row.aftercare_years_least else "nothing need be promised"),
            ("Time in kind", words.listed(
                f"{words.lowered(str(Skill(rate.skill).label))} £{rate.pence_per_hour / PENCE:,.2f} an hour from "
                f"{words.day(rate.from_day)}" for rate in row.rates.all()
            ) or "no rates are set"),
            ("Afterwards", f"{row.accept_days} days to accept an offer, {row.report_days} days to report at the end"),
        ]  # fmt: skip
        return [(label, words.sentence(text)) for label, text in found]


def said(moment: datetime) -> str:
    """A moment by the clocks of the country, without seconds where there are none."""
    return rules.said(moment).replace(":00 ", " ")


def _most(row: GrantRound) -> str:
    parts = []
    if row.group_limit_pence is not None:
        parts.append(f"{pounds(row.group_limit_pence)} for one group")
    if row.district_limit_pence is not None:
        parts.append(f"{pounds(row.district_limit_pence)} for one district")
    return words.listed(parts) or "no limit but the pot"


def _match(row: GrantRound) -> str:
    if not row.match_percent:
        return "none is asked for"
    return (
        f"{row.match_percent}{words.NARROW_SPACE}% of the whole cost comes from elsewhere or in kind, at most "
        f"{row.volunteer_match_percent}{words.NARROW_SPACE}% of that as volunteers’ time"
    )


@dataclass(frozen=True)
class BidRow:
    """One bid in the list of those who read it."""

    bid: Bid

    @property
    def asked(self) -> str:
        return pounds(self.bid.asked_pence)

    @property
    def review(self) -> Review | None:
        own: list[Review] = getattr(self.bid, "own", [])
        return own[0] if own else None

    @property
    def mine(self) -> str:
        """How far one's own review is."""
        if self.review is None:
            return "not begun"
        return "sent" if self.review.sent_at is not None else "kept as a draft"


def to_read(rows: Sequence[BidRow]) -> str:
    """What an assessor still has to do, in one sentence."""
    if not rows:
        return "There is no bid for you to read."
    left = [row for row in rows if row.review is None or row.review.sent_at is None]
    if not left:
        return f"You have scored all {words.counted(len(rows))}." if len(rows) > 1 else "You have scored the only bid."
    return (
        f"{words.opened(words.counted(len(left)))} of {words.counted(len(rows))} "
        f"{words.plural(len(rows), 'bid')} {words.plural(len(left), 'waits', 'wait')} for your scores."
    )


class MoneyPage:
    """A funder's money over all rounds."""

    def __init__(self, money: FunderMoney) -> None:
        self.money = money

    @property
    def sentence(self) -> str:
        promised = sum(round.committed_pence for round in self.money.rounds)
        pots = sum(round.pot_pence for round in self.money.rounds)
        count = len(self.money.rounds)
        if not count:
            return f"Nothing of {self.money.funder} can be shown to you."
        return (
            f"{self.money.funder} put {pounds(pots)} into {words.counted(count)} {words.plural(count, 'round')}: "
            f"{pounds(promised)} are promised, {pounds(self.money.paid_pence)} were paid and "
            f"{pounds(self.money.outstanding_pence)} are still to be asked for."
        )

    @property
    def lines(self) -> list[tuple[MoneyLine, str, str, str]]:
        """Each kind of line with what was promised, what the model has, and what was paid."""
        return [
            (
                line,
                pounds(line.awarded_pence),
                "no figure" if line.modelled_pence is None else words.pounds(line.modelled_pence / PENCE),
                pounds(line.paid_pence),
            )
            for line in self.money.lines
        ]

    @property
    def rounds(self) -> list[tuple[GrantRound, str, str, str]]:
        return [
            (row, pounds(row.pot_pence), pounds(row.committed_pence), pounds(row.pot_pence - row.committed_pence))
            for row in self.money.rounds
        ]
