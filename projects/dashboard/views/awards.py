"""An offer and what follows, for the group: answered, paid by stage, changed, reported on."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils.functional import cached_property

from projects.dashboard.doors import Door, FormDoor
from projects.dashboard.forms.awards import AnswerForm, ChangeForm, PaymentForm, ReportForm
from projects.dashboard.forms.base import ServiceForm
from projects.dashboard.pages.awards import AwardPage
from projects.models import Award
from projects.rules.access import demand, may
from projects.selectors.decisions import award_get, due_of, visits_of
from projects.services import awards as acts


class OfAward(Door):
    """A page of one award, for its group."""

    @cached_property
    def row(self) -> Award:
        row = award_get(self.actor, self.kwargs["award_id"])
        demand(self.actor, "group.home", group_id=row.group_id, network_id=row.bid.network_id)
        return row

    @property
    def address(self) -> str:
        return f"/awards/{self.row.public_id}/"

    @cached_property
    def page(self) -> AwardPage:
        return AwardPage(self.row, due_of(self.row, self.today), self.today)

    def may(self, act: str) -> bool:
        """Whether the actor may do an act with this award."""
        return may(self.actor, act, group_id=self.row.group_id, network_id=self.row.bid.network_id)

    def demand(self, act: str) -> None:
        """Raise NotAllowed unless the actor may do an act with this award."""
        demand(self.actor, act, group_id=self.row.group_id, network_id=self.row.bid.network_id)

    def context(self) -> dict[str, Any]:
        return {"row": self.row, "page": self.page}


class AwardView(OfAward):
    """An offer or an award: what it is, what was paid, what is due."""

    template_name = "county/award.html"

    def get(self, request: HttpRequest, award_id: UUID) -> HttpResponse:
        context = {
            **self.context(),
            "leads": self.may("award.accept"),
            "visits": visits_of(self.actor, self.row),
        }
        return self.show(request, context)


class AnswerView(OfAward, FormDoor):
    """Accept or decline an offer."""

    template_name = "county/award_answer.html"

    def load(self) -> None:
        self.demand("award.accept")

    def form(self, data: Any = None) -> ServiceForm:
        return AnswerForm(data, initial={"version": self.row.version})

    def act(self, form: Any) -> str:
        acts.award_move(
            actor=self.actor, public_id=self.row.public_id, asked=form.read(), if_version=form.if_version, now=self.now
        )
        return self.address


class PaymentView(OfAward, FormDoor):
    """Ask for the money of a stage."""

    template_name = "county/award_payment.html"
    done = "It is asked for; the fund manager settles it."

    def load(self) -> None:
        self.demand("payment.ask")

    def form(self, data: Any = None) -> ServiceForm:
        return PaymentForm(data, page=self.page)

    def act(self, form: Any) -> str:
        acts.payment_ask(actor=self.actor, award_id=self.row.public_id, asked=form.read(), now=self.now)
        return self.address


class ChangeView(OfAward, FormDoor):
    """Ask to do something otherwise."""

    template_name = "county/award_change.html"
    done = "It is asked for; until it is agreed, what was agreed before holds."

    def load(self) -> None:
        self.demand("alteration.ask")

    def form(self, data: Any = None) -> ServiceForm:
        return ChangeForm(data, award=self.row)

    def act(self, form: Any) -> str:
        acts.alteration_ask(actor=self.actor, award_id=self.row.public_id, asked=form.read(), now=self.now)
        return self.address


class ReportView(OfAward, FormDoor):
    """The report at the end."""

    template_name = "county/award_report.html"
    done = "The report is sent. Until the award is finished, a later one takes its place."

    def load(self) -> None:
        self.demand("award.report")

    def form(self, data: Any = None) -> ServiceForm:
        return ReportForm(data, award=self.row)

    def act(self, form: Any) -> str:
        acts.report_send(
            actor=self.actor, public_id=self.row.public_id, asked=form.read(), if_version=form.if_version, now=self.now
        )
        return self.address
