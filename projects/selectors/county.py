"""The county this year, in figures. What everybody reads is computed from open sites only."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from django.db.models import Count, Max, Q, QuerySet, Sum
from django.db.models.functions import Coalesce

from projects.choices import Publicity, Stage
from projects.models import District, Group, MeadowProject, Network, Site, WorkEntry
from projects.rules.access import Actor, demand, may, visible_sites
from projects.rules.meadows import LIVE

#: hours are summed for everybody once so many groups have a part in them: fewer would tell of one
LEAST_GROUPS: Final = 3
_OPEN: Final = ~Q(site__publicity=Publicity.PRIVATE)


@dataclass(frozen=True)
class Meadows:
    """Meadows under way."""

    groups: int
    meadows: int
    area_m2: float
    by_stage: dict[str, int]

    def count(self, *stages: str) -> int:
        """How many stand at one of these stages."""
        return sum(self.by_stage.get(stage, 0) for stage in stages)


@dataclass(frozen=True)
class Year:
    """What was done in a year."""

    year: int
    prepared: Sequence[MeadowProject]
    sown: Sequence[MeadowProject]
    #: None where too few groups have a part in it to say
    person_hours: float | None


@dataclass(frozen=True)
class DistrictLine:
    """A district and what there is in it, of open sites."""

    name: str
    public_id: str
    groups: int
    sites: int
    meadows: int


def meadows_of(actor: Actor, network: Network) -> Meadows:
    """Meadows under way on open sites, alike for everybody."""
    return _meadows(network, _OPEN)


def meadows_exactly(actor: Actor, network: Network) -> Meadows | None:
    """The same with private sites, for the network's coordinators; None for others."""
    if not may(actor, "network.forecast_all", network_id=network.pk):
        return None
    return _meadows(network, Q())


def _meadows(network: Network, which: Q) -> Meadows:
    rows = list(
        MeadowProject.objects.filter(which, network=network, stage__in=LIVE).values_list("stage", "group_id", "site_id")
    )
    sites = {site for _, _, site in rows}
    area = Site.objects.filter(pk__in=sites).aggregate(total=Sum(Coalesce("net_area_dm2", "area_dm2")))["total"] or 0
    return Meadows(len({group for _, group, _ in rows}), len(rows), area / 100, Counter(stage for stage, _, _ in rows))


def year_of(actor: Actor, network: Network, today: date) -> Year:
    """What was done this year on open sites, alike for everybody."""
    projects = MeadowProject.objects.filter(_OPEN, network=network).select_related("site", "group")
    work = WorkEntry.objects.filter(
        ~Q(project__site__publicity=Publicity.PRIVATE),
        project__network=network,
        struck_at__isnull=True,
        on__year=today.year,
        person_minutes__gt=0,
    )
    groups = work.values("project__group").distinct().count()
    minutes = work.aggregate(total=Sum("person_minutes"))["total"] or 0
    return Year(
        today.year,
        list(projects.filter(prepared_on__year=today.year).order_by("prepared_on", "pk")),
        list(projects.filter(sown_on__year=today.year).order_by("sown_on", "pk")),
        minutes / 60 if groups >= LEAST_GROUPS else None,
    )


def hours_exactly(actor: Actor, network: Network, year: int) -> float:
    """Person-hours of a year on all sites; raises NotAllowed for all but the network's coordinators."""
    demand(actor, "network.forecast_all", network_id=network.pk)
    work = WorkEntry.objects.filter(project__network=network, struck_at__isnull=True, on__year=year)
    return (work.aggregate(total=Sum("person_minutes"))["total"] or 0) / 60


def districts_with_counts(actor: Actor, network: Network) -> list[DistrictLine]:
    """Districts, each with its groups, open sites and meadows under way on them."""
    is_open = ~Q(sites__publicity=Publicity.PRIVATE)
    rows = District.objects.filter(network=network).annotate(
        group_count=Count("groups", filter=Q(groups__closed_at__isnull=True), distinct=True),
        site_count=Count("sites", filter=is_open, distinct=True),
        meadow_count=Count("sites__projects", filter=is_open & Q(sites__projects__stage__in=LIVE), distinct=True),
    )
    return [
        DistrictLine(row.name, str(row.public_id), row.group_count, row.site_count, row.meadow_count) for row in rows
    ]


def groups_in(actor: Actor, network: Network) -> QuerySet[Group]:
    """Groups of a network, each with its open sites."""
    open_sites = Count("sites", filter=~Q(sites__publicity=Publicity.PRIVATE))
    found = Group.objects.filter(network=network, closed_at__isnull=True).select_related("district")
    return found.annotate(open_sites=open_sites)


@dataclass(frozen=True)
class SiteFilter:
    """Which sites to list; nothing said lists all that the actor may see."""

    district: str = ""
    group: str = ""
    kind: str = ""
    stage: str = ""


def sites_listed(actor: Actor, network: Network, asked: SiteFilter) -> QuerySet[Site]:
    """Sites of a network that the actor may see, by name, with the stage of the project that moved last."""
    rows = Site.objects.filter(visible_sites(actor), network=network).select_related("group", "district")
    if asked.district:
        rows = rows.filter(district__public_id=asked.district)
    if asked.group:
        rows = rows.filter(group__public_id=asked.group)
    if asked.kind:
        rows = rows.filter(kind=asked.kind)
    if asked.stage:
        rows = rows.filter(pk__in=MeadowProject.objects.filter(network=network, stage=asked.stage).values("site"))
    return rows.order_by("name", "pk")


def stages_of(sites: Sequence[Site]) -> dict[int, str]:
    """The stage of each site's project that moved last, by the site's key: one query."""
    rows = (
        MeadowProject.objects.filter(site__in=[site.pk for site in sites])
        .values("site_id", "stage")
        .annotate(last=Max("stage_since"), newest=Max("pk"))
        .order_by("last", "newest")
    )
    return {row["site_id"]: row["stage"] for row in rows}


#: what a site is drawn as, by the stage of its project
SHAPES: Final = {
    **dict.fromkeys((Stage.IDEA, Stage.PLANNED, Stage.READY), "planned"),
    Stage.PREPARED: "prepared",
    **dict.fromkeys((Stage.SOWN, Stage.RESOWN), "sown"),
    Stage.AFTERCARE: "aftercare",
    **dict.fromkeys((Stage.FAILED, Stage.LAPSED, Stage.HANDED_OVER), "ended"),
}


def shape_of(stage: str | None) -> str:
    """What a site is drawn as; one without a project is “none”."""
    return SHAPES[Stage(stage)] if stage else "none"
