"""Meadow projects: beginning one, its page, its plan, forecasts, stages and diary."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import orjson
from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils.functional import cached_property

from modelling.contracts import Plan
from modelling.errors import RequestRefused
from projects.dashboard.doors import Door, FormDoor
from projects.dashboard.forms.meadows import (
    PlanVersionForm,
    ProjectChangeForm,
    ProjectForm,
    StageForm,
    StrikeForm,
    WorkForm,
    beyond_form,
    plan_said,
)
from projects.dashboard.pages.estimate import EstimatePage
from projects.dashboard.pages.meadows import (
    DiaryLine,
    ForecastLine,
    LifeLine,
    ProjectPage,
    diary_finding,
    plan_words,
)
from projects.dashboard.pages.photos import PhotoLine, PhotosPage
from projects.dashboard.views.returns import found_page
from projects.dashboard.views.sites import OfSite
from projects.errors import NotFound
from projects.models import MeadowProject, PlanVersion, WorkEntry
from projects.rules.access import demand, may
from projects.rules.permissions import obstacles
from projects.selectors.calendar import booked_lines
from projects.selectors.due import due_of_project
from projects.selectors.meadows import (
    diary_of,
    diary_totals,
    forecast_answer,
    forecast_get,
    forecasts_of,
    life_of,
    plans_of,
    project_get,
)
from projects.selectors.photos import photos_of_project
from projects.selectors.places import place_of
from projects.selectors.returns import returns_of
from projects.selectors.sites import permissions_held
from projects.services import diary, meadows

LINES_PER_PAGE = 50
COMPARED = 12


class ProjectNewView(OfSite, FormDoor):
    """Begin a project on a site."""

    template_name = "county/project_new.html"
    done = "The meadow project is begun."

    def load(self) -> None:
        self.demand("project.create")

    def form(self, data: Any = None) -> Any:
        return ProjectForm(data, site=self.site)

    def context(self) -> dict[str, Any]:
        return {"site": self.site}

    def act(self, form: Any) -> str:
        project = meadows.project_create(actor=self.actor, asked=form.read(), now=self.now)
        return f"/projects/{project.public_id}/"


class OfProject(Door):
    """A page of one project."""

    @cached_property
    def project(self) -> MeadowProject:
        return project_get(self.actor, self.kwargs["project_id"])

    def may(self, act: str) -> bool:
        """Whether the actor may do an act in this project."""
        return may(self.actor, act, group_id=self.project.group_id, network_id=self.project.network_id)

    def demand(self, act: str) -> None:
        """Raise NotAllowed unless the actor may do an act in this project."""
        demand(self.actor, act, group_id=self.project.group_id, network_id=self.project.network_id)

    @property
    def address(self) -> str:
        return f"/projects/{self.project.public_id}/"

    def plan(self) -> tuple[PlanVersion | None, Plan]:
        """The latest plan, as stored and as read."""
        row = plans_of(self.actor, self.project).first()
        return row, Plan.model_validate(orjson.loads(row.plan)) if row else Plan()


class ProjectView(OfProject):
    """A project's page."""

    template_name = "county/project.html"

    def get(self, request: HttpRequest, project_id: UUID) -> HttpResponse:
        project = self.project
        context: dict[str, Any] = {
            "project": project,
            "place": place_of(self.actor, project.site),
            "photos": PhotosPage(PhotoLine(photo) for photo in photos_of_project(self.actor, project)),
        }
        if not self.may("project.read_detail"):
            return self.show(request, context | {"page": ProjectPage(project), "inside": False})
        dues = due_of_project(self.actor, project, self.today)
        missing = obstacles(permissions_held(project.site), self.today) if project.sown_on is None else []
        row, plan = self.plan()
        rows = list(forecasts_of(self.actor, project))
        held = next((line for line in rows if line.pk == project.baseline_id), None)
        latest = next((line for line in rows if row is not None and line.plan_id == row.pk), None)
        totals = diary_totals(self.actor, project)
        heads = turns(self.actor, project)
        outcomes = list(returns_of(self.actor, project))
        context |= {
            "outcomes": outcomes,
            "found": found_page(self.actor, project, outcomes),
            "inside": True,
            "page": ProjectPage(project, missing, [here.due for here in dues]),
            # what is missing of permissions stands above, before a spade goes in
            "dues": [here.due for here in dues if not missing or not here.due.code.startswith("permission")],
            "obstacles": missing,
            "plan_row": row,
            "plan_words": plan_words(plan),
            "held": ForecastLine(held, True) if held else None,
            "latest": ForecastLine(latest, False) if latest and latest.pk != project.baseline_id else None,
            "forecast_count": len(rows),
            "booked": booked_lines(self.actor, project),
            "diary_finding": diary_finding(totals, heads),
            "totals": totals,
            "lines": [DiaryLine(entry) for entry in diary_of(self.actor, project)[:5]],
            "life": [LifeLine(change) for change in life_of(self.actor, project)],
            "may_change": self.may("project.change"),
            "may_forecast": self.may("forecast.create"),
            "may_write": self.may("diary.write"),
        }
        return self.show(request, context)


