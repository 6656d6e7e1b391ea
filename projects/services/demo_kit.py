"""What the invented county lends, raises and carries: kit and its bookings, plug plants, green hay, act by act."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import IntEnum, auto
from typing import Any, Final, Protocol

from projects.contracts.base import read_as
from projects.contracts.donors import AgreementNew, DonorNew
from projects.contracts.green_hay import GreenHayEnd, GreenHayNew
from projects.contracts.kit import KitBookingMove, KitBookingNew, KitItemNew, KitMended, KitShowingNew
from projects.contracts.plugs import PlugBatchNew, PlugNoted, PlugPromiseMove, PlugPromiseNew
from projects.models import (
    DonorMeadow,
    Group,
    KitBooking,
    KitItem,
    MeadowProject,
    Network,
    PlugBatch,
    PlugPromise,
    Site,
    User,
    Village,
)
from projects.rules.access import Actor
from projects.services import donors, green_hay, kit, kit_bookings, plugs

Row = dict[str, Any]
#: what a row says of when and by whom, and not of the thing itself
_TOLD: Final = frozenset({"on", "by", "item", "project", "asked", "moves", "mended", "village", "who", "notes"})
_MORE: Final = frozenset({"promises", "group", "agreement", "site", "end"})


class Step(IntEnum):
    """What comes first on the same evening."""

    THING = auto()
    SHOWING = auto()
    ASKING = auto()
    MOVE = auto()
    MENDING = auto()
    NOTE = auto()
    PROMISE = auto()
    HANDING = auto()


class Story(Protocol):
    """What is known by now of the county."""

    network: Network
    groups: dict[str, Group]
    sites: dict[str, Site]
    villages: dict[str, Village]
    projects: dict[str, MeadowProject]

    def actor(self, key: str) -> Actor:
        """Somebody, by their key."""


@dataclass(frozen=True)
class Act:
    """Something somebody did one evening."""

    on: date
    step: Step
    do: Callable[[datetime], object]


@dataclass
class _Made:
    """What has been made so far."""

    story: Story
    #: who coordinates
    by: str
    address: Callable[[str], str]
    items: dict[str, KitItem] = field(default_factory=dict)
    bookings: dict[int, KitBooking] = field(default_factory=dict)
    batches: dict[int, PlugBatch] = field(default_factory=dict)
    promises: dict[tuple[int, int], PlugPromise] = field(default_factory=dict)
    donors: list[DonorMeadow] = field(default_factory=list)

    @property
    def coordinator(self) -> Actor:
        return self.story.actor(self.by)


def acts(story: Story, by: str, address: Callable[[str], str], tables: Mapping[str, Any]) -> Iterator[Act]:
    """Everything that was lent, raised and carried, in no order."""
    made = _Made(story, by, address)
    for row in tables["items"]:
        yield Act(_day(row["on"]), Step.THING, _item(made, row))
    for row in tables["showings"]:
        yield Act(_day(row["on"]), Step.SHOWING, _showing(made, row))
    for number, row in enumerate(tables["bookings"]):
        yield Act(_day(row["asked"]), Step.ASKING, _booking(made, number, row))
        for to, on, *said in row["moves"]:
            yield Act(_day(on), Step.MOVE, _move(made, number, row, to, said[0] if said else {}))
        if "mended" in row:
            yield Act(_day(row["mended"]), Step.MENDING, _mended(made, number))
    for number, row in enumerate(tables["plugs"]):
        yield from _plugs(made, number, row)
    donor = tables["donor"]
    yield Act(_day(donor["on"]), Step.THING, _donor(made, donor))
    for row in tables["green_hay"]:
        yield from _hay(made, row)


def _day(text: str) -> date:
    return date.fromisoformat(text)


def _said(row: Row) -> Row:
    return {key: value for key, value in row.items() if key not in _TOLD | _MORE}


# ------------------------------------------------------------------ kit


def _item(made: _Made, row: Row) -> Callable[[datetime], None]:
    def add(now: datetime) -> None:
        asked = _said(row)
        if "village" in row:
            asked["village_id"] = made.story.villages[row["village"]].public_id
        made.items[row["name"]] = kit.item_create(
            actor=made.coordinator, network_id=made.story.network.public_id, asked=read_as(KitItemNew, asked), now=now
        )

    return add


def _showing(made: _Made, row: Row) -> Callable[[datetime], None]:
    def note(now: datetime) -> None:
        person = User.objects.get(email=made.address(row["who"]))
        said = {"user_id": person.public_id, "shown_on": row["on"], "may_show": row.get("may_show", False)}
        item = made.items[row["item"]].public_id
        kit.showing_add(actor=made.coordinator, item_id=item, asked=read_as(KitShowingNew, said), now=now)

    return note


def _booking(made: _Made, number: int, row: Row) -> Callable[[datetime], None]:
    def ask(now: datetime) -> None:
        asked = read_as(KitBookingNew, _said(row) | {"item_id": made.items[row["item"]].public_id})
        project = made.story.projects[row["project"]].public_id
        made.bookings[number], _ = kit_bookings.booking_ask(
            actor=made.story.actor(row["by"]), project_id=project, asked=asked, now=now
        )

    return ask


def _move(made: _Made, number: int, row: Row, to: str, said: Row) -> Callable[[datetime], None]:
    def move(now: datetime) -> None:
        actor = made.coordinator if to in {"agreed", "refused"} else made.story.actor(row["by"])
        asked = read_as(KitBookingMove, {"to": to, **said})
        booking = made.bookings[number].public_id
        kit_bookings.booking_move(actor=actor, public_id=booking, asked=asked, if_version=None, now=now)

    return move


def _mended(made: _Made, number: int) -> Callable[[datetime], None]:
    def mend(now: datetime) -> None:
        asked = read_as(KitMended, {"mended_on": now.date().isoformat()})
        for fault in made.bookings[number].faults.filter(mended_on__isnull=True):
            kit.fault_mend(actor=made.coordinator, public_id=fault.public_id, asked=asked, if_version=None, now=now)

    return mend


# ------------------------------------------------------------------ plug plants


def _plugs(made: _Made, number: int, row: Row) -> Iterator[Act]:
    def sow(now: datetime) -> None:
        asked = _said(row) | {"sown_on": row["on"]}
        if "group" in row:
            asked["group_id"] = made.story.groups[row["group"]].public_id
        network = made.story.network.public_id
        made.batches[number] = plugs.batch_create(
            actor=made.coordinator, network_id=network, asked=read_as(PlugBatchNew, asked), now=now
        )

    yield Act(_day(row["on"]), Step.THING, sow)
    for on, what, count, why in row["notes"]:
        said = {"what": what, "count": count, "on": on, "note": why}
        yield Act(_day(on), Step.NOTE, _noted(made, number, said))
    for place, (on, project, count, gone) in enumerate(row["promises"]):
        yield Act(_day(on), Step.PROMISE, _promised(made, (number, place), project, count))
        if gone is not None:
            yield Act(_day(gone), Step.HANDING, _handed(made, (number, place)))


def _noted(made: _Made, number: int, said: Row) -> Callable[[datetime], None]:
    def note(now: datetime) -> None:
        batch = made.batches[number].public_id
        plugs.batch_note(actor=made.coordinator, batch_id=batch, asked=read_as(PlugNoted, said), now=now)

    return note


def _promised(made: _Made, key: tuple[int, int], project: str, count: int) -> Callable[[datetime], None]:
    def promise(now: datetime) -> None:
        said = {"project_id": made.story.projects[project].public_id, "count": count}
        batch = made.batches[key[0]].public_id
        made.promises[key] = plugs.plugs_promise(
            actor=made.coordinator, batch_id=batch, asked=read_as(PlugPromiseNew, said), now=now
        )

    return promise


def _handed(made: _Made, key: tuple[int, int]) -> Callable[[datetime], None]:
    def hand(now: datetime) -> None:
        asked = read_as(PlugPromiseMove, {"to": "handed_over"})
        promise = made.promises[key].public_id
        plugs.promise_move(actor=made.coordinator, public_id=promise, asked=asked, if_version=None, now=now)

    return hand


# ------------------------------------------------------------------ green hay


def _donor(made: _Made, row: Row) -> Callable[[datetime], None]:
    def add(now: datetime) -> None:
        story = made.story
        asked = _said(row) | {"network_id": story.network.public_id, "site_id": story.sites[row["site"]].public_id}
        donor = donors.donor_create(actor=made.coordinator, asked=read_as(DonorNew, asked), now=now)
        agreed = read_as(AgreementNew, row["agreement"])
        donors.agreement_add(actor=made.coordinator, donor_id=donor.public_id, asked=agreed, now=now)
        made.donors.append(donor)

    return add


def _hay(made: _Made, row: Row) -> Iterator[Act]:
    days = []

    def plan(now: datetime) -> None:
        story = made.story
        asked = _said(row) | {
            "donor_id": made.donors[0].public_id, "project_id": story.projects[row["project"]].public_id,
        }  # fmt: skip
        network = story.network.public_id
        read = read_as(GreenHayNew, asked)
        days.append(green_hay.day_plan(actor=made.coordinator, network_id=network, asked=read, now=now))

    yield Act(_day(row["on"]), Step.THING, plan)
    if "end" in row:
        to, on, who, said = row["end"]

        def end(now: datetime) -> None:
            asked = read_as(GreenHayEnd, {"to": to, **said})
            actor = made.story.actor(who)
            green_hay.day_end(actor=actor, public_id=days[0].public_id, asked=asked, if_version=None, now=now)

        yield Act(_day(on), Step.HANDING, end)
