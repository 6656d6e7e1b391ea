"""Meadow projects: their plans in versions, their stored forecasts, and the stages of their life."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final, Protocol
from uuid import UUID

import orjson
from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from modelling import services
from modelling.contracts import Plan
from modelling.errors import FieldError, RequestRefused
from modelling.models import ModelRun
from projects.choices import Stage
from projects.contracts.base import given
from projects.contracts.meadows import PlanNew, ProjectChange, ProjectNew, StageNew
from projects.errors import NotFound, RuleBroken, Stale, WrongState, broken
from projects.models import Forecast, Group, Job, MeadowProject, Network, PlanVersion, Site, StageChange
from projects.rules import meadows as rules
from projects.rules.access import Actor, demand, visible_projects, visible_sites
from projects.rules.jobs import JobRefused
from projects.rules.permissions import obstacles
from projects.selectors.model_inputs import request_of, with_contents
from projects.selectors.sites import permissions_held
from projects.services.audit import record, snapshot
from projects.services.base import found, save_changed, save_new, touched, unchanged_since
from projects.services.jobs import job_create
from projects.services.rollups import rollups_refresh

MOST_PROJECTS: Final = 1_000
MOST_PLANS: Final = 200
FORECASTS: Final = "forecasts"

# ------------------------------------------------------------------ projects and plans


def project_create(*, actor: Actor, asked: ProjectNew, now: datetime) -> MeadowProject:
    """Begin a project on a site; with a plan it is planned, without one an idea."""
    today = timezone.localdate(now)
    with transaction.atomic():
        site = found(Site, visible_sites(actor), asked.site_id, "site", hold=True, with_=("group", "network"))
        demand(actor, "project.create", group_id=site.group_id, network_id=site.network_id)
        if MeadowProject.objects.filter(group=site.group_id).count() >= MOST_PROJECTS:
            raise broken(
                "", "too_many", f"A group can have {MOST_PROJECTS} projects.", None, f"at most {MOST_PROJECTS}"
            )
        project = save_new(
            MeadowProject(
                network=site.network,
                group=site.group,
                site=site,
                name=asked.name,
                stage=Stage.IDEA if asked.plan is None else Stage.PLANNED,
                stage_since=today,
                created_at=now,
                updated_at=now,
            )
        )
        _add_plan(actor, project, asked.plan or Plan(), "", now)
        record(
            actor, now, "project_create", "project", project.public_id,
            network=site.network_id, group=site.group_id, after=snapshot(project),
        )  # fmt: skip
    return project


def project_change(
    *, actor: Actor, public_id: UUID, asked: ProjectChange, if_version: int | None, now: datetime
) -> MeadowProject:
    """Rename a project."""
    with transaction.atomic():
        project = _held(actor, public_id, "project.change", if_version)
        before = snapshot(project)
        for name, value in given(asked).items():
            setattr(project, name, value)
        save_changed(project, now)
        record(
            actor, now, "project_change", "project", project.public_id,
            network=project.network_id, group=project.group_id, before=before, after=snapshot(project),
        )  # fmt: skip
    return project


def plan_create(
    *, actor: Actor, project_id: UUID, asked: PlanNew, if_version: int | None, now: datetime
) -> PlanVersion:
    """Add the next version of a plan. An idea becomes planned by it; earlier versions and forecasts stay."""
    with transaction.atomic():
        project = _held(actor, project_id, "plan.create", if_version)
        if project.stage in {Stage.HANDED_OVER}:
            raise WrongState("This project was handed over; its plan is closed.")
        if project.plans.count() >= MOST_PLANS:
            raise broken("/plan", "too_many", f"A project can have {MOST_PLANS} plans.", None, f"at most {MOST_PLANS}")
        plan = _add_plan(actor, project, asked.plan, asked.note, now)
        if project.stage == Stage.IDEA:
            _step(actor, project, Stage.PLANNED, timezone.localdate(now), now)
        touched(project, now)
        rollups_refresh([project.pk], now)
        record(
            actor, now, "plan_create", "plan", plan.public_id,
            network=project.network_id, group=project.group_id, after={"number": plan.number, "note": plan.note},
        )  # fmt: skip
    return plan


def _add_plan(actor: Actor, project: MeadowProject, plan: Plan, note: str, now: datetime) -> PlanVersion:
    """Check that a plan names what the tables know, and add it under the next number."""
    written = plan.model_dump(mode="json", exclude_unset=True)
    filled = with_contents(project.network_id, written, timezone.localdate(now))
    services.read_estimate({"site": {"area_m2": project.site.area_dm2 / 100}, "plan": filled})
    row = _next_plan(actor, project, plan, note, now)
    row.full_clean(validate_unique=False, validate_constraints=False)
    row.save()
    return row


def _next_plan(actor: Actor, project: MeadowProject, plan: Plan, note: str, now: datetime) -> PlanVersion:
    """A plan under the next number, not yet saved."""
    last = project.plans.order_by("-number").values_list("number", flat=True).first()
    return PlanVersion(
        project=project,
        number=(last or 0) + 1,
        plan=orjson.dumps(plan.model_dump(mode="json", exclude_unset=True), option=orjson.OPT_SORT_KEYS).decode(),
        note=note,
        created_by_id=actor.user_id,
        created_at=now,
    )


def _held(actor: Actor, public_id: UUID, act: str, if_version: int | None) -> MeadowProject:
    project = found(
        MeadowProject, visible_projects(actor), public_id, "project", hold=True, with_=("site", "network", "group")
    )
    demand(actor, act, group_id=project.group_id, network_id=project.network_id)
    unchanged_since(project, if_version)
    return project


# ------------------------------------------------------------------ forecasts


def forecast_create(*, actor: Actor, project_id: UUID, now: datetime, plan_number: int | None = None) -> Forecast:
    """Work out and store the forecast of a plan, by default the latest; the same day gives the same one.

    Raises
    ------
    RequestRefused
        If the plan cannot be carried out on the site; pointers start at the request, such as /plan/sow_on.
    """
    project = found(MeadowProject, visible_projects(actor), project_id, "project", with_=("site", "network"))
    demand(actor, "forecast.create", group_id=project.group_id, network_id=project.network_id)
    return _forecast(actor, project, _plan_of(project, plan_number), now)


def _plan_of(project: MeadowProject, number: int | None) -> PlanVersion:
    plans = project.plans.order_by("-number")
    plan = plans.first() if number is None else plans.filter(number=number).first()
    if plan is None:
        raise NotFound(f"The project has no plan {number}.")
    return plan


def _forecast(actor: Actor, project: MeadowProject, plan: PlanVersion, now: datetime) -> Forecast:
    """Work it out outside any transaction, then store which run it is."""
    today = timezone.localdate(now)
    run = services.run_estimate_stored(request_of(project, plan, today), today=today)
    with transaction.atomic():
        # held, so that two that ask at once add one row
        MeadowProject.objects.select_for_update().get(pk=project.pk)
        there = Forecast.objects.filter(project=project, plan=plan, run=run).first()
        if there is not None:
            return there
        row = Forecast(project=project, plan=plan, run=run, created_by_id=actor.user_id, created_at=now)
        row.save()
        record(
            actor, now, "forecast_create", "forecast", row.public_id,
            network=project.network_id, group=project.group_id,
            after={"plan": plan.number, "checksum": run.answer_checksum},
        )  # fmt: skip
    return row


def network_forecast_all(*, actor: Actor, network_id: UUID, now: datetime) -> Job:
    """Ask for a forecast of every live project of a network; answers at once with the job."""
    network = found(Network, Q(), network_id, "network")
    demand(actor, "network.forecast_all", network_id=network.pk)
    projects = MeadowProject.objects.filter(network=network, stage__in=rules.LIVE)
    return _forecast_all(actor, network, None, projects, now)


def group_forecast_all(*, actor: Actor, group_id: UUID, now: datetime) -> Job:
    """Ask for a forecast of every live project of a group."""
    group = found(Group, Q(closed_at__isnull=True), group_id, "group", with_=("network",))
    demand(actor, "group.forecast_all", group_id=group.pk, network_id=group.network_id)
    projects = MeadowProject.objects.filter(group=group, stage__in=rules.LIVE)
    return _forecast_all(actor, group.network, group, projects, now)


def _forecast_all(actor: Actor, network: Network, group: Group | None, projects: Any, now: datetime) -> Job:
    with transaction.atomic():
        named = [
            str(public_id)
            for public_id in projects.order_by("created_at", "public_id").values_list("public_id", flat=True)
        ]
        if not named:
            raise WrongState("There is no project under way to forecast.")
        job = job_create(
            kind=FORECASTS,
            payload={"projects": named},
            actor_label="a forecast of all projects",
            actor_id=actor.user_id,
            network=network,
            now=now,
        )
        record(
            actor,
            now,
            "forecast_all",
            "job",
            job.public_id,
            network=network,
            group=group,
            after={"projects": len(named)},
        )
    return job


def check_forecasts(payload: Any) -> int:
    """Return how many projects a payload names; raises JobRefused if it names none."""
    named = payload.get("projects") if isinstance(payload, dict) else None
    if not isinstance(named, list) or not named or not all(_is_id(public_id) for public_id in named):
        raise JobRefused("A batch of forecasts is a list of the projects' ids.")
    return len(named)


def _is_id(text: Any) -> bool:
    try:
        return isinstance(text, str) and str(UUID(text)) == text
    except ValueError:
        return False


class Hold(Protocol):
    """What the batch asks of its worker's lease."""

    def progress(self, done: int) -> None:
        """Say how much is done."""

    def hand_back_when_time_is_up(self) -> None:
        """Stop here if the slice is over."""


