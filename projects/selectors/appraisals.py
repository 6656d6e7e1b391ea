"""Reads for appraising bids and choosing a set of them: rows into the model's own words."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import Any, Final
from uuid import UUID

import orjson

from modelling.arrays import checksum
from modelling.selectors import StoredTextDamaged
from projects.errors import NotFound
from projects.models import Bid, BidAppraisal, RoundChoice
from projects.rules.access import Actor, whole_round_of
from projects.rules.bids import pounds
from projects.rules.decisions import feedback

#: flags that a group is told of, the first of them
MOST_TOLD: Final = 6


def latest_appraisals(bids: Iterable[Bid]) -> dict[int, BidAppraisal]:
    """The latest appraisal of each bid as it was handed in last: bid -> appraisal."""
    named = {bid.current_id: bid.pk for bid in bids if bid.current_id is not None}
    rows = BidAppraisal.objects.filter(submission__in=list(named)).order_by("pk")
    return {named[row.submission_id]: row for row in rows}


def appraisal_text(row: BidAppraisal) -> str:
    """The stored text of an appraisal; raises StoredTextDamaged."""
    return _whole(row.answer, row.answer_checksum, f"appraisal {row.public_id}")


def choice_text(row: RoundChoice) -> str:
    """The stored text of a choice of bids; raises StoredTextDamaged."""
    return _whole(row.answer, row.answer_checksum, f"choice of bids {row.public_id}")


def _whole(text: str, stored: str, what: str) -> str:
    if checksum(text) != stored:
        raise StoredTextDamaged(f"The text of {what} no longer has its checksum {stored}. Restore it from a backup.")
    return text


def feedback_for(actor: Actor, bid: Bid, choice_id: UUID | None) -> list[str]:
    """What would have helped a bid, in plain words: of what the pot could buy, and of the bid's own appraisal.

    Raises
    ------
    NotFound
        If a choice is named that is none of the round's, or that the actor may not see.
    """
    choices = RoundChoice.objects.filter(whole_round_of(actor), round=bid.round_id)
    choice = choices.first() if choice_id is None else choices.filter(public_id=choice_id).first()
    if choice_id is not None and choice is None:
        raise NotFound(f"There is no choice of bids {choice_id}, or none that you may see.")
    sentences = [] if choice is None else not_chosen(orjson.loads(choice.answer), str(bid.public_id))
    appraisal = latest_appraisals([bid]).get(bid.pk)
    flags = [] if appraisal is None else orjson.loads(appraisal.answer).get("flags", [])
    answerable = [flag for flag in flags if flag.get("can_answer")]
    told = [str(flag["sentence"]) for flag in (answerable or flags)[:MOST_TOLD]]
    return feedback(pounds(bid.asked_pence), sentences, told)


def not_chosen(answer: dict[str, Any], public_id: str) -> list[str]:
    """What an answer says of a bid that is not in the best set."""
    return [str(row["sentence"]) for row in answer.get("not_chosen", ()) if row["id"] == public_id]


def exclusive_sets(sites: dict[int, set[int]], ids: dict[int, str]) -> list[tuple[str, ...]]:
    """Sets of bids for the same ground, by public id: of each at most one can be funded."""
    by_site: dict[int, list[str]] = defaultdict(list)
    for bid, ground in sites.items():
        for site in ground:
            by_site[site].append(ids[bid])
    found = {tuple(sorted(members)) for members in by_site.values() if len(members) > 1}
    return sorted(found)
