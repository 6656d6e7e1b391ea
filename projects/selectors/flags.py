"""Reads of flags put to groups, with the answers: alike for the group and for those who read its bid."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import orjson

from projects.errors import NotFound
from projects.models import Bid, BidAppraisal, FlagAnswer, FlagsPut
from projects.rules.access import Actor, demand
from projects.selectors.appraisals import appraisal_text
from projects.selectors.bids import bid_row


@dataclass(frozen=True)
class FlagRead:
    """One flag, with what the group answered: the first answer first, so that the last one counts."""

    number: int
    flag: Mapping[str, Any]
    answers: tuple[FlagAnswer, ...]


def flags_of(appraisal: BidAppraisal) -> list[dict[str, Any]]:
    """The flags of an appraisal, in its order; raises StoredTextDamaged."""
    rows: list[dict[str, Any]] = orjson.loads(appraisal_text(appraisal)).get("flags", [])
    return rows


def put_of(bid: Bid) -> FlagsPut | None:
    """What was put to the group last about its bid as it was handed in last; None where nothing was."""
    rows = FlagsPut.objects.filter(bid=bid, appraisal__submission=bid.current_id).select_related("appraisal")
    return rows.order_by("-pk").first()


def flags_read(actor: Actor, bid_id: UUID) -> tuple[FlagsPut, list[FlagRead]]:
    """The flags put to a bid's group, with its answers; nothing else of the appraisal.

    Raises
    ------
    NotFound
        If there is no such bid for the actor, or nothing was put to its group: before that a group does not know
        whether its bid was appraised.
    """
    read = flags_of_bid(actor, bid_row(actor, bid_id))
    if read is None:
        raise NotFound("Nothing about this bid was put to its group yet.")
    return read


def flags_of_bid(actor: Actor, bid: Bid) -> tuple[FlagsPut, list[FlagRead]] | None:
    """Like `flags_read`, of a bid the actor has before them; None where nothing was put. Raises NotAllowed."""
    demand(actor, "flag.read", group_id=bid.group_id, network_id=bid.network_id)
    put = put_of(bid)
    return None if put is None else (put, answered(put, flags_of(put.appraisal)))


def answered(put: FlagsPut, flags: list[dict[str, Any]]) -> list[FlagRead]:
    """Each flag beside its answers."""
    said: dict[int, list[FlagAnswer]] = defaultdict(list)
    for row in FlagAnswer.objects.filter(put=put).order_by("flag", "number"):
        said[row.flag].append(row)
    return [FlagRead(number, flag, tuple(said[number])) for number, flag in enumerate(flags, start=1)]


def answers_beside(put: FlagsPut | None, flags: list[dict[str, Any]]) -> list[tuple[FlagAnswer, ...]]:
    """What the group answered to each of these flags, by what they are about: an appraisal made again asks the same."""
    if put is None:
        return [() for _ in flags]
    said: dict[tuple[str, str], list[tuple[FlagAnswer, ...]]] = defaultdict(list)
    for row in answered(put, flags_of(put.appraisal)):
        said[row.flag["code"], row.flag["pointer"]].append(row.answers)
    beside = []
    for flag in flags:
        rows = said[flag["code"], flag["pointer"]]
        beside.append(rows.pop(0) if rows else ())
    return beside
