"""What a pot could buy: bids, limits and pins in; the best set and what each limit costs out. Money in pence."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from modelling.contracts.answers import Answer
from modelling.contracts.appraisal import Pence
from modelling.contracts.requests import Key, Strict

Objective = Literal["expected_outcome", "score", "cautious"]
MOST_BIDS = 500
MOST_SETS = 1_000
Milligrams = Annotated[int, Field(ge=0, le=1_000_000_000_000)]
HalfDays = Annotated[int, Field(ge=0, le=10_000)]


class SeedNeed(Strict):
    """Scarce seed that a bid would draw, or that there is."""

    item: Key
    mg: Milligrams


class PortfolioBid(Strict):
    """One bid. Its draws of outcome are handed over beside, by id."""

    id: Key
    """Public id; ties are broken by it."""
    cost_pence: Pence
    """Grant asked."""
    group: Key
    district: Key = "none"
    seed: Annotated[tuple[SeedNeed, ...], Field(max_length=100, strict=False)] = ()
    harvester_half_days: HalfDays = 0
    score: Annotated[float, Field(ge=0, le=1_000_000)] | None = None
    """Assessors' score, needed for the objective `score`."""
    pinned: Literal["in", "out"] | None = None

    @model_validator(mode="after")
    def _once(self) -> PortfolioBid:
        items = [need.item for need in self.seed]
        if len(set(items)) < len(items):
            raise ValueError("an item of seed is named twice")
        return self


class Limits(Strict):
    """What cannot be exceeded; None is no limit."""

    pot_pence: Pence
    per_group_pence: Pence | None = None
    per_district_pence: Pence | None = None
    seed: Annotated[tuple[SeedNeed, ...], Field(max_length=100, strict=False)] = ()
    """Scarce seed there is; items not named here are not scarce."""
    harvester_half_days: HalfDays | None = None
    exclusive: Annotated[
        tuple[Annotated[tuple[Key, ...], Field(min_length=2, max_length=MOST_BIDS, strict=False)], ...],
        Field(max_length=MOST_SETS, strict=False),
    ] = ()
    """Sets of bids of which at most one can be funded, such as those for the same ground."""


class RelaxedBy(Strict):
    """Step by which each limit is raised to find its price."""

    pot_pence: Annotated[int, Field(gt=0, le=1_000_000_000)] = 100_000
    per_group_pence: Annotated[int, Field(gt=0, le=1_000_000_000)] = 100_000
    per_district_pence: Annotated[int, Field(gt=0, le=1_000_000_000)] = 100_000
    seed_mg: Annotated[int, Field(gt=0, le=1_000_000_000)] = 1_000_000
    harvester_half_days: Annotated[int, Field(gt=0, le=1_000)] = 1


class PortfolioQuestion(Strict):
    """Choose the best set of bids."""

    bids: Annotated[tuple[PortfolioBid, ...], Field(max_length=MOST_BIDS, strict=False)]
    limits: Limits
    objective: Objective = "expected_outcome"
    cautious_share: Annotated[float, Field(ge=0.01, le=1)] = 0.2
    """For `cautious`: the mean outcome over this worst share of the worlds."""
    relaxed_by: RelaxedBy = RelaxedBy()
    frontier_steps: Annotated[int, Field(ge=0, le=50)] = 10
    """Budgets from nothing to the pot, evenly spaced; 0 for no frontier."""
    explained: Annotated[int, Field(ge=0, le=MOST_BIDS)] = 60
    """Bids not chosen that are told how much cheaper or better they would have to be, the nearest first."""
    worlds_tried: Annotated[int, Field(ge=0, le=500)] = 50
    """Worlds, the first ones, of which each has its own best set found, for the chances of being in it."""

    @model_validator(mode="after")
    def _named(self) -> PortfolioQuestion:
        ids = [bid.id for bid in self.bids]
        if len(set(ids)) < len(ids):
            raise ValueError("two bids have the same id")
        unknown = {key for members in self.limits.exclusive for key in members} - set(ids)
        if unknown:
            raise ValueError(f"{min(unknown)!r} is named as exclusive and is no bid")
        if self.objective == "score" and any(bid.score is None for bid in self.bids):
            raise ValueError("the objective score needs a score of every bid")
        items = [need.item for need in self.limits.seed]
        if len(set(items)) < len(items):
            raise ValueError("an item of seed is named twice")
        return self


class Solved(Answer):
    """What the solver says."""

    status: Literal["proven_best", "not_proven"]
    gap: float
    """Most that a better set could add, as a share of this one's value."""
    solver: str


class ChosenSet(Answer):
    """A set of bids with what it costs and brings."""

    ids: list[str]
    cost_pence: int
    value: float
    """In the unit of the objective."""
    expected_outcome: float
    """Mean over the worlds, whatever the objective."""
    worst_mean_outcome: float
    """Mean over the worst share of the worlds."""


class LimitPrice(Answer):
    """What raising one limit by one step would bring."""

    limit: str
    """pot, per_group, per_district, seed, harvester or an item of seed as seed:<item>."""
    step: int
    """Pence, milligrams or half-days."""
    used: int
    """Of the pot, seed or days: used; of the rules by group and district: most used by one."""
    most: int
    value_gained: float
    ids_in: list[str]
    ids_out: list[str]


class FrontierPoint(Answer):
    """The best set at one budget."""

    budget_pence: int
    chosen: ChosenSet
    proven: bool


class PinCost(Answer):
    """What holding one bid in or out costs against letting it go."""

    id: str
    pinned: Literal["in", "out"]
    value_lost: float
    ids_without: list[str]
    """The best set without this pin."""


class BidChance(Answer):
    """In what share of the worlds that tell anything one bid is in the set that is best in that world."""

    id: str
    in_best: float


class Excess(Answer):
    """A limit and by how much it would be passed."""

    limit: str
    by: int
    """Pence, milligrams, half-days, or bids too many of an exclusive set."""
    ids: list[str]
    """The bids that share it."""


class NotChosen(Answer):
    """Why one bid is not in the best set."""

    id: str
    pinned_out: bool
    would_exceed: list[Excess]
    """Limits passed if it were added to the best set as it is."""
    value_to_gain: float | None
    """More value of its own, in the unit of the objective, with which it would be as good to take it; null if not
    worked out, or if nothing would do."""
    pence_cheaper: int | None
    """Cheaper by so much, it would be as good to take it; null if not worked out, or if nothing would do."""
    sentence: str


class PortfolioAnswer(Answer):
    """What the pot could buy."""

    sentence: str
    objective: str
    unit: str
    feasible: bool
    infeasible: list[Excess]
    """Where the pins cannot be held: each limit they pass, and by how much."""
    solved: Solved | None
    best: ChosenSet | None
    runner_up: ChosenSet | None
    prices: list[LimitPrice]
    frontier: list[FrontierPoint]
    pins: list[PinCost]
    not_chosen: list[NotChosen]
    chances: list[BidChance]
    """By id; empty for the objective `score`, which has no worlds."""
    worlds_tried: int
    worlds_telling: int
    """Of these, worlds in which anything can be brought at all; the chances are of them."""
