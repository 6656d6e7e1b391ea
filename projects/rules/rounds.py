"""Where a grant round stands at a moment, and what may follow. Nothing here asks a database or a clock."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum
from typing import Final

from django.utils import timezone

from projects.choices import BidState, RoundState


class Phase(StrEnum):
    """Where a round stands: what people did, and the time."""

    DRAFT = "draft"
    COMING = "coming"
    OPEN = "open"
    READING = "reading"
    PANEL = "panel"
    SETTLED = "settled"


FOLLOWS: Final = {
    RoundState.DRAFT: frozenset({RoundState.ANNOUNCED}),
    RoundState.ANNOUNCED: frozenset({RoundState.PANEL}),
    RoundState.PANEL: frozenset({RoundState.SETTLED}),
    RoundState.SETTLED: frozenset[RoundState](),
}
BID_FOLLOWS: Final = {
    BidState.DRAFT: frozenset({BidState.CHECKED, BidState.SUBMITTED, BidState.WITHDRAWN}),
    BidState.CHECKED: frozenset({BidState.DRAFT, BidState.SUBMITTED, BidState.WITHDRAWN}),
    BidState.SUBMITTED: frozenset({BidState.WITHDRAWN}),
    BidState.WITHDRAWN: frozenset({BidState.DRAFT}),
    BidState.DECIDED: frozenset[BidState](),
}
#: a bid may be written on
WRITABLE: Final = frozenset({BidState.DRAFT, BidState.CHECKED})
#: what may still be changed once bids may be on their way
CHANGEABLE: Final = frozenset({"name", "about", "pot_gbp", "closes_at", "accept_days", "report_days"})


def phase(state: str, opens_at: datetime, closes_at: datetime, now: datetime) -> Phase:
    """Return where a round stands; it is open from its opening on until before its closing."""
    if state != RoundState.ANNOUNCED:
        return Phase(state)
    if now < opens_at:
        return Phase.COMING
    return Phase.OPEN if now < closes_at else Phase.READING


def said(moment: datetime) -> str:
    """Return a moment as letters and refusals show it, by the clocks of the country."""
    return f"{timezone.localtime(moment):%-d %B %Y at %H:%M:%S %Z}"
