"""A group's bid: begun, written part by part, looked over, handed in, withdrawn; and what became of it."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils.functional import cached_property

from projects.choices import BidState
from projects.dashboard.doors import Door, FormDoor
from projects.dashboard.forms.base import ServiceForm
from projects.dashboard.forms.bids import (
    ANY_ORCHID,
    AboutForm,
    BidNewForm,
    BudgetForm,
    ConfirmForm,
    PapersForm,
    PromisesForm,
    StagesForm,
)
from projects.dashboard.forms.returns import plants_by_label
from projects.dashboard.pages.bids import PARTS as PARTS_OF_A_BID
from projects.dashboard.pages.bids import BidPage
from projects.dashboard.pages.flags import FlagsPage
from projects.dashboard.pages.rounds import RoundPage
from projects.dashboard.views.groups import OfGroup
from projects.errors import NotFound
from projects.models import Award, Bid, Decision, GrantRound
from projects.rules.access import demand, may
from projects.rules.rounds import WRITABLE
from projects.selectors.bids import bid_get, checks_of, other_money_of, submissions_of
from projects.selectors.decisions import award_list, decisions_of
from projects.selectors.flags import flags_of_bid
from projects.selectors.meadows import project_list
from projects.selectors.rounds import round_get
from projects.services import bids as acts

_ROWS = {"budget": BudgetForm, "stages": StagesForm, "promises": PromisesForm}
#: what each part asks, and for whose sake
ABOUT_PARTS = {
    "about": "Which meadows, what will be done, when, and what else pays for the ground.",
    "budget": (
        "One line for each thing that is bought, hired or given. An amount without VAT is how many times the price of "
        "one. Volunteers’ time is given in kind and counted in hours."
    ),
    "stages": "After which parts of the work the money is asked for. Together they come to what the round is to pay.",
    "promises": (
        "What will be there by when. Promise what you can keep: assessors see how likely it is, and nothing sown shows "
        "in its first months."
    ),
    "papers": "What your group can show. The papers themselves are looked at when somebody asks for them.",
}


class OfBid(Door):
    """A page of one bid, for its group."""

    @cached_property
    def bid(self) -> Bid:
        row = bid_get(self.actor, self.kwargs["bid_id"])
        demand(self.actor, "group.home", group_id=row.group_id, network_id=row.network_id)
        return row

    @property
    def address(self) -> str:
        return f"/bids/{self.bid.public_id}/"

    def may(self, act: str) -> bool:
        """Whether the actor may do an act with this bid."""
        return may(self.actor, act, group_id=self.bid.group_id, network_id=self.bid.network_id)

    def demand(self, act: str) -> None:
        """Raise NotAllowed unless the actor may do an act with this bid."""
        demand(self.actor, act, group_id=self.bid.group_id, network_id=self.bid.network_id)

    @cached_property
    def decision(self) -> Decision | None:
        """The decision that holds."""
        return decisions_of(self.actor, self.bid.public_id).filter(state="published").first()

    @cached_property
    def award(self) -> Award | None:
        return award_list(self.actor).filter(bid=self.bid).first()

    @cached_property
    def page(self) -> BidPage:
        checks = checks_of(self.bid, self.today) if self.bid.state in WRITABLE else []
        sent = list(submissions_of(self.actor, self.bid))
        return BidPage(self.bid, checks, sent, self.decision, self.award, self.now)


class BidNewView(OfGroup, FormDoor):
    """Begin a bid."""

    template_name = "county/bid_new.html"
    done = "The draft is kept. Write on part by part; nothing is read by others before you hand it in."

    @cached_property
    def round(self) -> GrantRound:
        return round_get(self.actor, self.kwargs["round_id"])

    def load(self) -> None:
        self.demand("bid.create")
        if self.round.network_id != self.group.network_id:
            raise NotFound("This round is of another network.")

    def form(self, data: Any = None) -> ServiceForm:
        rows = project_list(self.actor).filter(group=self.group).order_by("name", "pk")
        return BidNewForm(data, projects=rows, round=self.round, group=self.group)

    def context(self) -> dict[str, Any]:
        return {"group": self.group, "page": RoundPage(self.round, self.now)}

    def act(self, form: Any) -> str:
        row = acts.bid_create(actor=self.actor, asked=form.read(), now=self.now)
        return f"/bids/{row.public_id}/edit/about/"


class BidView(OfBid):
    """A bid: where it stands, what is asked, what became of it."""

    template_name = "county/bid.html"

    @property
    def flags(self) -> FlagsPage | None:
        """What was put to the group; None before that."""
        read = flags_of_bid(self.actor, self.bid)
        return None if read is None else FlagsPage(*read)

    def get(self, request: HttpRequest, bid_id: UUID) -> HttpResponse:
        page = self.page
        context = {
            "row": self.bid,
            "page": page,
            "parts": PARTS_OF_A_BID,
            "confirm": ConfirmForm(initial={"version": self.bid.version}),
            "may_write": self.may("bid.change"),
            "funding": other_money_of(self.actor, self.bid),
            "flags": self.flags,
            "may_answer": self.may("flag.answer") and self.bid.state == BidState.SUBMITTED,
        }
        return self.show(request, context)


class BidEditView(OfBid, FormDoor):
    """One part of a bid; each part is saved by itself, and a draft may be wrong."""

    template_name = "county/bid_edit.html"

    @property
    def part(self) -> str:
        part = str(self.kwargs["part"])
        if part not in PARTS_OF_A_BID:
            raise NotFound(f"A bid has no part {part[:20]!r}.")
        return part

    def load(self) -> None:
        self.demand("bid.change")

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        self.load()
        if self.bid.state not in WRITABLE:
            messages.info(request, "This bid cannot be changed as it stands now.")
            return HttpResponseRedirect(self.address)
        return super().get(request, *args, **kwargs)

    def form(self, data: Any = None) -> ServiceForm:
        bid = self.bid if data is not None else bid_get(self.actor, self.bid.public_id)
        if self.part == "about":
            rows = project_list(self.actor).filter(group=bid.group_id).order_by("name", "pk")
            return AboutForm(data, bid=bid, projects=rows)
        if self.part == "papers":
            return PapersForm(data, self.request.FILES if data is not None else None, bid=bid)
        return _ROWS[self.part](data, bid=bid)

    def context(self) -> dict[str, Any]:
        keys = list(PARTS_OF_A_BID)
        after = keys[keys.index(self.part) + 1 :]
        return {
            "row": self.bid,
            "page": self.page,
            "part": self.part,
            "called": PARTS_OF_A_BID[self.part],
            "about": ABOUT_PARTS[self.part],
            "parts": PARTS_OF_A_BID,
            "next": PARTS_OF_A_BID[after[0]] if after else "",
            "plants": [ANY_ORCHID, *plants_by_label()] if self.part == "promises" else [],
        }

    def act(self, form: Any) -> str:
        acts.bid_change(
            actor=self.actor, public_id=self.bid.public_id, asked=form.read(), if_version=form.if_version, now=self.now
        )
        messages.success(self.request, "Saved in the draft.")
        keys = list(PARTS_OF_A_BID)
        go_on = self.request.POST.get("then")
        if go_on == "more":
            return f"{self.address}edit/{self.part}/#more"
        after = keys[keys.index(self.part) + 1 :]
        return f"{self.address}edit/{after[0]}/" if go_on == "next" and after else self.address


class BidHandInView(OfBid, FormDoor):
    """What an assessor would ask, and handing in."""

    template_name = "county/bid_hand_in.html"

    def load(self) -> None:
        self.demand("bid.submit")

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        self.load()
        if self.bid.state not in WRITABLE:
            return HttpResponseRedirect(self.address)
        return super().get(request, *args, **kwargs)

    def form(self, data: Any = None) -> ServiceForm:
        return ConfirmForm(data, initial={"version": self.bid.version})

    def context(self) -> dict[str, Any]:
        return {"row": self.bid, "page": self.page}

    def act(self, form: Any) -> str:
        acts.bid_submit(actor=self.actor, public_id=self.bid.public_id, if_version=form.if_version, now=self.now)
        messages.success(self.request, "It is handed in. This page is your receipt.")
        return f"{self.address}receipt/"


class BidReceiptView(OfBid):
    """When a bid was handed in, and the checksum of what it said."""

    template_name = "county/bid_receipt.html"

    def get(self, request: HttpRequest, bid_id: UUID) -> HttpResponse:
        if self.bid.current is None:
            return HttpResponseRedirect(self.address)
        return self.show(request, {"row": self.bid, "page": self.page, "current": self.bid.current})


class HandedInView(OfBid):
    """The text that was handed in, to the byte."""

    def get(self, request: HttpRequest, bid_id: UUID) -> HttpResponse:
        if self.bid.current is None:
            raise NotFound("This bid was not handed in.")
        response = HttpResponse(self.bid.current.content.encode(), content_type="application/json")
        response.headers["Content-Disposition"] = f'attachment; filename="bid-{self.bid.number}.json"'
        return response


class BidMoveView(OfBid):
    """Take a withdrawn bid up again, or note that the group has looked a draft over."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest, bid_id: UUID) -> HttpResponse:
        to = request.POST.get("to")
        self.demand("bid.change")
        if to not in {BidState.DRAFT, BidState.CHECKED}:
            raise NotFound("This button does not do anything; look at the page again.")
        form = ConfirmForm(request.POST)
        form.is_valid()
        acts.bid_move(
            actor=self.actor,
            public_id=self.bid.public_id,
            to=to,
            if_version=form.if_version,
            now=self.now,
        )
        said = "It is noted that your group has looked it over." if to == BidState.CHECKED else "It is a draft again."
        messages.success(request, said)
        return HttpResponseRedirect(self.address)


class BidWithdrawView(OfBid, FormDoor):
    """Withdraw a bid; nothing of it is lost."""

    template_name = "county/bid_withdraw.html"
    done = "The bid is withdrawn. It is kept, and can be taken up again while the round is open."

    def load(self) -> None:
        self.demand("bid.withdraw")

    def form(self, data: Any = None) -> ServiceForm:
        return ConfirmForm(data, initial={"version": self.bid.version})

    def context(self) -> dict[str, Any]:
        return {"row": self.bid, "page": self.page}

    def act(self, form: Any) -> str:
        acts.bid_move(
            actor=self.actor,
            public_id=self.bid.public_id,
            to=BidState.WITHDRAWN,
            if_version=form.if_version,
            now=self.now,
        )
        return self.address


class BidLetterView(OfBid):
    """The letter of the decision, made to be printed."""

    template_name = "county/bid_letter.html"

    def get(self, request: HttpRequest, bid_id: UUID) -> HttpResponse:
        if self.decision is None:
            return HttpResponseRedirect(self.address)
        return self.show(request, {"row": self.bid, "decision": self.decision, "award": self.award})
