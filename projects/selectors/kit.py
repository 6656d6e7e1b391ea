"""Reads of the lending pool."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

from django.db.models import Prefetch, Q, QuerySet

from modelling.selectors import cautions
from projects.choices import KitState, NetworkRole
from projects.errors import NotFound
from projects.models import (
    Group,
    KitBooking,
    KitFault,
    KitHalfDay,
    KitItem,
    KitShowing,
    MeadowProject,
    Membership,
    Network,
)
from projects.rules import kit as rules
from projects.rules.access import Actor, demand, group_in, may, visible_in_network, visible_inner
from projects.rules.kit import Half, Span, Taken

#: bookings that still matter: those that hold half-days, and those on which something was done
_TOLD = (*rules.HOLDING, KitState.BACK)


def kit_list(actor: Actor) -> QuerySet[KitItem]:
    """Items the actor may see: of the networks to whose groups they belong, or that they coordinate."""
    return KitItem.objects.filter(visible_in_network(actor)).select_related("network", "village")


def kit_of(actor: Actor, network: Network) -> QuerySet[KitItem]:
    """What a network lends, with what is wrong with it; raises NotAllowed for strangers."""
    demand(actor, "kit.read", group_id=group_in(actor, network.pk), network_id=network.pk)
    open_faults = KitFault.objects.filter(mended_on__isnull=True).order_by("created_at")
    return (
        kit_list(actor)
        .filter(network=network, retired_at__isnull=True)
        .order_by("name", "pk")
        .prefetch_related(Prefetch("faults", open_faults, to_attr="open_faults"))
    )


def kit_get(actor: Actor, public_id: UUID) -> KitItem:
    """One item; raises NotFound."""
    row = kit_list(actor).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no kit {public_id}, or none that you may see.")
    return row


def faults_of(actor: Actor, item: KitItem) -> QuerySet[KitFault]:
    """What is or was wrong with an item, the latest first."""
    return item.faults.order_by("-created_at", "-pk")


def out_of_use(item: KitItem, by: date) -> KitFault | None:
    """The fault that keeps an item from being used on a day, if there is one."""
    return item.faults.filter(mended_on__isnull=True, out_of_use_from__lte=by).order_by("out_of_use_from").first()


def touched_by(actor: Actor, fault: KitFault) -> list[KitBooking]:
    """Bookings that cannot be kept because of a fault, by day."""
    if fault.out_of_use_from is None or fault.mended_on is not None:
        return []
    rows = KitBooking.objects.filter(
        item=fault.item_id, state__in=(KitState.ASKED, KitState.AGREED), last_on__gte=fault.out_of_use_from
    )
    return list(rows.select_related("group", "project", "item").order_by("first_on", "first_half"))


# ------------------------------------------------------------------ bookings


def booking_list(actor: Actor) -> QuerySet[KitBooking]:
    """Bookings whose project the actor may read of: their groups', and those of networks they coordinate."""
    return KitBooking.objects.filter(visible_inner(actor)).select_related("item__network", "group", "project__site")


def booking_get(actor: Actor, public_id: UUID) -> KitBooking:
    """One booking; raises NotFound."""
    row = booking_list(actor).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no booking {public_id}, or none that you may see.")
    return row


def bookings_of_project(actor: Actor, project: MeadowProject) -> QuerySet[KitBooking]:
    """Bookings of a project; raises NotAllowed for strangers."""
    demand(actor, "project.read_detail", group_id=project.group_id, network_id=project.network_id)
    return booking_list(actor).filter(project=project)


def bookings_of_group(actor: Actor, group: Group) -> QuerySet[KitBooking]:
    """Bookings of a group; raises NotAllowed for strangers."""
    demand(actor, "group.home", group_id=group.pk, network_id=group.network_id)
    return booking_list(actor).filter(group=group)


def bookings_to_decide(actor: Actor, network: Network) -> QuerySet[KitBooking]:
    """Bookings that wait for a coordinator, by day; nobody's for others."""
    if not may(actor, "kit.decide", network_id=network.pk):
        return KitBooking.objects.none()
    return booking_list(actor).filter(network=network, state=KitState.ASKED).order_by("first_on", "first_half", "pk")


