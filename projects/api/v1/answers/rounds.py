"""Grant rounds."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from projects.api.v1.answers.base import Answer, Named, NounAnswer, named, named_if_any, noun
from projects.models import GrantRound, Interest, RoundChoice, User
from projects.rules import rounds as rules
from projects.selectors.reviews import Panel
from projects.selectors.rounds import Money

PENCE = 100


def gbp(pence: int | None) -> float | None:
    """Return an amount as the API tells it."""
    return None if pence is None else pence / PENCE


class RateAnswer(Answer):
    """What an hour given in kind counts for."""

    skill: str
    gbp_per_hour: float
    from_day: date
    until_day: date | None


class CriterionAnswer(Answer):
    """One thing bids are scored on."""

    position: int
    name: str
    about: str
    weight: int
    most: int


class RoundAnswer(NounAnswer):
    """A pot of money that groups may bid for."""

    network: Named
    district: Named | None
    """Only groups of this district may bid."""
    name: str
    about: str
    funder: str
    funder_org_id: str
    grant_prefix: str
    state: str
    phase: str
    """draft, coming, open, reading, panel or settled: the state, and the time."""
    pot_gbp: float
    opens_at: datetime
    closes_at: datetime
    """Bids that come at this moment or later are late."""
    starts_earliest_on: date
    longest_months: int
    who_may_bid: str
    must_show: list[str]
    group_limit_gbp: float | None
    district_limit_gbp: float | None
    match_percent: int
    volunteer_match_percent: int
    categories: list[str]
    aftercare_years_least: int
    accept_days: int
    report_days: int
    rates: list[RateAnswer]
    criteria: list[CriterionAnswer]


class PersonAnswer(Answer):
    """Somebody."""

    id: UUID
    name: str


class AssessorAnswer(PersonAnswer):
    """Somebody who reads bids, or could."""

    appointed: bool


class Assessors(Answer):
    """Assessors of the network, and whether they read this round's bids."""

    results: list[AssessorAnswer]


class InterestAnswer(Answer):
    """Somebody is near to a group."""

    person: PersonAnswer
    group: Named
    reason: str
    created_at: datetime


class Interests(Answer):
    """Interests declared in a round."""

    results: list[InterestAnswer]


class MoneyAnswer(Answer):
    """Where the money of a round is."""

    pot_gbp: float
    committed_gbp: float
    free_gbp: float
    paid_gbp: float
    returned_gbp: float
    adds_up: bool
    """Whether the running total is what the awards come to."""


class PanelBidAnswer(Answer):
    """One bid before the panel."""

    id: UUID
    number: int | None
    title: str
    group: Named
    state: str
    asked_gbp: float
    reviews: int
    raw_mean: float | None
    """Mean of the scores, of 100, by the criteria's weights."""
    lowest: float | None
    highest: float | None
    calibrated: float | None
    """The same without the habits of those who scored it; shown beside, never in place of the raw mean."""
    standard_error: float | None
    """Of the calibrated score; null where the scores cannot tell."""
    decision: str | None
    appraised: bool
    flags: int | None
    """Things to look at in its appraisal."""


class HabitAnswer(Answer):
    """How somebody scores beside the others."""

    person: PersonAnswer
    marks_higher_by: float
    """Of 100; below 0 for lower. Shrunk towards 0 where few scores overlap."""


class PanelAnswer(Answer):
    """A round as its panel sees it."""

    bids: list[PanelBidAnswer]
    assessors: list[HabitAnswer]
    assessor_share: float
    """Share of the spread of scores that comes from who scored, 0 to 1."""


class ChoiceAnswer(Answer):
    """What the pot could buy, at one moment."""

    id: UUID
    round: Named
    checksum: str
    release: str
    created_at: datetime


def round_answer(row: GrantRound, now: datetime) -> dict[str, Any]:
    found = RoundAnswer(
        **noun(row),
        network=named(row.network),
        district=named_if_any(row.district),
        name=row.name,
        about=row.about,
        funder=row.funder,
        funder_org_id=row.funder_org_id,
        grant_prefix=row.grant_prefix,
        state=row.state,
        phase=rules.phase(row.state, row.opens_at, row.closes_at, now),
        pot_gbp=row.pot_pence / PENCE,
        opens_at=row.opens_at,
        closes_at=row.closes_at,
        starts_earliest_on=row.starts_earliest_on,
        longest_months=row.longest_months,
        who_may_bid=row.who_may_bid,
        must_show=row.must_show,
        group_limit_gbp=gbp(row.group_limit_pence),
        district_limit_gbp=gbp(row.district_limit_pence),
        match_percent=row.match_percent,
        volunteer_match_percent=row.volunteer_match_percent,
        categories=row.categories,
        aftercare_years_least=row.aftercare_years_least,
        accept_days=row.accept_days,
        report_days=row.report_days,
        rates=[
            RateAnswer(
                skill=rate.skill,
                gbp_per_hour=rate.pence_per_hour / PENCE,
                from_day=rate.from_day,
                until_day=rate.until_day,
            )
            for rate in row.rates.all()
        ],
        criteria=[
            CriterionAnswer(position=c.position, name=c.name, about=c.about, weight=c.weight, most=c.most)
            for c in row.criteria.all()
        ],
    )
    return found.model_dump(mode="json")


def person(row: User) -> PersonAnswer:
    """Return somebody in short."""
    return PersonAnswer(id=row.public_id, name=str(row))


def assessors_answer(people: list[tuple[User, bool]]) -> dict[str, Any]:
    rows = [AssessorAnswer(id=row.public_id, name=str(row), appointed=appointed) for row, appointed in people]
    return Assessors(results=rows).model_dump(mode="json")


def interest_answer(row: Interest) -> dict[str, Any]:
    found = InterestAnswer(
        person=person(row.user), group=named(row.group), reason=row.reason, created_at=row.created_at
    )
    return found.model_dump(mode="json")


def money_answer(money: Money) -> dict[str, Any]:
    found = MoneyAnswer(
        pot_gbp=money.pot_pence / PENCE,
        committed_gbp=money.committed_pence / PENCE,
        free_gbp=money.free_pence / PENCE,
        paid_gbp=money.paid_pence / PENCE,
        returned_gbp=money.returned_pence / PENCE,
        adds_up=money.committed_pence == money.committed_by_rows_pence,
    )
    return found.model_dump(mode="json")


def panel_answer(panel: Panel) -> dict[str, Any]:
    found = PanelAnswer(
        bids=[
            PanelBidAnswer(
                id=row.bid.public_id,
                number=row.bid.number,
                title=row.bid.title,
                group=named(row.bid.group),
                state=row.bid.state,
                asked_gbp=row.bid.asked_pence / PENCE,
                reviews=row.reviews,
                raw_mean=_rounded(row.raw_mean),
                lowest=_rounded(row.lowest),
                highest=_rounded(row.highest),
                calibrated=_rounded(row.calibrated),
                standard_error=_rounded(row.standard_error),
                decision=row.decision.kind if row.decision else None,
                appraised=row.flags is not None,
                flags=row.flags,
            )
            for row in panel.rows
        ],
        assessors=[
            HabitAnswer(person=person(user), marks_higher_by=round(effect, 2)) for user, effect in panel.assessors
        ],
        assessor_share=round(panel.assessor_share, 4),
    )
    return found.model_dump(mode="json")


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)


def choice_answer(row: RoundChoice) -> dict[str, Any]:
    found = ChoiceAnswer(
        id=row.public_id,
        round=named(row.round),
        checksum=row.answer_checksum,
        release=row.release,
        created_at=row.created_at,
    )
    return found.model_dump(mode="json")