def turns(actor: Any, project: MeadowProject) -> int:
    """How many times somebody came: heads over all lines that count."""
    lines = diary_of(actor, project).filter(struck_at__isnull=True)
    return sum(lines.values_list("heads", flat=True))


class ProjectEditView(OfProject, FormDoor):
    """Rename a project."""

    template_name = "county/project_edit.html"
    done = "Saved."

    def load(self) -> None:
        self.demand("project.change")

    def form(self, data: Any = None) -> Any:
        return ProjectChangeForm(data, initial={"name": self.project.name, "version": self.project.version})

    def context(self) -> dict[str, Any]:
        return {"project": self.project}

    def act(self, form: Any) -> str:
        meadows.project_change(
            actor=self.actor,
            public_id=self.project.public_id,
            asked=form.read(),
            if_version=form.if_version,
            now=self.now,
        )
        return self.address


class PlanView(OfProject, FormDoor):
    """The next version of the plan."""

    template_name = "county/plan.html"
    done = "The plan is saved. Its forecast has still to be made."

    def load(self) -> None:
        self.demand("plan.create")

    def form(self, data: Any = None) -> Any:
        _, plan = self.plan()
        said = plan_said(plan)
        said["version"] = str(self.project.version)
        return PlanVersionForm(data, initial=said, site=self.project.site)

    def context(self) -> dict[str, Any]:
        row, plan = self.plan()
        return {"project": self.project, "plan_row": row, "beyond": beyond_form(plan)}

    def act(self, form: Any) -> str:
        meadows.plan_create(
            actor=self.actor,
            project_id=self.project.public_id,
            asked=form.read(),
            if_version=form.if_version,
            now=self.now,
        )
        return self.address


class ForecastsView(OfProject):
    """The stored forecasts of a project beside each other; POST makes one of the latest plan."""

    template_name = "county/forecasts.html"

    def get(self, request: HttpRequest, project_id: UUID) -> HttpResponse:
        return self.page(request)

    def page(self, request: HttpRequest, refused: list[str] | None = None, status: int = 200) -> HttpResponse:
        project = self.project
        rows = list(forecasts_of(self.actor, project))
        lines = [ForecastLine(row, row.pk == project.baseline_id) for row in rows]
        shown = [line for i, line in enumerate(lines) if i < COMPARED or line.held_against]
        plans = list(plans_of(self.actor, project).annotate(forecast_count=Count("forecasts")))
        context = {
            "project": project,
            "lines": shown,
            "count": len(rows),
            "plans": plans,
            "refused": refused or [],
            "may_forecast": self.may("forecast.create"),
        }
        return self.show(request, context, status=status)

    def post(self, request: HttpRequest, project_id: UUID) -> HttpResponse:
        self.demand("forecast.create")
        try:
            row = meadows.forecast_create(actor=self.actor, project_id=self.project.public_id, now=self.now)
        except RequestRefused as refusal:
            return self.page(request, [error.detail for error in refusal.errors], status=422)
        return HttpResponseRedirect(f"{self.address}forecasts/{row.public_id}/")


