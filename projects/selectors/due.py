"""What is due in groups and networks: the facts that the rules decide on."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from uuid import UUID

import orjson
from django.db.models import Exists, OuterRef, Prefetch, QuerySet, Subquery

from modelling.models import ModelRun
from modelling.selectors import run_answer_text
from projects.choices import GroupRole
from projects.models import (
    Forecast,
    Group,
    KitBooking,
    MeadowProject,
    Membership,
    Network,
    OutcomeReturn,
    Permission,
    PlanVersion,
    Site,
    SoilTest,
    WorkEntry,
)
from projects.rules import due as rules
from projects.rules.access import Actor, demand, visible_inner
from projects.rules.due import Due, Entry, KitFact, PermissionFact, ProjectFact, ReturnFact
from projects.rules.kit import HOLDING
from projects.rules.meadows import LIVE
from projects.selectors.kit import span_of
from projects.selectors.returns import waiting_in
from projects.selectors.sites import label_of

#: the answer itself is long, and read once
_RUN = ModelRun.objects.only("public_id")
#: a county's calendars
_KEPT = 4096


@dataclass(frozen=True)
class DueHere:
    """Something due, and where."""

    due: Due
    site: Site
    project: MeadowProject | None = None


@lru_cache(maxsize=_KEPT)
def calendar_of_run(public_id: UUID) -> tuple[Entry, ...]:
    """The calendar of a stored answer, which never changes."""
    return tuple(rules.entries_of(orjson.loads(run_answer_text(public_id))["calendar"]))


def calendar_of(project: MeadowProject, forecasts: Sequence[Forecast]) -> Sequence[Entry]:
    """The calendar a project goes by: of the forecast it is held against, else of the latest of its latest plan."""
    if project.baseline_id is not None:
        chosen = next((row for row in forecasts if row.pk == project.baseline_id), None)
    else:
        chosen = forecasts[0] if forecasts else None
    return calendar_of_run(chosen.run.public_id) if chosen is not None else ()


def due_of_group(actor: Actor, group: Group, today: date) -> list[DueHere]:
    """What is due on a group's ground, by day; raises NotAllowed for strangers."""
    demand(actor, "group.home", group_id=group.pk, network_id=group.network_id)
    return _due(Site.objects.filter(group=group), today)


def due_of_site(actor: Actor, site: Site, today: date) -> list[DueHere]:
    """What is due on one site; raises NotAllowed for strangers."""
    demand(actor, "site.read_detail", group_id=site.group_id, network_id=site.network_id)
    return _due(Site.objects.filter(pk=site.pk), today)


def due_of_project(actor: Actor, project: MeadowProject, today: date) -> list[DueHere]:
    """What is due in one project and on its site; raises NotAllowed for strangers."""
    demand(actor, "project.read_detail", group_id=project.group_id, network_id=project.network_id)
    return [
        here
        for here in _due(Site.objects.filter(pk=project.site_id), today)
        if here.project is None or here.project.pk == project.pk
    ]


def _due(sites: QuerySet[Site], today: date) -> list[DueHere]:
    """So many queries, and the answers not read before, whatever the number of sites."""
    forecasts = (
        Forecast.objects.select_related("plan")
        .prefetch_related(Prefetch("run", _RUN))
        .order_by("-plan__number", "-created_at", "-pk")
    )
    projects = MeadowProject.objects.prefetch_related("plans", Prefetch("forecasts", forecasts)).order_by("name", "pk")
    rows = list(
        sites.order_by("name", "pk")
        .select_related("group", "network")
        .prefetch_related(
            Prefetch("projects", projects),
            Prefetch("permissions", Permission.objects.order_by("pk")),
            Prefetch("soil_tests", SoilTest.objects.only("pk", "site_id")),
        )
    )
    done = _done(rows, today)
    told = _told(rows, today)
    kit = _kit(rows)
    found = [here for site in rows for here in _on_site(site, done, told, kit, today)]
    by_due = {id(here.due): here for here in found}
    return [by_due[id(due)] for due in rules.in_order(here.due for here in found)]


def _done(sites: Iterable[Site], today: date) -> dict[int, dict[str, list[date]]]:
    """Days of this year's diary lines that count, by project and by what was done."""
    lines = WorkEntry.objects.filter(
        project__site__in=[site.pk for site in sites], struck_at__isnull=True, on__year=today.year
    ).values_list("project_id", "what", "on")
    found: dict[int, dict[str, list[date]]] = defaultdict(lambda: defaultdict(list))
    for project_id, what, on in lines:
        found[project_id][what].append(on)
    return found


