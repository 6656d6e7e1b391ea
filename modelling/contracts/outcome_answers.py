"""The judgement of one survey, as `modelling.outcomes` writes it; units in the names, shares from 0 to 1."""

from __future__ import annotations

from datetime import date
from typing import Final, Literal

from modelling.contracts.answers import Answer

#: rises when the shape of a judgement changes
OUTCOME_SCHEMA_VERSION: Final = 2


class OutcomeRecipe(Answer):
    """How to make this judgement again."""

    schema_version: int
    results_version: str
    release: str
    reference_checksum: str
    random_seed: int
    resamples: int


class Kind(Answer):
    """One kind of plant; `taxon` is null where the name is not settled."""

    taxon: str | None
    name: str


class MeanRange(Answer):
    """A mean with its interval by Student's t; null where there are too few quadrats.

    Of counts that are all alike, the interval is what counting in whole kinds leaves open.
    """

    n: int
    mean: float | None
    sd: float | None
    se: float | None
    low: float | None
    high: float | None


class ShareRange(Answer):
    """A share with Wilson's interval."""

    share: float
    low: float
    high: float


class Interval(Answer):
    """The ends of an interval."""

    low: float
    high: float


class Frequency(Answer):
    """How often one kind was met, and how much of the ground it covers on average."""

    taxon: str | None
    name: str
    kind: str
    quadrats: int
    share_of_quadrats: ShareRange
    class_by_fep: str
    """rare, occasional or frequent by the Farm Environment Plan."""
    class_by_csm: str
    """rare, occasional or frequent by the common standards."""
    mean_cover_share: float | None
    """Null where it was present somewhere without a cover."""
    sown: bool


class Pool(Answer):
    """Kinds seen, and estimates of how many there are on the ground; from incidence over the quadrats."""

    seen: int
    in_one_quadrat: int
    in_two_quadrats: int
    chao2: float | None
    chao2_bias_corrected: float | None
    jackknife_1: float | None
    jackknife_2: float | None
    bootstrap: float | None


class Diversity(Answer):
    """Diversity of the mean covers; Hill numbers of order 0, 1 and 2 in kinds."""

    shannon: float
    simpson: float
    hill_0: float
    hill_1: float
    hill_2: float
    evenness: float | None


class Effort(Answer):
    """What the effort was worth."""

    quadrats_for_half_width: int
    half_width_species: float
    smallest_change_species: float
    smallest_change_same_spots_species: float
    quadrats_for_change: int
    change_species: float


class EllenbergN(Answer):
    """Mean British Ellenberg N, and how much of the sward it rests on."""

    unweighted: float | None
    by_cover: float | None
    kinds_used: int
    kinds: int
    cover_used_share: float | None


class CoverRange(Answer):
    """A cover as a share: middle, and the ends of what the scale allows."""

    middle: float
    low: float
    high: float


class ForbCover(Answer):
    """Cover of wildflowers and sedges, with its class: under_10, from_10_to_30 or over_30 per cent."""

    cover: CoverRange | None
    cover_class: str | None
    missing: str


class PartFound(Answer):
    """What the quadrats of one part of the meadow hold."""

    part: Literal["sown", "control"]
    quadrats: int
    quadrat_area_m2: float
    quadrats_of_other_sizes: int
    species_in_each: list[int]
    species_per_quadrat: MeanRange
    species_bootstrap: Interval | None
    """Null where all quadrats hold the same number, which resampling cannot tell from certainty."""
    sown_species_per_quadrat: MeanRange | None
    finite_size_allowed_for: bool
    pool: Pool
    accumulation: list[float]
    """Kinds expected in 1, 2, ... quadrats taken at random."""
    diversity: Diversity | None
    effort: Effort | None
    frequency: list[Frequency]
    ellenberg_n: EllenbergN
    forb_cover: ForbCover
    bare_ground_share: MeanRange | None
    litter_share: MeanRange | None
    sward_height_m: MeanRange | None
    rattle_plants_per_m2: MeanRange | None


class SownKinds(Answer):
    """Sown kinds met and not met, in the quadrats or elsewhere on the site."""

    met: list[Kind]
    not_met: list[Kind]


