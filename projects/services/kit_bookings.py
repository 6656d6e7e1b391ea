"""Booking kit: asked for a project, agreed, handed out, brought back. No half-day is lent twice."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from uuid import UUID, uuid4

from django.db import IntegrityError, transaction
from django.utils import timezone

from modelling.errors import FieldError
from projects.choices import KitState, KitWay
from projects.contracts.kit import KitBookingMove, KitBookingNew, KitFaultNew
from projects.errors import RuleBroken, WrongState, broken
from projects.models import (
    KitBooking,
    KitHalfDay,
    KitHandOver,
    KitItem,
    KitShowing,
    MeadowProject,
    Membership,
)
from projects.rules import kit as rules
from projects.rules.access import Actor, demand, visible_in_network, visible_inner, visible_projects
from projects.rules.kit import HALVES, Half, Span
from projects.selectors.kit import free_from, meeting, out_of_use, shown_in, span_of, who_shows
from projects.services.audit import record, snapshot
from projects.services.base import found, save_changed, save_new, unchanged_since
from projects.services.kit import MINUTES_PER_HOUR, fault_add

#: the clock's hour from which it is afternoon
NOON = 12


def booking_ask(*, actor: Actor, project_id: UUID, asked: KitBookingNew, now: datetime) -> tuple[KitBooking, bool]:
    """Ask for an item for a project; its half-days are held from then on.

    Returns
    -------
    tuple
        The booking, and whether it is new.

    Raises
    ------
    RuleBroken
        With all that is wrong: in the past, end before the beginning, out of use, nobody shown, or taken, by whom and
        what is free instead.
    """
    today = timezone.localdate(now)
    with transaction.atomic():
        project = found(MeadowProject, visible_projects(actor), project_id, "project")
        demand(actor, "kit.book", group_id=project.group_id, network_id=project.network_id)
        item = KitItem.objects.filter(visible_in_network(actor), network=project.network_id, public_id=asked.item_id)
        held = item.select_for_update(of=("self",)).first()
        if held is None or held.retired_at is not None:
            text = f"The network lends no kit {asked.item_id}."
            raise broken("/item_id", "unknown", text, str(asked.item_id), "something that it lends")
        if asked.submission_id is not None:
            there = KitBooking.objects.filter(project=project, submission_id=asked.submission_id).first()
            if there is not None:
                return there, False
        span = Span(
            Half(asked.first_on, HALVES.index(asked.first_half)),
            Half(asked.last_on or asked.first_on, HALVES.index(asked.last_half)),
        )
        faults = _faults(actor, held, project, span, asked, today)
        if faults:
            raise RuleBroken(faults[0].detail, faults)
        shown = not held.shown_first or shown_in(held, project.group_id)
        row = save_new(
            KitBooking(
                item=held,
                network_id=project.network_id,
                group_id=project.group_id,
                project=project,
                submission_id=asked.submission_id or uuid4(),
                first_on=span.first.on,
                first_half=span.first.half,
                last_on=span.last.on,
                last_half=span.last.half,
                # whoever has not been shown it is first talked to
                state=KitState.AGREED if held.agreed_at_once and shown else KitState.ASKED,
                to_be_shown=not shown,
                note=asked.note,
                created_by_id=actor.user_id,
                created_at=now,
                updated_at=now,
            )
        )
        _hold(row, span, held.gap_half_days)
        record(
            actor, now, "kit_book", "kit_booking", row.public_id,
            network=row.network_id, group=row.group_id, after=snapshot(row),
        )  # fmt: skip
    return row, True


def _faults(
    actor: Actor, item: KitItem, project: MeadowProject, span: Span, asked: KitBookingNew, today: date
) -> list[FieldError]:
    wrong = rules.faults_of_span(span, today)
    if item.shown_first and not asked.to_be_shown and not shown_in(item, project.group_id):
        who = who_shows(actor, item)
        wrong.append(
            FieldError(
                "/to_be_shown",
                "not_shown",
                f"Nobody of {project.group} has been shown {item} yet ({item.shown_first}). Ask to be shown when it is "
                f"handed out; it can be shown by {rules.listed(who)}.",
                False,
                "to_be_shown, so that somebody shows you",
            )
        )
    if wrong:
        return wrong
    broken_by = out_of_use(item, span.last.on)
    if broken_by is not None:
        text = (
            f"{item} is out of use from {broken_by.out_of_use_from:%-d %B %Y}: {broken_by.what} "
            "A coordinator says when it is mended."
        )
        return [FieldError("/item_id", "out_of_use", text, str(item.public_id), "another item, or days before")]
    met = meeting(item, span)
    if met is not None:
        return [rules.clash(item.name, met, free_from(item, span.first, span.count), span.first)]
    return []


def _hold(row: KitBooking, span: Span, gap: int) -> None:
    """Take the half-days; the database refuses one that is taken, whoever else looked at the same moment."""
    halves = [(half, False) for half in span.halves()] + [(half, True) for half in rules.gap_after(span, gap)]
    rows = [
        KitHalfDay(item_id=row.item_id, booking=row, on=half.on, half=half.half, is_gap=is_gap)
        for half, is_gap in halves
    ]
    try:
        with transaction.atomic():
            KitHalfDay.objects.bulk_create(rows)
    except IntegrityError as error:
        text = "Somebody else booked one of these half-days at the same moment; look again."
        raise broken("/first_on", "taken", text, row.first_on.isoformat(), "another time") from error


# ------------------------------------------------------------------ what becomes of it


def booking_move(
    *, actor: Actor, public_id: UUID, asked: KitBookingMove, if_version: int | None, now: datetime
) -> KitBooking:
    """Agree or refuse a booking, cancel it, hand the item out or take it back."""
    with transaction.atomic():
        first = found(KitBooking, visible_inner(actor), public_id, "booking")
        item = KitItem.objects.select_for_update(of=("self",)).get(pk=first.item_id)
        row = found(KitBooking, visible_inner(actor), public_id, "booking", hold=True, with_=("group", "item"))
        demand(actor, _ACTS[asked.to], group_id=row.group_id, network_id=row.network_id, owner_id=row.created_by_id)
        unchanged_since(row, if_version)
        if asked.to not in rules.MOVES.get(row.state, frozenset()):
            raise WrongState(f"This booking is {row.get_state_display().lower()}; it cannot become {asked.to}.")
        before = snapshot(row)
        if asked.to == KitState.OUT:
            _hand_out(actor, item, row, asked, now)
        elif asked.to == KitState.BACK:
            _take_back(actor, item, row, asked, now)
        elif asked.to != KitState.AGREED:
            row.because = asked.because
            row.half_days.all().delete()
        row.state = asked.to
        save_changed(row, now)
        record(
            actor, now, f"kit_booking_{asked.to}", "kit_booking", row.public_id,
            network=row.network_id, group=row.group_id, before=before, after=snapshot(row),
        )  # fmt: skip
    return row


_ACTS = {
    "agreed": "kit.decide", "refused": "kit.decide", "cancelled": "kit.cancel", "out": "kit.hand_over",
    "back": "kit.hand_over",
}  # fmt: skip


def _hand_out(actor: Actor, item: KitItem, row: KitBooking, asked: KitBookingMove, now: datetime) -> None:
    today = timezone.localdate(now)
    elsewhere = KitBooking.objects.filter(item=item, state=KitState.OUT).select_related("group").first()
    if elsewhere is not None:
        raise WrongState(f"{item} is still with {elsewhere.group}; it has to be noted as back first.")
    if today > row.last_on:
        raise WrongState(f"This booking was {span_of(row)}; that has gone by. Cancel it and book again.")
    between = KitHalfDay.objects.filter(item=item, on__gte=today, on__lt=row.first_on).exclude(booking=row)
    if between.exists():
        raise WrongState(f"This booking is {span_of(row)}, and {item} is not free until then.")
    fault = out_of_use(item, today)
    if fault is not None:
        raise WrongState(f"{item} is out of use: {fault.what} It is handed out once that is mended.")
    if asked.condition == "faulty":
        raise broken(
            "/condition", "out_of_use", "What is faulty is not handed out; note the fault instead.", "faulty",
            "good or worn",
        )  # fmt: skip
    if asked.shown:
        _note_shown(actor, item, row, asked.shown, now)
    if item.shown_first and not shown_in(item, row.group_id):
        raise broken(
            "/shown",
            "not_shown",
            f"Nobody of {row.group} has been shown {item} yet ({item.shown_first}). Show them now and say whom; it can "
            f"be shown by {rules.listed(who_shows(actor, item))}.",
            [],
            "who was shown, noted by a coordinator",
        )
    row.to_be_shown = False
    _changes_hands(actor, item, row, KitWay.OUT, asked, now)


def _note_shown(actor: Actor, item: KitItem, row: KitBooking, shown: Sequence[UUID], now: datetime) -> None:
    demand(actor, "kit.show", network_id=item.network_id)
    members = {
        member.user.public_id: member.user
        for member in Membership.objects.filter(group=row.group_id, until__isnull=True).select_related("user")
    }
    for number, public_id in enumerate(shown):
        if public_id not in members:
            raise broken(
                f"/shown/{number}", "unknown", f"Nobody of {row.group} has the id {public_id}.", str(public_id),
                "a member of the group",
            )  # fmt: skip
        told = {"shown_on": timezone.localdate(now), "updated_at": now}
        KitShowing.objects.get_or_create(item=item, user=members[public_id], defaults=told | {"created_at": now})


def _take_back(actor: Actor, item: KitItem, row: KitBooking, asked: KitBookingMove, now: datetime) -> None:
    _changes_hands(actor, item, row, KitWay.BACK, asked, now)
    local = timezone.localtime(now)
    back = Half(local.date(), rules.AFTERNOON if local.hour >= NOON else rules.MORNING)
    span = span_of(row)
    if back < span.last:
        # back early: what is left over is free for others, after the half-days to travel and dry
        gap = row.half_days.filter(is_gap=True).count()
        row.half_days.all().delete()
        if span.first <= back:
            _hold(row, Span(span.first, back), gap)
            row.last_on, row.last_half = back.on, back.half
    if asked.fault:
        # what is faulty is lent to nobody until a coordinator has looked at it
        stops = asked.out_of_use_from or (local.date() if asked.condition == "faulty" else None)
        noted = KitFaultNew(what=asked.fault, found_on=local.date(), out_of_use_from=stops)
        fault_add(actor, item, noted, now, row)


def _changes_hands(
    actor: Actor, item: KitItem, row: KitBooking, way: KitWay, asked: KitBookingMove, now: datetime
) -> None:
    minutes = None if asked.meter_hours is None else round(asked.meter_hours * MINUTES_PER_HOUR)
    if minutes is not None and minutes < item.meter_minutes:
        before = item.meter_minutes / MINUTES_PER_HOUR
        raise broken(
            "/meter_hours", "out_of_range",
            f"The meter stood at {before:g} hours before; it cannot stand at {asked.meter_hours:g} now.",
            asked.meter_hours, f"{before:g} or more",
        )  # fmt: skip
    save_new(
        KitHandOver(
            booking=row, way=way, at=now, condition=str(asked.condition), meter_minutes=minutes, note=asked.note,
            created_by_id=actor.user_id,
        )
    )  # fmt: skip
    if minutes is not None and minutes > item.meter_minutes:
        item.meter_minutes = minutes
        save_changed(item, now)
