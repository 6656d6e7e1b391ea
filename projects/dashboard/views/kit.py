"""Kit: what the network lends, can I have it, booking it, handing it out and back."""

from __future__ import annotations

from datetime import date
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils.functional import cached_property

from projects.choices import KitState
from projects.contracts.base import read_as
from projects.contracts.kit import KitMended
from projects.dashboard import words
from projects.dashboard.doors import Door, FormDoor
from projects.dashboard.forms import kit as forms
from projects.dashboard.pages.kit import (
    BookingLine,
    KitLine,
    days_of_month,
    kit_sentence,
    month_after,
    month_name,
    month_of_item,
)
from projects.dashboard.views.county import OfNetwork, as_uuid
from projects.dashboard.views.groups import OfGroup
from projects.errors import NotFound
from projects.models import KitBooking, KitFault, KitItem
from projects.rules.access import demand, group_in, may
from projects.rules.kit import DEFERRING, LONGEST
from projects.selectors import kit as reads
from projects.selectors.networks import members_of, villages_of
from projects.services import kit as acts
from projects.services import kit_bookings as booking_acts

MONTHS_SHOWN = 3
#: what is asked for unless halves of days are
_WHOLE_DAYS = {"first_half": "morning", "last_half": "afternoon"}
LATEST_YEAR = 2100


class KitView(OfNetwork):
    """What a network lends."""

    template_name = "county/kit.html"

    def get(self, request: HttpRequest, slug: str) -> HttpResponse:
        lines = [KitLine(row, self.today) for row in reads.kit_of(self.actor, self.network)]
        waiting = [BookingLine(row) for row in reads.bookings_to_decide(self.actor, self.network)]
        context = {
            "network": self.network,
            "lines": lines,
            "sentence": kit_sentence(lines, len(waiting)),
            "waiting": waiting,
            "may_change": self.may("kit.change"),
        }
        return self.show(request, context)


class KitCalendarView(OfNetwork):
    """Who has what, by months."""

    template_name = "county/kit_calendar.html"

    def get(self, request: HttpRequest, slug: str) -> HttpResponse:
        first = self.first(request.GET.get("from", ""))
        firsts = [first]
        while len(firsts) < MONTHS_SHOWN:
            firsts.append(month_after(firsts[-1]))
        items = reads.months_of(self.actor, self.network, first, month_after(firsts[-1]))
        context = {
            "network": self.network,
            "months": [(month_name(one), days_of_month(items, one)) for one in firsts],
            "before": f"{(first.year * 12 + first.month - 1 - MONTHS_SHOWN) // 12}"
            f"-{(first.month - 1 - MONTHS_SHOWN) % 12 + 1:02}",
            "after": f"{month_after(firsts[-1]):%Y-%m}",
        }
        return self.show(request, context)

    def first(self, said: str) -> date:
        """The first day of the month asked for, of this month where nothing can be read."""
        try:
            found = date.fromisoformat(f"{said}-01")
        except ValueError:
            return self.today.replace(day=1)
        return found if self.today.year - 10 <= found.year < LATEST_YEAR else self.today.replace(day=1)


class OfItem(OfNetwork):
    """A page of one item."""

    @cached_property
    def item(self) -> KitItem:
        row = reads.kit_get(self.actor, self.kwargs["item_id"])
        if row.network_id != self.network.pk:
            raise NotFound("There is no such kit in this network.")
        return row

    def may_here(self, act: str) -> bool:
        """Whether the actor may do an act to what their network lends."""
        network = self.item.network_id
        return may(self.actor, act, group_id=group_in(self.actor, network), network_id=network)

    def demand(self, act: str) -> None:
        """Raise NotAllowed unless the actor may do an act to what their network lends."""
        network = self.item.network_id
        demand(self.actor, act, group_id=group_in(self.actor, network), network_id=network)

    @property
    def address(self) -> str:
        return f"/county/{self.network.slug}/kit/{self.item.public_id}/"


class KitItemView(OfItem):
    """One item: can I have it then, and who shows us."""

    template_name = "county/kit_item.html"

    def get(self, request: HttpRequest, slug: str, item_id: UUID) -> HttpResponse:
        item = self.item
        form = forms.QuestionForm(_WHOLE_DAYS | request.GET.dict() if "on" in request.GET else None)
        span = form.span if form.is_bound else None
        wrong = ""
        if span is not None and not 1 <= span.count <= LONGEST:
            wrong = "The end comes after the beginning, and at most two weeks later."
            span = None
        answer = reads.answer_for(self.actor, item, span, self.today) if span is not None else None
        first = self.today.replace(day=1)
        second = month_after(first)
        taken = {
            half: "" if row.is_gap else row.booking.group.name
            for half, row in reads.held(item, first, month_after(second)).items()
        }
        rows = reads.bookings_of_item(self.actor, item, self.today)
        context = {
            "network": self.network,
            "item": item,
            "line": KitLine(item, self.today),
            "form": form,
            "wrong": wrong,
            "answer": answer,
            "months": [month_of_item(taken, one) for one in (first, second)],
            "taken": [(str(reads.span_of(row)), row) for row in rows],
            "faults": list(reads.faults_of(self.actor, item)),
            "stopped": reads.out_of_use(item, self.today),
            "who_shows": words.listed(reads.who_shows(self.actor, item), "or"),
            "shown": list(reads.showings_of(self.actor, item)),
            "cautions": reads.cautions_for(item),
            "deferring": DEFERRING,
            "may_change": self.may_here("kit.change"),
            "address": self.address,
        }
        return self.show(request, context)


