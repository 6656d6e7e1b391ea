"""The panel: scores side by side, and what the pot could buy, worked out by a job whose state the page shows."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import orjson
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils.functional import cached_property

from projects.dashboard.doors import Door, FormDoor
from projects.dashboard.forms.base import ServiceForm
from projects.dashboard.forms.fund_panel import ChoiceForm
from projects.dashboard.pages.fund_panel import ChoicePage, JobWords, PanelPage
from projects.dashboard.views.fund_rounds import OfRound
from projects.errors import NotFound
from projects.models import Bid, Job, RoundChoice
from projects.rules.access import demand, may
from projects.selectors import fund
from projects.selectors.appraisals import choice_text
from projects.selectors.reviews import panel_of
from projects.selectors.rounds import choice_get, choices_of
from projects.selectors.scarce import labels_of
from projects.services import appraisals as acts


class PanelView(OfRound):
    """Scores, their spread, and who marks harshly or mildly: shown, never applied."""

    template_name = "fund/panel.html"

    def get(self, request: HttpRequest, round_id: UUID) -> HttpResponse:
        page = PanelPage(panel_of(self.actor, self.round.public_id))
        context = {
            "round": self.round,
            "page": page,
            "hidden": not self.sums,
            "chooses": self.may("round.choose"),
            "choice": choices_of(self.actor, self.round).first(),
        }
        return self.show(request, context)


class AppraiseView(OfRound):
    """Ask for the appraisal of every bid."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest, round_id: UUID) -> HttpResponse:
        self.demand("appraisal.make")
        acts.appraisals_ask(actor=self.actor, round_id=round_id, now=self.now)
        return HttpResponseRedirect(f"{self.address}#bids")


class ChooseView(OfRound, FormDoor):
    """Ask what the pot could buy; the page shows how far the answer is, and those there are."""

    template_name = "fund/choose.html"

    def load(self) -> None:
        self.demand("round.choose")
        if not self.sums:
            raise NotFound("There are no sums of this round, or none that you may see.")

    @cached_property
    def bids(self) -> list[Bid]:
        return list(fund.bids_before(self.actor, self.round).select_related("current"))

    def form(self, data: Any = None) -> ServiceForm:
        seed, machines = labels_of(self.bids)
        return ChoiceForm(data, bids=self.bids, seed=seed, machines=machines)

    def context(self) -> dict[str, Any]:
        job = fund.latest_job(self.actor, self.round, fund.CHOICE)
        return {
            "round": self.round,
            "job": None if job is None else JobWords(job, "What the pot could buy"),
            "made": (job.result or {}).get("choice") if job is not None and job.state == Job.State.DONE else None,
            "refused": _refused(job, self.bids),
            "choices": choices_of(self.actor, self.round)[:10],
        }

    def act(self, form: Any) -> str:
        acts.choice_ask(actor=self.actor, round_id=self.round.public_id, asked=form.read(), now=self.now)
        return f"{self.address}choose/#state"


def _refused(job: Job | None, bids: list[Bid]) -> list[tuple[str, str]]:
    """Bids that could not be appraised and count as bringing nothing: title and reason."""
    if job is None or job.state != Job.State.DONE:
        return []
    titles = {str(bid.public_id): bid.title for bid in bids}
    return [(titles.get(row["bid"], row["bid"]), row["detail"]) for row in (job.result or {}).get("refused", [])]


class ChoiceView(Door):
    """What the pot could buy, at one moment."""

    template_name = "fund/choice.html"

    @cached_property
    def row(self) -> RoundChoice:
        return choice_get(self.actor, self.kwargs["choice_id"])

    def get(self, request: HttpRequest, choice_id: UUID) -> HttpResponse:
        row = self.row
        demand(self.actor, "choice.read", network_id=row.round.network_id)
        bids = {str(bid.public_id): bid for bid in fund.bids_before(self.actor, row.round)}
        question = orjson.loads(row.request).get("question", {})
        context = {
            "row": row,
            "round": row.round,
            "page": ChoicePage(orjson.loads(choice_text(row)), question, bids),
            "chooses": may(self.actor, "round.choose", network_id=row.round.network_id),
        }
        return self.show(request, context)