def bookings_of_item(actor: Actor, item: KitItem, since: date) -> list[KitBooking]:
    """Who has an item from a day on. Whose project it is for is not told here: it may lie on private ground."""
    rows = KitBooking.objects.filter(item=item, state__in=rules.HOLDING, last_on__gte=since)
    return list(rows.select_related("group").order_by("first_on", "first_half", "pk"))


def span_of(row: KitBooking) -> Span:
    """The half-days of a booking."""
    return Span(Half(row.first_on, row.first_half), Half(row.last_on, row.last_half))


# ------------------------------------------------------------------ half-days


def held(item: KitItem, first: date, last: date) -> dict[Half, KitHalfDay]:
    """Half-days of an item that are not free, between two days."""
    rows = KitHalfDay.objects.filter(item=item, on__gte=first, on__lte=last).select_related("booking__group")
    return {Half(row.on, row.half): row for row in rows}


def meeting(item: KitItem, span: Span) -> Taken | None:
    """What a booking would meet first, if anything; its own half-days kept free afterwards are counted in."""
    gap = rules.gap_after(span, item.gap_half_days)
    wanted = [*span.halves(), *gap]
    there = held(item, wanted[0].on, wanted[-1].on)
    met = next((there[half] for half in wanted if half in there), None)
    if met is None:
        return None
    of_it = span_of(met.booking)
    last = KitHalfDay.objects.filter(booking=met.booking).order_by("on", "half").last()
    until = Half(last.on, last.half) if last is not None else of_it.last
    return Taken(of_it, met.booking.group.name, until)


def free_from(item: KitItem, start: Half, count: int) -> list[Span]:
    """The next stretches of so many half-days in which an item is free, with the gap after them."""
    last = start.on + rules.LOOKED
    stopped = item.faults.filter(mended_on__isnull=True, out_of_use_from__isnull=False)
    ends = [day for day in stopped.values_list("out_of_use_from", flat=True) if day is not None]
    taken = held(item, start.on, last + timedelta(days=rules.LONGEST))
    found = rules.next_free(taken.keys(), start, count, item.gap_half_days, last)
    return [span for span in found if not ends or span.last.on < min(ends)]


@dataclass(frozen=True)
class ItemMonth:
    """Half-days of an item that are not free in a month, with whose they are: "" for those kept free."""

    item: KitItem
    taken: dict[Half, str]


def months_of(actor: Actor, network: Network, first: date, last: date) -> list[ItemMonth]:
    """Who has what between two days, for all that a network lends."""
    items = list(kit_of(actor, network))
    rows = KitHalfDay.objects.filter(item__in=items, on__gte=first, on__lte=last).select_related("booking__group")
    taken: dict[int, dict[Half, str]] = {item.pk: {} for item in items}
    for row in rows:
        taken[row.item_id][Half(row.on, row.half)] = "" if row.is_gap else row.booking.group.name
    return [ItemMonth(item, taken[item.pk]) for item in items]


# ------------------------------------------------------------------ who was shown


def showings_of(actor: Actor, item: KitItem) -> QuerySet[KitShowing]:
    """Who was shown an item: all for coordinators, those of their own groups for members."""
    rows = KitShowing.objects.filter(item=item, user__is_active=True).select_related("user", "item")
    if may(actor, "kit.show", network_id=item.network_id):
        return rows
    near = Membership.objects.filter(group__in=list(actor.groups), until__isnull=True).values("user")
    return rows.filter(Q(user__in=near) | Q(user=actor.user_id))


def showing_get(actor: Actor, public_id: UUID) -> KitShowing:
    """One note of showing; raises NotFound."""
    rows = KitShowing.objects.filter(visible_in_network(actor, "item__network"), public_id=public_id)
    row = rows.select_related("item").first()
    if row is None:
        raise NotFound(f"There is no note of showing {public_id}, or none that you may see.")
    return row


