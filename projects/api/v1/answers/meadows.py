"""Meadow projects, plans, forecasts, diaries, jobs."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

import orjson

from projects.api.v1.answers.base import Answer, Named, NounAnswer, named, noun
from projects.models import Forecast, Job, MeadowProject, PlanVersion, StageChange, WorkEntry
from projects.rules.access import Actor
from projects.rules.meadows import following
from projects.selectors.meadows import may_see_inside


class ProjectDetail(Answer):
    """What a group's own people know of a project."""

    cause: str | None
    handed_to: str
    baseline_id: UUID | None
    """The forecast that it is held against, fixed at sowing."""
    may_follow: list[str]
    """The stages that may come next."""


class ProjectAnswer(NounAnswer):
    """A meadow project."""

    name: str
    network: Named
    group: Named
    site: Named
    kind: str
    area_m2: float
    stage: str
    stage_since: date
    prepared_on: date | None
    sown_on: date | None
    detail: ProjectDetail | None
    """Null for strangers."""


class StoredPlanAnswer(Answer):
    """A plan as it was at some time."""

    id: UUID
    number: int
    plan: dict[str, Any]
    """As in an estimate; what was left out is left out here."""
    note: str
    created_at: datetime


class ForecastAnswer(Answer):
    """A stored forecast; its answer stands at its own address."""

    id: UUID
    project_id: UUID
    plan_number: int
    as_of: date
    baseline: bool
    checksum: str
    """SHA-256 of the answer's text."""
    release: str
    model_version: str
    draws: int
    random_seed: int
    world_seed: int
    created_at: datetime


class StepAnswer(Answer):
    """A step in the life of a project."""

    from_stage: str
    to_stage: str
    on: date
    cause: str | None
    note: str
    created_at: datetime


class Steps(Answer):
    """The life of a project."""

    results: list[StepAnswer]


class WorkAnswer(NounAnswer):
    """A line of the work diary."""

    project_id: UUID
    submission_id: UUID
    on: date
    what: str
    heads: int
    person_hours: float
    machine: str
    machine_hours: float
    cash_gbp: float
    in_kind_gbp: float
    note: str
    struck: bool
    """Struck out: readable, and counted no more."""
    struck_because: str


class JobAnswer(Answer):
    """Work that is done after the answer."""

    id: UUID
    kind: str
    state: str
    progress_done: int
    progress_total: int
    attempts: int
    last_error: str
    result: Any
    created_at: datetime
    finished_at: datetime | None


def project_answer(actor: Actor, row: MeadowProject) -> dict[str, Any]:
    detail = None
    if may_see_inside(actor, row):
        detail = ProjectDetail(
            cause=row.cause or None,
            handed_to=row.handed_to,
            baseline_id=row.baseline.public_id if row.baseline else None,
            may_follow=[str(step) for step in following(row.stage, sown=row.sown_on is not None)],
        )
    found = ProjectAnswer(
        **noun(row),
        name=row.name,
        network=named(row.network),
        group=named(row.group),
        site=named(row.site),
        kind=row.site.kind,
        area_m2=row.site.area_dm2 / 100,
        stage=row.stage,
        stage_since=row.stage_since,
        prepared_on=row.prepared_on,
        sown_on=row.sown_on,
        detail=detail,
    )
    return found.model_dump(mode="json")


def plan_answer(row: PlanVersion) -> dict[str, Any]:
    found = StoredPlanAnswer(
        id=row.public_id, number=row.number, plan=orjson.loads(row.plan), note=row.note, created_at=row.created_at
    )
    return found.model_dump(mode="json")


def forecast_answer(row: Forecast) -> dict[str, Any]:
    run = row.run
    found = ForecastAnswer(
        id=row.public_id,
        project_id=row.project.public_id,
        plan_number=row.plan.number,
        as_of=run.as_of,
        baseline=row.project.baseline_id == row.pk,
        checksum=run.answer_checksum,
        release=run.release,
        model_version=run.model_version,
        draws=run.draws,
        random_seed=run.random_seed,
        world_seed=run.world_seed,
        created_at=row.created_at,
    )
    return found.model_dump(mode="json")


def step_answer(row: StageChange) -> dict[str, Any]:
    found = StepAnswer(
        from_stage=row.from_stage,
        to_stage=row.to_stage,
        on=row.on,
        cause=row.cause or None,
        note=row.note,
        created_at=row.created_at,
    )
    return found.model_dump(mode="json")


def work_answer(row: WorkEntry) -> dict[str, Any]:
    found = WorkAnswer(
        **noun(row),
        project_id=row.project.public_id,
        submission_id=row.submission_id,
        on=row.on,
        what=row.what,
        heads=row.heads,
        person_hours=round(row.person_minutes / 60, 4),
        machine=row.machine,
        machine_hours=round(row.machine_minutes / 60, 4),
        cash_gbp=row.cash_pence / 100,
        in_kind_gbp=row.in_kind_pence / 100,
        note=row.note,
        struck=row.struck_at is not None,
        struck_because=row.struck_because,
    )
    return found.model_dump(mode="json")


def job_answer(row: Job) -> dict[str, Any]:
    found = JobAnswer(
        id=row.public_id,
        kind=row.kind,
        state=row.state,
        progress_done=row.progress_done,
        progress_total=row.progress_total,
        attempts=row.attempts,
        last_error=row.last_error,
        result=row.result,
        created_at=row.created_at,
        finished_at=row.finished_at,
    )
    return found.model_dump(mode="json")