class ChangeFound(Answer):
    """Difference of mean kinds per quadrat, this survey less the other, with its intervals; how alike they are."""

    against: Literal["before", "baseline", "control"]
    on: date | None
    grade: str | None
    """Of the surveyor then; null for the unsown part of the same walk."""
    difference_species: float | None
    method: Literal["welch", "paired"] | None
    """paired where both walked the same fixed spots; welch where quadrats were placed anew."""
    spots: int | None
    """Spots walked both times, where paired."""
    low: float | None
    high: float | None
    bootstrap: Interval | None
    """The same interval by resampling quadrats, or spots where paired."""
    smallest_change_species: float | None
    """The smallest change that these two surveys would have seen, at the usual confidence and power."""
    missing: str
    jaccard: float | None
    sorensen: float | None
    bray_curtis_likeness: float | None
    rattle_ratio: float | None


class DonorLikeness(Answer):
    """How much of the donor's list was met."""

    jaccard: float
    sorensen: float
    met: list[Kind]
    not_met: list[Kind]


class RuleFound(Answer):
    """One rule of a set, what was found, and whether it held; null where that cannot be said."""

    rule: str
    attribute: str
    operator: Literal["at_least", "more_than", "at_most", "less_than", "between"]
    threshold: float | None
    threshold_low: float | None
    threshold_high: float | None
    unit: str
    value: float | None
    low: float | None
    high: float | None
    held: bool | None
    sure: bool
    missing: str
    counts_as: Literal["any", "must", "noted"]
    source: str
    confidence: str


class ClassFound(Answer):
    """One class of a set of rules."""

    key: str
    label: str
    rules_needed: int
    held: bool | None
    rules: list[RuleFound]


class VerdictFound(Answer):
    """What one published set of rules says, with its name and version."""

    rule_set: str
    label: str
    version: str
    nation: str
    judged: bool
    class_key: str | None
    class_label: str | None
    sure: bool
    missing: list[str]
    sentence: str
    classes: list[ClassFound]


class Unread(Answer):
    """An amount that is not on its scale; the plant counts as present."""

    quadrat: str
    name: str
    scale: str
    value: str
    why: str


class Counted(Answer):
    """What was left out of the counting, and what is told apart."""

    not_settled: list[str]
    mosses_left_out: list[str]
    no_plants: list[str]
    groups_not_counted: list[str]
    unread: list[Unread]


class AdviceFound(Answer):
    """A question with its reason, source and how far to trust it."""

    key: str
    question: str
    reason: str
    source: str
    confidence: str


class SurveyAnswer(Answer):
    """One survey judged: sentences first, then what they rest on."""

    sentences: list[str]
    cautions: list[str]
    on: date
    grade: str
    layout: str
    sown_part: PartFound
    control_part: PartFound | None
    kinds_on_site: list[Kind]
    sown: SownKinds | None
    changes: list[ChangeFound]
    donor: DonorLikeness | None
    classes: list[VerdictFound]
    condition: list[VerdictFound]
    counted: Counted
    advice: list[AdviceFound]
    recipe: OutcomeRecipe


class FanPlace(Answer):
    """Where a finding lies in one forecast of one figure."""

    forecast: Literal["if_kept", "as_usual"]
    place: Literal["below", "in_half", "in_80", "above"]
    place_if_most_was_overlooked: Literal["below", "in_half", "in_80", "above"]
    place_if_least_was_overlooked: Literal["below", "in_half", "in_80", "above"]
    quantile: float | None
    """By straight lines between the points that the stored answer has; null outside 8 in 10."""
    p10: float
    p25: float | None
    p50: float
    p75: float | None
    p90: float


class FigureOnForecast(Answer):
    """One figure as found, as an experienced recorder would have found it, and as it was forecast."""

    figure: Literal["species_per_quadrat", "sown_species_per_quadrat", "rattle_plants_per_m2"]
    found: float
    found_low: float
    found_high: float
    adjusted: float
    adjusted_low: float
    adjusted_high: float
    fans: list[FanPlace]
    sentence: str


class ForecastFound(Answer):
    """A survey beside the forecast for its summer."""

    year: int
    comparable: bool
    why_not: str
    grade: str
    detection_source: str
    detection_confidence: str
    assumed_of_forecast: str
    figures: list[FigureOnForecast]
