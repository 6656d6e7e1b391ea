"""One bid as the model appraises it: what is claimed and promised, beside what the round asks. Money in pence."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from modelling.contracts.requests import Day, EstimateRequest, Key, Strict

Category = Literal[
    "seed", "plugs", "hire", "contractor", "fuel", "materials", "disposal", "survey", "volunteers", "kit", "weeding",
    "aftercare", "contingency", "paid_labour", "travel", "events", "overhead", "other",
]  # fmt: skip
#: grant: asked of this round; match: other cash; in_kind: time and loans, valued
Fund = Literal["grant", "match", "in_kind"]
Skill = Literal["unskilled", "skilled", "professional"]
Standing = Literal["held", "asked", "not_asked", "refused", "not_needed"]
MOST_PROJECTS = 20
MOST_LINES = 200
MOST_PROMISES = 60
MOST_FACTS = 60
#: a hundred million pounds
MOST_PENCE = 10_000_000_000
Pence = Annotated[int, Field(ge=0, le=MOST_PENCE)]
Year = Annotated[int, Field(ge=2000, le=2100)]
Share = Annotated[float, Field(ge=0, le=1)]
Species = Annotated[float, Field(ge=0, le=100)]
Words = Annotated[str, Field(min_length=1, max_length=200)]


class BidProject(Strict):
    """One project of a bid: its site and plan as the estimate's own request, with the seeds of the stored project."""

    key: Key
    """Name of the project within the bid, such as its public id."""
    label: Words
    estimate: EstimateRequest


class ClaimedLine(Strict):
    """One line of the budget."""

    label: Words
    category: Category
    fund: Fund = "grant"
    quantity: Annotated[float, Field(gt=0, le=10_000_000)] = 1.0
    unit: Annotated[str, Field(max_length=40)] = ""
    """As written; `h` for hours."""
    skill: Skill | None = None
    """Of volunteers' time, where it is said."""
    net_pence: Pence
    """The whole line without VAT."""
    vat_pence: Pence = 0
    gross_pence: Pence
    """The whole line with VAT."""

    @model_validator(mode="after")
    def _adds_up(self) -> ClaimedLine:
        if self.net_pence + self.vat_pence != self.gross_pence:
            raise ValueError("net_pence and vat_pence do not add up to gross_pence")
        return self


class SpeciesPromise(Strict):
    """Kinds of plant in a square metre by the summer of a year, mean of the meadow."""

    kind: Literal["species_per_m2"]
    project: Key
    species_per_m2: Species
    by_year: Year


class PlantPromise(Strict):
    """A plant to be there by the summer of a year: the key of a taxon, or `orchids`."""

    kind: Literal["plant"]
    project: Key
    plant: Key
    by_year: Year


class AreaPromise(Strict):
    """Ground turned into meadow, all projects of the bid together."""

    kind: Literal["hectares"]
    hectares: Annotated[float, Field(gt=0, le=10_000)]
    by_year: Year


class HoursPromise(Strict):
    """Volunteers' hours given within the time of the grant, all projects together."""

    kind: Literal["volunteer_hours"]
    hours: Annotated[float, Field(gt=0, le=1_000_000)]


class PeoplePromise(Strict):
    """People reached by events, visits and lessons; the model knows nothing of them."""

    kind: Literal["people"]
    people: Annotated[int, Field(gt=0, le=10_000_000)]


Promise = Annotated[
    SpeciesPromise | PlantPromise | AreaPromise | HoursPromise | PeoplePromise, Field(discriminator="kind")
]


class InKindRate(Strict):
    """What the round counts an hour of volunteers for."""

    skill: Skill
    pence_per_hour: Annotated[int, Field(ge=0, le=100_000)]


class Round(Strict):
    """What the round asks of every bid."""

    money_from: Day
    """First day on which granted money is there."""
    earliest_start: Day
    latest_end: Day
    report_on: Annotated[tuple[Day, ...], Field(max_length=MOST_FACTS, strict=False)] = ()
    least_aftercare_years: Annotated[int, Field(ge=0, le=50)] = 0
    """Years of yearly care to be promised after the sowing."""
    in_kind_rates: Annotated[tuple[InKindRate, ...], Field(max_length=3, strict=False)] = ()
    most_volunteer_share_of_match: Share | None = None
    """Of all match, cash and in kind, how much may be volunteers' time."""

    @model_validator(mode="after")
    def _in_order(self) -> Round:
        if self.latest_end < max(self.money_from, self.earliest_start):
            raise ValueError("latest_end comes before the first day on which work can start")
        return self


class BidPermission(Strict):
    """How a permission stands: the key of the permissions table that it answers, where it is one of those."""

    label: Words
    key: Key | None = None
    project: Key | None = None
    """The project it is for; all of them if left out."""
    standing: Standing
    expires_on: Day | None = None


class OtherFunding(Strict):
    """Money for the same ground from elsewhere."""

    label: Words
    kind: Literal["farm_scheme", "grant", "other"]
    project: Key | None = None
    pence: Pence | None = None
    """All of it; left out where it is not known."""
    from_day: Day
    until_day: Day

    @model_validator(mode="after")
    def _in_order(self) -> OtherFunding:
        if self.until_day < self.from_day:
            raise ValueError("until_day comes before from_day")
        return self


class EarlierForecast(Strict):
    """One earlier meadow of the group: kinds in a square metre as forecast and as found in the same summer."""

    p10: Species
    p50: Species
    p90: Species
    found: Species


class GroupRecord(Strict):
    """What is known of the group's earlier projects."""

    returns_due: Annotated[int, Field(ge=0, le=100_000)] = 0
    returns_agreed: Annotated[int, Field(ge=0, le=100_000)] = 0
    forecasts: Annotated[tuple[EarlierForecast, ...], Field(max_length=1_000, strict=False)] = ()


class AppraisalQuestion(Strict):
    """Appraise one bid. The same question has the same answer."""

    as_of: Day
    """Day on which the bid was submitted; prices and permissions are of this day."""
    projects: Annotated[tuple[BidProject, ...], Field(min_length=1, max_length=MOST_PROJECTS, strict=False)]
    lines: Annotated[tuple[ClaimedLine, ...], Field(max_length=MOST_LINES, strict=False)] = ()
    promises: Annotated[tuple[Promise, ...], Field(max_length=MOST_PROMISES, strict=False)] = ()
    aftercare_years: Annotated[int, Field(ge=0, le=100)] = 0
    """Years of yearly care that the bid promises."""
    reclaims_vat: bool = False
    """Whether the group gets its VAT back."""
    round: Round
    permissions: Annotated[tuple[BidPermission, ...], Field(max_length=MOST_FACTS, strict=False)] = ()
    other_funding: Annotated[tuple[OtherFunding, ...], Field(max_length=MOST_FACTS, strict=False)] = ()
    record: GroupRecord = GroupRecord()

    @model_validator(mode="after")
    def _named(self) -> AppraisalQuestion:
        keys = [project.key for project in self.projects]
        if len(set(keys)) < len(keys):
            raise ValueError("two projects have the same key")
        for part in (*self.promises, *self.permissions, *self.other_funding):
            named = getattr(part, "project", None)
            if named is not None and named not in keys:
                raise ValueError(f"{named!r} is no project of this bid")
        return self
