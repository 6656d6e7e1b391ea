"""What a project's pages say: where it stands, what comes next, its plan, forecasts and diary in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any
from uuid import UUID

import orjson

from modelling.contracts import Plan
from modelling.selectors import run_answer_text, vocabularies
from projects.choices import Cause, Stage, Work
from projects.dashboard import words
from projects.dashboard.forms.sites import label_of
from projects.dashboard.pages.estimate import ARISINGS, EstimatePage
from projects.models import Forecast, Job, MeadowProject, StageChange, WorkEntry
from projects.rules.due import Due, move_words, next_step

_IS: dict[str, str] = {
    Stage.IDEA: "has been an idea since {day}",
    Stage.PLANNED: "has been planned since {day}",
    Stage.READY: "has been ready to start since {day}",
    Stage.PREPARED: "had its ground prepared on {day}",
    Stage.SOWN: "was sown on {day}",
    Stage.AFTERCARE: "has been in aftercare since {day}",
    Stage.FAILED: "did not take, as noted on {day}",
    Stage.LAPSED: "lapsed, as noted on {day}",
    Stage.HANDED_OVER: "was handed over to {keeper} on {day}",
    Stage.RESOWN: "was sown again on {day}",
}


class ProjectPage:
    """A project, in the order its people ask: where does it stand, what is next, whose move is it."""

    def __init__(self, project: MeadowProject, obstacles: Sequence[str] = (), dues: Sequence[Due] = ()) -> None:
        self.project, self.obstacles, self.dues = project, list(obstacles), list(dues)

    @property
    def standing(self) -> str:
        """Where it stands, since when."""
        project = self.project
        said = _IS[project.stage].format(day=words.day(project.stage_since), keeper=project.handed_to)
        return f"“{project.name}” {said}"

    @property
    def sentence(self) -> str:
        """Where it stands, what is next and whose move that is."""
        what, whose = next_step(self.project.stage, self.obstacles, self.dues)
        if whose is None:
            return f"{self.standing}."
        return f"{self.standing}; next, {what}, and {move_words(whose)}."

    @property
    def cause(self) -> str:
        return str(Cause(self.project.cause).label) if self.project.cause else ""


# ------------------------------------------------------------------ the plan


def plan_words(plan: Plan) -> list[str]:
    """Return what a plan says, a sentence each; what it leaves open is planned by the service."""
    known = vocabularies()
    labels = {
        name: {row["key"]: row["label"] for row in known[name]} for name in ("operations", "mixes", "taxa", "machines")
    }
    found = []
    if plan.preparation is not None:
        work = words.listed(words.lowered(labels["operations"].get(key, key)) for key in plan.preparation)
        found.append(f"Before sowing: {work}." if work else "No preparation: sown into what is there.")
    if plan.seed:
        seed = labels["mixes"] | labels["taxa"]
        own = "the network’s own seed"
        told = [
            f"{words.weight(item.kg, 3)} of {words.lowered(seed.get(item.mix or item.taxon or '', own))}"
            for item in plan.seed
        ]
        found.append(f"Seed: {words.listed(told)}.")
    elif plan.seed is not None:
        found.append("No seed is added." if plan.plugs else "No seed and no plugs are added.")
    if plan.plugs:
        told = [f"{plug.count:,} of {words.lowered(labels['taxa'].get(plug.taxon, plug.taxon))}" for plug in plan.plugs]
        found.append(f"Plugs: {words.listed(told)}.")
    if plan.sow_on:
        found.append(f"Sown on {words.day(plan.sow_on)}.")
    if plan.steps is not None:
        for step in plan.steps:
            what = labels["operations"].get(step.operation or "", "") or ("sow" if step.seed else "plant plugs")
            found.append(f"{words.day(step.on)}: {words.lowered(what)}.")
    found += _care_words(plan)
    if plan.crew.volunteers:
        hours = f", for {words.figure(plan.crew.hours_per_session)} hours" if plan.crew.hours_per_session else ""
        people = words.plural(plan.crew.volunteers, "person comes", "people come")
        found.append(f"{words.opened(words.counted(plan.crew.volunteers))} {people}{hours}.")
    if plan.kit_to_hand:
        kit = words.listed(words.lowered(labels["machines"].get(key, key)) for key in plan.kit_to_hand)
        found.append(f"To hand: {kit}.")
    if plan.budget_gbp is not None:
        found.append(f"There is {words.pounds_exact(plan.budget_gbp)} to spend.")
    return found


def _care_words(plan: Plan) -> list[str]:
    care, found = plan.aftercare, []
    if care.first_year_cuts is not None:
        n = care.first_year_cuts
        found.append(f"First summer: {words.counted(n)} {words.plural(n, 'cut')}.")
    if care.cut_on:
        found.append(f"Cut every year on {words.listed(words.day_of_year(day) for day in care.cut_on)}.")
    elif care.cut_month:
        found.append(f"Cut every year in {words.listed(words.MONTHS[month - 1] for month in care.cut_month)}.")
    elif care.cut_on == () or care.cut_month == ():
        found.append("No yearly cut.")
    if care.arisings:
        found.append(f"Cuttings {ARISINGS[care.arisings]}.")
    if care.aftermath_grazing and care.aftermath_grazing.by != "none":
        found.append(f"The regrowth is grazed by {label_of('grazing', care.aftermath_grazing.by).lower()}.")
    if care.refuge_share:
        found.append(f"{care.refuge_share * 100:.0f} in every 100 m² are left uncut each year.")
    return found


# ------------------------------------------------------------------ forecasts


@dataclass(frozen=True)
class Headline:
    """What a stored forecast says in a line, and what it can be compared by."""

    sentence: str
    growth: str
    money: str
    summer: int
    kept: str
    usual: str
    nine: str
    nine_usual: str
    cash: str
    hours: str


@lru_cache(maxsize=1024)
def headline_of_run(public_id: UUID) -> Headline:
    """The headline of a stored answer, which never changes."""
    return headline(orjson.loads(run_answer_text(public_id)))


def headline(answer: Mapping[str, Any]) -> Headline:
    """Return an answer's headline."""
    page = EstimatePage(answer)
    kept, usual = page.year_5
    return Headline(
        sentence=answer["sentence"],
        growth=page.growth_finding,
        money=page.money_finding,
        summer=kept["calendar_year"],
        kept=words.whole_span(kept["species_per_m2"]),
        usual=words.whole_span(usual["species_per_m2"]),
        nine=words.odds(kept["chance_at_least_9"]),
        nine_usual=words.odds(usual["chance_at_least_9"]),
        cash=words.money_span(answer["cost"]["setup_cash"]),
        hours=words.work_span(answer["labour"]["person_hours_setup"]),
    )


