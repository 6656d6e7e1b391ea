"""What roll-ups rest on, gathered for many meadows at once; and which roll-ups no longer say it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from types import MappingProxyType
from typing import Any, Final
from uuid import UUID

import orjson
from django.db.models import Count, Sum
from django.utils import timezone

from modelling import county
from modelling.outcomes import found_on_forecast
from modelling.selectors import run_answer_text
from projects.choices import Publicity, SeedSource, Way
from projects.models import Forecast, FundedProject, MeadowProject, OutcomeReturn, PlanVersion, ReturnRollup, WorkEntry
from projects.rules import rollups as rules
from projects.selectors.model_inputs import soil
from projects.selectors.returns import read_content, result_of

#: stored answers whose words and middles are kept in mind; they never change
_KEPT: Final = 8192
_DIARY: Final = {
    "diary_cash_pence": "cash_pence", "diary_in_kind_pence": "in_kind_pence", "diary_person_minutes": "person_minutes",
    "diary_machine_minutes": "machine_minutes",
}  # fmt: skip


@dataclass(frozen=True)
class RunFacts:
    """What a county's figures take from one stored forecast."""

    method: str
    seed_source: str
    #: calendar year -> kinds in a square metre: P10, P50, P90, as groups usually manage
    kinds: MappingProxyType[int, tuple[float, float, float]]


@lru_cache(maxsize=_KEPT)
def run_facts(public_id: UUID) -> RunFacts:
    """The words and middles of a stored forecast."""
    answer = orjson.loads(run_answer_text(public_id))
    seed = answer["seed"]
    source = county.seed_source_of([item["key"] for item in seed["items"]], any(one["plugs"] for one in seed["taxa"]))
    kinds = {
        entry["calendar_year"]: tuple(entry["species_per_m2"][at] for at in ("p10", "p50", "p90"))
        for entry in answer["establishment"][county.FORECAST]["by_year"]
    }
    way = county.way_of(step["operation"] for step in answer["plan"]["steps"] if step["operation"])
    return RunFacts(way, source, MappingProxyType(kinds))


def _of_plan(text: str) -> tuple[str, str]:
    """Way and seed of a plan that was never forecast; what it leaves open is not told."""
    plan: dict[str, Any] = orjson.loads(text)
    done: list[str] | None
    steps = plan.get("steps")
    if steps is not None:
        done = [step["operation"] for step in steps if step.get("operation")]
        seed = [item for step in steps for item in step.get("seed") or ()]
        plugs = any(step.get("plugs") for step in steps)
    elif plan.get("preparation") is None and plan.get("seed") is None:
        return Way.NOT_TOLD, SeedSource.NOT_TOLD
    else:
        done, seed, plugs = plan.get("preparation"), plan.get("seed") or [], bool(plan.get("plugs"))
    keys = [item.get("mix") or item["taxon"] for item in seed]
    return (Way.NOT_TOLD if done is None else county.way_of(done)), county.seed_source_of(keys, plugs)


def grounds_of(projects: Sequence[MeadowProject]) -> dict[int, dict[str, Any]]:
    """What tells each meadow apart from others, as roll-ups have it, by its key.

    A number of queries that does not grow, beside one for each forecast that this process has not met yet. `projects`
    come with site, group and baseline's run.
    """
    keys = [project.pk for project in projects]
    funders: dict[int, set[str]] = defaultdict(set)
    granted = FundedProject.objects.filter(project__in=keys, award__accepted_at__isnull=False)
    for key, funder in granted.values_list("project", "award__round__funder"):
        funders[key].add(funder)
    plans: dict[int, str] = {}
    bare = [project.pk for project in projects if project.baseline is None]
    # the latest of each comes last and stays
    plans.update(PlanVersion.objects.filter(project__in=bare).order_by("number").values_list("project", "plan"))
    found = {}
    for project in projects:
        site = project.site
        if project.baseline is not None:
            run = run_facts(project.baseline.run.public_id)
            way, seed = run.method, run.seed_source
        elif project.pk in plans:
            way, seed = _of_plan(plans[project.pk])
        else:
            way, seed = Way.NOT_TOLD, SeedSource.NOT_TOLD
        found[project.pk] = {
            "network_id": project.network_id,
            "group_id": project.group_id,
            "district_id": site.district_id or project.group.district_id,
            "site_id": site.pk,
            "project_id": project.pk,
            "open": site.publicity != Publicity.PRIVATE,
            "kind": site.kind,
            "sward": site.sward,
            "soil_band": county.soil_band(soil(site)),
            "method": str(way),
            "seed_source": str(seed),
            "funders": sorted(funders[project.pk]),
            "sown_year": project.sown_on.year if project.sown_on else None,
            "area_dm2": site.net_area_dm2 or site.area_dm2,
        }
    return found


