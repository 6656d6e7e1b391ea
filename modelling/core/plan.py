"""What the core is asked: plain dataclasses, units in the names. The border (`modelling.contracts`) fills them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True)
class Site:
    """Facts of the ground; None is not known."""

    area_m2: float
    net_area_m2: float | None = None
    kind: str | None = None
    olsen_p_mg_per_l: float | None = None
    soil_p_index: int | None = None
    soil_ph: float | None = None
    wetness: str | None = None
    shade: str | None = None
    sward: str | None = None
    last_use: str | None = None
    resident_species_per_m2: float | None = None
    standing_crop_g_per_m2: float | None = None
    existing_interest: tuple[str, ...] | None = None
    gate_width_m: float | None = None
    slope_degrees: float | None = None
    distance_to_flower_rich_m: float | None = None

    @property
    def net_m2(self) -> float:
        """Area to be turned into meadow."""
        return self.area_m2 if self.net_area_m2 is None else self.net_area_m2


@dataclass(frozen=True, slots=True)
class Spread:
    """The 10 %, 50 % and 90 % points of what is not known exactly."""

    low: float
    middle: float
    high: float


@dataclass(frozen=True, slots=True)
class LotContent:
    """One kind in a lot of seed: filled seeds in a gram as it comes, and the share of them alive."""

    taxon: str
    seeds_per_g: Spread
    alive_share: Spread


@dataclass(frozen=True, slots=True)
class SeedItem:
    """`kg` of one mix, one taxon or one lot whose contents are told, as it comes from the sack."""

    kg: float
    mix: str | None = None
    taxon: str | None = None
    lot: str | None = None
    contents: tuple[LotContent, ...] | None = None

    @property
    def key(self) -> str:
        """Key of the mix, taxon or lot."""
        return self.mix or self.taxon or self.lot or ""


@dataclass(frozen=True, slots=True)
class PlugItem:
    """A number of plug plants of one taxon."""

    taxon: str
    count: int


@dataclass(frozen=True, slots=True)
class Step:
    """One dated piece of work on a share of the net area: an operation, seed or plugs."""

    on: date
    operation: str | None = None
    seed: tuple[SeedItem, ...] | None = None
    plugs: tuple[PlugItem, ...] | None = None
    area_share: float = 1.0
    zone: str | None = None
    given: bool = True


@dataclass(frozen=True, slots=True)
class Grazing:
    """Grazing by what and in which months; None where it is not known whether there is fence, water, grazier."""

    by: str = "none"
    from_month: int = 9
    to_month: int = 12
    fence: bool | None = None
    water: bool | None = None
    grazier: bool | None = None


@dataclass(frozen=True, slots=True)
class Aftercare:
    """Yearly care as asked; None is left to the service."""

    first_year_cuts: int | None = None
    shut_up_on: date | None = None
    cut_on: tuple[date, ...] | None = None
    cut_month: tuple[int, ...] | None = None
    arisings: str | None = None
    disposal: str | None = None
    aftermath_grazing: Grazing | None = None
    refuge_share: float = 0.0


@dataclass(frozen=True, slots=True)
class Crew:
    """People who can come, and for how long."""

    volunteers: int | None = None
    hours_per_session: float | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """A plan as asked; what is None the service plans."""

    preparation: tuple[str, ...] | None = None
    seed: tuple[SeedItem, ...] | None = None
    plugs: tuple[PlugItem, ...] | None = None
    sow_on: date | None = None
    steps: tuple[Step, ...] | None = None
    aftercare: Aftercare = Aftercare()
    crew: Crew = Crew()
    kit_to_hand: tuple[str, ...] = ()
    budget_gbp: float | None = None


@dataclass(frozen=True, slots=True)
class Question:
    """One estimate: a site, a plan, and how to run it."""

    site: Site
    plan: Plan
    as_of: date
    quadrat_area_m2: float
    horizon_years: int
    draws: int
    random_seed: int
    world_seed: int


@dataclass(frozen=True, slots=True)
class Assumption:
    """Something not given: what was taken instead and how far to trust it."""

    field: str
    label: str
    value: str
    confidence: str


@dataclass(frozen=True, slots=True)
class Warned:
    """Something the asker should look at again."""

    code: str
    pointer: str
    text: str


@dataclass(frozen=True, slots=True)
class YearlyCare:
    """Care as planned, complete. `cuts`: (month, day) in order; `regime`: key of the regimes table."""

    first_year_cuts: int
    cuts: tuple[tuple[int, int], ...]
    shut_up: tuple[int, int] | None
    arisings: str
    disposal: str
    grazing: Grazing
    refuge_share: float
    regime: str
    cut_operation: str | None
    first_year_operation: str | None


@dataclass(frozen=True, slots=True)
class FullPlan:
    """A plan with nothing left open."""

    kind: str
    sward: str
    last_use: str | None
    net_m2: float
    steps: tuple[Step, ...]
    care: YearlyCare
    volunteers: int
    hours_per_session: float
    kit_to_hand: tuple[str, ...]
    budget_gbp: float | None
    first_summer: int
    scale: str
    scale_reason: str
    verdict: str
    reasons: tuple[str, ...]
    seed_need: tuple[tuple[str, float, float, float], ...]
    assumptions: tuple[Assumption, ...]
    warnings: tuple[Warned, ...]
