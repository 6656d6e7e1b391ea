"""Answers, as `modelling.answers` writes them; units in the names."""

from __future__ import annotations

from datetime import date
from typing import Any, Final, Literal

from pydantic import BaseModel, ConfigDict

#: rises when the shape of an answer changes
SCHEMA_VERSION: Final = 1


class Answer(BaseModel):
    """Base of every answer part."""

    model_config = ConfigDict(extra="forbid")


class Range(Answer):
    """A figure as a range: 10, 50 and 90 % points and the mean of the draws."""

    p10: float
    p50: float
    p90: float
    mean: float


class MoneyRange(Answer):
    """Pounds as a range."""

    p10_gbp: float
    p50_gbp: float
    p80_gbp: float
    p90_gbp: float
    mean_gbp: float


class Recipe(Answer):
    """How to make this answer again."""

    schema_version: int
    release: str
    model_version: str
    as_of: date
    inputs_checksum: str
    reference_checksum: str
    random_seed: int
    world_seed: int
    draws: int
    draws_lowered_to_fit: bool
    horizon_years: int
    quadrat_area_m2: float
    inputs: dict[str, Any]


class Advice(Answer):
    """Whether to sow at all: sow | look_first | not_here | lower_fertility_first."""

    verdict: Literal["sow", "look_first", "not_here", "lower_fertility_first"]
    sentence: str
    reasons: list[str]


class PlanStep(Answer):
    """A step as planned, given or filled in."""

    on: date
    label: str
    operation: str | None
    area_share: float
    area_m2: float
    given: bool


class PlanAnswer(Answer):
    """The plan that was estimated, complete."""

    kind: str
    sward: str
    net_area_m2: float
    steps: list[PlanStep]
    regime: str
    regime_label: str
    first_year_cuts: int
    cut_on: list[str]
    shut_up_on: str | None
    arisings: str
    disposal: str
    grazing: str
    refuge_share: float
    volunteers: int
    hours_per_session: float
    first_summer: int


class SeedLine(Answer):
    """One thing to buy or bring."""

    key: str
    label: str
    kg: float
    g_per_m2: float
    usual_g_per_m2: list[float]
    needed_kg: list[float]
    packs: list[dict[str, float]]
    live_seeds_per_m2: float


class TaxonSeed(Answer):
    """Live seeds or plugs of one taxon."""

    taxon: str
    english_name: str
    scientific_name: str
    live_seeds_per_m2: Range | None
    plugs: int


class SeedAnswer(Answer):
    """Seed and plugs."""

    items: list[SeedLine]
    taxa: list[TaxonSeed]
    carrier_kg: float
    total_kg: float


class LabourLine(Answer):
    """Person-hours of one task."""

    operation: str
    label: str
    stage: str
    skill: str
    on: date
    person_hours: Range


class LabourAnswer(Answer):
    """Hands: to make the meadow (setup), in the first year, and each later year."""

    tasks: list[LabourLine]
    person_hours_setup: Range
    person_hours_first_year: Range
    person_hours_yearly: Range
    sessions_setup: Range
    sessions_yearly: Range
    volunteers: int
    hours_per_session: float


class MachineLine(Answer):
    """One machine for one task."""

    machine: str
    label: str
    operation: str
    stage: str
    to_hand: bool
    contractor: bool
    hours: Range
    hire_days: Range
    fuel_litres: Range
    vibration_points: Range | None
    share_between_people: int | None


class MachineryAnswer(Answer):
    """Machines, hire days and vibration; scale and why it was chosen."""

    lines: list[MachineLine]
    scale: str
    scale_reason: str


class CostLine(Answer):
    """One line of the cost; only means add up."""

    key: str
    label: str
    stage: str
    category: str
    kind: Literal["cash", "in_kind"]
    mean_net_gbp: float
    mean_vat_gbp: float
    mean_gross_gbp: float
    p10_gross_gbp: float
    p90_gross_gbp: float
    note: str


