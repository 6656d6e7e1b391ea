"""What an appraisal is worked out from: each project of the bid, estimated as planned and in its first season."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

import numpy as np

from modelling import arrays, contracts
from modelling.calendar import Maker
from modelling.contracts.appraisal import AppraisalQuestion, BidProject
from modelling.core import appraisal as arithmetic
from modelling.core import plan as core
from modelling.core.distributions import Array
from modelling.core.estimate import Estimate, estimate
from modelling.core.parameters import Number, ParameterSet
from modelling.core.planner import work_out
from modelling.core.work import TRAINED, Done
from modelling.errors import refusing


def species_rich(parameters: ParameterSet) -> Number:
    """Kinds in a square metre from which ground counts as species-rich, by the published rule."""
    return parameters.number("sward_rules", "cs_2021:species_rich", "species_per_m2")


@dataclass(frozen=True)
class Project:
    """One project of the bid, worked out.

    Attributes
    ----------
    number
        Its place in the question.
    asked
        The plan as the group wrote it, filled in.
    result
        The estimate of what can be done: the plan moved to the first season in which there is money, if need be.
    """

    number: int
    bid: BidProject
    question: AppraisalQuestion
    parameters: ParameterSet
    asked: core.FullPlan
    moved: bool
    result: Estimate

    @property
    def pointer(self) -> str:
        """JSON Pointer into the question."""
        return f"/projects/{self.number}"

    @property
    def named(self) -> str:
        """The project's name before a sentence, where the bid has several."""
        return f"{self.bid.label}: " if len(self.question.projects) > 1 else ""

    @property
    def plan(self) -> core.FullPlan:
        """The plan of the estimate."""
        return self.result.plan

    @property
    def starts_on(self) -> date | None:
        """First step as planned."""
        return min((step.on for step in self.asked.steps), default=None)

    @property
    def moved_to(self) -> date | None:
        """First step where the plan had to be moved."""
        return min(step.on for step in self.plan.steps) if self.moved else None

    @cached_property
    def survey_day(self) -> tuple[int, int]:
        """Month and day of the summer walk."""
        value = self.parameters.value
        return int(value("planning", "survey", "walk_month")), int(value("planning", "survey", "walk_day"))

    def summer(self, on: date) -> int:
        """Which summer walk was the last by a day, 0 before the first."""
        return arithmetic.summers_by(self.plan.first_summer, *self.survey_day, on)

    @cached_property
    def summers_paid(self) -> int:
        """Summers whose yearly work falls within the grant's time, the last cut included."""
        cuts = self.plan.care.cuts
        last = max(cuts[-1], self.survey_day) if cuts else self.survey_day
        return arithmetic.summers_by(self.plan.first_summer, *last, self.question.round.latest_end)

    def times(self, stage: str) -> int:
        """How often the work of a stage falls within the grant's time."""
        return arithmetic.times_within(stage, self.summers_paid)

    def hours(self, stage: str, skill: str) -> Array:
        """Volunteers' hours of a stage, once: skilled are those of trained people, unskilled all others."""
        return sum(
            (
                done.on_site_h
                for done in self.result.work.done
                if done.task.stage == stage and self.skill(done) == skill
            ),
            start=np.zeros(self.result.question.draws),
        )

    def skill(self, done: Done) -> str:
        """Skill of a task as it is valued in kind."""
        trained = self.parameters.nouns["operations"][done.task.operation]["skill"] in TRAINED
        return "skilled" if trained else "unskilled"

    def hours_within(self) -> Array:
        """Volunteers' hours within the grant's time."""
        work = self.result.work
        stages = {done.task.stage for done in work.done}
        return sum(
            (work.stage_hours(stage) * self.times(stage) for stage in sorted(stages)), start=work.stage_hours("")
        )

    def species(self, forecast: int, summer: int) -> Array | None:
        """Kinds in a square metre in one summer, or None outside the horizon."""
        if not 1 <= summer <= self.result.question.horizon_years:
            return None
        return self.result.outcome.species_1m2[forecast, summer - 1]

    def rich_ha(self, forecast: int) -> Array:
        """Species-rich hectares in the headline summer."""
        species = self.result.outcome.species_1m2[forecast, self.result.headline_index]
        return arithmetic.rich_ha(species, self.plan.net_m2, species_rich(self.parameters).middle)

    @cached_property
    def permissions(self) -> list[dict[str, str]]:
        """Permissions that the plan needs."""
        return Maker(self.parameters, self.result).permissions()


def projects_of(parameters: ParameterSet, question: AppraisalQuestion) -> tuple[Project, ...]:
    """Every project of the bid.

    Raises
    ------
    RequestRefused
        If a plan cannot be carried out as asked.
    """
    return tuple(project_of(parameters, question, number) for number in range(len(question.projects)))


def project_of(parameters: ParameterSet, question: AppraisalQuestion, number: int) -> Project:
    """One project, estimated in the first season in which its work can be paid for."""
    bid = question.projects[number]
    asked = bid.estimate
    draws = asked.draws or contracts.DEFAULT_DRAWS
    once = arrays.question_of(asked, asked.plan, draws, asked.as_of or question.as_of)
    followed = any(p.kind == "plant" and p.project == bid.key for p in question.promises)
    with refusing("projects", number, "estimate"):
        full = work_out(parameters, once.site, once.plan, once.as_of)
        allowed = max(question.round.money_from, question.round.earliest_start)
        steps = arithmetic.in_season(parameters, full.steps, allowed)
        moved = steps != full.steps
        if moved:
            plan = once.plan
            once = replace(
                once,
                plan=core.Plan(
                    steps=steps, aftercare=plan.aftercare, crew=plan.crew, kit_to_hand=plan.kit_to_hand,
                    budget_gbp=plan.budget_gbp,
                ),
            )  # fmt: skip
        result = estimate(parameters, once, detailed=followed)
    return Project(number, bid, question, parameters, full, moved, result)
