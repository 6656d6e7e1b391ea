"""Requests about lots of seed and what happens to them; weights in grams, whole milligrams."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import AfterValidator, Field, model_validator

from modelling.contracts.requests import Key
from projects.contracts.base import Day, Identifier, LongNote, Name, Note, Pounds, Strict, Words, refused

MG_PER_G: Final = 1000
#: 100 tonnes
MOST_GRAMS: Final = 100_000_000
MOST_PARTS: Final = 30
MOST_DECLARED: Final = 60
#: percent by which shares of a label may add up beyond a hundred, from rounding
_ROUNDED: Final = 1.0


def _whole_mg(value: float) -> float:
    if abs(value * MG_PER_G - round(value * MG_PER_G)) > 1e-6 * max(1.0, abs(value)):
        raise refused(
            "not_whole_milligrams", f"Read {value!r}; grams have at most three decimals.", "grams, three decimals"
        )
    return value


def milligrams(grams: float) -> int:
    """Return a weight as the database keeps it."""
    return round(grams * MG_PER_G)


Grams = Annotated[float, Field(ge=0.001, le=MOST_GRAMS), AfterValidator(_whole_mg)]
Short = Annotated[Name, Field(max_length=80)]
Text = Annotated[Words, Field(max_length=200)]
State = Literal["fresh", "drying", "dry"]


class Declared(Strict):
    """One kind on a supplier's label."""

    taxon: Key
    percent: Annotated[float, Field(gt=0, le=100)]
    """Of the weight."""


class LotNew(Strict):
    """Seed that came in, bought or given; a harvest makes its lot by itself."""

    network_id: Identifier
    name: Short
    origin: Literal["bought", "given"]
    grams: Grams
    state: State = "dry"
    supplier: Annotated[Words, Field(max_length=120)] = ""
    provenance: Note = ""
    """Where the plants grew, as may be told to whoever gets the seed."""
    harvested_on: Day | None = None
    """For how old it is; left out, nobody knows."""
    storage: Text = ""
    sacks: Annotated[int, Field(ge=1, le=1000)] = 1
    chaffy: bool = False
    """Whether the seed sticks together, as brush-harvested seed does, or flows."""
    declared: Annotated[tuple[Declared, ...], Field(max_length=MOST_DECLARED, strict=False)] = ()
    """What the supplier says is in it."""
    gbp_per_kg: Pounds | None = None
    note: LongNote = ""

    @model_validator(mode="after")
    def _adds_up(self) -> LotNew:
        if len({entry.taxon for entry in self.declared}) < len(self.declared):
            raise refused("twice", "A kind stands on the label twice; add the two up.", "each kind once")
        whole = sum(entry.percent for entry in self.declared)
        if whole > 100 + _ROUNDED:
            raise refused("out_of_range", f"What is declared adds up to {whole:g} %.", "at most 100 % together")
        return self


class LotChange(Strict):
    """What is to be changed of a lot; weights change by what happens to it alone."""

    name: Short | None = None
    storage: Text | None = None
    sacks: Annotated[int, Field(ge=1, le=1000)] | None = None
    provenance: Note | None = None
    gbp_per_kg: Pounds | None = None
    note: LongNote | None = None


class LotMove(Strict):
    """Something that happens to a lot, apart from promising, handing over and dividing it."""

    act: Literal["drying", "dried", "cleaned", "used", "spilt", "discarded", "held", "cleared"]
    on: Day | None = None
    """Today if left out."""
    grams: Grams | None = None
    """Used, spilt or discarded: how much. Dried or cleaned: what it weighs now."""
    grams_before: Grams | None = None
    """Dried or cleaned: what it weighed before, to be compared with what should be there."""
    reason: Note = ""
    submission_id: Identifier | None = None
    """Made by the sender, so that sending it again changes nothing."""

    @model_validator(mode="after")
    def _together(self) -> LotMove:
        weighs = self.act in {"dried", "cleaned", "used", "spilt", "discarded"}
        if weighs and self.grams is None:
            raise refused("missing", "Say how many grams.", "grams")
        if not weighs and self.grams is not None:
            raise refused("contradiction", "No weight changes by this.", "grams left out")
        if self.grams_before is not None and self.act not in {"dried", "cleaned"}:
            raise refused("contradiction", "A weight before belongs to drying and cleaning.", "grams_before left out")
        if self.act in {"held", "cleared", "spilt", "discarded"} and not self.reason:
            raise refused("missing", "Say why: others will ask.", "a reason")
        return self


class PromiseNew(Strict):
    """Seed for a group."""

    group_id: Identifier
    project_id: Identifier | None = None
    grams: Grams
    by: Day | None = None
    """By when it is to be fetched."""
    handed_over: bool = False
    """Whether it goes out at once."""
    on: Day | None = None
    note: Note = ""
    submission_id: Identifier | None = None
    """Made by the sender, so that sending it again changes nothing."""


class PromiseMove(Strict):
    """What becomes of promised seed."""

    to: Literal["handed_over", "released", "returned", "sown"]
    grams: Grams | None = None
    """All that is left for it, if left out."""
    on: Day | None = None
    reason: Note = ""
    submission_id: Identifier | None = None


class LotSplit(Strict):
    """Take a part off a lot, as a lot of its own."""

    name: Short
    grams: Grams
    storage: Text = ""
    sacks: Annotated[int, Field(ge=1, le=1000)] = 1
    on: Day | None = None
    reason: Note = ""
    submission_id: Identifier | None = None


class BlendPart(Strict):
    """How much of a lot goes into a blend."""

    lot_id: Identifier
    grams: Grams


class LotBlend(Strict):
    """Mix parts of lots into a new one."""

    name: Short
    parts: Annotated[tuple[BlendPart, ...], Field(min_length=2, max_length=MOST_PARTS, strict=False)]
    storage: Text = ""
    sacks: Annotated[int, Field(ge=1, le=1000)] = 1
    on: Day | None = None
    note: LongNote = ""
    submission_id: Identifier | None = None

    @model_validator(mode="after")
    def _apart(self) -> LotBlend:
        if len({part.lot_id for part in self.parts}) < len(self.parts):
            raise refused("twice", "A lot is named twice; add the two parts up.", "each lot once")
        return self
