"""What a blend of seed for one site is asked for, and what comes of it; units in the names."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import Field

from modelling.contracts.answers import Answer
from modelling.contracts.requests import MAX_AREA_M2, MOST_SEED_ITEMS, Key, LotContent, Shade, Strict, Sward, Wetness

BLEND_SCHEMA_VERSION: Final = 1
MOST_LOTS: Final = 40
MOST_BOUGHT: Final = 12
MOST_LIVE: Final = 100_000
Live = Annotated[float, Field(ge=0, le=MOST_LIVE)]
Goal = Literal["cost", "scarce"]


class LotOffered(Strict):
    """A lot that may go in."""

    lot: Key
    kg: Annotated[float, Field(gt=0, le=100_000)]
    """Free to be used."""
    gbp_per_kg: Annotated[float, Field(ge=0, le=100_000)] = 0.0
    contents: Annotated[tuple[LotContent, ...], Field(min_length=1, max_length=MOST_SEED_ITEMS, strict=False)]


class TaxonTarget(Strict):
    """A kind that is wanted by name."""

    taxon: Key
    live_per_m2: Annotated[float, Field(gt=0, le=MOST_LIVE)]


class BlendWanted(Strict):
    """Targets; what is left out is taken from the tables by the site, and the answer says so."""

    rattle_live_per_m2: Live | None = None
    forbs_live_per_m2: Live | None = None
    grass_most_live_per_m2: Live | None = None
    taxa: Annotated[tuple[TaxonTarget, ...], Field(max_length=30, strict=False)] = ()
    mixes: Annotated[tuple[Key, ...], Field(max_length=MOST_BOUGHT, strict=False)] = ()
    """Keys of mixes that may be bought."""
    top_ups: Annotated[tuple[Key, ...], Field(max_length=MOST_BOUGHT, strict=False)] = ()
    """Keys of kinds whose seed may be bought."""
    goal: Goal = "cost"
    """Least cost, or least of the network's scarce seed and then least cost."""


class BlendQuestion(BlendWanted):
    """A blend for an area, from what there is."""

    area_m2: Annotated[float, Field(ge=0.01, le=MAX_AREA_M2)]
    lots: Annotated[tuple[LotOffered, ...], Field(max_length=MOST_LOTS, strict=False)] = ()
    sward: Sward | None = None
    wetness: Wetness | None = None
    shade: Shade | None = None
    soil_p_index: Annotated[int | None, Field(ge=0, le=9)] = None


class BlendPack(Answer):
    """Packs of one size."""

    grams: int
    count: int


class BlendItem(Answer):
    """One lot, mix or kind in the blend."""

    mix: str | None
    taxon: str | None
    lot: str | None
    kg: float
    share_percent: float
    """Of the blend's weight."""
    packs: list[BlendPack]


class BlendReached(Answer):
    """A target and what is reached of it, mean live seeds per m2."""

    target: str
    """rattle, forbs, grass, or the key of a kind."""
    least: float | None
    most: float | None
    assumed: bool
    """Whether it was taken from the tables."""
    live_per_m2: float
    missed_by: float
    """0 where it is met."""


class BlendAnswer(Answer):
    """The best blend, or the nearest where no blend meets all targets."""

    schema_version: int
    release: str
    reference_checksum: str
    feasible: bool
    proven: bool
    """Whether nothing better exists."""
    sentences: list[str]
    items: list[BlendItem]
    seed: list[dict[str, str | float]]
    """The same as a plan takes it for its seed."""
    cost_gbp: float
    """Of what is bought, before VAT, and of lots that have a price."""
    reached: list[BlendReached]
    left_out: list[str]
    """Kinds that do not suit the ground and are not counted."""
