"""Sharing seed out over a county for a season: lots, harvests, hopeful projects in; who gets what out.

Seed in milligrams, places in metres on the national grid (as precisely as they may be told), harvests in half-days.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Final, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from modelling.contracts.answers import Answer
from modelling.contracts.portfolio import Milligrams
from modelling.contracts.requests import Day, Key, Strict

SHARE_OUT_SCHEMA_VERSION: Final = 1
MOST_SOURCES: Final = 300
MOST_PROJECTS: Final = 500
MOST_POINTS: Final = 12
#: days from the first that a harvest may be made to the last
MOST_DAYS: Final = 200

Objective = Literal["area", "fair"]
Reason = Literal[
    "out_of_reach", "habitat", "forbidden", "resting", "too_little_seed", "no_harvester_day", "outbid", "not_worked_out"
]
Label = Annotated[str, Field(min_length=1, max_length=200)]
SomeMilligrams = Annotated[int, Field(gt=0, le=1_000_000_000_000)]
Metres = Annotated[int, Field(ge=0, le=1_300_000)]
HalfDaysAsked = Annotated[int, Field(ge=1, le=200)]
PartOf = Annotated[float, Field(gt=0, lt=1)]


def contradiction(text: str, right: str) -> PydanticCustomError:
    """A fault between two fields."""
    return PydanticCustomError("contradiction", text, {"own": right})


class Place(Strict):
    """A point on the national grid: the middle of the square that may be told."""

    east_m: Metres
    north_m: Metres


class Donor(Strict):
    """A meadow that seed is taken from, and what may be taken in a season."""

    id: Key
    label: Label
    whole_mg: Milligrams
    """Seed that the harvester would bring from all of it, on a cautious view."""
    allowed_share: Annotated[float, Field(gt=0, le=1)] | None = None
    """Share that may be taken in a year; null for what is usual."""
    taken_mg: Milligrams = 0
    """Taken this season already."""
    last_harvest_year: Annotated[int, Field(ge=1900, le=2100)] | None = None
    """Last year before this one in which seed was taken."""
    rest_years: Annotated[int, Field(ge=0, le=20)] | None = None
    """Years without a harvest between two; null for what is usual."""


class Lot(Strict):
    """Seed in store."""

    id: Key
    label: Label
    mg: Milligrams
    """That is there and promised to nobody, the promises pinned below apart."""
    habitat: Key | None = None
    place: Place | None = None
    """Where the plants grew; null if it may go anywhere."""
    worth: Annotated[float, Field(ge=0.01, le=100)] = 1.0
    """What its seed is worth beside that for which the projects' points hold, by weight."""


class Harvest(Strict):
    """A harvest that may be made."""

    id: Key
    label: Label
    donor: Key
    first_day: Day
    last_day: Day
    """The seed is ripe from the first to the last of these days."""
    mg_per_half_day: SomeMilligrams
    """Dry seed that half a day brings, on a cautious view."""
    most_half_days: HalfDaysAsked
    habitat: Key | None = None
    place: Place | None = None
    worth: Annotated[float, Field(ge=0.01, le=100)] = 1.0

    @model_validator(mode="after")
    def _in_order(self) -> Harvest:
        if self.last_day < self.first_day:
            raise contradiction("The last ripe day lies before the first.", "a last day on or after the first")
        return self


class GainPoint(Strict):
    """What a project gains from an amount of seed."""

    mg: SomeMilligrams
    gain_m2: Annotated[float, Field(ge=0, le=10_000_000)]
    """Species-rich ground to be expected, beyond what would come without seed, m2."""