@dataclass(frozen=True)
class ForecastLine:
    """A stored forecast in a list."""

    forecast: Forecast
    held_against: bool

    @property
    def headline(self) -> Headline:
        return headline_of_run(self.forecast.run.public_id)

    @property
    def made(self) -> str:
        return words.day(self.forecast.run.as_of)

    @property
    def checksum(self) -> str:
        return self.forecast.run.answer_checksum[:12]


# ------------------------------------------------------------------ the diary


def hours(minutes: int) -> str:
    """Return minutes as hours: "4.5 hours"."""
    value = minutes / 60
    text = f"{value:,.1f}".removesuffix(".0")
    return f"{text} {words.plural(float(text.replace(',', '')), 'hour')}"


def money(pence: int) -> str:
    """Return a sum of the diary to the penny, without pence where there are none."""
    return f"£{pence // 100:,}" if pence % 100 == 0 else f"£{pence / 100:,.2f}"


class DiaryLine:
    """A line of the diary in words."""

    def __init__(self, entry: WorkEntry, may_strike: bool = False) -> None:
        self.entry, self.may_strike = entry, may_strike and entry.struck_at is None

    @property
    def what(self) -> str:
        return str(Work(self.entry.what).label)

    @property
    def who(self) -> str:
        entry = self.entry
        if not entry.heads:
            return ""
        people = f"{words.counted(entry.heads)} {words.plural(entry.heads, 'person', 'people')}"
        return f"{people}, {hours(entry.person_minutes)}" if entry.person_minutes else people

    @property
    def machine(self) -> str:
        if not self.entry.machine:
            return ""
        label = next(
            (m["label"] for m in vocabularies()["machines"] if m["key"] == self.entry.machine), self.entry.machine
        )
        ran = f", {hours(self.entry.machine_minutes)}" if self.entry.machine_minutes else ""
        return f"{label}{ran}"

    @property
    def cash(self) -> str:
        return money(self.entry.cash_pence) if self.entry.cash_pence else ""

    @property
    def in_kind(self) -> str:
        return money(self.entry.in_kind_pence) if self.entry.in_kind_pence else ""