def forecasts(job: Job, lease: Hold) -> dict[str, Any]:
    """Forecast each project of the payload's latest plan, as of the day the job was made, skipping those done.

    Returns
    -------
    dict
        `made`: how many projects have their forecast; `refused`: project and reason of those that cannot have one.
    """
    actor = Actor(user_id=job.actor_id, via="task")
    waiting = list(job.payload["projects"])
    refused: list[dict[str, str]] = []
    newest = Forecast.objects.order_by("-pk").values_list("pk", flat=True).first() or 0
    done = 0
    for public_id in waiting:
        is_new = False
        project = MeadowProject.objects.select_related("site", "network").filter(public_id=UUID(public_id)).first()
        if project is None:
            refused.append({"project": public_id, "detail": "The project is gone."})
        else:
            try:
                forecast = _forecast(actor, project, _plan_of(project, None), job.created_at)
                is_new = forecast.pk > newest
            except RequestRefused as error:
                refused.append({"project": public_id, "detail": " ".join(fault.detail for fault in error.errors)})
        done += 1
        lease.progress(done)
        if is_new and done < len(waiting):
            # only after something new, so that each slice gets further than the last
            lease.hand_back_when_time_is_up()
    return {"made": done - len(refused), "refused": refused}


# ------------------------------------------------------------------ stages


