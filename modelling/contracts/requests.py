"""Requests: strict, no unknown keys, no text or truth values for numbers; units in the names."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Final, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

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


def read_tuple(value: object) -> object:
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

    model_config = ConfigDict(
        frozen=True, extra="forbid", strict=True, allow_inf_nan=False, use_attribute_docstrings=True
    )


class Site(Strict):
    """The ground. Only the area is needed; what is left out is drawn from a prior or taken from the kind of site."""

    area_m2: Annotated[float, Field(ge=LEAST_AREA_M2, le=MAX_AREA_M2, description="Whole area, m2.")]
    net_area_m2: Annotated[
        float | None, Field(ge=LEAST_AREA_M2, le=MAX_AREA_M2, description="Area to be turned into meadow, m2.")
    ] = None
    kind: Kind | None = None
    """Kind of place: sets permissions, cautions and what is taken where nothing is said."""
    olsen_p_mg_per_l: Annotated[float | None, Field(ge=0, le=1000, description="Olsen P, mg/l.")] = None
    soil_p_index: Annotated[int | None, Field(ge=0, le=9, description="Olsen P index, 0 to 9.")] = None
    soil_ph: Annotated[float | None, Field(ge=3, le=10)] = None
    """Soil pH in water."""
    wetness: Wetness | None = None
    """How wet the ground is through the year."""
    shade: Shade | None = None
    """How much of the day is in shade."""
    sward: Sward | None = None
    """What grows there now."""
    last_use: LastUse | None = None
    """What the ground was used for last."""
    resident_species_per_m2: Annotated[float | None, Field(ge=0, le=60)] = None
    """Kinds of plant already in a square metre, grasses and sedges too, mean of a few."""
    standing_crop_g_per_m2: Annotated[
        float | None, Field(ge=10, le=2000, description="Dry weight of the crop in June, g/m2.")
    ] = None
    existing_interest: Annotated[
        tuple[Interest, ...] | None,
        BeforeValidator(read_tuple, json_schema_input_type=Interest | tuple[Interest, ...] | None),
    ] = None
    gate_width_m: Annotated[float | None, Field(gt=0, le=30)] = None
    """Narrowest point on the way in, m."""
    slope_degrees: Annotated[float | None, Field(ge=0, le=60)] = None
    """Steepest slope to be worked, degrees."""
    distance_to_flower_rich_m: Annotated[float | None, Field(ge=0, le=100_000)] = None
    """Distance to the nearest flower-rich grassland, m."""

    @model_validator(mode="after")
    def _together(self) -> Site:
        if self.olsen_p_mg_per_l is not None and self.soil_p_index is not None:
            raise ValueError("give olsen_p_mg_per_l or soil_p_index, not both")
        if self.net_area_m2 is not None and self.net_area_m2 > self.area_m2:
            raise ValueError("the net_area_m2 is larger than the area_m2")
        return self


class Spread(Strict):
    """A figure that is not known exactly: one in ten is below `low`, half below `middle`, one in ten above `high`."""

    low: Annotated[float, Field(gt=0, le=1_000_000)]
    middle: Annotated[float, Field(gt=0, le=1_000_000)]
    high: Annotated[float, Field(gt=0, le=1_000_000)]

    @model_validator(mode="after")
    def _rising(self) -> Spread:
        if not self.low <= self.middle <= self.high:
            raise ValueError("low, middle and high should rise")
        return self


class LotContent(Strict):
    """One kind in a lot of seed."""

    taxon: Key
    seeds_per_g: Spread
    """Filled seeds in a gram as it comes from the sack."""
    alive_share: Spread
    """Of them, the share that can grow, below 1."""

    @model_validator(mode="after")
    def _share(self) -> LotContent:
        if self.alive_share.high >= 1:
            raise ValueError("a share alive is below 1")
        return self


class SeedItem(Strict):
    """An amount of one mix, one taxon or one lot of seed."""

    mix: Key | None = None
    taxon: Key | None = None
    lot: Key | None = None
    """Id of a lot of the network's seed, whose contents the service knows; or, with `contents`, any name for it."""
    contents: Annotated[
        tuple[LotContent, ...] | None, Field(min_length=1, max_length=MOST_SEED_ITEMS, strict=False)
    ] = None
    """What was counted in the lot; for a lot of the network it is looked up."""
    kg: Annotated[float, Field(ge=LEAST_KG, le=100_000, description="Seed as it comes from the sack, kg.")]

    @model_validator(mode="after")
    def _one(self) -> SeedItem:
        if sum(x is not None for x in (self.mix, self.taxon, self.lot)) != 1:
            raise ValueError("give either mix, taxon or lot")
        if self.contents is not None and self.lot is None:
            raise ValueError("contents belong to a lot: give it a name")
        if len({content.taxon for content in self.contents or ()}) < len(self.contents or ()):
            raise ValueError("a kind stands in the contents twice")
        return self


class PlugItem(Strict):
    """A number of plug plants of one taxon."""

    taxon: Key
    count: Annotated[int, Field(gt=0, le=10_000_000)]
    """Number of plants."""