class HopefulProject(Strict):
    """A project that hopes for seed. The order they come in is the order they asked in."""

    id: Key
    label: Label
    group: Key
    most_mg: SomeMilligrams
    """Its target: more it does not take."""
    least_mg: SomeMilligrams
    """Less than this is not worth sowing there."""
    points: Annotated[tuple[GainPoint, ...], Field(min_length=1, max_length=MOST_POINTS, strict=False)]
    suits: Annotated[tuple[Key, ...], Field(max_length=40, strict=False)] | None = None
    """Habitats whose seed suits the ground; null for all."""
    place: Place | None = None
    """Null if it is not to be told, even to the sharing: every lot is within reach."""
    weight: Annotated[float, Field(ge=0.1, le=10)] = 1.0
    """For the objective `fair`: above 1 for a group that went without before."""
    most_lots: Annotated[int, Field(ge=1, le=50)] | None = None
    """Lots that are mixed for it; null for what is usual."""

    @model_validator(mode="after")
    def _rising(self) -> HopefulProject:
        if self.least_mg > self.most_mg:
            raise contradiction("The least that is worth sowing is more than the target.", "at most most_mg")
        amounts = [point.mg for point in self.points]
        if sorted(set(amounts)) != amounts:
            raise contradiction("The points must go up in milligrams, each amount once.", "rising amounts")
        return self


class Pin(Strict):
    """A pairing held by hand: `give` at least so much (a promise), or `forbid` it."""

    source: Key
    project: Key
    how: Literal["give", "forbid"]
    mg: SomeMilligrams | None = None
    """For `give`; null for the least parcel."""

    @model_validator(mode="after")
    def _amount(self) -> Pin:
        if self.how == "forbid" and self.mg is not None:
            raise contradiction("A pairing that is forbidden has no amount.", "null")
        return self


class Machine(Strict):
    """The harvester and the weather it needs."""

    machines: Annotated[int, Field(ge=0, le=20)] = 1
    half_days_a_day: Annotated[int, Field(ge=1, le=2)] = 2
    away: Annotated[tuple[Day, ...], Field(max_length=MOST_DAYS, strict=False)] = ()
    """Days on which it is not to be had."""
    chance: Annotated[float, Field(ge=0.05, le=0.99)] | None = None
    """Chance with which each stretch of ripe days is to suffice; null for what is usual."""
    fit_share_low: PartOf | None = None
    fit_share: PartOf | None = None
    """Share of the days that are fit for harvesting: in an ordinary season, and in one of ten poor and good ones; null
    for what is usual."""
    fit_share_high: PartOf | None = None

    @model_validator(mode="after")
    def _rising(self) -> Machine:
        given = (self.fit_share_low, self.fit_share, self.fit_share_high)
        if any(part is None for part in given) and any(part is not None for part in given):
            raise contradiction("The share of fit days is given whole: low, ordinary and high.", "all three, or none")
        low, middle, high = given
        if low is not None and middle is not None and high is not None and not low < middle < high:
            raise contradiction("The shares of fit days do not rise from low to high.", "rising shares")
        return self


class ShareOutQuestion(Strict):
    """Share a season's seed out."""

    year: Annotated[int, Field(ge=2000, le=2100)]
    lots: Annotated[tuple[Lot, ...], Field(max_length=MOST_SOURCES, strict=False)] = ()
    harvests: Annotated[tuple[Harvest, ...], Field(max_length=MOST_SOURCES, strict=False)] = ()
    donors: Annotated[tuple[Donor, ...], Field(max_length=MOST_SOURCES, strict=False)] = ()
    projects: Annotated[tuple[HopefulProject, ...], Field(min_length=1, max_length=MOST_PROJECTS, strict=False)]
    pins: Annotated[tuple[Pin, ...], Field(max_length=1_000, strict=False)] = ()
    machine: Machine = Machine()
    objective: Objective = "area"
    """`area`: the most species-rich ground to be expected. `fair`: each project counts by the share it gets of what it
    would gain with its whole target, times its weight, however small its ground."""
    reach_km: Annotated[float, Field(ge=0, le=500)] | None = None
    """Farthest that seed is taken; null for what is usual."""
    parcel_mg: Milligrams | None = None
    """Least that is weighed out of one lot for one project; null for what is usual."""
    step_mg: Annotated[int, Field(ge=1, le=1_000_000)] = 100
    """Everything is weighed out in whole steps."""
    gap: Annotated[float, Field(ge=0, le=0.05)] | None = None
    """How near to the best is near enough; null: proven best up to 2,000 pairings, else within 0.4 %."""
    explained: Annotated[int, Field(ge=0, le=100)] = 30
    """Projects without seed for which what it would cost to serve them is worked out, those with most to gain first."""
    priced: Annotated[int, Field(ge=0, le=100)] = 20
    """Lots, and days, for which one more is worked out, those nearest to use first."""

    @model_validator(mode="after")
    def _named(self) -> ShareOutQuestion:
        for name, things in (("project", self.projects), ("donor", self.donors)):
            ids = [thing.id for thing in things]
            if len(set(ids)) < len(ids):
                raise contradiction(f"A {name} is named twice.", "each id once")
        ids = [lot.id for lot in self.lots] + [harvest.id for harvest in self.harvests]
        if len(set(ids)) < len(ids):
            raise contradiction("A lot or harvest is named twice.", "each id once")
        return self


