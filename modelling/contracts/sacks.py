"""What was counted in a sack of harvested seed, and what comes of it; units in the names."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from modelling.contracts.answers import Answer
from modelling.contracts.requests import Key, Strict

SACK_SCHEMA_VERSION: Final = 1
MOST_SAMPLES: Final = 200
MOST_TAXA: Final = 60
MOST_SEEDS: Final = 1_000_000
MOST_GRAMS: Final = 10_000_000.0

Drawn = Literal["spread", "divided", "top", "not_said"]
Count = Annotated[int, Field(ge=0, le=MOST_SEEDS)]


class SubSample(Strict):
    """One sub-sample and the filled seeds counted in it."""

    grams: Annotated[float, Field(ge=0.001, le=100_000)]
    counts: Annotated[dict[Key, Count], Field(min_length=1, max_length=MOST_TAXA)]
    """Key of the taxon -> filled seeds. A taxon counted in one sub-sample is counted in all: write 0 for none."""


class GerminationTest(Strict):
    """Seeds of one taxon set to germinate."""

    taxon: Key
    germinated: Annotated[int, Field(ge=0, le=100_000)]
    tested: Annotated[int, Field(ge=1, le=100_000)]

    @model_validator(mode="after")
    def _fits(self) -> GerminationTest:
        if self.germinated > self.tested:
            raise PydanticCustomError(
                "contradiction",
                f"{self.germinated} of {self.tested} seeds cannot germinate.",
                {"own": "at most the seeds tested"},
            )
        return self


class SackQuestion(Strict):
    """Sub-samples of one sack, or of one lot in several sacks."""

    samples: Annotated[tuple[SubSample, ...], Field(min_length=1, max_length=MOST_SAMPLES, strict=False)]
    sack_g: Annotated[float, Field(ge=0.001, le=MOST_GRAMS)] | None = None
    """Weight of the whole lot, dry."""
    sacks: Annotated[int, Field(ge=1, le=1000)] = 1
    """Sacks, bags or tubs that the lot is in."""
    drawn: Drawn = "not_said"
    """How the sub-samples were taken: spread over the depth, divided from a mixed heap, or from the top."""
    chaffy: bool = True
    """Whether the seed sticks together, as brush-harvested seed does, or flows."""
    years_in_store: Annotated[float, Field(ge=0, le=50)] = 0.0
    """Since the harvest."""
    germination: Annotated[tuple[GerminationTest, ...], Field(max_length=MOST_TAXA, strict=False)] = ()
    """Tests made now."""


class Limited(Answer):
    """A figure between two limits."""

    low: float
    middle: float
    high: float


class UnevenTest(Answer):
    """Whether the sack is well mixed."""

    variance_by_chance: float
    """Variance of the counts as a multiple of chance: 1 in a well-mixed sack."""
    chance: float
    """Chance that a well-mixed sack gives counts as uneven as these."""
    h_value: float | None
    h_most: float | None
    """Greatest H value (variance over that by chance, less an allowance) of an acceptable lot."""
    r_value: float | None
    r_most: float | None
    """Greatest range of counts in an acceptable lot."""
    uneven: bool


class MoreGrams(Answer):
    """How much more to count."""

    precision_percent: float
    grams: float


class TaxonCounted(Answer):
    """One taxon in the sack."""

    taxon: str
    english_name: str
    seeds_counted: int
    grams_counted: float
    seeds_per_gram: Limited
    """Exact limits, for a well-mixed sack."""
    seeds_per_gram_clumped: Limited | None
    """Limits allowing for clumps; null with one sub-sample, which cannot show any."""
    seeds_per_kg: Limited
    mass_percent: Limited | None
    """Share of the sack's weight, with the usual range of the weight of a seed; null where that is not known."""
    seeds_in_sack: Limited | None
    seeds_in_sack_clumped: Limited | None
    alive_share: Limited | None
    """Share of its seed alive today: what is usual, the test if there was one, and the time in store."""
    live_seeds_in_sack: Limited | None
    mixing: UnevenTest | None
    """Null with one sub-sample or no seed."""
    count_more: list[MoreGrams]
    holds_lot: bool
    """A weed of concern: look at the lot before it is promised."""
    sentence: str


class SackAnswer(Answer):
    """What the counts say of the sack."""

    schema_version: int
    release: str
    reference_checksum: str
    sentences: list[str]
    """The answer in words, the most important first."""
    how_to_draw: list[str]
    taxa: list[TaxonCounted]
    on_hold: list[str]
    """Taxa that put the lot on hold."""
    exact_confidence: float
    clumped_confidence: float