class KitNewView(OfNetwork, FormDoor):
    """Something to lend."""

    template_name = "county/kit_form.html"
    done = "It is on the list."

    def load(self) -> None:
        demand(self.actor, "kit.change", network_id=self.network.pk)

    def form(self, data: Any = None) -> Any:
        return forms.KitItemForm(data, villages=villages_of(self.actor, self.network))

    def context(self) -> dict[str, Any]:
        return {"network": self.network, "back": f"/county/{self.network.slug}/kit/"}

    def act(self, form: Any) -> str:
        row = acts.item_create(actor=self.actor, network_id=self.network.public_id, asked=form.read(), now=self.now)
        return f"/county/{self.network.slug}/kit/{row.public_id}/"


class KitEditView(OfItem, FormDoor):
    """What is said of an item."""

    template_name = "county/kit_form.html"
    done = "Saved."

    def load(self) -> None:
        self.demand("kit.change")

    def form(self, data: Any = None) -> Any:
        return forms.KitItemChangeForm(data, villages=villages_of(self.actor, self.network), row=self.item)

    def context(self) -> dict[str, Any]:
        return {"network": self.network, "item": self.item, "back": self.address}

    def act(self, form: Any) -> str:
        acts.item_change(
            actor=self.actor, public_id=self.item.public_id, asked=form.read(), if_version=form.if_version, now=self.now
        )
        return self.address


class KitBookView(OfItem, FormDoor):
    """Ask for an item."""

    template_name = "county/kit_book.html"

    def load(self) -> None:
        self.demand("kit.book")

    def form(self, data: Any = None) -> Any:
        query = self.request.GET
        asked = {"first_on": "on", "first_half": "first_half", "last_on": "until", "last_half": "last_half"}
        initial = {name: query[other] for name, other in asked.items() if query.get(other)}
        if query.get("project"):
            initial["project"] = query["project"]
        projects = reads.projects_to_book_for(self.actor, self.item)
        return forms.KitBookForm(data, item=self.item, projects=projects, initial=initial)

    def context(self) -> dict[str, Any]:
        return {
            "network": self.network,
            "item": self.item,
            "back": self.address,
            "who_shows": words.listed(reads.who_shows(self.actor, self.item), "or"),
            "cautions": reads.cautions_for(self.item),
            "deferring": DEFERRING,
        }

    def act(self, form: Any) -> str:
        project = UUID(form.cleaned_data["project"])
        row, new = booking_acts.booking_ask(actor=self.actor, project_id=project, asked=form.read(), now=self.now)
        said = BookingLine(reads.booking_get(self.actor, row.public_id)).sentence
        messages.success(self.request, said if new else f"This was asked already. {said}")
        return f"/kit-bookings/{row.public_id}/"


class KitFaultView(OfItem, FormDoor):
    """Something is wrong with an item."""

    template_name = "county/kit_fault.html"

    def load(self) -> None:
        self.demand("kit.fault")

    def form(self, data: Any = None) -> Any:
        return forms.FaultForm(data, initial={"found_on": self.today})

    def context(self) -> dict[str, Any]:
        return {"network": self.network, "item": self.item, "back": self.address}

    def act(self, form: Any) -> str:
        _, touched = acts.fault_note(actor=self.actor, item_id=self.item.public_id, asked=form.read(), now=self.now)
        said = "The fault is noted."
        if touched:
            rows = [f"{row.group}, {reads.span_of(row)}" for row in touched]
            said += f" It touches {words.counted(len(rows))} {words.plural(len(rows), 'booking')}: {'; '.join(rows)}."
        messages.success(self.request, said)
        return self.address


class KitMendView(OfItem):
    """A fault is put right today."""

    def post(self, request: HttpRequest, slug: str, item_id: UUID, fault_id: UUID) -> HttpResponse:
        fault = KitFault.objects.filter(item=self.item, public_id=fault_id).first()
        if fault is None:
            raise NotFound("There is no such fault.")
        asked = read_as(KitMended, {"mended_on": self.today.isoformat()})
        acts.fault_mend(actor=self.actor, public_id=fault_id, asked=asked, if_version=None, now=self.now)
        messages.success(request, "It is mended.")
        return HttpResponseRedirect(self.address)


