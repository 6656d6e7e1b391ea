"""Reads of yearly returns."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

import orjson
from django.db.models import Q, QuerySet
from django.utils import timezone

from modelling import names, outcomes
from modelling.arrays import canonical_text
from modelling.contracts.outcomes import SurveyQuestion
from modelling.reading import read_as
from modelling.release import RESULTS_VERSION
from modelling.selectors import reference_checksum, taxa_of_mix, taxon_row
from modelling.services import random_seed_of
from projects.contracts.returns import ReturnNew
from projects.errors import NotFound
from projects.models import (
    Forecast,
    MeadowProject,
    Membership,
    NameChoice,
    Network,
    NetworkMembership,
    OutcomeReturn,
    ReturnQuestion,
    ReturnResult,
    ReturnStep,
    ReturnVersion,
    Settlement,
    TaxonRecord,
)
from projects.rules import returns as rules
from projects.rules.access import Actor, visible_inner
from projects.rules.meadows import GROWING
from projects.selectors.meadows import forecast_answer, forecasts_of
from projects.selectors.model_inputs import soil

_FIGURES = (
    "bare_ground_percent", "litter_percent", "forb_cover_percent", "sward_height_cm", "rattle_plants",
)  # fmt: skip


def return_list(actor: Actor) -> QuerySet[OutcomeReturn]:
    """Returns of the actor's own groups and networks."""
    return OutcomeReturn.objects.filter(visible_inner(actor)).select_related(
        "project", "group", "network", "current", "agreed"
    )


def return_get(actor: Actor, public_id: UUID) -> OutcomeReturn:
    """One return; raises NotFound."""
    row = return_list(actor).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no return {public_id}, or none that you may see.")
    return row


def returns_of(actor: Actor, project: MeadowProject) -> QuerySet[OutcomeReturn]:
    """Returns of a project, the latest year first; none for strangers."""
    return return_list(actor).filter(project=project).order_by("-year")


def read_content(version: ReturnVersion) -> ReturnNew:
    """What was sent, as it was sent."""
    return read_as(ReturnNew, orjson.loads(version.content))


def remembered_names(group_id: int) -> dict[str, str]:
    """What a group means by names: folded name -> key of the plant."""
    return dict(NameChoice.objects.filter(group=group_id).values_list("folded", "taxon"))


def names_settled_in(versions: Iterable[int]) -> dict[int, dict[str, str]]:
    """What names stand for in each of these versions, as they are settled now; one query."""
    found: dict[int, dict[str, str]] = {version: {} for version in versions}
    rows = TaxonRecord.objects.filter(version_of__in=list(found)).order_by("pk")
    for version, name, taxon in rows.values_list("version_of", "name", "taxon"):
        found[version].setdefault(name, taxon)
    return found


def settled_content(version: ReturnVersion, known: Mapping[str, str] | None = None) -> ReturnNew:
    """What was sent, with its names as they are settled now; `known` tells them where they were read already."""
    settled = names_settled_in([version.pk])[version.pk] if known is None else known
    data = orjson.loads(version.content)
    for visit in data.get("visits", ()):
        lists = [visit.get("whole_site", ()), *(quadrat.get("records", ()) for quadrat in visit.get("quadrats", ()))]
        for item in (item for items in lists for item in items):
            # names are kept without the blanks around them
            item["taxon"] = settled.get(item["name"]) or settled.get(item["name"].strip()) or item.get("taxon")
    return read_as(ReturnNew, data)


def settled_as_known(asked: ReturnNew, remembered: Mapping[str, str]) -> ReturnNew:
    """The return with each name settled that the tables or the group know to the letter."""
    data = asked.model_dump(mode="json", exclude_unset=True)
    for visit in data.get("visits", ()):
        lists = [visit.get("whole_site", ()), *(quadrat.get("records", ()) for quadrat in visit.get("quadrats", ()))]
        for item in (item for items in lists for item in items):
            if not item.get("taxon"):
                match = names.match(item["name"], remembered=remembered)
                item["taxon"] = match.taxon if match.settled and taxon_row(match.taxon or "") else None
    return read_as(ReturnNew, data)