def diary_finding(totals: Mapping[str, int], heads: int) -> str:
    """Return the totals of a diary; cash and what was given in kind are never added up."""
    if not any(totals.values()) and not heads:
        return "Nothing is in the diary yet."
    parts = [f"{hours(totals['person_minutes'])} of people’s time"]
    if heads:
        parts[0] += f", from {words.counted(heads)} {words.plural(heads, 'turn', 'turns')} out"
    if totals["machine_minutes"]:
        parts.append(f"{hours(totals['machine_minutes'])} of machines")
    parts.append(f"{money(totals['cash_pence'])} in cash" if totals["cash_pence"] else "no cash")
    if totals["in_kind_pence"]:
        parts.append(f"and, apart from that, {money(totals['in_kind_pence'])} worth given in kind")
    return words.sentence("; ".join(parts) if len(parts) > 2 else words.listed(parts))


# ------------------------------------------------------------------ life, jobs


@dataclass(frozen=True)
class LifeLine:
    """A step of a project's life in words."""

    change: StageChange

    @property
    def on(self) -> str:
        return words.day(self.change.on)

    @property
    def what(self) -> str:
        text = str(Stage(self.change.to_stage).label)
        return f"{text}. {Cause(self.change.cause).label}" if self.change.cause else text


class JobPage:
    """A piece of work that is done after the answer."""

    def __init__(self, job: Job, names: Mapping[str, tuple[str, str]]) -> None:
        self.job, self.names = job, names

    @property
    def running(self) -> bool:
        return self.job.state in {Job.State.WAITING, Job.State.RUNNING}

    @property
    def progress(self) -> str:
        done, total = self.job.progress_done, self.job.progress_total
        if self.job.state == Job.State.WAITING and not done:
            return f"Waiting to begin: {total:,} to do."
        return f"{done:,} of {total:,} done."

    @property
    def sentence(self) -> str:
        match self.job.state:
            case Job.State.DONE:
                made = (self.job.result or {}).get("made", self.job.progress_done)
                text = f"Done: {words.counted(made)} {words.plural(made, 'forecast')} made"
                refused = len(self.refused)
                return f"{text}, {words.counted(refused)} could not be." if refused else f"{text}."
            case Job.State.FAILED:
                return "This stopped before its end. It can be started again; what was made stays."
        return self.progress

    @property
    def refused(self) -> list[tuple[str, str, str]]:
        """Name, address and reason of what could not be forecast."""
        rows = (self.job.result or {}).get("refused", []) if self.job.state == Job.State.DONE else []
        return [
            (
                *self.names.get(str(row.get("project", "")), (str(row.get("project", "")), "")),
                str(row.get("detail") or " ".join(fault["detail"] for fault in row.get("errors", []))),
            )
            for row in rows
            if isinstance(row, dict)
        ]
