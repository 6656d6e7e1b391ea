"""A blend of seed for a project's ground, and putting it into the plan."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils.functional import cached_property

from modelling.errors import RequestRefused
from projects.contracts.base import read_as
from projects.contracts.meadows import PlanNew
from projects.dashboard.doors import FormDoor
from projects.dashboard.forms.base import typed
from projects.dashboard.forms.blends import BlendForm
from projects.dashboard.pages.blends import BlendPage
from projects.dashboard.views.meadows import OfProject
from projects.selectors.blends import blend_for, free_lots, targets_for
from projects.services import meadows


class BlendView(OfProject, FormDoor):
    """What to mix for this ground. Asking promises nothing; a second button writes it into the plan."""

    template_name = "county/blend.html"

    def load(self) -> None:
        self.demand("seed_blend.read")

    def form(self, data: Any = None) -> BlendForm:
        targets, _ = self.targets
        filled = {name: typed(value) for name, value in targets.items()}
        return BlendForm(data, initial={**filled, "version": self.project.version})

    @cached_property
    def targets(self) -> tuple[dict[str, float], list[str]]:
        """What the tables aim at here."""
        return targets_for(self.actor, self.project, self.today)

    def context(self) -> dict[str, Any]:
        _, notes = self.targets
        may_plan = self.may("plan.create")
        return {"project": self.project, "back": self.address, "may_plan": may_plan, "notes": notes}

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if "into_plan" in request.POST:
            return super().post(request, *args, **kwargs)
        self.load()
        form = self.form(request.POST)
        page = None
        if form.is_valid():
            try:
                page = self.page(form)
            except RequestRefused as refusal:
                form.add_refusals(refusal.errors)
        else:
            form.add_contract_faults()
        context = {**self.context(), "form": form, "page": page}
        return self.show(request, context, status=422 if page is None else 200)

    def page(self, form: BlendForm) -> BlendPage:
        """The blend that the form asks for."""
        answer = blend_for(self.actor, self.project, form.read(), self.today)
        names = {str(lot.public_id): lot.name for lot in free_lots(self.actor, self.project.network_id)}
        return BlendPage(answer, names)

    def act(self, form: BlendForm) -> str:
        """Write the blend as it is now into the next plan, beside all else that the plan says."""
        page = self.page(form)
        _, plan = self.plan()
        said = plan.model_dump(mode="json", exclude_unset=True) | {"seed": page.answer["seed"]}
        asked = read_as(PlanNew, {"plan": said, "note": "Seed as blended for this ground."})
        meadows.plan_create(
            actor=self.actor, project_id=self.project.public_id, asked=asked, if_version=form.if_version, now=self.now
        )
        messages.success(self.request, "The blend is in the plan. Its forecast has still to be made.")
        return self.address
