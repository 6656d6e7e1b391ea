"""Flags of an appraisal: put to the group by the fund manager, answered by the group. They decide nothing."""

from __future__ import annotations

from datetime import datetime
from typing import Final
from uuid import UUID

from django.db import transaction

from projects.choices import BidState
from projects.contracts.bids import FlagAnswered
from projects.errors import NotFound, WrongState, broken
from projects.models import Bid, FlagAnswer, FlagsPut
from projects.rules import rounds as round_rules
from projects.rules.access import Actor, bids_to_read, demand, visible_bids
from projects.rules.rounds import Phase
from projects.selectors.appraisals import latest_appraisals
from projects.selectors.flags import flags_of, put_of
from projects.services.audit import record
from projects.services.base import found

#: answers to one flag
MOST_ANSWERS: Final = 20
_WITH: Final = ("round", "current")


def flags_put(*, actor: Actor, bid_id: UUID, now: datetime) -> FlagsPut:
    """Put the flags of a bid's latest appraisal to its group, once the round is closed and until the bid is decided.

    Before the closing an answer could be a change of the bid, which others were not asked for.
    """
    with transaction.atomic():
        bid = found(Bid, bids_to_read(actor), bid_id, "bid", hold=True, with_=_WITH)
        demand(actor, "flag.put", network_id=bid.network_id)
        _demand_waiting(bid, now)
        appraisal = latest_appraisals([bid]).get(bid.pk)
        if appraisal is None:
            raise WrongState("This bid has not been appraised yet; there is nothing to put to the group.")
        number = len(flags_of(appraisal))
        if not number:
            raise WrongState("The appraisal has no flags; there is nothing to put to the group.")
        if put_of(bid) is not None:
            # a later appraisal of the same text asks the same; answers stay where the group gave them
            raise WrongState("This was put to the group already.")
        row = FlagsPut(bid=bid, appraisal=appraisal, created_by_id=actor.user_id, created_at=now)
        row.full_clean(validate_unique=False, validate_constraints=False)
        row.save()
        record(
            actor, now, "flags_put", "bid", bid.public_id, network=bid.network_id, group=bid.group_id,
            after={"flags": number},
        )  # fmt: skip
    return row


def flag_answer(*, actor: Actor, bid_id: UUID, asked: FlagAnswered, now: datetime) -> FlagAnswer:
    """Answer one flag for the group; answered again, the later answer counts and the earlier one is kept."""
    with transaction.atomic():
        bid = found(Bid, visible_bids(actor), bid_id, "bid", hold=True, with_=_WITH)
        demand(actor, "flag.answer", group_id=bid.group_id, network_id=bid.network_id)
        put = put_of(bid)
        if put is None:
            raise NotFound("Nothing about this bid was put to its group yet.")
        _demand_waiting(bid, now)
        most = len(flags_of(put.appraisal))
        if asked.flag > most:
            raise broken("/flag", "unknown", f"There are {most} flags.", asked.flag, f"1 to {most}")
        number = FlagAnswer.objects.filter(put=put, flag=asked.flag).count() + 1
        if number > MOST_ANSWERS:
            raise broken(
                "/flag", "too_many", f"A flag is answered at most {MOST_ANSWERS} times.", asked.flag,
                f"at most {MOST_ANSWERS} answers",
            )  # fmt: skip
        row = FlagAnswer(
            put=put, flag=asked.flag, number=number, text=asked.text, created_by_id=actor.user_id, created_at=now
        )
        row.full_clean(validate_unique=False, validate_constraints=False)
        row.save()
        record(
            actor, now, "flag_answer", "bid", bid.public_id, network=bid.network_id, group=bid.group_id,
            after={"flag": asked.flag, "number": number, "letters": len(asked.text)},
        )  # fmt: skip
    return row


def _demand_waiting(bid: Bid, now: datetime) -> None:
    """Raise WrongState unless the bid waits for its decision, with its round closed."""
    phase = round_rules.phase(bid.round.state, bid.round.opens_at, bid.round.closes_at, now)
    if bid.state != BidState.SUBMITTED or phase is Phase.SETTLED:
        raise WrongState(f"This bid is {bid.get_state_display().lower()}; nothing about it is asked or answered now.")
    if phase not in {Phase.READING, Phase.PANEL}:
        raise WrongState(f"Bids come until {round_rules.said(bid.round.closes_at)}; ask the group after that.")
