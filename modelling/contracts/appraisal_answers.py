"""The appraisal of one bid, as `modelling.appraisal` writes it: figures and flags, never a verdict or a score."""

from __future__ import annotations

from datetime import date
from typing import Final

from modelling.contracts.answers import Answer, MoneyRange, Range

#: rises when the shape of an appraisal changes
APPRAISAL_SCHEMA_VERSION: Final = 1


class AppraisalRecipe(Answer):
    """How to make this appraisal again: ask the same question of the same release."""

    schema_version: int
    release: str
    model_version: str
    as_of: date
    reference_checksum: str
    question_checksum: str
    world_seeds: list[int]


class Flag(Answer):
    """Something to look at. It decides nothing."""

    code: str
    pointer: str
    """JSON Pointer into the question."""
    sentence: str
    numbers: dict[str, float]
    """The figures of the sentence, units in the names."""
    source: str
    """Where the rule comes from."""
    confidence: str
    can_answer: bool
    """Whether the group can answer it, by a fact or a change."""
    question: str
    """What to ask the group; empty where it cannot answer."""


class CostComparison(Answer):
    """Claimed against modelled, like with like: without VAT and with VAT."""

    claimed_net_gbp: float
    claimed_gross_gbp: float
    modelled_net: MoneyRange
    modelled_gross: MoneyRange
    share_below_net: float
    """Share of the draws below the claim, both without VAT; draws that equal it count half."""
    share_below_gross: float


class LineComparison(CostComparison):
    """All lines of one category and kind of money."""

    category: str
    label: str
    kind: str
    """cash or in_kind."""
    lines: list[int]
    """Which lines of the question, counted from 0; empty where nothing is claimed."""


class UnknownLine(Answer):
    """A line that the model has no figure for."""

    line: int
    label: str
    category: str
    kind: str
    gross_gbp: float


class CostAppraisal(Answer):
    """Money within the time of the grant. Cash and in kind are never added."""

    cash: CostComparison
    """Lines that the model knows; `unknown` stand outside."""
    in_kind: CostComparison
    lines: list[LineComparison]
    unknown: list[UnknownLine]
    grant_gbp: float
    """With VAT; without it where the group gets VAT back. So are the other sums claimed."""
    match_cash_gbp: float
    match_in_kind_gbp: float
    volunteer_share_of_match: float | None
    summers_paid: int
    """Most summers of care of a project that fall within the grant's time."""
    price_year: int
    note: str


class WholeLife(Answer):
    """Cash over the whole horizon in real terms, discounted."""

    cash: MoneyRange
    years: int
    discount_rate: float
    source: str
    confidence: str


class OptimismView(Answer):
    """The claim raised by the Treasury's upper and lower bounds for capital cost: an outer view, not an estimate."""

    label: str
    from_gbp: float
    lower_share: float
    upper_share: float
    lower_gbp: float
    upper_gbp: float
    source: str
    confidence: str


class ValueForMoney(Answer):
    """Costs by area and by outcome, of the grant and of all cash claimed."""

    area_ha: float
    size_class: str
    size_class_label: str
    grant_per_ha_gbp: float
    cash_per_ha_gbp: float
    modelled_cash_per_ha: MoneyRange
    grant_per_rich_ha_gbp: float | None
    """By the hectares expected to be species-rich as groups usually manage; null where next to none are."""
    whole_life: WholeLife
    optimism: OptimismView | None


class Seen(Answer):
    """What can be seen by the day of one report."""

    on: date
    summer: int
    """0 before the first."""
    species_per_m2_if_kept: Range | None
    species_per_m2_as_usual: Range | None
    sentence: str


class SeedRate(Answer):
    """One seed item against the usual range."""

    key: str
    label: str
    g_per_m2: float
    usual_g_per_m2: list[float]
    source: str
    confidence: str


class ProjectAppraisal(Answer):
    """One project of the bid."""

    key: str
    label: str
    area_m2: float
    starts_on: date | None
    """First step as planned; null where nothing is done to the ground."""
    moved_to: date | None
    """First step in the first possible season, where the money comes too late for the plan."""
    first_summer: int
    headline_year: int
    species_per_m2_if_kept: Range
    species_per_m2_as_usual: Range
    chance_at_least_9_if_kept: float
    chance_at_least_9_as_usual: float
    chance_species_rich_if_kept: float
    chance_species_rich_as_usual: float
    seed: list[SeedRate]
    seen: list[Seen]


class OutcomeAppraisal(Answer):
    """Expected outcome of the whole bid in the headline summer."""

    species_rich_from: float
    """Kinds in a square metre from which ground counts as species-rich."""
    source: str
    rich_ha_if_kept: Range
    rich_ha_as_usual: Range


class Worlds(Answer):
    """Draws for the choice among bids, index = world: 500 of each, as stored runs keep."""

    rich_ha_if_kept: list[float]
    rich_ha_as_usual: list[float]


class PromiseAppraisal(Answer):
    """One promise and the chance that it is kept."""

    promise: int
    """Which promise of the question, counted from 0."""
    kind: str
    chance_if_kept: float | None
    """If the yearly care is kept; null where the model knows nothing of it."""
    chance_as_usual: float | None
    modelled: Range | None
    sentence: str


class PermissionStanding(Answer):
    """One permission that the plan needs, or that the bid names."""

    key: str | None
    project: str
    label: str
    needed: bool
    standing: str
    expires_on: date | None


class Delivery(Answer):
    """What may go wrong in the doing."""

    chance_cash_enough: float
    """Share of the draws in which all cash claimed, without unknown lines, pays for the work with VAT as it falls."""
    person_hours: Range
    """Volunteers' hours within the grant's time."""
    crew: int
    crew_hours_promised: float | None
    work_days: Range
    """Days on which the crew must come, setup only."""
    uses_contractor: bool
    returns_due: int
    returns_agreed: int
    forecasts: int
    found_below_p10: int
    found_above_p90: int
    mean_found_less_forecast: float | None
    """Kinds in a square metre found less the middle of the forecast, mean."""


class AppraisalAnswer(Answer):
    """One bid on one scale."""

    recipe: AppraisalRecipe
    sentences: list[str]
    """The bid in plain words."""
    flags: list[Flag]
    outcome: OutcomeAppraisal
    promises: list[PromiseAppraisal]
    cost: CostAppraisal
    value: ValueForMoney
    projects: list[ProjectAppraisal]
    permissions: list[PermissionStanding]
    delivery: Delivery
    worlds: Worlds