def names_to_settle(version: ReturnVersion) -> list[tuple[str, int, names.Match]]:
    """Written names without a plant that nobody has decided about: name, how many records, what it may be."""
    decided = set(version.settlements.values_list("folded", flat=True))
    open_ones: dict[str, list[str]] = defaultdict(list)
    for name in TaxonRecord.objects.filter(version_of=version, taxon="").values_list("name", flat=True):
        folded = names.folded(name)
        if folded not in decided:
            open_ones[folded].append(name)
    return [(found[0], len(found), names.match(found[0])) for found in open_ones.values()]


def names_read(version: ReturnVersion) -> list[tuple[str, str, int]]:
    """Written names that stand for a plant, in the order of writing: name, key of the plant, how many records."""
    read: dict[str, tuple[str, str, int]] = {}
    rows = TaxonRecord.objects.filter(version_of=version).exclude(taxon="").order_by("pk").values_list("name", "taxon")
    for name, taxon in rows:
        first, _, count = read.get(names.folded(name), (name, taxon, 0))
        read[names.folded(name)] = (first, taxon, count + 1)
    return list(read.values())


def names_left(version: ReturnVersion) -> list[str]:
    """Written names that somebody decided to leave as they are."""
    left = set(version.settlements.filter(taxon="").values_list("folded", flat=True))
    rows = TaxonRecord.objects.filter(version_of=version, taxon="").order_by("pk").values_list("name", flat=True)
    return list({names.folded(name): name for name in rows if names.folded(name) in left}.values())


def question_get(actor: Actor, public_id: UUID) -> ReturnQuestion:
    """One question about a return that the actor may see; raises NotFound."""
    seen = visible_inner(actor, "version_of__outcome__group", "version_of__outcome__network")
    found = ReturnQuestion.objects.filter(seen, public_id=public_id)
    question = found.select_related("version_of__outcome__project", "version_of__outcome__group").first()
    if question is None:
        raise NotFound(f"There is no question {public_id}, or none that you may see.")
    return question


@dataclass(frozen=True)
class Sent:
    """A version, and what whoever sent it is: lead or member of the group, or a role in the network; else empty."""

    version: ReturnVersion
    role: str


def versions_sent(row: OutcomeReturn) -> list[Sent]:
    """Versions of a return, the latest first, with who sent each and in which role of that day."""
    versions = list(row.versions.select_related("created_by").order_by("-number"))
    people = {version.created_by_id for version in versions}
    held: list[tuple[int, str, datetime, datetime | None]] = [
        *Membership.objects.filter(group=row.group_id, user__in=people).values_list("user", "role", "since", "until"),
        *NetworkMembership.objects.filter(network=row.network_id, user__in=people).values_list(
            "user", "role", "since", "until"
        ),
    ]

    def role(version: ReturnVersion) -> str:
        at = version.created_at
        return next(
            (
                role
                for user, role, since, until in held
                if user == version.created_by_id and since <= at and (until is None or at < until)
            ),
            "",
        )

    return [Sent(version, role(version)) for version in versions]


def steps_of(row: OutcomeReturn) -> QuerySet[ReturnStep]:
    """What became of a return, the latest first."""
    return row.steps.select_related("created_by").order_by("-pk")


# ------------------------------------------------------------------ a network's year


@dataclass(frozen=True)
class Waiting:
    """What waits in a return: questions not accepted, those of them not answered, names not settled."""

    questions: int
    unanswered: int
    names: int


def waiting_in(rows: Iterable[OutcomeReturn]) -> dict[int, Waiting]:
    """What waits in each return, by its id: three queries, however many there are."""
    current = {row.current_id: row.pk for row in rows if row.current_id is not None}
    asked: dict[int, list[str]] = defaultdict(list)
    open_ones = ReturnQuestion.objects.filter(version_of__in=list(current), accepted_at__isnull=True)
    for version_id, answer in open_ones.values_list("version_of", "answer"):
        asked[version_id].append(answer)
    decided = set(Settlement.objects.filter(version_of__in=list(current)).values_list("version_of", "folded"))
    unsettled: dict[int, set[str]] = defaultdict(set)
    written = TaxonRecord.objects.filter(version_of__in=list(current), taxon="").order_by()
    for version_id, name in written.values_list("version_of", "name").distinct():
        if (version_id, names.folded(name)) not in decided:
            unsettled[version_id].add(names.folded(name))
    return {
        row_id: Waiting(len(asked[key]), sum(not answer for answer in asked[key]), len(unsettled[key]))
        for key, row_id in current.items()
    }


