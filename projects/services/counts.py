"""Counts and germination tests of a lot: stored with what the model says of them, and never changed."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any
from uuid import UUID, uuid4

import orjson
from django.db import transaction
from django.utils import timezone

from modelling.arrays import canonical_text, checksum
from modelling.release import RELEASE
from modelling.sacks import count_sack, read_sack, weeds_of_concern
from projects.contracts.counts import CountNew, GerminationNew
from projects.errors import NotFound, WrongState, broken
from projects.models import GerminationTest, LotCount, SeedLot
from projects.rules.access import Actor, demand, group_in, visible_in_network
from projects.rules.lots import MG_PER_G, years_in_store
from projects.selectors.contents import tests_now
from projects.services import ledger
from projects.services.audit import record
from projects.services.base import found
from projects.services.lots import hold, known_plant


def count_add(*, actor: Actor, lot_id: UUID, asked: CountNew, now: datetime) -> tuple[LotCount, bool]:
    """Keep a count of a lot with its answer; weeds of concern put the lot on hold.

    The model works while no transaction is open; what it was told of the lot is looked at again before it is kept.

    Returns
    -------
    tuple
        The count, and whether it is new.

    Raises
    ------
    RequestRefused
        With every fault of the sub-samples.
    """
    lot = _counted(actor, lot_id)
    there = _sent_before(lot, asked.submission_id)
    if there is not None:
        return there, False
    counted_on = _day(asked.counted_on, timezone.localdate(now), "/counted_on")
    last = _last(lot)
    question = _question(lot, asked, last, counted_on)
    answer = count_sack(read_sack(question))
    text, request = canonical_text(answer), orjson.dumps(question, option=orjson.OPT_SORT_KEYS).decode()
    with transaction.atomic():
        held = ledger.held([lot])[lot.pk]
        there = _sent_before(held, asked.submission_id)
        if there is not None:
            return there, False
        newest = _last(held)
        if held.treatments != lot.treatments or (newest and newest.pk) != (last and last.pk):
            raise WrongState("The lot was weighed or counted by somebody else at the same moment; send it again.")
        row = LotCount(
            lot=held,
            number=1 + (newest.number if newest else 0),
            submission_id=asked.submission_id or uuid4(),
            counted_on=counted_on,
            treatments=held.treatments,
            request=request,
            request_checksum=checksum(request),
            release=RELEASE,
            answer=text,
            answer_checksum=checksum(text),
            created_by_id=actor.user_id,
            created_at=now,
        )
        row.save()
        weeds = answer["on_hold"]
        if weeds and held.held_at is None:
            why = f"Counted in it: {weeds_of_concern(weeds)}."[:300]
            hold(ledger.deed(actor, now, None, why), held, True)
        record(
            actor, now, "count_add", "lot", held.public_id, network=held.network_id,
            after={"count": row.number, "samples": len(question["samples"]), "on_hold": weeds},
        )  # fmt: skip
    return row, True


def _counted(actor: Actor, lot_id: UUID) -> SeedLot:
    """The lot that somebody counts: whoever belongs to a group of its network, or coordinates it."""
    lot = found(SeedLot, visible_in_network(actor), lot_id, "lot of seed")
    demand(actor, "lot.count", group_id=group_in(actor, lot.network_id), network_id=lot.network_id)
    return lot


def _sent_before(lot: SeedLot, submission_id: UUID | None) -> LotCount | None:
    return None if submission_id is None else lot.counts.filter(submission_id=submission_id).first()


def _last(lot: SeedLot) -> LotCount | None:
    return lot.counts.order_by("-number").first()


def _day(on: date | None, today: date, at: str) -> date:
    if on is not None and on > today:
        raise broken(at, "in_future", f"{on.isoformat()} is still to come.", on.isoformat(), "a day up to today")
    return on or today


def _question(lot: SeedLot, asked: CountNew, last: LotCount | None, counted_on: date) -> dict[str, Any]:
    samples = [sample.model_dump(mode="json") for sample in asked.samples]
    if asked.adds_to_last:
        if last is None or last.treatments != lot.treatments:
            raise broken(
                "/adds_to_last", "wrong_state", "There is no count of the lot as it is now that these could add to.",
                True, "false",
            )  # fmt: skip
        # the new ones first: what is wrong with one is told by its place in what was sent
        samples = [*samples, *orjson.loads(last.request)["samples"]]
    kinds = {taxon for sample in samples for taxon in sample["counts"]}
    question: dict[str, Any] = {
        "samples": samples,
        "sacks": lot.sacks,
        "drawn": asked.drawn,
        "chaffy": lot.chaffy,
        "years_in_store": years_in_store(lot.harvested_on, counted_on),
        "germination": [test for test in tests_now(lot, counted_on) if test["taxon"] in kinds],
    }
    if lot.balance_mg:
        question["sack_g"] = lot.balance_mg / MG_PER_G
    return question


def germination_add(
    *, actor: Actor, lot_id: UUID, asked: GerminationNew, now: datetime
) -> tuple[GerminationTest, bool]:
    """Keep a germination test of a lot; like `count_add`."""
    with transaction.atomic():
        lot = ledger.held([_counted(actor, lot_id)]).popitem()[1]
        if asked.submission_id is not None:
            there = lot.germination_tests.filter(submission_id=asked.submission_id).first()
            if there is not None:
                return there, False
        known_plant(asked.taxon, "/taxon")
        on = _day(asked.on, timezone.localdate(now), "/on")
        if lot.harvested_on is not None and on < lot.harvested_on:
            raise broken(
                "/on", "contradiction", f"The seed was harvested on {lot.harvested_on.isoformat()}.", on.isoformat(),
                "a day after that",
            )  # fmt: skip
        row = GerminationTest(
            lot=lot,
            submission_id=asked.submission_id or uuid4(),
            taxon=asked.taxon,
            on=on,
            germinated=asked.germinated,
            tested=asked.tested,
            created_by_id=actor.user_id,
            created_at=now,
        )
        row.save()
        record(
            actor, now, "germination_add", "lot", lot.public_id, network=lot.network_id,
            after={"taxon": row.taxon, "germinated": row.germinated, "tested": row.tested},
        )  # fmt: skip
    return row, True


def count_text(row: LotCount) -> str:
    """The stored answer of a count; raises NotFound where it no longer has its checksum."""
    if checksum(row.answer) != row.answer_checksum:
        raise NotFound("The stored answer of this count is damaged.")
    return row.answer
