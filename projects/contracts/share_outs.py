"""Requests about sharing seed out; weights in grams, whole milligrams."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import AfterValidator, Field, model_validator

from modelling.contracts.share_out import HalfDaysAsked, Objective
from projects.contracts.base import Day, Identifier, Name, Note, Strict, refused
from projects.contracts.lots import milligrams

MOST_GRAMS: Final = 10_000_000


def _whole_milligrams(value: float) -> float:
    if abs(value * 1000 - round(value * 1000)) > 1e-6 * max(1.0, value):
        raise refused("not_whole_milligrams", f"Read {value!r} g; whole milligrams are needed.", "three decimals")
    return value


SomeGrams = Annotated[float, Field(ge=0.001, le=MOST_GRAMS), AfterValidator(_whole_milligrams)]
Year = Annotated[int, Field(ge=2000, le=2100)]


class WishNew(Strict):
    """A project hopes for seed."""

    project_id: Identifier
    year: Year
    target_g: SomeGrams
    """Most that it would sow."""
    least_g: SomeGrams
    """Less than this it would rather not sow."""
    note: Note = ""

    @model_validator(mode="after")
    def _in_order(self) -> WishNew:
        if milligrams(self.least_g) > milligrams(self.target_g):
            raise refused("contradiction", "The least is more than the target.", "a least of at most the target")
        return self


class PlannedHarvest(Strict):
    """A harvest that may be made for the sharing."""

    donor_id: Identifier
    first_day: Day
    last_day: Day
    """The seed is ripe from the first to the last of these days."""
    half_day_g: SomeGrams
    """Dry seed that half a day brings, on a cautious view."""
    most_half_days: HalfDaysAsked = 4
    whole_g: SomeGrams
    """Dry seed that all of the meadow would bring, on a cautious view."""

    @model_validator(mode="after")
    def _in_order(self) -> PlannedHarvest:
        if self.last_day < self.first_day:
            raise refused("contradiction", "The last ripe day lies before the first.", "a day on or after the first")
        return self


class Held(Strict):
    """A pairing held by hand: `source_id` is a lot, or the donor meadow of a harvest planned."""

    source_id: Identifier
    project_id: Identifier
    how: Literal["give", "forbid"]
    grams: SomeGrams | None = None


class Settings(Strict):
    """What a sharing holds besides lots and wishes."""

    harvests: Annotated[tuple[PlannedHarvest, ...], Field(max_length=100, strict=False)] = ()
    held: Annotated[tuple[Held, ...], Field(max_length=500, strict=False)] = ()
    objective: Objective = "area"
    reach_km: Annotated[float, Field(ge=0, le=500)] | None = None
    machines: Annotated[int, Field(ge=0, le=20)] = 1
    away: Annotated[tuple[Day, ...], Field(max_length=100, strict=False)] = ()
    """Days on which the harvester is not to be had."""
    chance: Annotated[float, Field(ge=0.05, le=0.99)] | None = None

    @model_validator(mode="after")
    def _once(self) -> Settings:
        donors = [row.donor_id for row in self.harvests]
        pairs = [(row.source_id, row.project_id) for row in self.held]
        if len(set(donors)) < len(donors):
            raise refused("twice", "A meadow is down for two harvests.", "one entry for each meadow")
        if len(set(pairs)) < len(pairs):
            raise refused("twice", "A pairing is held twice.", "each pairing once")
        return self


class ShareOutNew(Strict):
    """A new sharing."""

    network_id: Identifier
    year: Year
    name: Name
    settings: Settings = Settings()


class ShareOutChange(Strict):
    """Other settings: all of them, as they are to be."""

    settings: Settings