@dataclass(frozen=True)
class YearLine:
    """A meadow whose summer is to be told, and what has come of it."""

    project: MeadowProject
    outcome: OutcomeReturn | None
    questions: int
    names: int
    late: bool

    @property
    def state(self) -> str:
        """How far it has come; "missing" where nothing was sent."""
        return "missing" if self.outcome is None else self.outcome.state


def returns_of_year(actor: Actor, network: Network, year: int, today: date) -> list[YearLine]:
    """A line for every sown meadow of the actor's own groups and networks, and for every return of the year.

    Five queries, however many there are.
    """
    # what was sent is long, and nothing of it is shown here
    sent = return_list(actor).select_related(None).select_related("agreed").defer("agreed__content")
    rows = {row.project_id: row for row in sent.filter(network=network, year=year)}
    wanted = Q(stage__in=GROWING, sown_on__isnull=False) | Q(pk__in=list(rows))
    projects = (
        MeadowProject.objects.filter(visible_inner(actor), wanted, network=network)
        .select_related("group", "site__district")
        .order_by("group__name", "name", "pk")
    )
    waiting = waiting_in(rows.values())
    lines = []
    for project in projects:
        row = rows.get(project.pk)
        if row is None and not rules.expected(project.sown_on, year):
            continue
        waits = waiting.get(row.pk if row is not None else 0, Waiting(0, 0, 0))
        is_late = row is None and rules.late(year, today)
        lines.append(YearLine(project, row, waits.questions, waits.names, is_late))
    return lines


def first_year(actor: Actor, network: Network) -> int | None:
    """The first year of which there is a return or a sown meadow; None where there is neither."""
    sent = return_list(actor).filter(network=network).order_by("year").values_list("year", flat=True).first()
    sown = (
        MeadowProject.objects.filter(visible_inner(actor), network=network, sown_on__isnull=False)
        .order_by("sown_on")
        .values_list("sown_on", flat=True)
        .first()
    )
    years = [*([sent] if sent is not None else []), *([sown.year] if sown is not None else [])]
    return min(years, default=None)


# ------------------------------------------------------------------ beside a forecast


def kept_results(rows: Iterable[OutcomeReturn]) -> dict[int, dict[str, Any]]:
    """What the counting version of each return came to when it was last kept, by the id of the return; one query."""
    counting = {row.agreed_id or row.current_id: row.pk for row in rows}
    kept: dict[int, dict[str, Any]] = {}
    for result in ReturnResult.objects.filter(version_of__in=[key for key in counting if key]).order_by("-pk"):
        kept.setdefault(counting[result.version_of_id], orjson.loads(result.text))
    return kept


def forecast_held(actor: Actor, project: MeadowProject, walks: Sequence[date]) -> Forecast | None:
    """The forecast a meadow is held against: fixed when it was sown; else the latest stored before the first walk."""
    rows = forecasts_of(actor, project)
    if project.baseline_id is not None:
        return rows.filter(pk=project.baseline_id).first()
    if not walks:
        return None
    return next((row for row in rows if made_before(row, min(walks))), None)


def made_before(forecast: Forecast, walk: date) -> bool:
    """Whether a forecast was stored on a day before a walk."""
    return timezone.localdate(forecast.created_at) < walk


def _counting(project: MeadowProject, year: int) -> ReturnVersion | None:
    """The version of a year that counts: the agreed one, else the one in hand."""
    row = OutcomeReturn.objects.filter(project=project, year=year).select_related("current", "agreed").first()
    return None if row is None else row.agreed or row.current


def known_before(project: MeadowProject, year: int) -> rules.Known:
    """What is known of a meadow before a year's return is looked at."""
    before = _counting(project, year - 1)
    if before is None:
        return rules.Known(project.sown_on, None, None)
    content = settled_content(before)
    return rules.Known(project.sown_on, rules.kinds(content) or None, rules.rattle_per_m2(content))