# ------------------------------------------------------------------ answer


class ShareSolved(Answer):
    """What the solver says."""

    status: Literal["proven_best", "within_gap", "not_proven"]
    gap: float
    """Most that a better sharing could add, as a share of this one's value; weighing in whole steps counted in."""
    solver: str


class Share(Answer):
    """Seed of one lot or harvest for one project."""

    source: str
    project: str
    mg: int
    km: float | None
    pinned_mg: int
    against_rules: list[Literal["out_of_reach", "habitat"]]
    """Rules that a pin passes over."""


class ProjectShare(Answer):
    """What one project gets."""

    id: str
    mg: int
    share_of_target: float
    gain_m2: float
    gain_m2_with_target: float
    sentence: str


class WouldChange(Answer):
    """One thing with which a project without seed would get some."""

    what: Literal["reach", "seed", "day", "gain", "pin", "rest", "ask_less"]
    sentence: str


class Without(Answer):
    """A project that gets nothing, and why."""

    id: str
    reason: Reason
    sentence: str
    value_lost_if_served: float | None
    """What the whole county would lose if it got its least all the same, in the unit of the objective."""
    losers: list[str]
    """Projects that would get less then."""
    would_change: list[WouldChange]


class HarvestPlan(Answer):
    """How much of a harvest is to be made."""

    id: str
    half_days: int
    mg: int
    first_day: date
    last_day: date


class Left(Answer):
    """Seed of a lot that goes to nobody."""

    id: str
    mg: int


class Stretch(Answer):
    """Ripe days that have to hold all harvests that lie within them."""

    first_day: date
    last_day: date
    days: int
    days_to_count_on: int
    half_days: int
    half_days_used: int


class OneMore(Answer):
    """What one more kilogram or one more day would change."""

    what: Literal["kilogram", "day"]
    of: str
    """The lot or harvest; or the first of the days of which it could be any."""
    until: date | None
    value_gained: float
    gainers: list[str]
    losers: list[str]
    sentence: str


class SharePin(Answer):
    """What holding a pairing costs."""

    source: str
    project: str
    how: Literal["give", "forbid"]
    value_lost: float


class PinFault(Answer):
    """Where the pins cannot be held."""

    limit: Literal["seed", "harvest", "donor", "target", "days"]
    of: str
    by: int
    """Milligrams, or half-days."""
    sentence: str


class OtherWay(Answer):
    """What a simpler way of sharing would have brought."""

    way: Literal["first_come", "greedy"]
    value: float
    projects: int
    sentence: str


class ShareOutAnswer(Answer):
    """Who gets what, who goes without and why, and what one more would change."""

    schema_version: int
    release: str
    reference_checksum: str
    sentence: str
    notes: list[str]
    objective: Objective
    unit: str
    feasible: bool
    infeasible: list[PinFault]
    solved: ShareSolved | None
    value: float
    gain_m2: float
    shares: list[Share]
    projects: list[ProjectShare]
    without: list[Without]
    harvests: list[HarvestPlan]
    left: list[Left]
    stretches: list[Stretch]
    chance_asked: float
    chance_of_doing: float
    """That the harvests planned can all be made, weather permitting."""
    one_more: list[OneMore]
    pins: list[SharePin]
    other_ways: list[OtherWay]
