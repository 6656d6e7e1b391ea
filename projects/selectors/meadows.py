"""Reads of meadow projects, their plans, forecasts and diaries."""

from __future__ import annotations

from datetime import date
from typing import Any
from uuid import UUID

import orjson
from django.db.models import Prefetch, QuerySet, Sum

from modelling.models import ModelRun
from modelling.selectors import run_answer_text
from projects.errors import NotFound
from projects.models import Forecast, MeadowProject, PlanVersion, StageChange, WorkEntry
from projects.rules.access import Actor, demand, may, visible_inner, visible_projects

#: what a line about a forecast needs of its run; the answer itself is long
_RUN = ModelRun.objects.only(
    "public_id", "answer_checksum", "as_of", "release", "model_version", "draws", "random_seed", "world_seed"
)


def project_list(actor: Actor) -> QuerySet[MeadowProject]:
    """Projects the actor may see, with what a line about each shows."""
    return MeadowProject.objects.filter(visible_projects(actor)).select_related("network", "group", "site", "baseline")


def project_get(actor: Actor, public_id: UUID) -> MeadowProject:
    """One project; raises NotFound."""
    project = project_list(actor).filter(public_id=public_id).first()
    if project is None:
        raise NotFound(f"There is no project {public_id}, or none that you may see.")
    return project


def may_see_inside(actor: Actor, project: MeadowProject) -> bool:
    """Whether the actor may see plan, forecasts and diary."""
    return may(actor, "project.read_detail", group_id=project.group_id, network_id=project.network_id)


def plans_of(actor: Actor, project: MeadowProject) -> QuerySet[PlanVersion]:
    """Versions of a project's plan, the latest first; raises NotAllowed for strangers."""
    demand(actor, "plan.read", group_id=project.group_id, network_id=project.network_id)
    return PlanVersion.objects.filter(project=project).order_by("-number")


def forecast_list(actor: Actor) -> QuerySet[Forecast]:
    """Forecasts of the actor's own projects, without the long answers."""
    seen = visible_inner(actor, "project__group", "project__network")
    return Forecast.objects.filter(seen).select_related("plan", "project").prefetch_related(Prefetch("run", _RUN))


def forecasts_of(actor: Actor, project: MeadowProject) -> QuerySet[Forecast]:
    """Stored forecasts of a project, the latest first; raises NotAllowed for strangers."""
    demand(actor, "forecast.read", group_id=project.group_id, network_id=project.network_id)
    return forecast_list(actor).filter(project=project).order_by("-created_at", "-pk")


def forecast_get(actor: Actor, public_id: UUID) -> Forecast:
    """One forecast; raises NotFound."""
    forecast = forecast_list(actor).filter(public_id=public_id).first()
    if forecast is None:
        raise NotFound(f"There is no forecast {public_id}, or none that you may see.")
    return forecast


def forecast_text(actor: Actor, public_id: UUID) -> str:
    """The stored answer of a forecast, letter for letter; raises NotFound."""
    return run_answer_text(forecast_get(actor, public_id).run.public_id)


def forecast_answer(actor: Actor, public_id: UUID) -> dict[str, Any]:
    """The stored answer of a forecast, read; raises NotFound."""
    answer: dict[str, Any] = orjson.loads(forecast_text(actor, public_id))
    return answer


def life_of(actor: Actor, project: MeadowProject) -> QuerySet[StageChange]:
    """The steps of a project's life, the latest first; raises NotAllowed for strangers."""
    demand(actor, "project.read_detail", group_id=project.group_id, network_id=project.network_id)
    return StageChange.objects.filter(project=project).order_by("-on", "-pk")


def work_list(actor: Actor) -> QuerySet[WorkEntry]:
    """Lines of the diaries the actor may see."""
    seen = visible_inner(actor, "project__group", "project__network")
    return WorkEntry.objects.filter(seen).select_related("project")


def work_get(actor: Actor, public_id: UUID) -> WorkEntry:
    """One line of a diary; raises NotFound."""
    entry = work_list(actor).filter(public_id=public_id).first()
    if entry is None:
        raise NotFound(f"There is no line {public_id}, or none that you may see.")
    return entry


def diary_of(actor: Actor, project: MeadowProject) -> QuerySet[WorkEntry]:
    """Lines of a project's diary, the latest first; raises NotAllowed for strangers."""
    demand(actor, "diary.read", group_id=project.group_id, network_id=project.network_id)
    return work_list(actor).filter(project=project).order_by("-on", "-pk")


def diary_totals(actor: Actor, project: MeadowProject, *, since: date | None = None) -> dict[str, int]:
    """Sums over the lines that count: person_minutes, machine_minutes, cash_pence, in_kind_pence."""
    rows = diary_of(actor, project).filter(struck_at__isnull=True)
    if since is not None:
        rows = rows.filter(on__gte=since)
    names = ("person_minutes", "machine_minutes", "cash_pence", "in_kind_pence")
    found = rows.aggregate(**{name: Sum(name) for name in names})
    return {name: found[name] or 0 for name in names}