def projects_with_grounds(keys: Iterable[int]) -> list[MeadowProject]:
    """Projects with all that `grounds_of` reads of them."""
    rows = MeadowProject.objects.filter(pk__in=list(keys)).select_related("site", "group", "baseline__run")
    # the answers of runs are long, and read once
    rows = rows.defer("baseline__run__answer", "baseline__run__request", "baseline__run__kept_draws")
    return list(rows.prefetch_related("site__soil_tests"))


def diaries_of(projects: Iterable[int]) -> dict[tuple[int, int], dict[str, int]]:
    """Sums of the work diary, by project and year."""
    lines = WorkEntry.objects.filter(project__in=list(projects), struck_at__isnull=True).order_by()
    sums = {name: Sum(column) for name, column in _DIARY.items()}
    rows = lines.values_list("project", "on__year").annotate(diary_lines=Count("pk"), **sums)
    return {(row[0], row[1]): dict(zip(NO_DIARY, row[2:], strict=True)) for row in rows}


NO_DIARY: Final = MappingProxyType(dict.fromkeys(("diary_lines", *_DIARY), 0))


def columns_of(outcome: OutcomeReturn) -> dict[str, Any]:
    """All that the roll-up of an agreed return says."""
    version = outcome.agreed
    if version is None:
        raise ValueError("only an agreed return has a roll-up")
    project = projects_with_grounds([outcome.project_id])[0]
    judged = result_of(version)
    found = judged.read() if judged is not None else None
    said = rules.said_columns(read_content(version))
    forecast = _forecast(project, date.fromisoformat(found["on"]) if found else None)
    kinds: tuple[float | None, ...] = (None, None, None)
    beside = None
    if forecast is not None:
        kinds = run_facts(forecast.run.public_id).kinds.get(outcome.year, kinds)
        if found is not None:
            beside = found_on_forecast(orjson.loads(run_answer_text(forecast.run.public_id)), found, outcome.year)
    return {
        "counted_id": version.pk,
        **grounds_of([project])[project.pk],
        "year": outcome.year,
        **rules.survey_columns(found),
        **said,
        "course": str(rules.course_of(said["answered"], beside)),
        **dict(zip(("forecast_p10", "forecast_p50", "forecast_p90"), kinds, strict=True)),
        **diaries_of([project.pk]).get((project.pk, outcome.year), NO_DIARY),
    }


def _forecast(project: MeadowProject, walk: date | None) -> Forecast | None:
    """The forecast a meadow is held against, as its returns' pages have it; none that was made after the walk."""
    if project.baseline is not None:
        held: Forecast | None = project.baseline
    elif walk is None:
        return None
    else:
        rows = project.forecasts.select_related("run").order_by("-created_at", "-pk")
        held = next((row for row in rows if timezone.localdate(row.created_at) < walk), None)
    if held is None or (walk is not None and timezone.localdate(held.created_at) >= walk):
        return None
    return held


def agreed_returns() -> Any:
    """Returns that count, in their order."""
    return OutcomeReturn.objects.filter(agreed__isnull=False).select_related("agreed").order_by("pk")


def rollups_that_differ() -> list[tuple[int, dict[str, tuple[Any, Any]]]]:
    """Returns whose roll-up says something else than its rows: key, and of each column what is and what should be.

    An agreed return without a roll-up, or a roll-up without an agreed return, differs in the column `outcome`.
    """
    wrong: list[tuple[int, dict[str, tuple[Any, Any]]]] = []
    kept = {row.outcome_id: row for row in ReturnRollup.objects.all()}
    for outcome in agreed_returns():
        row = kept.pop(outcome.pk, None)
        if row is None:
            wrong.append((outcome.pk, {"outcome": (None, outcome.pk)}))
            continue
        told = {name: (getattr(row, name), value) for name, value in columns_of(outcome).items()}
        differing = {name: pair for name, pair in told.items() if pair[0] != pair[1]}
        if differing:
            wrong.append((outcome.pk, differing))
    return wrong + [(key, {"outcome": (key, None)}) for key in sorted(kept)]