class ForecastView(OfProject):
    """A stored forecast, as it was answered."""

    template_name = "county/forecast.html"

    def get(self, request: HttpRequest, project_id: UUID, forecast_id: UUID) -> HttpResponse:
        self.demand("forecast.read")
        row = forecast_get(self.actor, forecast_id)
        if row.project_id != self.project.pk:
            raise NotFound(f"The project has no forecast {forecast_id}.")
        answer = forecast_answer(self.actor, forecast_id)
        context = {
            "project": self.project,
            "forecast": row,
            "answer": answer,
            "page": EstimatePage(answer),
            "held_against": row.pk == self.project.baseline_id,
        }
        return self.show(request, context)


class StepView(OfProject, FormDoor):
    """The next step in a project's life."""

    template_name = "county/step.html"
    done = "Noted."

    def load(self) -> None:
        self.demand("project.change")

    def form(self, data: Any = None) -> Any:
        rows = list(forecasts_of(self.actor, self.project)[:COMPARED])
        return StageForm(data, project=self.project, forecasts=rows, today=self.today)

    def context(self) -> dict[str, Any]:
        missing = obstacles(permissions_held(self.project.site), self.today) if self.project.sown_on is None else []
        return {"project": self.project, "page": ProjectPage(self.project), "obstacles": missing}

    def act(self, form: Any) -> str:
        meadows.project_step(
            actor=self.actor,
            project_id=self.project.public_id,
            asked=form.read(),
            if_version=form.if_version,
            now=self.now,
        )
        return self.address


class DiaryView(OfProject):
    """The work diary."""

    template_name = "county/diary.html"

    def get(self, request: HttpRequest, project_id: UUID) -> HttpResponse:
        project = self.project
        page = Paginator(diary_of(self.actor, project), LINES_PER_PAGE).get_page(request.GET.get("page"))
        context = {
            "project": project,
            "page": page,
            "lines": [DiaryLine(entry, self.may_strike(entry)) for entry in page.object_list],
            "finding": diary_finding(diary_totals(self.actor, project), turns(self.actor, project)),
            "may_write": self.may("diary.write"),
        }
        return self.show(request, context)

    def may_strike(self, entry: WorkEntry) -> bool:
        """Whether the actor may strike out this line: their own, or any for those who lead."""
        return may(
            self.actor,
            "diary.strike",
            group_id=self.project.group_id,
            network_id=self.project.network_id,
            owner_id=entry.created_by_id,
        )


class DiaryNewView(OfProject, FormDoor):
    """A new line of the diary; sent twice, it stands there once."""

    template_name = "county/diary_new.html"

    def load(self) -> None:
        self.demand("diary.write")

    def form(self, data: Any = None) -> Any:
        return WorkForm(data, today=self.today)

    def context(self) -> dict[str, Any]:
        return {"project": self.project}

    def act(self, form: Any) -> str:
        row, new = diary.work_add(actor=self.actor, project_id=self.project.public_id, asked=form.read(), now=self.now)
        messages.success(self.request, "The line is in the diary." if new else "This line was in the diary already.")
        return f"{self.address}diary/#line-{row.public_id}"


class StrikeView(OfProject, FormDoor):
    """Strike out a wrong line; it stays readable."""

    template_name = "county/strike.html"
    done = "The line is struck out and no longer counts."

    @cached_property
    def entry(self) -> WorkEntry:
        found = diary_of(self.actor, self.project).filter(public_id=self.kwargs["entry_id"]).first()
        if found is None:
            raise NotFound("The diary has no such line.")
        return found

    def load(self) -> None:
        demand(
            self.actor,
            "diary.strike",
            group_id=self.project.group_id,
            network_id=self.project.network_id,
            owner_id=self.entry.created_by_id,
        )

    def form(self, data: Any = None) -> Any:
        return StrikeForm(data, initial={"version": self.entry.version})

    def context(self) -> dict[str, Any]:
        return {"project": self.project, "line": DiaryLine(self.entry)}

    def act(self, form: Any) -> str:
        diary.work_strike(
            actor=self.actor,
            public_id=self.entry.public_id,
            asked=form.read(),
            if_version=form.if_version,
            now=self.now,
        )
        return f"{self.address}diary/#line-{self.entry.public_id}"
