"""Requests about donor meadows, what was agreed about them, and harvests; areas in m2, weights in grams."""

from __future__ import annotations

import re
from typing import Annotated, Final, Literal

from pydantic import AfterValidator, Field, model_validator

from modelling.contracts.requests import Key
from projects.contracts.base import Day, Hours, Identifier, LongNote, Name, Note, Strict, Words, refused
from projects.contracts.lots import Grams, Short, Text

DM2_PER_M2: Final = 100
MOST_PLANTS: Final = 150
MOST_WORDS: Final = 40
#: cover in layers may add up to more than the ground
_MOST_COVER: Final = 250
_DAYS: Final = (0, 31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
_DAY_OF_YEAR: Final = re.compile(r"(0[1-9]|1[0-2])-([0-2][0-9]|3[01])")

Habitat = Literal["dry", "damp", "chalky", "sour", "wet", "upland"]
Method = Literal["hand", "brush", "vacuum", "combine"]
SquareMetres = Annotated[float, Field(ge=0.01, le=10_000_000)]


def _day_of_year(text: str) -> str:
    found = _DAY_OF_YEAR.fullmatch(text)
    if found is None or not 1 <= int(found[2]) <= _DAYS[int(found[1])]:
        raise refused("bad_date", f"Read {text[:40]!r}; a day of any year is written 07-15.", "month and day, MM-DD")
    return text


DayOfYear = Annotated[str, AfterValidator(_day_of_year)]


class DonorPlant(Strict):
    """One kind that grows there."""

    taxon: Key
    cover_percent: Annotated[float, Field(gt=0, le=100)]


Plants = Annotated[tuple[DonorPlant, ...], Field(max_length=MOST_PLANTS, strict=False)]
Listed = Annotated[tuple[Name, ...], Field(max_length=MOST_WORDS, strict=False)]


def _plausible(plants: Plants | None) -> None:
    if plants is None:
        return
    if len({plant.taxon for plant in plants}) < len(plants):
        raise refused("twice", "A kind is listed twice.", "each kind once")
    whole = sum(plant.cover_percent for plant in plants)
    if whole > _MOST_COVER:
        raise refused("out_of_range", f"The covers add up to {whole:g} %.", f"at most {_MOST_COVER} % together")


class DonorNew(Strict):
    """A donor meadow: a site of the network, or a place outside it."""

    network_id: Identifier
    name: Name
    site_id: Identifier | None = None
    """Where it is a site of the network."""
    village_id: Identifier | None = None
    habitat: Habitat
    area_m2: SquareMetres
    plants: Plants = ()
    weeds: Listed = ()
    note: LongNote = ""
    owner: Annotated[Words, Field(max_length=120)] = ""
    """For the coordinators alone, as is how they are reached."""
    owner_contact: Note = ""

    @model_validator(mode="after")
    def _together(self) -> DonorNew:
        _plausible(self.plants)
        return self


class DonorChange(Strict):
    """What is to be changed of a donor meadow."""

    name: Name | None = None
    habitat: Habitat | None = None
    area_m2: SquareMetres | None = None
    plants: Plants | None = None
    """All of them, instead of those there are."""
    weeds: Listed | None = None
    note: LongNote | None = None
    owner: Annotated[Words, Field(max_length=120)] | None = None
    owner_contact: Note | None = None

    @model_validator(mode="after")
    def _together(self) -> DonorChange:
        _plausible(self.plants)
        return self


class AgreementNew(Strict):
    """What was agreed in writing."""

    signed_on: Day
    starts_on: Day
    ends_on: Day
    window_opens: DayOfYear
    """Each year from this day on, as 07-01."""
    window_closes: DayOfYear
    area_m2: SquareMetres
    """That may be harvested in a year."""
    methods: Annotated[tuple[Method, ...], Field(min_length=1, max_length=4, strict=False)]
    part: Note = ""
    """Which part of the meadow."""
    wants_back: Note = ""
    cut_by: DayOfYear | None = None
    """By when the hay has to be cut all the same."""
    consents: Listed = ()
    """What else had to be agreed, and by which office."""
    name_told: bool = False
    """Whether the network's groups may know that this meadow gave their seed."""


class AgreementEnd(Strict):
    """An agreement that ends before its time."""

    ended_on: Day


class HarvestNew(Strict):
    """One day of taking seed."""

    on: Day
    method: Method
    area_m2: SquareMetres
    fresh_g: Grams
    lot_name: Short
    group_id: Identifier | None = None
    """Who went out; left out for the network itself."""
    person_hours: Hours = 0.0
    machine_hours: Hours = 0.0
    weather: Text = ""
    storage: Text = ""
    sacks: Annotated[int, Field(ge=1, le=1000)] = 1
    provenance: Note = ""
    """What may be told of where the plants grew."""
    note: LongNote = ""
    reason: Note = ""
    """Why it was done although something spoke against it; a coordinator says so."""
    submission_id: Identifier | None = None
    """Made by the sender, so that sending it again changes nothing."""