@dataclass(frozen=True)
class _AsSown:
    """The latest plan with the day of sowing as noted, worked out and not yet stored."""

    plan: PlanVersion
    run: ModelRun


def project_step(
    *, actor: Actor, project_id: UUID, asked: StageNew, if_version: int | None, now: datetime
) -> MeadowProject:
    """Take a project to its next stage. Sowing fixes the forecast that it will be held against.

    Where the latest plan says no day of sowing, or one more than about a fortnight off, sowing adds a version of the
    plan with the day as noted, and its forecast is the one held against; a forecast that is named is taken as it is.
    """
    today = timezone.localdate(now)
    as_sown = None
    if asked.to == Stage.SOWN and asked.forecast_id is None:
        as_sown = _forecast_before_sowing(actor, project_id, asked, if_version, now)
    with transaction.atomic():
        project = _held(actor, project_id, "project.change", if_version)
        before = snapshot(project)
        _check_step(project, asked, today)
        more: dict[str, Any] = {}
        if asked.to == Stage.SOWN:
            project.baseline = (
                _baseline(project, asked.forecast_id) if as_sown is None else _kept(actor, project, as_sown, now)
            )
            if as_sown is not None:
                more = {"plan": as_sown.plan.number, "plan_note": as_sown.plan.note}
        _step(actor, project, Stage(asked.to), asked.on, now, asked)
        save_changed(project, now)
        rollups_refresh([project.pk], now)
        record(
            actor, now, "project_step", "project", project.public_id,
            network=project.network_id, group=project.group_id, before=before, after=snapshot(project) | more,
        )  # fmt: skip
    return project


def _forecast_before_sowing(
    actor: Actor, project_id: UUID, asked: StageNew, if_version: int | None, now: datetime
) -> _AsSown | None:
    """Work out the forecast of what was sown, unless the step would be refused anyway.

    If the latest plan says the day, make sure that it has a forecast and return None.
    """
    project = found(MeadowProject, visible_projects(actor), project_id, "project", with_=("site", "network"))
    demand(actor, "project.change", group_id=project.group_id, network_id=project.network_id)
    unchanged_since(project, if_version)
    today = timezone.localdate(now)
    _check_step(project, asked, today)
    latest = _plan_of(project, None)
    changed = rules.as_sown(Plan.model_validate_json(latest.plan), asked.on)
    if changed is not None:
        plan = _next_plan(actor, project, *changed, now)
        return _AsSown(plan, services.run_estimate_stored(request_of(project, plan, today), today=today))
    if not latest.forecasts.exists():
        _forecast(actor, project, latest, now)
    return None