def survey_question(version: ReturnVersion) -> dict[str, Any] | None:
    """The question that judges a version, beside the year before and the year before sowing; None without plants."""
    outcome = version.outcome
    project = MeadowProject.objects.select_related("site").get(pk=outcome.project_id)
    survey = _survey(project, settled_content(version))
    if survey is None:
        return None
    question: dict[str, Any] = {"survey": survey, "random_seed": random_seed_of(project.public_id), "facts": {}}
    before = _counting(project, outcome.year - 1)
    if before is not None:
        question["before"] = _survey(project, settled_content(before))
    if project.sown_on is not None:
        question["facts"]["first_summer"] = project.sown_on.year + 1
        first = (
            OutcomeReturn.objects.filter(Q(year__lt=project.sown_on.year + 1), project=project)
            .exclude(pk=outcome.pk)
            .order_by("-year")
            .select_related("current", "agreed")
            .first()
        )
        if first is not None and (first.agreed or first.current):
            question["baseline"] = _survey(project, settled_content(first.agreed or first.current))  # type: ignore[arg-type]
    phosphorus = soil(project.site).get("olsen_p_mg_per_l")
    if phosphorus is not None:
        question["facts"]["olsen_p_mg_per_l"] = phosphorus
    question["facts"]["meadow_area_m2"] = (project.site.net_area_dm2 or project.site.area_dm2) / 100
    return {name: value for name, value in question.items() if value is not None}


@dataclass(frozen=True)
class Judged:
    """What a version comes to: canonical text with its checksum, and when it was kept."""

    text: str
    checksum: str
    #: results_version, reference_checksum and inputs_checksum, which the text follows from
    recipe: dict[str, str]
    #: None where it was worked out just now
    kept_at: datetime | None

    def read(self) -> dict[str, Any]:
        """Plain values, shaped as `SurveyAnswer`."""
        found: dict[str, Any] = orjson.loads(self.text)
        return found


def result_of(version: ReturnVersion) -> Judged | None:
    """What a version comes to by this release's rules and the names as settled now; None where nothing is to judge.

    Read where an act has kept it. Else, as after a new release or a change to the year before, worked out and not
    kept: reading writes nothing.
    """
    question = survey_question(version)
    if question is None:
        return None
    recipe = {
        "results_version": RESULTS_VERSION,
        "reference_checksum": reference_checksum(),
        "inputs_checksum": hashlib.sha256(orjson.dumps(question, option=orjson.OPT_SORT_KEYS)).hexdigest(),
    }
    kept = version.results.filter(**recipe).first()
    if kept is not None:
        return Judged(kept.text, kept.checksum, recipe, kept.created_at)
    text = canonical_text(outcomes.judge(read_as(SurveyQuestion, question)))
    return Judged(text, hashlib.sha256(text.encode()).hexdigest(), recipe, None)


def _survey(project: MeadowProject, content: ReturnNew) -> dict[str, Any] | None:
    """A return's plants as the model takes them; the day is that of the first walk."""
    visits = [visit for visit in content.visits if visit.quadrats or visit.whole_site]
    if not visits:
        return None
    quadrats = []
    for visit in visits:
        for quadrat in visit.quadrats:
            label = quadrat.label if len(visits) == 1 else f"{visit.on:%d %b} {quadrat.label}"
            quadrats.append(quadrat.model_dump(mode="json") | {"label": label[:40]})
    whole: dict[str, dict[str, Any]] = {}
    for visit in visits:
        for item in visit.whole_site:
            whole.setdefault(item.taxon or names.folded(item.name), item.model_dump(mode="json"))
    return {
        "on": min(visit.on for visit in visits).isoformat(),
        "grade": content.grade,
        "layout": content.layout,
        "quadrats": quadrats,
        "whole_site": list(whole.values()),
        "sown_taxa": sown_taxa(project),
        "kind": project.site.kind,
    }


def expected_taxa(actor: Actor, project: MeadowProject) -> list[str]:
    """Plants to look for: those of the latest plan; where it leaves the seed open, those the forecast took."""
    found = sown_taxa(project)
    forecast = None if found else project.baseline or forecasts_of(actor, project).first()
    if forecast is None:
        return found
    return [entry["taxon"] for entry in forecast_answer(actor, forecast.public_id)["seed"]["taxa"]]


def sown_taxa(project: MeadowProject) -> list[str]:
    """Plants that the latest plan sows or plants, by their keys."""
    plan = project.plans.order_by("-number").first()
    if plan is None:
        return []
    said = orjson.loads(plan.plan)
    steps = said.get("steps") or []
    items = [*(said.get("seed") or []), *(said.get("plugs") or [])]
    items += [item for step in steps for part in ("seed", "plugs") for item in (step.get(part) or [])]
    found: dict[str, None] = {}
    for item in items:
        for key in taxa_of_mix(item["mix"]) if item.get("mix") else [item.get("taxon")]:
            if key:
                found[key] = None
    return list(found)
