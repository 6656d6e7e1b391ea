"""The seed store of the invented county: donors, harvests, counts, promises, from rows of `fixtures/demo/seed.json`."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Protocol

from projects.contracts.base import read_as
from projects.contracts.counts import CountNew, GerminationNew
from projects.contracts.donors import AgreementNew, DonorNew, HarvestNew
from projects.contracts.lots import LotBlend, LotMove, LotNew, LotSplit, PromiseMove, PromiseNew
from projects.models import DonorMeadow, Group, Network, SeedLot, SeedPromise, Site, Village
from projects.rules.access import Actor
from projects.services import counts, donors, harvests, lots, seed_promises

Row = dict[str, Any]


class Story(Protocol):
    """What of the county's story is needed here."""

    network: Network
    groups: dict[str, Group]
    sites: dict[str, Site]
    villages: dict[str, Village]

    def actor(self, key: str) -> Actor:
        """Somebody, by their key."""


@dataclass(frozen=True)
class Act:
    """Something somebody did about seed one evening."""

    on: date
    do: Callable[[datetime], object]
    #: whether the model computes in it, which it does outside transactions only
    computes: bool = False


@dataclass
class _Told:
    """What has been made so far."""

    story: Story
    donors: dict[str, DonorMeadow] = field(default_factory=dict)
    lots: dict[str, SeedLot] = field(default_factory=dict)
    promises: dict[tuple[str, int], SeedPromise] = field(default_factory=dict)


def acts(story: Story, tables: Mapping[str, list[Row]]) -> Iterator[Act]:
    """Everything that was done about the county's seed, in no order but that of a day's acts on one lot."""
    told = _Told(story)
    for row in tables["donors"]:
        yield Act(_day(row["on"]), _donor(told, row))
    for row in tables["lots"]:
        yield from _lot(told, row)


def _day(text: str) -> date:
    return date.fromisoformat(text)


def _donor(told: _Told, row: Row) -> Callable[[datetime], None]:
    def do(now: datetime) -> None:
        story, actor = told.story, told.story.actor(row["by"])
        said = {key: row[key] for key in ("name", "habitat", "area_m2", "plants", "weeds", "owner", "owner_contact",
                                          "note")}  # fmt: skip
        said["network_id"] = str(story.network.public_id)
        if "site" in row:
            said["site_id"] = str(story.sites[row["site"]].public_id)
        if "village" in row:
            said["village_id"] = str(story.villages[row["village"]].public_id)
        donor = donors.donor_create(actor=actor, asked=read_as(DonorNew, said), now=now)
        agreed = read_as(AgreementNew, row["agreement"])
        donors.agreement_add(actor=actor, donor_id=donor.public_id, asked=agreed, now=now)
        told.donors[row["name"]] = donor

    return do


def _lot(told: _Told, row: Row) -> Iterator[Act]:
    for kind, make in (("harvest", _harvested), ("bought", _bought), ("blend", _blended), ("split", _split)):
        if kind in row:
            yield Act(_day(row[kind]["on"]), make(told, row, row[kind]))
    for move in row["moves"]:
        yield Act(_day(move["on"]), _moved(told, row, move))
    for count in row["counts"]:
        yield Act(_day(count["on"]), _counted(told, row, count), computes=True)
    for test in row["tests"]:
        yield Act(_day(test["on"]), _tested(told, row, test))
    for number, promise in enumerate(row["promises"]):
        yield Act(_day(promise["on"]), _promised(told, row, number, promise))
        if "handed" in promise:
            yield Act(_day(promise["handed"]), _handed(told, row, number, promise))


def _harvested(told: _Told, row: Row, said: Row) -> Callable[[datetime], None]:
    def do(now: datetime) -> None:
        asked = read_as(HarvestNew, said | {"lot_name": row["name"]})
        donor = told.donors[row["donor"]]
        made, _ = harvests.harvest_add(
            actor=told.story.actor(row["by"]), donor_id=donor.public_id, asked=asked, now=now
        )
        told.lots[row["name"]] = made.lot

    return do


def _bought(told: _Told, row: Row, said: Row) -> Callable[[datetime], None]:
    def do(now: datetime) -> None:
        data = {key: value for key, value in said.items() if key != "on"}
        data |= {"name": row["name"], "network_id": str(told.story.network.public_id)}
        asked = read_as(LotNew, data)
        told.lots[row["name"]] = lots.lot_create(actor=told.story.actor(row["by"]), asked=asked, now=now)

    return do


def _blended(told: _Told, row: Row, said: Row) -> Callable[[datetime], None]:
    def do(now: datetime) -> None:
        parts = [{"lot_id": str(told.lots[name].public_id), "grams": grams} for name, grams in said["parts"]]
        asked = read_as(LotBlend, said | {"name": row["name"], "parts": parts})
        made, _ = lots.lot_blend(
            actor=told.story.actor(row["by"]), network_id=told.story.network.public_id, asked=asked, now=now
        )
        told.lots[row["name"]] = made

    return do


def _split(told: _Told, row: Row, said: Row) -> Callable[[datetime], None]:
    def do(now: datetime) -> None:
        data = {key: value for key, value in said.items() if key != "of"}
        asked = read_as(LotSplit, data | {"name": row["name"]})
        parent = told.lots[said["of"]]
        made, _ = lots.lot_split(actor=told.story.actor(row["by"]), public_id=parent.public_id, asked=asked, now=now)
        told.lots[row["name"]] = made

    return do


def _moved(told: _Told, row: Row, said: Row) -> Callable[[datetime], object]:
    return lambda now: lots.lot_move(
        actor=told.story.actor(row["by"]), public_id=told.lots[row["name"]].public_id, asked=read_as(LotMove, said),
        if_version=None, now=now,
    )  # fmt: skip


def _counted(told: _Told, row: Row, said: Row) -> Callable[[datetime], object]:
    data = {key: value for key, value in said.items() if key not in {"on", "by"}} | {"counted_on": said["on"]}
    return lambda now: counts.count_add(
        actor=told.story.actor(said["by"]), lot_id=told.lots[row["name"]].public_id, asked=read_as(CountNew, data),
        now=now,
    )  # fmt: skip


def _tested(told: _Told, row: Row, said: Row) -> Callable[[datetime], object]:
    data = {key: value for key, value in said.items() if key != "by"}
    return lambda now: counts.germination_add(
        actor=told.story.actor(said["by"]), lot_id=told.lots[row["name"]].public_id,
        asked=read_as(GerminationNew, data), now=now,
    )  # fmt: skip


def _promised(told: _Told, row: Row, number: int, said: Row) -> Callable[[datetime], None]:
    def do(now: datetime) -> None:
        group = told.story.groups[said["group"]]
        data = {"group_id": str(group.public_id), "grams": said["grams"], "by": said["due"]}
        made, _ = seed_promises.promise_make(
            actor=told.story.actor(said["by"]), lot_id=told.lots[row["name"]].public_id,
            asked=read_as(PromiseNew, data), now=now,
        )  # fmt: skip
        told.promises[row["name"], number] = made

    return do


def _handed(told: _Told, row: Row, number: int, said: Row) -> Callable[[datetime], object]:
    return lambda now: seed_promises.promise_move(
        actor=told.story.actor(said["by"]), public_id=told.promises[row["name"], number].public_id,
        asked=read_as(PromiseMove, {"to": "handed_over", "on": said["handed"]}), if_version=None, now=now,
    )  # fmt: skip
