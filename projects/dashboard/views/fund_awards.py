"""Decisions written, confirmed and published; awards with their payments, changes, underspend and repayments."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils.functional import cached_property

from modelling.errors import RequestRefused
from projects.choices import AwardState
from projects.dashboard.doors import Door, FormDoor
from projects.dashboard.forms.base import ServiceForm
from projects.dashboard.forms.fund_awards import (
    AwardForm,
    ChangeForm,
    DecisionChangeForm,
    DecisionForm,
    MoneyBackForm,
    PaymentForm,
    VisitForm,
)
from projects.dashboard.pages.fund_awards import AwardPage, DecisionPage, change_words, payment_words
from projects.dashboard.views.fund_bids import OfBid
from projects.errors import NotAllowed, NotFound, Refused, Stale
from projects.models import Award, ChangeRequest, Decision, PaymentRequest
from projects.rules.access import demand, may
from projects.rules.awards import BY_THE_GROUP, FOLLOWS
from projects.selectors import decisions as reads
from projects.selectors import fund
from projects.selectors.bids import bid_to_read
from projects.selectors.rounds import Money, round_money
from projects.services import awards as acts
from projects.services import decisions as decision_acts


class DecideView(OfBid, FormDoor):
    """Begin to write a decision."""

    template_name = "fund/decide.html"
    done = "The decision is kept with its letter. Nothing is published yet."

    def load(self) -> None:
        self.demand("decision.write")

    def form(self, data: Any = None) -> ServiceForm:
        return DecisionForm(data)

    def context(self) -> dict[str, Any]:
        return {"bid": self.bid, "before": reads.decisions_of(self.actor, self.bid.public_id).first()}

    def act(self, form: Any) -> str:
        row = decision_acts.decision_draft(actor=self.actor, bid_id=self.bid.public_id, asked=form.read(), now=self.now)
        return f"/fund/decisions/{row.public_id}/"


class OfDecision(Door):
    """A page of one decision, for those who read the bid."""

    @cached_property
    def row(self) -> Decision:
        row = reads.decision_get(self.actor, self.kwargs["decision_id"])
        bid_to_read(self.actor, row.bid.public_id)
        return row

    @property
    def address(self) -> str:
        return f"/fund/decisions/{self.row.public_id}/"

    def demand(self, act: str) -> None:
        """Raise NotAllowed unless the actor may do an act about this decision."""
        demand(self.actor, act, network_id=self.row.bid.network_id)

    @property
    def page(self) -> DecisionPage:
        bid = self.row.bid
        before = reads.decisions_of(self.actor, bid.public_id).filter(state="published").first()
        money: Money | None = None
        if fund.sums_are_shown(self.actor, bid.round) and may(self.actor, "money.read", network_id=bid.network_id):
            money = round_money(self.actor, bid.round.public_id)
        return DecisionPage(self.row, money, before if before != self.row else None)


class DecisionView(OfDecision, FormDoor):
    """A decision: written on until it is published, read after that."""

    template_name = "fund/decision.html"
    done = "Saved."

    def load(self) -> None:
        self.demand("decision.read" if self.request.method == "GET" else "decision.write")

    def form(self, data: Any = None) -> ServiceForm:
        return DecisionChangeForm(data, row=self.row)

    def context(self) -> dict[str, Any]:
        writes = may(self.actor, "decision.write", network_id=self.row.bid.network_id)
        return {"row": self.row, "page": self.page, "writes": writes and self.row.state == "draft", "manages": writes}

    def act(self, form: Any) -> str:
        decision_acts.decision_change(
            actor=self.actor,
            public_id=self.row.public_id,
            asked=form.read(),
            if_version=form.if_version,
            now=self.now,
        )
        return self.address


class PublishView(OfDecision):
    """Confirm and publish: the sum stands against the pot; who comes second is told so."""

    template_name = "fund/publish.html"

    def get(self, request: HttpRequest, decision_id: UUID) -> HttpResponse:
        self.demand("decision.publish")
        return self.page_of(request)

    def page_of(self, request: HttpRequest, wrong: list[str] | None = None, status: int = 200) -> HttpResponse:
        context = {"row": self.row, "page": self.page, "wrong": wrong or [], "version": self.row.version}
        return self.show(request, context, status=status)

    def post(self, request: HttpRequest, decision_id: UUID) -> HttpResponse:
        self.demand("decision.publish")
        version = request.POST.get("version", "")
        try:
            decision_acts.decision_publish(
                actor=self.actor,
                public_id=decision_id,
                if_version=int(version) if version.isdecimal() and len(version) < 10 else None,
                now=self.now,
            )
        except (NotFound, NotAllowed):
            raise
        except Stale:
            return self.second(request)
        except RequestRefused as refusal:
            return self.page_of(request, [fault.detail for fault in refusal.errors], 422)
        except Refused as refusal:
            del self.row
            if self.row.state != "draft":
                return self.second(request)
            return self.page_of(request, [fault.detail for fault in refusal.errors] or [refusal.detail], 422)
        messages.success(request, "The decision is published; the group can read it now.")
        return HttpResponseRedirect(self.address)

    def second(self, request: HttpRequest) -> HttpResponse:
        """Tell whoever comes second what stands there now."""
        self.__dict__.pop("row", None)
        stands = "published it" if self.row.state != "draft" else "changed it"
        return self.page_of(
            request,
            [f"Somebody {stands} while you looked at it; nothing was done twice. What stands there now is shown here."],
            409,
        )


class OfAward(Door):
    """A page of one award, for those who read its bid."""

    @cached_property
    def award(self) -> Award:
        award = reads.award_get(self.actor, self.kwargs["award_id"])
        bid_to_read(self.actor, award.bid.public_id)
        return award

    @property
    def address(self) -> str:
        return f"/fund/awards/{self.award.public_id}/"

    def demand(self, act: str) -> None:
        """Raise NotAllowed unless the actor may do an act about this award as its funder."""
        demand(self.actor, act, network_id=self.award.bid.network_id)


class AwardView(OfAward):
    """An award: where its money is, its stages, changes, report, and whose move it is."""

    template_name = "fund/award.html"

    def get(self, request: HttpRequest, award_id: UUID) -> HttpResponse:
        self.demand("award.read")
        page = AwardPage(self.award, reads.due_of(self.award, self.today), self.today)
        manages = may(self.actor, "award.manage", network_id=self.award.bid.network_id)
        context = {
            "award": self.award,
            "page": page,
            "manages": manages,
            "visits": reads.visits_of(self.actor, self.award),
            "may_visit": may(self.actor, "visit.write", network_id=self.award.bid.network_id)
            and self.award.state in {AwardState.ACCEPTED, AwardState.FINISHED},
        }
        return self.show(request, context)


class AwardMoveView(OfAward, FormDoor):
    """Note that conditions are met, finish an award, or withdraw it."""

    template_name = "fund/award_move.html"
    done = "Noted."

    def load(self) -> None:
        self.demand("award.manage")

    def form(self, data: Any = None) -> ServiceForm:
        return AwardForm(data, following=FOLLOWS[self.award.state] - BY_THE_GROUP)  # type: ignore[index]

    def context(self) -> dict[str, Any]:
        return {"award": self.award, "page": AwardPage(self.award, (), self.today)}

    def act(self, form: Any) -> str:
        acts.award_move(
            actor=self.actor, public_id=self.award.public_id, asked=form.read(), if_version=None, now=self.now
        )
        return self.address


class VisitView(OfAward, FormDoor):
    """Note a visit to what an award pays for."""

    template_name = "fund/visit.html"
    done = "Noted; the group can read it."

    def load(self) -> None:
        self.demand("visit.write")

    def form(self, data: Any = None) -> ServiceForm:
        return VisitForm(data, initial={"on": self.today})

    def context(self) -> dict[str, Any]:
        return {"award": self.award}

    def act(self, form: Any) -> str:
        acts.visit_note(actor=self.actor, award_id=self.award.public_id, asked=form.read(), now=self.now)
        return f"{self.address}#visits"


class MoneyBackView(OfAward, FormDoor):
    """Note money that came back."""

    template_name = "fund/money_back.html"
    done = "Noted; it can be awarded again."

    def load(self) -> None:
        self.demand("award.manage")

    def form(self, data: Any = None) -> ServiceForm:
        return MoneyBackForm(data, initial={"on": self.today})

    def context(self) -> dict[str, Any]:
        return {"award": self.award}

    def act(self, form: Any) -> str:
        acts.money_back(actor=self.actor, award_id=self.award.public_id, asked=form.read(), now=self.now)
        return self.address


class PaymentView(FormDoor):
    """Settle a payment request."""

    template_name = "fund/payment.html"
    done = "Settled; the group can read it."

    @cached_property
    def row(self) -> PaymentRequest:
        row = reads.payment_get(self.actor, self.kwargs["payment_id"])
        bid_to_read(self.actor, row.award.bid.public_id)
        return row

    def load(self) -> None:
        demand(self.actor, "payment.settle", network_id=self.row.award.bid.network_id)

    def form(self, data: Any = None) -> ServiceForm:
        return PaymentForm(data, initial={"version": self.row.version})

    def context(self) -> dict[str, Any]:
        return {"row": self.row, "sentence": payment_words(self.row), "award": self.row.award}

    def act(self, form: Any) -> str:
        acts.payment_settle(
            actor=self.actor,
            public_id=self.row.public_id,
            asked=form.read(),
            if_version=form.if_version,
            now=self.now,
        )
        return f"/fund/awards/{self.row.award.public_id}/"


class ChangeView(FormDoor):
    """Settle a request to change something."""

    template_name = "fund/change.html"
    done = "Settled; the group can read it."

    @cached_property
    def row(self) -> ChangeRequest:
        row = reads.alteration_get(self.actor, self.kwargs["change_id"])
        bid_to_read(self.actor, row.award.bid.public_id)
        return row

    def load(self) -> None:
        demand(self.actor, "alteration.settle", network_id=self.row.award.bid.network_id)

    def form(self, data: Any = None) -> ServiceForm:
        return ChangeForm(data, initial={"version": self.row.version})

    def context(self) -> dict[str, Any]:
        return {"row": self.row, "lines": change_words(self.row), "award": self.row.award}

    def act(self, form: Any) -> str:
        acts.alteration_settle(
            actor=self.actor,
            public_id=self.row.public_id,
            asked=form.read(),
            if_version=form.if_version,
            now=self.now,
        )
        return f"/fund/awards/{self.row.award.public_id}/"
