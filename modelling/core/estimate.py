"""One estimate: seed, hands, machines, money and establishment of one plan on one site, on the same draws."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from modelling.core import ground as site_ground
from modelling.core.cost import CASH, FIRST_YEAR, IN_KIND, SETUP, YEARLY, total, whole_life
from modelling.core.distributions import Array
from modelling.core.errors import InputError
from modelling.core.establishment import KEPT, USUAL, Establishment, establish
from modelling.core.parameters import ParameterSet
from modelling.core.plan import Aftercare, FullPlan, Plan, Question
from modelling.core.planner import work_out
from modelling.core.summary import check_finite, spread_shares, undominated
from modelling.core.work import Heaps, Workbook

#: year of the headline: by then sown perennials have settled and most flower
HEADLINE_YEAR: Final = 5
#: stored runs keep this many draws of the headline
KEPT_DRAWS: Final = 500


@dataclass(frozen=True, slots=True)
class Money:
    """Totals in pounds with VAT, shape (draws,) each; cash and in kind apart."""

    setup_cash: Array
    first_year_cash: Array
    yearly_cash: Array
    whole_life_cash: Array
    setup_in_kind: Array
    yearly_in_kind: Array


@dataclass(frozen=True, slots=True)
class Estimate:
    """Everything worked out for one question; arrays as in the parts."""

    question: Question
    plan: FullPlan
    work: Workbook
    heaps: Heaps
    money: Money
    outcome: Establishment
    live_seeds_per_m2: dict[str, Array]
    plugs: dict[str, int]
    species_drivers: dict[str, float]
    cost_drivers: dict[str, float]
    crop_now_g_per_m2: Array

    @property
    def headline_index(self) -> int:
        """Index of the headline year: the fifth, or the last asked for."""
        return min(HEADLINE_YEAR, self.question.horizon_years) - 1


def estimate(parameters: ParameterSet, question: Question, *, detailed: bool = True) -> Estimate:
    """Work out one question.

    Parameters
    ----------
    parameters
        Reference tables.
    question
        Site, plan, and how to run it.
    detailed
        Also species timelines and drivers; comparisons do without.

    Raises
    ------
    InputError
        If the plan cannot be carried out as asked (dates out of order, shares above the whole).
    NotFiniteError
        If a result is infinite or not a number.
    """
    n = question.draws
    seed, world = question.random_seed, question.world_seed
    plan = work_out(parameters, question.site, question.plan, question.as_of)
    ground = site_ground.ground_of(parameters, question.site, plan, seed, world, n)
    zoner = site_ground.Zoner(parameters, plan, ground, seed, world)
    zones = zoner.zones()
    outcome = establish(
        parameters,
        ground=ground,
        taxa=site_ground.taxa_of(parameters, zones),
        zones=zones,
        care=site_ground.care_of(plan),
        years=question.horizon_years,
        random_seed=seed,
        world_seed=world,
        first_summer=plan.first_summer,
        quadrat_area_m2=question.quadrat_area_m2,
        timelines=detailed,
    )
    work = Workbook(parameters, plan, question.as_of, n, seed, world)
    heaps = work.run(ground.crop_g_per_m2, outcome.crop[KEPT, 0], outcome.crop[KEPT, -1])
    work.contingency()
    money = totals(parameters, work, question.horizon_years, n)
    for array in (outcome.species, outcome.sown_species, outcome.rattle, money.setup_cash, money.whole_life_cash):
        check_finite(array)
    at = min(HEADLINE_YEAR, question.horizon_years) - 1
    return Estimate(
        question=question,
        plan=plan,
        work=work,
        heaps=heaps,
        money=money,
        outcome=outcome,
        live_seeds_per_m2=zoner.live,
        plugs=zoner.plugs,
        species_drivers=spread_shares(outcome.inputs, outcome.species_1m2[USUAL, at]) if detailed else {},
        cost_drivers=spread_shares(cost_inputs(work), money.setup_cash) if detailed else {},
        crop_now_g_per_m2=ground.crop_g_per_m2,
    )


def totals(parameters: ParameterSet, work: Workbook, years: int, n: int) -> Money:
    """Sums of the cost lines, and the discounted whole life."""
    lines = tuple(work.lines)
    setup, first, yearly = (total(lines, stage, CASH, n) for stage in (SETUP, FIRST_YEAR, YEARLY))
    rate = parameters.value("rates", "green_book", "discount_rate")
    return Money(
        setup_cash=setup,
        first_year_cash=first,
        yearly_cash=yearly,
        whole_life_cash=whole_life(setup, first, yearly, rate, years),
        setup_in_kind=total(lines, SETUP, IN_KIND, n),
        yearly_in_kind=total(lines, YEARLY, IN_KIND, n),
    )


def cost_inputs(work: Workbook) -> dict[str, Array]:
    """What may drive the cash needed to set up: each category of line, and how the work goes."""
    out = {}
    for line in work.lines:
        if line.stage == SETUP and line.kind == CASH and line.category != "contingency":
            out[f"{line.category}/{line.key}"] = line.net_gbp
    return out


@dataclass(frozen=True, slots=True)
class Compared:
    """One option of a comparison, judged in one year."""

    name: str
    key: str
    added: bool
    estimate: Estimate
    species: Array
    species_usual: Array
    chances: tuple[float, float, float]
    held: float | None
    year: int


MOW_ONLY: Final = "mow_only"
WAIT: Final = "wait_a_year"


def without_sowing(plan: Plan) -> Plan:
    """The same care and people, and nothing sown, planted or prepared."""
    care = plan.aftercare
    if care.cut_month == () or care.cut_on == ():
        care = replace(care, cut_month=None, cut_on=None)
    kept = Aftercare(
        cut_on=care.cut_on,
        cut_month=care.cut_month,
        arisings="removed",
        disposal=care.disposal,
        aftermath_grazing=care.aftermath_grazing,
        refuge_share=care.refuge_share,
    )
    return Plan(
        preparation=(), seed=(), plugs=None, aftercare=kept, crew=plan.crew, kit_to_hand=plan.kit_to_hand,
        budget_gbp=plan.budget_gbp,
    )  # fmt: skip


def compare(
    parameters: ParameterSet, question: Question, options: tuple[tuple[str, Plan], ...], thresholds: tuple[int, int]
) -> tuple[tuple[Compared, ...], list[bool]]:
    """Options on the same site and draws, with two added: mowing only, and waiting a year.

    Returns
    -------
    tuple
        The options in order, and which of them no other beats on whole-life cash and expected species per m2 as
        groups usually manage.
    """
    out = []
    for number, (name, plan) in enumerate(options, start=1):
        try:
            result = estimate(parameters, replace(question, plan=plan), detailed=False)
        except InputError as error:
            # the field is named as in one plan; say in which
            if error.field[:1] == ("plan",):
                error.field = ("options", number - 1, *error.field)
            raise
        out.append(judge(name, f"option_{number}", False, result, thresholds))
    first = options[0][1]
    mow = estimate(parameters, replace(question, plan=without_sowing(first)), detailed=False)
    out.append(judge("Change the mowing only", MOW_ONLY, True, mow, thresholds))
    out.append(wait_a_year(parameters, replace(question, plan=first), out[0], mow, thresholds))
    flags = undominated(
        [float(o.estimate.money.whole_life_cash.mean()) for o in out], [float(o.species_usual.mean()) for o in out]
    )
    return tuple(out), flags


def judge(name: str, key: str, added: bool, result: Estimate, thresholds: tuple[int, int], back: int = 0) -> Compared:
    """An option in the headline year; `back` years earlier in its own count where it starts later."""
    at = result.headline_index - back
    outcome = result.outcome
    low, high = thresholds
    held = float(outcome.rattle_held[KEPT, at].mean()) if outcome.rattle.any() else None
    return Compared(
        name=name,
        key=key,
        added=added,
        estimate=result,
        species=outcome.species[KEPT, at],
        species_usual=outcome.species[USUAL, at],
        chances=(
            float((outcome.species_1m2[KEPT, at] >= low).mean()),
            float((outcome.species_1m2[KEPT, at] >= high).mean()),
            float((outcome.species_1m2[USUAL, at] >= low).mean()),
        ),
        held=held,
        year=result.headline_index + 1,
    )


def wait_a_year(
    parameters: ParameterSet, question: Question, now: Compared, mow: Estimate, thresholds: tuple[int, int]
) -> Compared:
    """The first plan begun a year later, after a year of mowing and looking; judged in the same calendar summer."""
    name = "Wait a year, mow and look"
    if now.estimate.headline_index < 1:
        return judge(name, WAIT, True, mow, thresholds)
    later = tuple(site_ground.shifted(step, 1) for step in now.estimate.plan.steps)
    plan = question.plan
    care = replace(plan.aftercare, shut_up_on=None)
    moved = Plan(steps=later, aftercare=care, crew=plan.crew, kit_to_hand=plan.kit_to_hand, budget_gbp=plan.budget_gbp)
    result = estimate(parameters, replace(question, plan=moved), detailed=False)
    # the year of waiting is mown too
    later_money = replace(result.money, whole_life_cash=result.money.whole_life_cash + mow.money.yearly_cash)
    return judge(name, WAIT, True, replace(result, money=later_money), thresholds, back=1)


def kept_draws(result: Estimate) -> dict[str, np.ndarray]:
    """Draws of cash and of the headline kept with a stored run, so that sites can be added up: float32, at most 500."""
    at = result.headline_index
    cut = slice(0, KEPT_DRAWS)
    return {
        "setup_cash_gbp": result.money.setup_cash[cut].astype(np.float32),
        "species_per_m2_if_kept": result.outcome.species_1m2[KEPT, at, cut].astype(np.float32),
        "species_per_m2_as_usual": result.outcome.species_1m2[USUAL, at, cut].astype(np.float32),
    }
