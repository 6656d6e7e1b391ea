"""What crosses the border of the modelling app: requests and answers, with units in the names.

The same models serve the API, the command line, the pages and the OpenAPI document, so that every door reads,
refuses and answers alike. Requests are strict: no unknown keys, no text or truth values for numbers. Answers are
described here and written by `modelling.arrays`.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

SCHEMA_VERSION: Final = 1
FIRST_DAY: Final = date(2000, 1, 1)
LAST_DAY: Final = date(2100, 12, 31)
LEAST_AREA_M2: Final = 0.01
MAX_AREA_M2: Final = 1_000_000.0
LEAST_QUADRAT_M2: Final = 0.000_001
LEAST_KG: Final = 0.000_001
LEAST_AREA_SHARE: Final = 0.001
DEFAULT_DRAWS: Final = 4000
DEFAULT_COMPARISON_DRAWS: Final = 500
LEAST_DRAWS: Final = 200
MOST_DRAWS: Final = 10_000
MOST_YEARS: Final = 10
MOST_SEED_ITEMS: Final = 60
MOST_OPTIONS: Final = 12
MOST_STEPS: Final = 40


def _read_date(value: object) -> object:
    """Accept only text of the form YYYY-MM-DD (or a date from Python)."""
    if isinstance(value, date):
        return value
    # fromisoformat also reads weeks, such as 2026-W38-7
    if isinstance(value, str) and len(value) == len("2026-09-20") and value[4] == value[7] == "-":
        return date.fromisoformat(value)
    raise ValueError("a date is written YYYY-MM-DD")


def _read_tuple(value: object) -> object:
    """Accept one value where a list is allowed."""
    if value is None:
        return None
    return tuple(value) if isinstance(value, list | tuple) else (value,)


Day = Annotated[
    date,
    BeforeValidator(_read_date),
    Field(json_schema_extra={"format": "date"}, ge=FIRST_DAY, le=LAST_DAY),
]
Month = Annotated[int, Field(ge=1, le=12)]
Share = Annotated[float, Field(ge=0, le=1)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Key = Annotated[str, Field(min_length=1, max_length=80)]

Kind = Literal["churchyard", "verge", "garden", "school", "field", "orchard", "green"]
Wetness = Literal["dry", "moist", "damp", "wet"]
Shade = Literal["sun", "part_shade", "shade"]
Sward = Literal["bare_or_arable", "short_turf", "rank_grass", "improved_grass", "species_poor", "flower_rich"]
LastUse = Literal["arable", "grazing", "hay", "mown_lawn", "unmanaged", "garden_bed", "amenity"]
Arisings = Literal["removed", "left"]
Animal = Literal["none", "sheep", "cattle", "ponies"]
Disposal = Literal["heap", "green_waste", "farmer", "nowhere"]
Interest = Literal["orchids", "waxcaps", "rich_turf", "none", "not_looked"]


class Strict(BaseModel):
    """Base of every request part: frozen, strict, no unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


class Site(Strict):
    """The ground. Only the area is needed; what is left out is drawn from a prior or taken from the kind of site."""

    area_m2: Annotated[float, Field(ge=LEAST_AREA_M2, le=MAX_AREA_M2, description="Whole area, m2.")]
    net_area_m2: Annotated[
        float | None, Field(ge=LEAST_AREA_M2, le=MAX_AREA_M2, description="Area to be turned into meadow, m2.")
    ] = None
    kind: Kind | None = None
    olsen_p_mg_per_l: Annotated[float | None, Field(ge=0, le=1000, description="Olsen P, mg/l.")] = None
    soil_p_index: Annotated[int | None, Field(ge=0, le=9, description="Olsen P index, 0 to 9.")] = None
    soil_ph: Annotated[float | None, Field(ge=3, le=10)] = None
    wetness: Wetness | None = None
    shade: Shade | None = None
    sward: Sward | None = None
    last_use: LastUse | None = None
    resident_species_per_m2: Annotated[float | None, Field(ge=0, le=60)] = None
    standing_crop_g_per_m2: Annotated[
        float | None, Field(ge=10, le=2000, description="Dry weight of the crop in June, g/m2.")
    ] = None
    existing_interest: Annotated[
        tuple[Interest, ...] | None,
        BeforeValidator(_read_tuple, json_schema_input_type=Interest | tuple[Interest, ...] | None),
    ] = None
    gate_width_m: Annotated[float | None, Field(gt=0, le=30)] = None
    slope_degrees: Annotated[float | None, Field(ge=0, le=60)] = None
    distance_to_flower_rich_m: Annotated[float | None, Field(ge=0, le=100_000)] = None

    @model_validator(mode="after")
    def _together(self) -> Site:
        if self.olsen_p_mg_per_l is not None and self.soil_p_index is not None:
            raise ValueError("give olsen_p_mg_per_l or soil_p_index, not both")
        if self.net_area_m2 is not None and self.net_area_m2 > self.area_m2:
            raise ValueError("the net_area_m2 is larger than the area_m2")
        return self


class SeedItem(Strict):
    """An amount of one mix or one taxon."""

    mix: Key | None = None
    taxon: Key | None = None
    kg: Annotated[float, Field(ge=LEAST_KG, le=100_000, description="Seed as it comes from the sack, kg.")]

    @model_validator(mode="after")
    def _one(self) -> SeedItem:
        if (self.mix is None) == (self.taxon is None):
            raise ValueError("give either mix or taxon")
        return self


class PlugItem(Strict):
    """A number of plug plants of one taxon."""

    taxon: Key
    count: Annotated[int, Field(gt=0, le=10_000_000)]