class KitShownView(OfItem, FormDoor):
    """Who was shown an item."""

    template_name = "county/kit_shown.html"
    done = "It is noted."

    def load(self) -> None:
        self.demand("kit.show")

    def form(self, data: Any = None) -> Any:
        members = reads.people_to_show(self.actor, self.item)
        return forms.ShownForm(data, members=members, initial={"shown_on": self.today})

    def context(self) -> dict[str, Any]:
        return {
            "network": self.network,
            "item": self.item,
            "back": self.address,
            "shown": list(reads.showings_of(self.actor, self.item)),
        }

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if "remove" not in request.POST:
            return super().post(request, *args, **kwargs)
        gone = as_uuid(request.POST["remove"])
        self.load()
        acts.showing_remove(actor=self.actor, public_id=gone, if_version=None, now=self.now)
        messages.success(request, "The note is taken away.")
        return HttpResponseRedirect(f"{self.address}shown/")

    def act(self, form: Any) -> str:
        acts.showing_add(actor=self.actor, item_id=self.item.public_id, asked=form.read(), now=self.now)
        return f"{self.address}shown/"


# ------------------------------------------------------------------ bookings

_NEXT = {KitState.ASKED: "kit.decide", KitState.AGREED: "kit.hand_over", KitState.OUT: "kit.hand_over"}
_DONE = {
    "agreed": "It is agreed.", "refused": "It is not agreed; its half-days are free again.",
    "out": "It is handed out.", "back": "It is back.",
}  # fmt: skip


class OfBooking(Door):
    """A page of one booking."""

    @cached_property
    def booking(self) -> KitBooking:
        return reads.booking_get(self.actor, self.kwargs["booking_id"])

    def may(self, act: str) -> bool:
        """Whether the actor may do an act to the booking."""
        row = self.booking
        return may(self.actor, act, group_id=row.group_id, network_id=row.network_id, owner_id=row.created_by_id)

    def demand(self, act: str) -> None:
        """Raise NotAllowed unless the actor may do an act to the booking."""
        row = self.booking
        demand(self.actor, act, group_id=row.group_id, network_id=row.network_id, owner_id=row.created_by_id)

    @property
    def address(self) -> str:
        return f"/kit-bookings/{self.booking.public_id}/"


class KitBookingView(OfBooking, FormDoor):
    """One booking, and what comes next: agreeing, handing out, taking back."""

    template_name = "county/kit_booking.html"

    def load(self) -> None:
        if self.request.method == "POST":
            self.demand(_NEXT.get(KitState(self.booking.state), "kit.decide"))

    def form(self, data: Any = None) -> Any:
        kind = forms.move_form(self.booking)
        if kind is None or not self.may(_NEXT[KitState(self.booking.state)]):
            return None
        initial = {"version": self.booking.version}
        if kind is forms.HandOutForm:
            shows = self.may("kit.show")
            members = members_of(self.actor, self.booking.group) if shows else ()
            return forms.HandOutForm(data, members=members, initial=initial)
        return kind(data, initial=initial)

    def context(self) -> dict[str, Any]:
        row = self.booking
        item = row.item
        return {
            "booking": row,
            "line": BookingLine(row),
            "item": item,
            "hand_overs": list(row.hand_overs.all()),
            "who_shows": words.listed(reads.who_shows(self.actor, item), "or") if item.shown_first else "",
            "may_cancel": self.may("kit.cancel") and row.state in {KitState.ASKED, KitState.AGREED},
            "cautions": reads.cautions_for(item),
            "deferring": DEFERRING,
        }

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        self.load()
        if forms.move_form(self.booking) is None:
            return HttpResponseRedirect(self.address)
        return super().post(request, *args, **kwargs)

    def act(self, form: Any) -> str:
        asked = form.read()
        booking_acts.booking_move(
            actor=self.actor, public_id=self.booking.public_id, asked=asked, if_version=form.if_version, now=self.now
        )
        messages.success(self.request, _DONE[asked.to])
        return self.address


class KitCancelView(OfBooking, FormDoor):
    """Cancel a booking."""

    template_name = "county/kit_cancel.html"
    done = "It is cancelled; its half-days are free again."

    def load(self) -> None:
        self.demand("kit.cancel")

    def form(self, data: Any = None) -> Any:
        return forms.CancelForm(data, initial={"version": self.booking.version})

    def context(self) -> dict[str, Any]:
        return {"booking": self.booking, "line": BookingLine(self.booking)}

    def act(self, form: Any) -> str:
        booking_acts.booking_move(
            actor=self.actor, public_id=self.booking.public_id, asked=form.read(), if_version=form.if_version,
            now=self.now,
        )  # fmt: skip
        return self.address


class GroupKitView(OfGroup):
    """What a group has booked, and what its network lends."""

    template_name = "county/kit_of_group.html"

    def get(self, request: HttpRequest, group_id: UUID) -> HttpResponse:
        rows = reads.bookings_of_group(self.actor, self.group).order_by("-first_on", "-first_half", "-pk")[:100]
        lines = [KitLine(row, self.today) for row in reads.kit_of(self.actor, self.group.network)]
        context = {"group": self.group, "bookings": [BookingLine(row) for row in rows], "lines": lines}
        return self.show(request, context)