def shown_in(item: KitItem, group_id: int) -> bool:
    """Whether somebody of a group was shown an item."""
    people = Membership.objects.filter(group=group_id, until__isnull=True).values("user")
    return KitShowing.objects.filter(item=item, user__in=people).exists()


def who_shows(actor: Actor, item: KitItem) -> list[str]:
    """Who can show an item: people by name where the actor shares a group with them, else the group they are of."""
    rows = list(KitShowing.objects.filter(item=item, may_show=True, user__is_active=True).select_related("user"))
    members = Membership.objects.filter(
        user__in=[row.user_id for row in rows], until__isnull=True, group__network=item.network_id
    ).select_related("group")
    groups: dict[int, list[Group]] = {}
    for member in members:
        groups.setdefault(member.user_id, []).append(member.group)
    names = may(actor, "kit.show", network_id=item.network_id)
    found = []
    for row in rows:
        own = [group for group in groups.get(row.user_id, ()) if group.pk in actor.groups]
        if names or own:
            found.append(str(row.user))
        elif groups.get(row.user_id):
            found.append(f"somebody of {groups[row.user_id][0].name}")
    return [*dict.fromkeys(found), "the network’s coordinators"]


# ------------------------------------------------------------------ the question


@dataclass(frozen=True)
class KitAnswer:
    """Can I have it then, and who shows us."""

    item: KitItem
    asked: Span
    free: bool
    taken: Taken | None
    fault: KitFault | None
    next_free: Sequence[Span]
    #: whether somebody of the actor's groups was shown it, or nothing need be shown
    shown: bool
    who_shows: Sequence[str]
    past: bool

    @property
    def sentence(self) -> str:
        """The answer in one sentence."""
        return rules.answer_words(
            self.item.name,
            self.asked,
            taken=self.taken,
            broken=self.fault.what if self.fault else "",
            past=self.past,
            free=self.next_free,
            to_show=self.item.shown_first,
            shown=self.shown,
            who=self.who_shows,
        )


def answer_for(actor: Actor, item: KitItem, span: Span, today: date) -> KitAnswer:
    """Whether an item can be had, what is free instead, and who shows it."""
    taken, fault = meeting(item, span), out_of_use(item, span.last.on)
    free = taken is None and fault is None and span.first.on >= today
    start = max(span.first, Half(today))
    following = [] if free else free_from(item, Half(start.on, span.first.half), span.count)
    groups = Group.objects.filter(pk__in=list(actor.groups), network=item.network_id).values_list("pk", flat=True)
    shown = not item.shown_first or any(shown_in(item, group) for group in groups)
    return KitAnswer(item, span, free, taken, fault, following, shown, who_shows(actor, item), span.first.on < today)


def cautions_for(item: KitItem) -> list[tuple[str, str]]:
    """What to be careful of, as label and text."""
    return rules.cautions_of(item.kind, cautions())


def projects_to_book_for(actor: Actor, item: KitItem) -> QuerySet[MeadowProject]:
    """Projects for which the actor may book an item, by name."""
    rows = MeadowProject.objects.filter(visible_inner(actor), network=item.network_id)
    return rows.exclude(stage="handed_over").select_related("group").order_by("name", "pk")


def people_to_show(actor: Actor, item: KitItem) -> list[Membership]:
    """Members of the network's groups, for noting who was shown; raises NotAllowed for all but coordinators."""
    demand(actor, "kit.show", network_id=item.network_id)
    rows = Membership.objects.filter(group__network=item.network_id, until__isnull=True, group__closed_at__isnull=True)
    return list(rows.select_related("user", "group").order_by("group__name", "user__name", "pk"))


def coordinates(actor: Actor, network_id: int) -> bool:
    """Whether the actor coordinates a network."""
    return NetworkRole.COORDINATOR in actor.networks.get(network_id, frozenset())


def live(rows: Iterable[KitBooking]) -> list[KitBooking]:
    """Bookings that still matter."""
    return [row for row in rows if row.state in _TOLD]


def hay_cautions() -> list[tuple[str, str]]:
    """What to be careful of on a day of green hay, as label and text."""
    return rules.hay_cautions(cautions())