class Step(Strict):
    """One dated piece of the plan: an operation, or seed, or plugs, on a share of the net area."""

    on: Day
    """Day of the work."""
    operation: Key | None = None
    """Key of an operation; see the vocabularies."""
    seed: Annotated[tuple[SeedItem, ...] | None, Field(min_length=1, max_length=MOST_SEED_ITEMS, strict=False)] = None
    plugs: Annotated[tuple[PlugItem, ...] | None, Field(min_length=1, max_length=MOST_SEED_ITEMS, strict=False)] = None
    area_share: Annotated[float, Field(ge=LEAST_AREA_SHARE, le=1)] = 1.0
    """Share of the net area."""
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
    """Which stock."""
    from_month: Month = 9
    """First month, 1 to 12."""
    to_month: Month = 12
    """Last month, 1 to 12; before `from_month` means in the next year."""
    fence: bool | None = None
    """Whether there is a stock-proof fence."""
    water: bool | None = None
    """Whether there is water for the stock."""
    grazier: bool | None = None
    """Whether someone with stock has agreed."""


def _read_grazing(value: object) -> object:
    return {"by": value} if isinstance(value, str) else value


class Aftercare(Strict):
    """Yearly care."""

    first_year_cuts: Annotated[int | None, Field(ge=0, le=20)] = None
    """Cuts in the first summer after sowing; from 3 on they start in April."""
    shut_up_on: Day | None = None
    """Day from which nothing is cut or grazed until the yearly cut; the year is not read."""
    cut_on: Annotated[
        Annotated[tuple[Day, ...], Field(max_length=4)] | None,
        BeforeValidator(
            read_tuple, json_schema_input_type=Day | Annotated[tuple[Day, ...], Field(max_length=4)] | None
        ),
        Field(description="Day or days of the yearly cut; the year is not read."),
    ] = None
    cut_month: Annotated[
        Annotated[tuple[Month, ...], Field(max_length=4)] | None,
        BeforeValidator(
            read_tuple, json_schema_input_type=Month | Annotated[tuple[Month, ...], Field(max_length=4)] | None
        ),
        Field(description="Month or months of the yearly cut; an empty list means no cut."),
    ] = None
    arisings: Arisings | None = None
    """Whether the cuttings are taken off."""
    disposal: Disposal | None = None
    """Where the cuttings go."""
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
    """People asked; the answer allows for some who do not come."""
    hours_per_session: Annotated[float | None, Field(ge=0.25, le=12)] = None
    """Length of a work session, hours."""


class Plan(Strict):
    """What is to be done. Everything may be left out; the service then plans it and says so."""

    preparation: Annotated[tuple[Key, ...] | None, Field(max_length=10, strict=False)] = None
    """Keys of preparation operations, in order; an empty list means none."""
    seed: Annotated[tuple[SeedItem, ...] | None, Field(max_length=MOST_SEED_ITEMS, strict=False)] = None
    """Seed for the whole net area; an empty list means none."""
    plugs: Annotated[tuple[PlugItem, ...] | None, Field(max_length=MOST_SEED_ITEMS, strict=False)] = None
    """Plug plants for the whole net area."""
    sow_on: Day | None = None
    """Day of sowing and planting."""
    steps: Annotated[tuple[Step, ...] | None, Field(max_length=MOST_STEPS, strict=False)] = None
    """Dated steps, instead of preparation, seed, plugs and sow_on."""
    aftercare: Aftercare = Aftercare()
    """Yearly care."""
    crew: Crew = Crew()
    """Who can come."""
    kit_to_hand: Annotated[tuple[Key, ...], Field(max_length=40, strict=False)] = ()
    """Keys of machines that need no hire."""
    budget_gbp: Annotated[float | None, Field(ge=0, le=100_000_000)] = None
    """Cash at hand, GBP with VAT."""

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
    """The ground."""
    plan: Plan = Plan()
    quadrat_area_m2: Annotated[float, Field(ge=LEAST_QUADRAT_M2, le=100)] = 1.0
    """Area in which species are counted, m2; thresholds are always judged at 1 m2."""
    horizon_years: Annotated[int, Field(ge=1, le=MOST_YEARS)] = MOST_YEARS
    """Summers to forecast."""
    draws: Draws = None
    """Draws; left out, 4,000 for an estimate and 500 for each option of a comparison, fewer where it must fit."""
    random_seed: Seed = 1
    """Seed of what belongs to the site."""
    world_seed: Seed = 1
    """Seed of what the sites of a county share."""
    as_of: Annotated[Day | None, Field(description="Date the estimate is made for; today if left out.")] = None


class Option(Strict):
    """One named plan of a comparison."""

    name: Annotated[str, Field(min_length=1, max_length=80)]
    """Name of the option, different from the others."""
    plan: Plan = Plan()


class ComparisonRequest(Strict):
    """Compare plans for one site. Changing the mowing only, and waiting a year, are always added."""

    site: Site
    """The ground."""
    options: Annotated[tuple[Option, ...], Field(min_length=1, max_length=MOST_OPTIONS, strict=False)]
    """Plans to compare."""
    quadrat_area_m2: Annotated[float, Field(ge=LEAST_QUADRAT_M2, le=100)] = 1.0
    """Area in which species are counted, m2; thresholds are always judged at 1 m2."""
    horizon_years: Annotated[int, Field(ge=1, le=MOST_YEARS)] = MOST_YEARS
    """Summers to forecast."""
    draws: Draws = None
    """Draws; left out, 4,000 for an estimate and 500 for each option of a comparison, fewer where it must fit."""
    random_seed: Seed = 1
    """Seed of what belongs to the site."""
    world_seed: Seed = 1
    """Seed of what the sites of a county share."""
    as_of: Day | None = None