def _kept(actor: Actor, project: MeadowProject, as_sown: _AsSown, now: datetime) -> Forecast:
    """Store the plan as it was sown and its forecast."""
    _unsown(project)
    last = project.plans.order_by("-number").values_list("number", flat=True).first() or 0
    if last + 1 != as_sown.plan.number:
        raise Stale("Somebody changed the plan in the meantime; look at it again, then note the sowing.")
    as_sown.plan.save()
    row = Forecast(project=project, plan=as_sown.plan, run=as_sown.run, created_by_id=actor.user_id, created_at=now)
    row.save()
    return row


def _unsown(project: MeadowProject) -> None:
    if project.baseline_id is not None:
        raise WrongState("The forecast this project is held against was fixed when it was sown; it stays.")


def _check_step(project: MeadowProject, asked: StageNew, today: date) -> None:
    """Raise RuleBroken or WrongState unless the step may be taken."""
    sown = project.sown_on is not None
    if not rules.may_follow(project.stage, asked.to, sown=sown):
        words = ", ".join(step.label.lower() for step in rules.following(project.stage, sown=sown)) or "nothing"
        raise WrongState(
            f"After “{Stage(project.stage).label.lower()}” may follow: {words}. "
            f"Read: “{Stage(asked.to).label.lower()}”."
        )
    faults = list(_step_faults(project, asked, today))
    if faults:
        raise RuleBroken(faults[0].detail, faults)
    if asked.to in rules.NEEDS_PERMISSIONS:
        missing = obstacles(permissions_held(project.site), asked.on)
        if missing:
            raise RuleBroken(
                "Not all permissions are there yet. " + " ".join(missing),
                [
                    FieldError("/to", "permissions_missing", text, asked.to, "the permission, in writing")
                    for text in missing
                ],
            )


def _step_faults(project: MeadowProject, asked: StageNew, today: date) -> Any:
    on = asked.on.isoformat()
    if asked.on > today:
        yield FieldError("/on", "in_future", f"{on} is still to come; note it once it is so.", on, "a day up to today")
    if asked.on < project.stage_since:
        since = project.stage_since.isoformat()
        yield FieldError(
            "/on", "contradiction", f"{on} is before the present stage began, {since}.", on, f"from {since} on"
        )
    if asked.to in rules.NEEDS_CAUSE and asked.cause is None:
        yield FieldError("/cause", "missing", "Say what the cause was; “unknown” will do.", None, "a cause")
    if asked.to not in rules.NEEDS_CAUSE and asked.cause is not None:
        yield FieldError("/cause", "not_wanted", "A cause belongs to an end only.", asked.cause, "no cause")
    if asked.to == Stage.HANDED_OVER and not asked.handed_to:
        yield FieldError("/handed_to", "missing", "Say who looks after the meadow now.", None, "a group or an office")
    if asked.to != Stage.HANDED_OVER and asked.handed_to:
        yield FieldError("/handed_to", "not_wanted", "Only a handover names a new keeper.", asked.handed_to, "nothing")
    if asked.forecast_id is not None and asked.to != Stage.SOWN:
        yield FieldError(
            "/forecast_id", "not_wanted", "Only sowing fixes a forecast.", str(asked.forecast_id), "nothing"
        )


def _baseline(project: MeadowProject, forecast_id: UUID | None) -> Forecast:
    _unsown(project)
    rows = project.forecasts.select_related("plan")
    if forecast_id is not None:
        chosen = rows.filter(public_id=forecast_id).first()
        if chosen is None:
            raise broken(
                "/forecast_id", "unknown", f"The project has no forecast {forecast_id}.", str(forecast_id),
                "one of the project's forecasts",
            )  # fmt: skip
        return chosen
    latest = rows.order_by("-plan__number", "-created_at", "-id").first()
    if latest is None:
        raise WrongState("The project has no forecast yet; make one, then note the sowing.")
    return latest


def _step(
    actor: Actor, project: MeadowProject, to: Stage, on: date, now: datetime, asked: StageNew | None = None
) -> None:
    """Write the step on the project, without saving it unless it stands alone, and add it to the project's life."""
    StageChange(
        project=project,
        from_stage=project.stage,
        to_stage=to,
        on=on,
        cause=(asked.cause or "") if asked else "",
        note=asked.note if asked else "",
        created_by_id=actor.user_id,
        created_at=now,
    ).save()
    project.stage, project.stage_since = to, on
    project.cause = (asked.cause or "") if asked else ""
    if to == Stage.PREPARED:
        project.prepared_on = on
    if to in {Stage.SOWN, Stage.RESOWN}:
        project.sown_on = project.sown_on or on
    if to == Stage.HANDED_OVER and asked is not None:
        project.handed_to = asked.handed_to or ""
    if asked is None:
        MeadowProject.objects.filter(pk=project.pk).update(stage=to, stage_since=on, cause="")
