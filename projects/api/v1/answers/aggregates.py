"""A county's figures."""

from datetime import date, datetime
from typing import Annotated, Any, Literal

from pydantic import Field

from modelling.county import SOURCES
from projects.api.v1.answers.base import Answer, Named
from projects.models import PrivateYear
from projects.rules.aggregates import MEASURES


class CountyEstimate(Answer):
    """An estimate with its 95 % interval; the ends are null for fewer than two sites."""

    estimate: float
    low: float | None
    high: float | None
    sites: int


class LevelAnswer(CountyEstimate):
    """One way on the ground and at the age that meadows have on average."""

    summers: int
    allowed_for: list[str]
    not_separable: list[str]
    """What went with a way in every meadow, so that nobody can tell the two apart."""


class NotComparedAnswer(Answer):
    """A mean or share that is not told, since ways would stand side by side on unlike ground."""

    kind: Literal["mean", "share", "ratio"]
    unit: str
    not_compared: Literal[True]
    adjusted: LevelAnswer | None = None
    """Of kinds in a square metre: on level ground; null where too few meadows allow it."""


class MeanFigure(Answer):
    """A mean over sites; an interval rests on the spread between sites, never on the number of quadrats."""

    kind: Literal["mean"]
    unit: str
    area_weighted: CountyEstimate | None
    """Over the ground: each site by its area."""
    site_as_unit: CountyEstimate | None
    """Over sites, each alike."""
    sd_between_sites: float | None
    sd_within_sites: float | None
    quadrats: int | None
    summers_counted: int
    if_missing_were_like_these: float | None
    """Of sites as units."""
    if_missing_held_nothing: float | None
    """Of sites as units: the least it can be."""


class GroundFigure(Answer):
    """Ground in hectares, each site once."""

    kind: Literal["ground"]
    unit: str
    total: float | None
    of_told: float
    """Ground of which it is known."""
    of_not_told: float
    if_missing_were_like_these: float | None
    if_missing_had_failed: float | None


class ClassesFigure(Answer):
    """Ground in hectares by what its latest walk found; `no_return` where none is told of."""

    kind: Literal["classes"]
    unit: str
    hectares: dict[str, float]


class ShareAnswer(Answer):
    """A share with Wilson's 95 % interval."""

    share: float
    low: float
    high: float


class ShareFigure(Answer):
    """A share of meadows, each once by its latest return."""

    kind: Literal["share"]
    unit: str
    meadows: dict[str, int]
    share: ShareAnswer | None
    """Of those that could be held against a forecast."""
    if_missing_were_like_these: float | None
    if_missing_had_failed: float | None


class TotalFigure(Answer):
    """A sum over summers that told of it; null where none did, or too few groups to say."""

    kind: Literal["total"]
    unit: str
    total: float | None
    withheld: bool
    """Whether fewer than three groups have a part in it, so that only coordinators are told."""
    summers_counted: int
    summers_silent: int
    if_missing_were_like_these: float | None = None


class RatioFigure(Answer):
    """Money for ground."""

    kind: Literal["ratio"]
    unit: str
    value: float | None
    withheld: bool
    summers_counted: int


Figure = NotComparedAnswer | MeanFigure | GroundFigure | ClassesFigure | ShareFigure | TotalFigure | RatioFigure


class CountsAnswer(Answer):
    """What a line could rest on, and what it does."""

    summers: int
    """Summers of meadows: one meadow in three years is three."""
    told: int
    """Of which a return is agreed."""
    missing: int
    """Of which none is, though its time is over."""
    awaited: int
    """Of which one may still come, or has come and is not agreed yet."""
    meadows: int
    sites: int
    groups: int


class AggregateTotal(Answer):
    """All that fits what was asked."""

    counts: CountsAnswer
    figures: dict[str, Figure]


class AggregateRow(AggregateTotal):
    """What shares a key."""

    key: dict[str, str | int]
    labels: dict[str, str]


class PrivateYearLine(Answer):
    """All that is told of private sites: a count to the nearest five, null below eight, fixed when it was released."""

    year: int
    meadows: int | None
    released_on: date


class PrivateYearsAnswer(Answer):
    """What is told of a network's private sites."""

    results: list[PrivateYearLine]


class MeasureAnswer(Answer):
    """What a figure is."""

    kind: str
    unit: str
    about: str


class AggregatesAnswer(Answer):
    """A county's figures."""

    network: Named
    sites: Literal["open", "all"]
    as_of: datetime | None
    """When the sums that these figures rest on last changed; null where there are none."""
    by: list[str]
    only: dict[str, str]
    year_from: int | None
    year_to: int | None
    rows: list[AggregateRow]
    total: AggregateTotal
    private_sites: list[PrivateYearLine]
    warnings: list[str]
    measures: dict[str, MeasureAnswer]
    sources: Annotated[list[str], Field(description="Where the ways of estimating are from.")]


def aggregates_answer(found: dict[str, Any], measures: list[str]) -> dict[str, Any]:
    about = {
        name: {"kind": one.kind, "unit": one.unit, "about": one.about}
        for name, one in MEASURES.items()
        if name in measures
    }
    said = AggregatesAnswer(**found, measures=about, sources=list(SOURCES))  # type: ignore[arg-type]  # it reads them
    return said.model_dump(mode="json", exclude_defaults=False)


def private_years_answer(rows: list[dict[str, Any]]) -> dict[str, Any]:
    return PrivateYearsAnswer(results=[PrivateYearLine(**row) for row in rows]).model_dump(mode="json")


def private_year_answer(row: PrivateYear) -> dict[str, Any]:
    line = PrivateYearLine(year=row.year, meadows=row.meadows_rounded, released_on=row.released_on)
    return line.model_dump(mode="json")
