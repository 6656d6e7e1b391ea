"""What Saltmere's network lends, for tests."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

from modelling.reading import read_as
from projects.contracts.kit import KitBookingMove, KitBookingNew, KitFaultNew, KitItemNew, KitShowingNew
from projects.models import KitBooking, KitItem
from projects.services import kit as acts
from projects.services import kit_bookings as bookings
from tests.projects.county import NOW, County

YEWS, PADDOCK, GARDEN, VERGE = "Under the yews", "Paddock to hay", "Behind the house", "Verge of the sea road"
#: a Sunday
SIXTH = date(2026, 9, 6)


def scarifier(county: County, now: datetime = NOW, **more: Any) -> KitItem:
    """A scarifier that is shown before it is lent and kept free for a day afterwards."""
    said = {
        "name": "The scarifier", "kind": "scarifier", "width_m": 0.4, "shown_first": "starting, stopping, clearing",
        "gap_half_days": 2, "village_id": str(county.villages["Gullhaven"].public_id), "insured_by": "The network",
    }  # fmt: skip
    asked = read_as(KitItemNew, said | more)
    return acts.item_create(
        actor=county.as_(county.coordinator), network_id=county.network.public_id, asked=asked, now=now
    )


def show(county: County, item: KitItem, who: str = "lead", now: datetime = NOW, **more: Any) -> None:
    """Note that somebody was shown an item."""
    said = {"user_id": str(getattr(county, who).public_id), "shown_on": NOW.date().isoformat()}
    acts.showing_add(
        actor=county.as_(county.coordinator), item_id=item.public_id, asked=read_as(KitShowingNew, said | more), now=now
    )


def book(
    county: County, item: KitItem, who: str = "lead", project: str = YEWS, on: date = SIXTH, now: datetime = NOW,
    **more: Any,
) -> KitBooking:  # fmt: skip
    """Ask for an item for a whole day."""
    said = {"item_id": str(item.public_id), "first_on": on.isoformat(), **more}
    row, _ = bookings.booking_ask(
        actor=county.as_(getattr(county, who)), project_id=county.projects[project].public_id,
        asked=read_as(KitBookingNew, said), now=now,
    )  # fmt: skip
    return row


def move(county: County, row: KitBooking, to: str, who: str = "coordinator", now: datetime = NOW, **more: Any) -> Any:
    """Say what becomes of a booking."""
    return bookings.booking_move(
        actor=county.as_(getattr(county, who)), public_id=row.public_id,
        asked=read_as(KitBookingMove, {"to": to, **more}), if_version=None, now=now,
    )  # fmt: skip


def fault(county: County, item: KitItem, who: str = "member", now: datetime = NOW, **more: Any) -> Any:
    """Note a fault that takes an item out of use."""
    said = {"what": "The belt is torn.", "found_on": NOW.date().isoformat(), **more}
    return acts.fault_note(
        actor=county.as_(getattr(county, who)), item_id=item.public_id, asked=read_as(KitFaultNew, said), now=now
    )


def morning_of(on: date, hour: int = 9) -> datetime:
    """A moment of a day."""
    return NOW.replace(year=on.year, month=on.month, day=on.day, hour=hour)


def days(count: int) -> timedelta:
    """So many days."""
    return timedelta(days=count)
