"""Grant rounds in plain words: what one pays for, what it asks, how long there is, what was awarded."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Final

from projects.choices import LineCategory, Proof, Skill
from projects.dashboard import words
from projects.models import Award, Bid, GrantRound
from projects.rules.bids import pounds
from projects.rules.rounds import Phase, phase, said

#: hours are told instead of days below two days
_HOURS_BELOW: Final = timedelta(days=2)
_ORDER: Final = (Phase.OPEN, Phase.COMING, Phase.READING, Phase.PANEL, Phase.SETTLED, Phase.DRAFT)


def left(until: datetime, now: datetime) -> str:
    """Return the time until a moment: "15 days"."""
    there_is = until - now
    if there_is >= _HOURS_BELOW:
        return f"{words.counted(there_is.days)}{words.NARROW_SPACE}days"
    hours, rest = divmod(int(there_is.total_seconds()), 3600)
    if hours:
        return f"{words.counted(hours)}{words.NARROW_SPACE}{words.plural(hours, 'hour')}"
    minutes = max(1, rest // 60)
    return f"{words.counted(minutes)}{words.NARROW_SPACE}{words.plural(minutes, 'minute')}"


class RoundPage:
    """A round, for those who may bid and for everybody."""

    def __init__(self, row: GrantRound, now: datetime) -> None:
        self.row, self.now = row, now
        self.phase = phase(row.state, row.opens_at, row.closes_at, now)

    @property
    def is_open(self) -> bool:
        return self.phase is Phase.OPEN

    @property
    def may_begin(self) -> bool:
        """Whether a bid can be begun now."""
        return self.phase in {Phase.OPEN, Phase.COMING}

    @property
    def rank(self) -> int:
        return _ORDER.index(self.phase)

    @property
    def when(self) -> str:
        """Where it stands, in one sentence."""
        match self.phase:
            case Phase.COMING:
                return f"It opens on {said(self.row.opens_at)}, in {left(self.row.opens_at, self.now)}."
            case Phase.OPEN:
                return f"It is open until {said(self.row.closes_at)}: {left(self.row.closes_at, self.now)} left."
            case Phase.READING:
                return f"It closed on {said(self.row.closes_at)}; the bids are being read."
            case Phase.PANEL:
                return f"It closed on {said(self.row.closes_at)}; the bids are before the panel."
            case Phase.SETTLED:
                return f"It closed on {said(self.row.closes_at)} and is settled."
        return "It is being written."

    @property
    def sentence(self) -> str:
        """The pot and whose it is, then the time."""
        return f"{pounds(self.row.pot_pence)} from {self.row.funder}. {self.when}"

    @property
    def rules(self) -> list[str]:
        """What it asks, a sentence each."""
        row = self.row
        found = []
        if row.district is not None:
            found.append(f"Only groups of {row.district.name} may bid.")
        if row.group_limit_pence is not None:
            found.append(f"One group may have {pounds(row.group_limit_pence)} at most, all its bids together.")
        if row.district_limit_pence is not None:
            found.append(f"The groups of one district may have {pounds(row.district_limit_pence)} together.")
        found.append(
            f"It pays for work from {words.day(row.starts_earliest_on)} on, for {row.longest_months} months at most. "
            "What is done before that is not paid for."
        )
        found.append(self._pays_for())
        found += self._match()
        if row.aftercare_years_least:
            years = f"{row.aftercare_years_least} {words.plural(row.aftercare_years_least, 'year')}"
            found.append(f"The meadow is to be looked after for at least {years}.")
        if row.must_show:
            shown = words.listed(words.lowered(Proof(word).label) for word in row.must_show)
            found.append(f"Your group must be able to show: {shown}.")
        found.append(
            f"An offer is accepted or declined within {row.accept_days} days; a report comes within {row.report_days} "
            "days of the end. Money that is not spent comes back."
        )
        return found

    def _pays_for(self) -> str:
        if not self.row.categories:
            return "It pays for whatever making and keeping the meadow takes."
        named = words.listed(words.lowered(LineCategory(word).label) for word in self.row.categories)
        return f"It pays for {named}, and for nothing else."

    def _match(self) -> list[str]:
        row = self.row
        if not row.match_percent:
            return ["Nothing has to come from elsewhere."]
        share = row.volunteer_match_percent
        hours = (
            "; volunteers’ time may be all of that" if share == 100 else
            f"; volunteers’ time may be {share} % of that at most" if share else "; volunteers’ time does not count"
        )  # fmt: skip
        text = f"At least {row.match_percent} % of the whole cost comes from elsewhere or is given in kind{hours}."
        rates = [f"{words.lowered(Skill(rate.skill).label)} {pounds(rate.pence_per_hour)}" for rate in row.rates.all()]
        return [text, f"An hour given counts for: {words.listed(rates)}."] if rates else [text]

    @property
    def criteria(self) -> list[tuple[str, str, str]]:
        """What bids are scored on: name, meaning, share of the whole."""
        rows = list(self.row.criteria.all())
        whole = sum(row.weight for row in rows) or 1
        return [(row.name, row.about, f"{round(100 * row.weight / whole)} %") for row in rows]


class AwardedPage:
    """What a round awarded, as everybody may know it."""

    def __init__(self, awards: Iterable[Award]) -> None:
        self.awards = sorted(awards, key=lambda award: (award.bid.title.lower(), award.pk))

    @property
    def sentence(self) -> str:
        if not self.awards:
            return "No award of this round is published."
        n, whole = len(self.awards), sum(award.amount_pence for award in self.awards)
        back = sum(award.returned_pence for award in self.awards)
        came = f", of which {pounds(back)} came back to the pot" if back else ""
        return f"{words.opened(words.counted(n))} {words.plural(n, 'award')}, {pounds(whole)} together{came}."


class RoundOfGroup:
    """A round and what a group has in it."""

    def __init__(self, page: RoundPage, bids: list[Bid], *, eligible: bool) -> None:
        self.page, self.bids, self.eligible = page, bids, eligible

    @property
    def row(self) -> GrantRound:
        return self.page.row