def _told(sites: Iterable[Site], today: date) -> dict[int, list[ReturnFact]]:
    """Returns of this year and the last with what waits in them, by project."""
    years = (today.year - 1, today.year)
    rows = list(OutcomeReturn.objects.filter(project__site__in=[site.pk for site in sites], year__in=years))
    waits = waiting_in(rows)
    found: dict[int, list[ReturnFact]] = defaultdict(list)
    for row in sorted(rows, key=lambda row: row.year):
        waiting = waits.get(row.pk)
        unanswered, names = (waiting.unanswered, waiting.names) if waiting else (0, 0)
        found[row.project_id].append(ReturnFact(row.year, row.state, unanswered, names))
    return found


def _kit(sites: Iterable[Site]) -> dict[int, list[KitFact]]:
    """Bookings that hold half-days, by project."""
    rows = KitBooking.objects.filter(project__site__in=[site.pk for site in sites], state__in=HOLDING)
    found: dict[int, list[KitFact]] = defaultdict(list)
    for row in rows.select_related("item").order_by("first_on", "first_half", "pk"):
        fact = KitFact(row.item.name, row.state, str(span_of(row)), row.first_on, row.last_on, row.to_be_shown)
        found[row.project_id].append(fact)
    return found


def _on_site(
    site: Site,
    done: dict[int, dict[str, list[date]]],
    told: dict[int, list[ReturnFact]],
    kit: dict[int, list[KitFact]],
    today: date,
) -> list[DueHere]:
    projects = list(site.projects.all())
    live = [project for project in projects if project.stage in LIVE]
    permissions = [
        PermissionFact(label_of(row), row.need, row.state, row.asked_on, row.expires_on)
        for row in site.permissions.all()
    ]
    has_soil_test = bool(site.soil_tests.all())
    found = [
        DueHere(due, site)
        for due in rules.due_on_site(permissions, has_soil_test=has_soil_test, under_way=bool(live), today=today)
    ]
    for project in projects:
        forecasts = list(project.forecasts.all())
        latest = max((plan.number for plan in project.plans.all()), default=0)
        of_latest = [row for row in forecasts if row.plan.number == latest]
        fact = ProjectFact(
            stage=project.stage,
            stage_since=project.stage_since,
            has_forecast=bool(of_latest),
            has_baseline=project.baseline_id is not None,
            calendar=calendar_of(project, forecasts if project.baseline_id else of_latest),
            done=done.get(project.pk, {}),
            sown_on=project.sown_on,
            returns=told.get(project.pk, ()),
            kit=kit.get(project.pk, ()),
        )
        found += [DueHere(due, site, project) for due in rules.due_in_project(fact, today)]
    return found


# ------------------------------------------------------------------ a network's own


@dataclass(frozen=True)
class NetworkDue:
    """What a network's coordinators have to see to."""

    groups_without_lead: list[Group]
    groups_without_site: list[Group]
    #: live projects whose latest plan has no forecast
    projects_without_forecast: int
    #: sown without a forecast to hold against
    without_baseline: list[MeadowProject]
    #: live projects
    live: int
    no_groups: bool


def due_of_network(actor: Actor, network: Network) -> NetworkDue:
    """What waits for a network's coordinators; raises NotAllowed for others."""
    demand(actor, "network.forecast_all", network_id=network.pk)
    groups = Group.objects.filter(network=network, closed_at__isnull=True).select_related("network")
    leads = Membership.objects.filter(group__network=network, role=GroupRole.LEAD, until__isnull=True)
    led, with_site = (
        set(leads.values_list("group_id", flat=True)),
        set(Site.objects.filter(network=network).values_list("group_id", flat=True)),
    )
    projects = MeadowProject.objects.filter(visible_inner(actor), network=network, stage__in=LIVE)
    latest = PlanVersion.objects.filter(project=OuterRef("pk")).order_by("-number").values("pk")[:1]
    has_forecast = Exists(Forecast.objects.filter(plan=OuterRef("latest_plan")))
    planned = projects.annotate(latest_plan=Subquery(latest)).filter(latest_plan__isnull=False)
    sown_without = projects.filter(sown_on__isnull=False, baseline__isnull=True).select_related("site", "group")
    return NetworkDue(
        [group for group in groups if group.pk not in led],
        [group for group in groups if group.pk not in with_site],
        planned.filter(~has_forecast).count(),
        list(sown_without),
        projects.count(),
        not groups,
    )