class CostAnswer(Answer):
    """Money. Cash and in kind are never added."""

    lines: list[CostLine]
    setup_cash: MoneyRange
    first_year_cash: MoneyRange
    yearly_cash: MoneyRange
    whole_life_cash: MoneyRange
    setup_in_kind: MoneyRange
    yearly_in_kind: MoneyRange
    chance_within_budget: float | None
    budget_gbp: float | None
    price_year: int
    discount_rate: float
    whole_life_years: int
    note: str


class RattleYear(Answer):
    """Yellow rattle in one year."""

    plants_per_m2: Range
    chance_held: float


class ForecastYear(Answer):
    """One summer of one forecast. Chances are always judged at 1 m2 (or the whole site where smaller)."""

    year: int
    calendar_year: int
    species_per_m2: Range
    sown_species_per_m2: Range
    species_per_m2_p25: float
    species_per_m2_p75: float
    chance_at_least_9: float
    chance_at_least_15: float
    rattle: RattleYear | None
    standing_crop_g_per_m2: Range


class Forecast(Answer):
    """One forecast."""

    by_year: list[ForecastYear]


class EstablishmentAnswer(Answer):
    """Two forecasts: if the plan is kept, and as groups usually manage."""

    if_kept: Forecast
    as_usual: Forecast
    quadrat_area_m2: float
    whole_site_is_smaller: bool
    chance_orchid_by_year: list[float]
    first_summer_colour: str
    weeds_to_expect: list[str]


class TaxonTimeline(Answer):
    """When one species shows, if the plan is kept; lists run over the years."""

    taxon: str
    english_name: str
    scientific_name: str
    chance_present: list[float]
    chance_seen_per_m2: list[float]
    chance_in_flower_per_m2: list[float]
    chance_seen_per_m2_as_usual: list[float]
    plants_per_m2: list[float]
    first_flower_year: int | None
    sentence: str


class Driver(Answer):
    """A group of unknowns and the share of the spread of the answer that goes with it."""

    key: str
    label: str
    share_of_species_spread: float
    share_of_cost_spread: float
    what_would_help: str


class PermissionLine(Answer):
    """A permission to have in writing."""

    key: str
    label: str
    who_gives: str
    why: str
    when: str
    nation: str
    confidence: str


class CalendarEntry(Answer):
    """One dated entry; `every_year` entries repeat."""

    on: date
    until: date | None
    label: str
    kind: str
    every_year: bool
    note: str


class Caution(Answer):
    """A general caution that defers to local rules and licensed practice."""

    key: str
    label: str
    text: str
    nation: str
    confidence: str


class Warning_(Answer):
    """Something the asker should look at again; the request was accepted."""

    code: str
    pointer: str
    text: str


class Assumption(Answer):
    """Something that was not given, what was taken instead, and how far to trust it."""

    field: str
    label: str
    value: str
    confidence: str


class ArisingsAnswer(Answer):
    """Cuttings and spoil."""

    cuttings_t_per_year: Range
    cuttings_m3_per_year: Range
    spoil_t: Range | None
    spoil_m3: Range | None
    where: str


class EstimateAnswer(Answer):
    """Everything about one site and one plan."""

    recipe: Recipe
    sentence: str
    advice: Advice
    plan: PlanAnswer
    seed: SeedAnswer
    labour: LabourAnswer
    machinery: MachineryAnswer
    arisings: ArisingsAnswer
    cost: CostAnswer
    establishment: EstablishmentAnswer
    taxa: list[TaxonTimeline]
    drivers: list[Driver]
    permissions: list[PermissionLine]
    calendar: list[CalendarEntry]
    cautions: list[Caution]
    warnings: list[Warning_]
    assumptions: list[Assumption]


class ComparedOption(Answer):
    """One option of a comparison, year 5 or the last year asked."""

    name: str
    key: str
    added_by_service: bool
    undominated: bool
    setup_cash: MoneyRange
    whole_life_cash: MoneyRange
    person_hours_setup: Range
    species_per_m2: Range
    species_per_m2_as_usual: Range
    chance_at_least_9: float
    chance_at_least_15: float
    chance_at_least_9_as_usual: float
    chance_rattle_held: float | None
    year: int
    sentence: str


class ComparisonAnswer(Answer):
    """Options side by side on the same draws."""

    recipe: Recipe
    sentence: str
    options: list[ComparedOption]