class Step(Strict):
    """One dated piece of the plan: an operation, or seed, or plugs, on a share of the net area."""

    on: Day
    operation: Key | None = None
    seed: Annotated[tuple[SeedItem, ...] | None, Field(min_length=1, max_length=MOST_SEED_ITEMS, strict=False)] = None
    plugs: Annotated[tuple[PlugItem, ...] | None, Field(min_length=1, max_length=MOST_SEED_ITEMS, strict=False)] = None
    area_share: Annotated[float, Field(ge=LEAST_AREA_SHARE, le=1)] = 1.0
    zone: Annotated[
        str | None,
        Field(
            min_length=1,
            max_length=40,
            description="Steps with the same zone name are on the same ground; without it, strips follow on.",
        ),
    ] = None

    @model_validator(mode="after")
    def _one(self) -> Step:
        if sum(x is not None for x in (self.operation, self.seed, self.plugs)) != 1:
            raise ValueError("a step has exactly one of operation, seed, plugs")
        return self


class Grazing(Strict):
    """Grazing of the regrowth, or instead of a cut."""

    by: Animal
    from_month: Month = 9
    to_month: Month = 12
    fence: bool | None = None
    water: bool | None = None
    grazier: bool | None = None


def _read_grazing(value: object) -> object:
    return {"by": value} if isinstance(value, str) else value


class Aftercare(Strict):
    """Yearly care."""

    first_year_cuts: Annotated[int | None, Field(ge=0, le=20)] = None
    shut_up_on: Day | None = None
    cut_on: Annotated[
        Annotated[tuple[Day, ...], Field(max_length=4)] | None,
        BeforeValidator(
            _read_tuple, json_schema_input_type=Day | Annotated[tuple[Day, ...], Field(max_length=4)] | None
        ),
        Field(description="Day or days of the yearly cut; the year is not read."),
    ] = None
    cut_month: Annotated[
        Annotated[tuple[Month, ...], Field(max_length=4)] | None,
        BeforeValidator(
            _read_tuple, json_schema_input_type=Month | Annotated[tuple[Month, ...], Field(max_length=4)] | None
        ),
        Field(description="Month or months of the yearly cut; an empty list means no cut."),
    ] = None
    arisings: Arisings | None = None
    disposal: Disposal | None = None
    aftermath_grazing: Annotated[
        Grazing | None, BeforeValidator(_read_grazing, json_schema_input_type=Animal | Grazing | None)
    ] = None
    refuge_share: Annotated[float, Field(ge=0, le=0.5, description="Share left uncut each year.")] = 0.0

    @model_validator(mode="after")
    def _one(self) -> Aftercare:
        if self.cut_on is not None and self.cut_month is not None:
            raise ValueError("give cut_on or cut_month, not both")
        return self


class Crew(Strict):
    """Who can come, for how long."""

    volunteers: Annotated[int | None, Field(gt=0, le=10_000)] = None
    hours_per_session: Annotated[float | None, Field(ge=0.25, le=12)] = None


class Plan(Strict):
    """What is to be done. Everything may be left out; the service then plans it and says so."""

    preparation: Annotated[tuple[Key, ...] | None, Field(max_length=10, strict=False)] = None
    seed: Annotated[tuple[SeedItem, ...] | None, Field(max_length=MOST_SEED_ITEMS, strict=False)] = None
    plugs: Annotated[tuple[PlugItem, ...] | None, Field(max_length=MOST_SEED_ITEMS, strict=False)] = None
    sow_on: Day | None = None
    steps: Annotated[tuple[Step, ...] | None, Field(max_length=MOST_STEPS, strict=False)] = None
    aftercare: Aftercare = Aftercare()
    crew: Crew = Crew()
    kit_to_hand: Annotated[tuple[Key, ...], Field(max_length=40, strict=False)] = ()
    budget_gbp: Annotated[float | None, Field(ge=0, le=100_000_000)] = None

    @model_validator(mode="after")
    def _steps_instead(self) -> Plan:
        if self.steps is not None and any(
            x is not None for x in (self.preparation, self.seed, self.plugs, self.sow_on)
        ):
            raise ValueError("give steps, or preparation, seed, plugs and sow_on, not both")
        return self


Draws = Annotated[int | None, Field(ge=LEAST_DRAWS, le=MOST_DRAWS)]
Seed = Annotated[int, Field(ge=0, le=2**63 - 1)]


class EstimateRequest(Strict):
    """Ask what one site will need and become. The smallest request is ``{"site": {"area_m2": 180}}``."""

    site: Site
    plan: Plan = Plan()
    quadrat_area_m2: Annotated[float, Field(ge=LEAST_QUADRAT_M2, le=100)] = 1.0
    horizon_years: Annotated[int, Field(ge=1, le=MOST_YEARS)] = MOST_YEARS
    draws: Draws = None
    random_seed: Seed = 1
    world_seed: Seed = 1
    as_of: Annotated[Day | None, Field(description="Date the estimate is made for; today if left out.")] = None


class Option(Strict):
    """One named plan of a comparison."""

    name: Annotated[str, Field(min_length=1, max_length=80)]
    plan: Plan = Plan()


class ComparisonRequest(Strict):
    """Compare plans for one site. Changing the mowing only, and waiting a year, are always added."""

    site: Site
    options: Annotated[tuple[Option, ...], Field(min_length=1, max_length=MOST_OPTIONS, strict=False)]
    quadrat_area_m2: Annotated[float, Field(ge=LEAST_QUADRAT_M2, le=100)] = 1.0
    horizon_years: Annotated[int, Field(ge=1, le=MOST_YEARS)] = MOST_YEARS
    draws: Draws = None
    random_seed: Seed = 1
    world_seed: Seed = 1
    as_of: Day | None = None


# ------------------------------------------------------------------ answers


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
