"""Grant rounds for those who give the money: one's rounds, writing one, running it, interests, money over all."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils.functional import cached_property

from projects.choices import NetworkRole
from projects.contracts.base import read_as
from projects.contracts.rounds import Appointment, RoundMove
from projects.dashboard.doors import Door, FormDoor
from projects.dashboard.forms.base import ServiceForm
from projects.dashboard.forms.fund_rounds import InterestForm, RoundChangeForm, RoundForm
from projects.dashboard.pages.fund_panel import JobWords
from projects.dashboard.pages.fund_rounds import BidRow, MoneyPage, RoundDesk, to_read
from projects.dashboard.views.county import OfNetwork, as_uuid
from projects.errors import NotAllowed, NotFound, RuleBroken, WrongState
from projects.models import GrantRound
from projects.rules.access import demand, may
from projects.selectors import fund
from projects.selectors import rounds as reads
from projects.selectors.networks import districts_of, network_list
from projects.services import rounds as acts


class FundView(Door):
    """The rounds one runs or reads for."""

    template_name = "fund/fund.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        if self.actor.user_id is None:
            raise NotAllowed("Your rounds are shown once you are signed in.")
        rounds = fund.rounds_of_staff(self.actor)
        networks = list(network_list(self.actor))
        context = {
            "desks": [RoundDesk(row, self.now, self._bids(row), None) for row in rounds],
            "manages": [row for row in networks if may(self.actor, "round.create", network_id=row.pk)],
            "money": [row for row in networks if may(self.actor, "money.read", network_id=row.pk)],
        }
        return self.show(request, context)

    def _bids(self, row: GrantRound) -> list[Any]:
        return list(fund.bids_before(self.actor, row))


class OfRound(Door):
    """A page of one round, for its staff."""

    @cached_property
    def round(self) -> GrantRound:
        return reads.round_get(self.actor, self.kwargs["round_id"])

    @property
    def address(self) -> str:
        return f"/fund/rounds/{self.round.public_id}/"

    def may(self, act: str) -> bool:
        """Whether the actor may do an act in this round."""
        return may(self.actor, act, network_id=self.round.network_id)

    def demand(self, act: str) -> None:
        """Raise NotAllowed unless the actor may do an act in this round."""
        demand(self.actor, act, network_id=self.round.network_id)

    @cached_property
    def sums(self) -> bool:
        """Whether the round's sums may be shown: not where a bid is hidden."""
        return fund.sums_are_shown(self.actor, self.round)

    def money(self) -> reads.Money | None:
        """Where the money of the round is, where that may be shown."""
        if not (self.sums and self.may("money.read")):
            return None
        return reads.round_money(self.actor, self.round.public_id)


class RoundDeskView(OfRound):
    """A round as a short report: where it stands, its rules, its bids, its people, its money."""

    template_name = "fund/round.html"

    def get(self, request: HttpRequest, round_id: UUID) -> HttpResponse:
        self.demand("round.staff")
        bids = list(fund.bids_before(self.actor, self.round))
        desk = RoundDesk(self.round, self.now, bids, self.money())
        rows = [BidRow(bid) for bid in bids]
        assessing = reads.is_assessor(self.actor, self.round)
        context = {
            "round": self.round,
            "desk": desk,
            "rows": rows,
            "assessing": assessing,
            "to_read": to_read(rows) if assessing else "",
            "hidden": not self.sums,
            "assessors": reads.assessors_of(self.actor, self.round),
            "interests": reads.interests_of(self.actor, self.round),
            "waiting": fund.waiting_in_round(self.actor, self.round),
            "manages": self.may("round.change"),
            "appraisals": self._job(fund.APPRAISALS, "The appraisal of all bids"),
            "choice": reads.choices_of(self.actor, self.round).first(),
            "see_panel": self.may("round.panel") or self.round.state in {"panel", "settled"},
        }
        return self.show(request, context)

    def _job(self, kind: str, label: str) -> JobWords | None:
        job = fund.latest_job(self.actor, self.round, kind)
        return None if job is None else JobWords(job, label)


