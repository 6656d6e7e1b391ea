"""What is due once money was awarded, and whose move it is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from projects.choices import AwardState
from projects.rules.bids import pounds
from projects.rules.due import Due, Whose, in_order

#: told so long beforehand; common practice
AHEAD: Final = timedelta(days=42)
FOLLOWS: Final = {
    AwardState.OFFERED: frozenset({"accepted", "declined", "conditions_met", "withdrawn"}),
    AwardState.ACCEPTED: frozenset({"conditions_met", "withdrawn", "finished"}),
    AwardState.DECLINED: frozenset[str](),
    AwardState.WITHDRAWN: frozenset[str](),
    AwardState.FINISHED: frozenset[str](),
}
#: acts of the group; the others are the funder's
BY_THE_GROUP: Final = frozenset({"accepted", "declined"})


@dataclass(frozen=True)
class AwardFact:
    """What matters of an award."""

    state: str
    accept_by: date
    report_due_on: date
    reported: bool
    waits_for_conditions: bool
    #: name, due on, pence: stages for which nothing was asked yet
    stages: Sequence[tuple[str, date, int]]
    #: what of the award was not asked for yet: less than the stages where a part of the bid was awarded
    left_pence: int
    payments_waiting: int
    changes_waiting: int


def due_of_award(award: AwardFact, today: date) -> list[Due]:
    """Return what is due for an award."""
    return in_order(_due(award, today))


def _due(award: AwardFact, today: date) -> Iterator[Due]:
    if award.state == AwardState.OFFERED:
        late = award.accept_by < today
        text = f"Accept or decline the offer{' (its day has gone by)' if late else ''}."
        yield Due("accept", text, by=award.accept_by, late=late)
    if award.state != AwardState.ACCEPTED:
        return
    if award.waits_for_conditions:
        yield Due("conditions", "Meet the conditions of the award; until then no payment can be asked for.")
    left = award.left_pence
    for name, due, pence in award.stages:
        if due - today <= AHEAD and left:
            asked = min(pence, left)
            left -= asked
            yield Due("stage", f"Ask for {pounds(asked)} once “{name}” is done.", by=due, late=due < today)
    if award.payments_waiting:
        yield Due("payment", f"{_count(award.payments_waiting, 'payment request')} to settle.", Whose.NETWORK)
    if award.changes_waiting:
        yield Due("change", f"{_count(award.changes_waiting, 'request')} to change something to settle.", Whose.NETWORK)
    if not award.reported and award.report_due_on - today <= AHEAD:
        late = award.report_due_on < today
        yield Due("report", "Send the report at the end of the award.", by=award.report_due_on, late=late)
    if award.reported:
        yield Due("finish", "The report is there: look at it and finish the award.", Whose.NETWORK)


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
