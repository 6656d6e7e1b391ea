"""What was found in a meadow in one summer, as the model judges it: names settled into taxa, units in the names."""

from __future__ import annotations

import unicodedata
from typing import Annotated, Literal

from pydantic import AfterValidator, Field
from pydantic_core import PydanticCustomError

from modelling.contracts.requests import MAX_AREA_M2, Day, Key, Strict

Part = Literal["sown", "control"]
Grade = Literal["learning", "knows_common", "knows_most", "expert"]
#: fixed: the same marked spots every year, told apart by their labels
Layout = Literal["random", "regular", "walk", "chosen", "fixed", "not_said"]
#: how an amount was written down; DAFOR as cover and DAFOR as frequency are two scales
#: abundance is a word or a count of no scale known here: shown, never turned into cover
Scale = Literal["presence", "percent", "domin", "braun_blanquet", "dafor_cover", "dafor_frequency", "abundance"]
MOST_QUADRATS = 500
MOST_RECORDS = 300
MOST_YEARS_BEFORE = 20


def _written(text: str) -> str:
    """Text as somebody wrote it, of letters that can be kept; blanks and ends of lines may stand in it."""
    for letter in text:
        if unicodedata.category(letter) in {"Cc", "Cs"} and letter not in "\t\r\n":
            detail = f"This text holds a character that cannot be shown (U+{ord(letter):04X}); leave it out."
            raise PydanticCustomError("control_character", detail, {"own": "text without control characters"})
    return text


def _named(text: str) -> str:
    if not text.strip():
        raise PydanticCustomError(
            "too_few", "This name is blank; write at least one letter.", {"own": "a plant's name"}
        )
    return _written(text)


Percent = Annotated[float, Field(ge=0, le=100)]
Year = Annotated[int, Field(ge=2000, le=2100)]


class Record(Strict):
    """One kind of plant in one quadrat, or on the whole site."""

    taxon: Key | None = None
    """Key of the taxon; null where the name is not settled."""
    name: Annotated[str, Field(min_length=1, max_length=120), AfterValidator(_named)]
    """As it was written."""
    scale: Scale = "presence"
    value: Annotated[str, Field(max_length=20), AfterValidator(_written)] = ""
    """As the scale writes it: 40, +, 7, f; empty for presence."""


class Quadrat(Strict):
    """One quadrat or stop."""

    label: Annotated[str, Field(max_length=40), AfterValidator(_written)]
    part: Part = "sown"
    area_m2: Annotated[float, Field(gt=0, le=100)] = 1.0
    records: Annotated[tuple[Record, ...], Field(max_length=MOST_RECORDS, strict=False)] = ()
    bare_ground_percent: Percent | None = None
    litter_percent: Percent | None = None
    forb_cover_percent: Percent | None = None
    """Cover of wildflowers, sedges and rushes together, where it was judged as a whole."""
    sward_height_cm: Annotated[float, Field(ge=0, le=300)] | None = None
    rattle_plants: Annotated[int, Field(ge=0, le=100_000)] | None = None
    """Plants of yellow rattle counted in the quadrat."""


class Survey(Strict):
    """One summer's survey of one meadow."""

    on: Day
    """Day of the (first) visit with quadrats or a list."""
    grade: Grade = "knows_common"
    """How well the surveyor knows plants."""
    layout: Layout = "not_said"
    quadrats: Annotated[tuple[Quadrat, ...], Field(max_length=MOST_QUADRATS, strict=False)] = ()
    whole_site: Annotated[tuple[Record, ...], Field(max_length=MOST_RECORDS, strict=False)] = ()
    sown_taxa: Annotated[tuple[Key, ...], Field(max_length=MOST_RECORDS, strict=False)] = ()
    """What was sown or planted, by the plan."""
    kind: Annotated[str, Field(max_length=30)] = ""
    """Kind of place."""


class YearMean(Strict):
    """Mean kinds in a quadrat of an earlier summer."""

    year: Year
    species_per_quadrat: Annotated[float, Field(ge=0, le=MOST_RECORDS)]


class Facts(Strict):
    """What is known of the meadow beside the survey; nothing of it is needed."""

    first_summer: Year | None = None
    """First summer after the first sowing or planting."""
    arisings: Literal["removed", "left"] | None = None
    """What became of the last cuttings."""
    olsen_p_mg_per_l: Annotated[float, Field(ge=0, le=1000)] | None = None
    meadow_area_m2: Annotated[float, Field(gt=0, le=MAX_AREA_M2)] | None = None
    """Ground that the quadrats stand for; where they cover a good part of it, intervals are narrower."""
    scrub_cover_percent: Percent | None = None
    extent_lost_percent: Percent | None = None
    fritillary_extent_percent: Percent | None = None
    """Flowering extent of fritillaries against the site's reference."""
    earlier_means: Annotated[tuple[YearMean, ...], Field(max_length=MOST_YEARS_BEFORE, strict=False)] = ()
    """Earlier summers, for a fall over two years."""


class SurveyQuestion(Strict):
    """Judge one survey, beside earlier ones of the same meadow where there are some."""

    survey: Survey
    before: Survey | None = None
    """The survey of the year before."""
    baseline: Survey | None = None
    """The survey before sowing."""
    donor_taxa: Annotated[tuple[Key, ...], Field(max_length=MOST_RECORDS, strict=False)] = ()
    """What grows in the donor meadow, where its list is known."""
    random_seed: Annotated[int, Field(ge=0, le=2**63 - 1)] = 1
    """For the bootstrap."""
    facts: Facts = Facts()
