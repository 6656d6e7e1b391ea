"""A county's year as it was: which stage each meadow stood at when a year ended, and what its walk found."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from projects.choices import Publicity, Stage
from projects.models import MeadowProject, Network, Site, StageChange
from projects.rules.access import Actor
from projects.rules.aggregates import DM2_PER_HA, Line, latest

DECEMBER: Final = (12, 31)


@dataclass(frozen=True)
class StageYear:
    """Ground in hectares at the end of a year, by the stage that its meadow stood at; each site once."""

    year: int
    hectares: Mapping[str, float]


def stages_by_year(actor: Actor, network: Network, years: Sequence[int], today: date) -> list[StageYear]:
    """Ground of open sites by stage at the end of each year, or today; two queries, however many there are."""
    found = MeadowProject.objects.filter(network=network).exclude(site__publicity=Publicity.PRIVATE)
    projects = list(found.select_related("site").order_by("created_at", "pk"))
    steps: dict[int, list[StageChange]] = defaultdict(list)
    for step in StageChange.objects.filter(project__in=projects).order_by("on", "pk"):
        steps[step.project_id].append(step)
    out = []
    for year in years:
        end = min(date(year, *DECEMBER), today)
        at: dict[int, tuple[str, Site]] = {}
        for project in projects:
            stage = _stage_at(project, steps[project.pk], end)
            known = at.get(project.site_id)
            # of two meadows on one site the one further on tells: a new plan beside it takes no meadow away
            if stage and (known is None or _further(stage) >= _further(known[0])):
                at[project.site_id] = stage, project.site
        ground: dict[str, int] = defaultdict(int)
        for stage, site in at.values():
            ground[stage] += site.net_area_dm2 or site.area_dm2
        out.append(StageYear(year, {stage: dm2 / DM2_PER_HA for stage, dm2 in ground.items()}))
    return out


#: from the least to the most that can be said of ground; what has ended says less than a new beginning
_FURTHER: Final = (
    Stage.FAILED, Stage.LAPSED, Stage.HANDED_OVER, Stage.IDEA, Stage.PLANNED, Stage.READY, Stage.PREPARED, Stage.SOWN,
    Stage.RESOWN, Stage.AFTERCARE,
)  # fmt: skip


def _further(stage: str) -> int:
    return _FURTHER.index(Stage(stage))


def _stage_at(project: MeadowProject, steps: Sequence[StageChange], end: date) -> str:
    """The stage that held on a day; empty where the project had not begun."""
    before = [step for step in steps if step.on <= end]
    if before:
        return before[-1].to_stage
    if steps:
        return steps[0].from_stage if project.created_at.date() <= end else ""
    return project.stage if project.stage_since <= end else ""


def found_on_sites(lines: Sequence[Line]) -> dict[int, Line]:
    """The line of each site's last summer of which anything is told, else of its last summer."""
    told = latest([line for line in lines if line.sums is not None], lambda line: line.site_id)
    found = {line.site_id: line for line in latest(lines, lambda line: line.site_id)}
    return found | {line.site_id: line for line in told}


#: stages in the order of a meadow's life
ORDER: Final = tuple(Stage.values)
