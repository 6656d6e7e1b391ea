"""The lending pool: items, who was shown how, what is broken."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Final
from uuid import UUID

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from projects.contracts.base import given
from projects.contracts.kit import KitFaultNew, KitItemChange, KitItemNew, KitMended, KitShowingNew
from projects.errors import WrongState, broken
from projects.models import KitBooking, KitFault, KitItem, KitShowing, Membership, Network, Village
from projects.rules.access import Actor, demand, group_in, visible_in_network
from projects.selectors.kit import touched_by
from projects.services.audit import record, snapshot
from projects.services.base import found, save_changed, save_new, unchanged_since

CM_PER_M: Final = 100
MINUTES_PER_HOUR: Final = 60


def _width(width_m: float | None) -> int | None:
    return None if width_m is None else round(width_m * CM_PER_M)


def _minutes(hours: float | None) -> int | None:
    return None if hours is None else round(hours * MINUTES_PER_HOUR)


def _village(network: Network, public_id: UUID | None) -> Village | None:
    if public_id is None:
        return None
    row = Village.objects.filter(network=network, public_id=public_id).first()
    if row is None:
        raise broken(
            "/village_id", "unknown", f"The network has no village {public_id}.", str(public_id), "one of its villages"
        )
    return row


def item_create(*, actor: Actor, network_id: UUID, asked: KitItemNew, now: datetime) -> KitItem:
    """Add something to what a network lends."""
    with transaction.atomic():
        network = found(Network, Q(), network_id, "network")
        demand(actor, "kit.change", network_id=network.pk)
        row = save_new(
            KitItem(
                network=network,
                village=_village(network, asked.village_id),
                width_cm=_width(asked.width_m),
                meter_minutes=_minutes(asked.meter_hours) or 0,
                service_due_minutes=_minutes(asked.service_due_hours),
                created_at=now,
                updated_at=now,
                **{name: getattr(asked, name) for name in _PLAIN},
            )
        )
        record(actor, now, "kit_create", "kit", row.public_id, network=network, after=snapshot(row))
    return row


_PLAIN: Final = (
    "name", "kind", "shown_first", "insured_by", "towed_by", "gap_half_days", "agreed_at_once", "service_due_on", "note"
)  # fmt: skip


def item_change(
    *, actor: Actor, public_id: UUID, asked: KitItemChange, if_version: int | None, now: datetime
) -> KitItem:
    """Change what is said of an item; another gap holds for bookings to come."""
    with transaction.atomic():
        row = _item(actor, public_id)
        demand(actor, "kit.change", network_id=row.network_id)
        unchanged_since(row, if_version)
        before = snapshot(row)
        changes: dict[str, Any] = given(asked)
        if "village_id" in changes:
            row.village = _village(row.network, changes.pop("village_id"))
        if "width_m" in changes:
            row.width_cm = _width(changes.pop("width_m"))
        if "service_due_hours" in changes:
            row.service_due_minutes = _minutes(changes.pop("service_due_hours"))
        if "retired" in changes:
            row.retired_at = (row.retired_at or now) if changes.pop("retired") else None
        for name, value in changes.items():
            setattr(row, name, value)
        save_changed(row, now)
        record(
            actor, now, "kit_change", "kit", row.public_id, network=row.network_id, before=before, after=snapshot(row)
        )
    return row


def _item(actor: Actor, public_id: UUID) -> KitItem:
    """An item, held: whatever is done to it or booked of it comes one after the other."""
    return found(KitItem, visible_in_network(actor), public_id, "kit", hold=True, with_=("network",))


# ------------------------------------------------------------------ who was shown


def showing_add(*, actor: Actor, item_id: UUID, asked: KitShowingNew, now: datetime) -> tuple[KitShowing, bool]:
    """Note that somebody of the network's groups was shown an item; a later note takes the place of an earlier one.

    Returns
    -------
    tuple
        The note, and whether it is new.
    """
    with transaction.atomic():
        item = _item(actor, item_id)
        demand(actor, "kit.show", network_id=item.network_id)
        if asked.shown_on > timezone.localdate(now):
            on = asked.shown_on.isoformat()
            raise broken("/shown_on", "in_future", f"{on} is still to come.", on, "a day up to today")
        member = (
            Membership.objects.filter(user__public_id=asked.user_id, group__network=item.network_id, until__isnull=True)
            .select_related("user")
            .first()
        )
        if member is None:
            raise broken(
                "/user_id", "unknown", f"Nobody of the network’s groups has the id {asked.user_id}.",
                str(asked.user_id), "a member of one of its groups",
            )  # fmt: skip
        row = KitShowing.objects.filter(item=item, user=member.user).first()
        new = row is None
        if row is None:
            row = save_new(
                KitShowing(
                    item=item, user=member.user, shown_on=asked.shown_on, may_show=asked.may_show,
                    created_at=now, updated_at=now,
                )
            )  # fmt: skip
        else:
            row.shown_on, row.may_show = asked.shown_on, asked.may_show
            save_changed(row, now)
        # who it was is not repeated: the note can be taken away, the audit cannot
        record(
            actor, now, "kit_show", "kit_showing", row.public_id,
            network=item.network_id, after={"item": str(item.public_id), "may_show": row.may_show},
        )  # fmt: skip
    return row, new


def showing_remove(*, actor: Actor, public_id: UUID, if_version: int | None, now: datetime) -> None:
    """Take a note away that is wrong or no longer needed."""
    with transaction.atomic():
        row = found(
            KitShowing, visible_in_network(actor, "item__network"), public_id, "note of showing", with_=("item",)
        )
        demand(actor, "kit.show", network_id=row.item.network_id)
        unchanged_since(row, if_version)
        row.delete()
        record(
            actor, now, "kit_show_remove", "kit_showing", public_id,
            network=row.item.network_id, before={"item": str(row.item.public_id)},
        )  # fmt: skip


# ------------------------------------------------------------------ what is broken


def fault_note(*, actor: Actor, item_id: UUID, asked: KitFaultNew, now: datetime) -> tuple[KitFault, list[KitBooking]]:
    """Note what is wrong with an item.

    Returns
    -------
    tuple
        The fault, and the bookings that cannot be kept because of it.
    """
    with transaction.atomic():
        item = _item(actor, item_id)
        demand(actor, "kit.fault", group_id=group_in(actor, item.network_id), network_id=item.network_id)
        if asked.found_on > timezone.localdate(now):
            on = asked.found_on.isoformat()
            raise broken("/found_on", "in_future", f"{on} is still to come.", on, "a day up to today")
        row = fault_add(actor, item, asked, now)
    return row, touched_by(actor, row)


def fault_add(
    actor: Actor, item: KitItem, asked: KitFaultNew, now: datetime, booking: KitBooking | None = None
) -> KitFault:
    """Add a fault to an item that is held; for the act that holds it."""
    row = save_new(
        KitFault(
            item=item, booking=booking, created_by_id=actor.user_id, created_at=now, updated_at=now,
            what=asked.what, found_on=asked.found_on, out_of_use_from=asked.out_of_use_from,
        )
    )  # fmt: skip
    told = {"item": str(item.public_id), "found_on": str(row.found_on), "out_of_use_from": str(row.out_of_use_from)}
    record(actor, now, "kit_fault", "kit_fault", row.public_id, network=item.network_id, after=told)
    return row


def fault_mend(*, actor: Actor, public_id: UUID, asked: KitMended, if_version: int | None, now: datetime) -> KitFault:
    """Note that a fault is put right; the item can be used again unless another keeps it."""
    with transaction.atomic():
        row = found(
            KitFault, visible_in_network(actor, "item__network"), public_id, "fault", hold=True, with_=("item",)
        )
        demand(actor, "kit.mend", network_id=row.item.network_id)
        unchanged_since(row, if_version)
        if row.mended_on is not None:
            raise WrongState("This is mended already.")
        today, on = timezone.localdate(now), asked.mended_on.isoformat()
        if not row.found_on <= asked.mended_on <= today:
            raise broken(
                "/mended_on", "out_of_range", f"Read {on}; it was found on {row.found_on} and today is {today}.",
                on, f"{row.found_on} to {today}",
            )  # fmt: skip
        before = snapshot(row)
        row.mended_on = asked.mended_on
        save_changed(row, now)
        record(
            actor, now, "kit_mend", "kit_fault", row.public_id,
            network=row.item.network_id, before=before, after=snapshot(row),
        )  # fmt: skip
    return row