class RoundNewView(OfNetwork, FormDoor):
    """Begin to write a round."""

    template_name = "fund/round_form.html"
    done = "The round is kept. Nobody else sees it until it is announced."

    def load(self) -> None:
        demand(self.actor, "round.create", network_id=self.network.pk)

    def form(self, data: Any = None) -> ServiceForm:
        return RoundForm(data, network=self.network, districts=districts_of(self.actor, self.network))

    def context(self) -> dict[str, Any]:
        return {"network": self.network}

    def act(self, form: Any) -> str:
        row = acts.round_create(actor=self.actor, asked=form.read(), now=self.now)
        return f"/fund/rounds/{row.public_id}/"


class RoundEditView(OfRound, FormDoor):
    """Change a round."""

    template_name = "fund/round_form.html"
    done = "Saved."

    def load(self) -> None:
        self.demand("round.change")

    def form(self, data: Any = None) -> ServiceForm:
        network = self.round.network
        return RoundChangeForm(data, network=network, districts=districts_of(self.actor, network), row=self.round)

    def context(self) -> dict[str, Any]:
        return {"network": self.round.network, "round": self.round}

    def act(self, form: Any) -> str:
        acts.round_change(
            actor=self.actor,
            public_id=self.round.public_id,
            asked=form.read(),
            if_version=form.if_version,
            now=self.now,
        )
        return self.address


class RoundMoveView(OfRound):
    """Announce a round, open its panel, settle it."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest, round_id: UUID) -> HttpResponse:
        self.demand("round.panel")
        to, version = request.POST.get("to", ""), request.POST.get("version", "")
        if to not in {"announced", "panel", "settled"}:
            raise NotFound("This button does not do anything; look at the page again.")
        try:
            acts.round_move(
                actor=self.actor,
                public_id=round_id,
                asked=read_as(RoundMove, {"to": to}),
                if_version=int(version) if version.isdecimal() and len(version) < 10 else None,
                now=self.now,
            )
        except RuleBroken as refusal:
            raise WrongState(" ".join(fault.detail for fault in refusal.errors) or refusal.detail) from refusal
        messages.success(request, "Done.")
        return HttpResponseRedirect(self.address)


class AssessorsView(OfRound):
    """Appoint those who read and score, or let them go."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest, round_id: UUID) -> HttpResponse:
        self.demand("round.appoint")
        appointed = request.POST.get("act") == "appoint"
        asked = Appointment(user_id=as_uuid(request.POST.get("user")), appointed=appointed)
        try:
            acts.assessor_appoint(actor=self.actor, round_id=round_id, asked=asked, now=self.now)
        except RuleBroken as refusal:
            raise WrongState(" ".join(fault.detail for fault in refusal.errors) or refusal.detail) from refusal
        messages.success(request, "Appointed." if appointed else "They read no bids of this round any more.")
        return HttpResponseRedirect(f"{self.address}#people")


class InterestView(OfRound, FormDoor):
    """Declare an interest: the group's bids are gone at once and for good."""

    template_name = "fund/interest.html"
    done = "It is noted. The bids of this group in this round are not shown to you any more."

    def load(self) -> None:
        self.demand("interest.declare")

    def form(self, data: Any = None) -> ServiceForm:
        form = InterestForm(data, groups=fund.groups_to_be_near(self.actor, self.round))
        if data is None:
            form.initial["group_id"] = self.request.GET.get("group", "")
        return form

    def context(self) -> dict[str, Any]:
        return {"round": self.round}

    def act(self, form: Any) -> str:
        acts.interest_declare(actor=self.actor, round_id=self.round.public_id, asked=form.read(), now=self.now)
        staff = self.actor.networks.get(self.round.network_id, frozenset())
        return self.address if staff & set(NetworkRole.values) else "/home/"


class FundMoneyView(OfNetwork):
    """Money by line over all rounds of each funder."""

    template_name = "fund/money.html"

    def get(self, request: HttpRequest, slug: str) -> HttpResponse:
        funders = fund.funders_of(self.actor, self.network)
        chosen = request.GET.get("funder", "")
        named = [chosen] if chosen in funders else funders
        pages = [MoneyPage(fund.money_of_funder(self.actor, self.network, name)) for name in named]
        return self.show(request, {"network": self.network, "pages": pages})
