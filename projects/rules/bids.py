"""What an assessor would ask about a bid, told to the group before it hands in."""

from __future__ import annotations

import calendar
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Final

from projects.choices import LineCategory, PaidBy, PromiseKind, Proof, Skill

PERCENT: Final = 100


@dataclass(frozen=True)
class LineFact:
    """A line of the budget, in pence."""

    category: str
    paid_by: str
    source: str
    #: of volunteers' time; empty where it is not said
    skill: str
    unit_price_pence: int
    net_pence: int
    vat_pence: int
    gross_pence: int


@dataclass(frozen=True)
class ProjectFact:
    """What matters of a project in a bid."""

    name: str
    has_plan: bool
    has_soil_test: bool
    #: sentences: permissions that stand in the way of starting
    obstacles: Sequence[str]
    #: who else pays for the same ground
    other_funders: Sequence[str]
    #: whether another live bid of the round names it
    elsewhere: bool


@dataclass(frozen=True)
class RoundFact:
    """What a round asks for."""

    pot_pence: int
    group_limit_pence: int | None
    starts_earliest_on: date
    longest_months: int
    must_show: Sequence[str]
    match_percent: int
    volunteer_match_percent: int
    categories: Sequence[str]
    aftercare_years_least: int
    #: an hour in kind: (skill, from, until or None, pence)
    rates: Sequence[tuple[str, date, date | None, int]]


@dataclass(frozen=True)
class BidFact:
    """A bid as it stands."""

    round: RoundFact
    summary: str
    starts_on: date | None
    ends_on: date | None
    aftercare_years: int
    children_come: bool
    vat_recovered: bool
    other_funding_note: str
    projects: Sequence[ProjectFact]
    lines: Sequence[LineFact]
    #: due on, pence
    stages: Sequence[tuple[date, int]]
    #: kind, amount, year
    promises: Sequence[tuple[str, int, int]]
    proofs: Mapping[str, bool]
    #: asked for in other live bids of the group in this round
    asked_elsewhere_pence: int


@dataclass(frozen=True)
class Check:
    """One thing that is missing or will be asked."""

    code: str
    text: str
    #: JSON Pointer into the bid
    pointer: str
    #: whether the bid cannot be handed in like this
    blocks: bool


def pounds(pence: int) -> str:
    """Return an amount as people read it."""
    return f"£{pence / PERCENT:,.2f}".removesuffix(".00")


def asked_pence(lines: Sequence[LineFact], *, vat_recovered: bool) -> int:
    """Return what the round is asked to pay."""
    return sum(line.net_pence if vat_recovered else line.gross_pence for line in lines if line.paid_by == PaidBy.GRANT)


def month_later(day: date, months: int) -> date:
    """Return the day so many months later, the last of its month where there is no such day."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))


Found = Iterator[tuple[str, str]]


def _summary(bid: BidFact) -> Found:
    if not bid.summary:
        yield "/summary", "Say in a few sentences what will be done; it is published with an award."


def _projects(bid: BidFact) -> Found:
    if not bid.projects:
        yield "/project_ids", "Name the project or projects the money is for."


def _plans(bid: BidFact) -> Found:
    for index, project in enumerate(bid.projects):
        if not project.has_plan:
            yield f"/project_ids/{index}", f"{project.name} has no plan yet."


def _twice(bid: BidFact) -> Found:
    for index, project in enumerate(bid.projects):
        if project.elsewhere:
            yield f"/project_ids/{index}", f"{project.name} stands in another bid of this round."


def _permissions(bid: BidFact) -> Found:
    for index, project in enumerate(bid.projects):
        if project.obstacles:
            yield f"/project_ids/{index}", f"{project.name}: {' '.join(project.obstacles)}"


def _soil(bid: BidFact) -> Found:
    for index, project in enumerate(bid.projects):
        if not project.has_soil_test:
            yield (
                f"/project_ids/{index}",
                f"{project.name}: no soil test is on record; its forecast is the wider for it.",
            )


def _other_money(bid: BidFact) -> Found:
    for index, project in enumerate(bid.projects):
        if project.other_funders and not bid.other_funding_note:
            funders = ", ".join(project.other_funders)
            yield (
                f"/project_ids/{index}",
                (f"{project.name}: {funders} also pays for this ground; say in other_funding_note for what."),
            )


def _lines(bid: BidFact) -> Found:
    if not any(line.paid_by == PaidBy.GRANT for line in bid.lines):
        yield "/lines", "No line of the budget is for this round to pay."


def _categories(bid: BidFact) -> Found:
    for index, line in enumerate(bid.lines):
        if line.paid_by == PaidBy.GRANT and bid.round.categories and line.category not in bid.round.categories:
            allowed = ", ".join(LineCategory(word).label.lower() for word in bid.round.categories)
            yield (
                f"/lines/{index}/category",
                (f"This round does not pay for {LineCategory(line.category).label.lower()}; it pays for {allowed}."),
            )


def _volunteers_paid(bid: BidFact) -> Found:
    for index, line in enumerate(bid.lines):
        if line.category == LineCategory.VOLUNTEERS and line.paid_by != PaidBy.IN_KIND:
            yield f"/lines/{index}/paid_by", "Volunteers’ time is given in kind; nobody pays for it."


def _pot(bid: BidFact) -> Found:
    asked = asked_pence(bid.lines, vat_recovered=bid.vat_recovered)
    if asked > bid.round.pot_pence:
        yield "/lines", f"It asks for {pounds(asked)}; the whole pot is {pounds(bid.round.pot_pence)}."
    limit = bid.round.group_limit_pence
    if limit is not None and asked + bid.asked_elsewhere_pence > limit:
        others = f" beside {pounds(bid.asked_elsewhere_pence)} in other bids" if bid.asked_elsewhere_pence else ""
        yield "/lines", f"It asks for {pounds(asked)}{others}; a group may have at most {pounds(limit)}."


def _match(bid: BidFact) -> Found:
    # an exact share of whole pence, so that a match of just so much is enough
    whole = sum(line.gross_pence for line in bid.lines)
    needed = Fraction(whole * bid.round.match_percent, PERCENT)
    volunteers = sum(
        line.gross_pence
        for line in bid.lines
        if line.category == LineCategory.VOLUNTEERS and line.paid_by == PaidBy.IN_KIND
    )
    others = sum(line.gross_pence for line in bid.lines if line.paid_by != PaidBy.GRANT) - volunteers
    counted = min(Fraction(volunteers), needed * bid.round.volunteer_match_percent / PERCENT)
    if others + counted < needed:
        at_most = (
            f", of it at most {bid.round.volunteer_match_percent} % volunteers’ time"
            if bid.round.volunteer_match_percent < PERCENT
            else ""
        )
        yield (
            "/lines",
            (
                f"The match counts for {pounds(int(others + counted))}; {bid.round.match_percent} % of the whole cost "
                f"is needed{at_most}: {pounds(-int(-needed // 1))}."
            ),
        )


def _rates(bid: BidFact) -> Found:
    on = bid.starts_on
    if on is None or not bid.round.rates:
        return
    for index, line in enumerate(bid.lines):
        if line.category != LineCategory.VOLUNTEERS:
            continue
        skill = line.skill or Skill.UNSKILLED
        most = max(
            (
                pence
                for kind, begins, ends, pence in bid.round.rates
                if kind == skill and begins <= on and (ends is None or on <= ends)
            ),
            default=0,
        )
        if line.unit_price_pence > most:
            yield (
                f"/lines/{index}/unit_price_gbp",
                (
                    f"An hour counts for {pounds(line.unit_price_pence)} here; this round’s rate for "
                    f"{Skill(skill).label.lower()} time on {on:%-d %B %Y} is {pounds(most)}."
                ),
            )


def _sources(bid: BidFact) -> Found:
    for index, line in enumerate(bid.lines):
        if line.paid_by == PaidBy.MATCH and not line.source:
            yield f"/lines/{index}/source", "Say where the money of this match comes from."


def _dates(bid: BidFact) -> Found:
    if bid.starts_on is None or bid.ends_on is None:
        yield "/starts_on" if bid.starts_on is None else "/ends_on", "Say when the work starts and when it ends."
        return
    if bid.starts_on < bid.round.starts_earliest_on:
        yield "/starts_on", f"This round pays for work from {bid.round.starts_earliest_on:%-d %B %Y} on."
    last = month_later(bid.starts_on, bid.round.longest_months)
    if bid.ends_on > last:
        yield (
            "/ends_on",
            f"It lasts longer than {bid.round.longest_months} months; from its start that is {last:%-d %B %Y}.",
        )


def _stages(bid: BidFact) -> Found:
    if not bid.stages:
        yield "/stages", "Say in which stages the money is to come; one is enough."
        return
    asked, planned = asked_pence(bid.lines, vat_recovered=bid.vat_recovered), sum(pence for _, pence in bid.stages)
    if asked != planned:
        yield "/stages", f"The stages come to {pounds(planned)}, the budget asks for {pounds(asked)}."
    for index, (due, _) in enumerate(bid.stages):
        if (bid.starts_on and due < bid.starts_on) or (bid.ends_on and due > bid.ends_on):
            yield f"/stages/{index}/due_on", f"{due:%-d %B %Y} lies outside the time of the work."


def _proofs(bid: BidFact) -> Found:
    for word in bid.round.must_show:
        if word == Proof.SAFEGUARDING and not bid.children_come:
            continue
        if not bid.proofs.get(word, False):
            yield "/proofs", f"{Proof(word).label}: this round must be shown it."


def _aftercare(bid: BidFact) -> Found:
    least = bid.round.aftercare_years_least
    if bid.aftercare_years < least:
        yield "/aftercare_years", f"At least {least} years of aftercare are needed; it says {bid.aftercare_years}."


def _promises(bid: BidFact) -> Found:
    if not any(kind == PromiseKind.SPECIES_PER_M2 for kind, _, _ in bid.promises):
        yield "/promises", "It does not say how many species a square metre will hold, and by which year."


def _early(bid: BidFact) -> Found:
    for index, (kind, _, year) in enumerate(bid.promises):
        if kind in {PromiseKind.SPECIES_PER_M2, PromiseKind.PLANT} and bid.starts_on and year <= bid.starts_on.year:
            yield f"/promises/{index}/by_year", f"Nothing sown is counted in {year}, the year the work starts."


@dataclass(frozen=True)
class Rule:
    """One row of the checklist."""

    code: str
    blocks: bool
    find: Callable[[BidFact], Found]


RULES: Final = (
    Rule("summary_missing", True, _summary),
    Rule("no_project", True, _projects),
    Rule("no_plan", True, _plans),
    Rule("project_twice", True, _twice),
    Rule("nothing_asked", True, _lines),
    Rule("category_not_paid", True, _categories),
    Rule("volunteers_paid", True, _volunteers_paid),
    Rule("over_limit", True, _pot),
    Rule("match_short", True, _match),
    Rule("rate_too_high", True, _rates),
    Rule("dates", True, _dates),
    Rule("stages", True, _stages),
    Rule("not_shown", True, _proofs),
    Rule("aftercare_short", True, _aftercare),
    Rule("match_source", False, _sources),
    Rule("permissions", False, _permissions),
    Rule("no_soil_test", False, _soil),
    Rule("other_funding", False, _other_money),
    Rule("no_promise", False, _promises),
    Rule("early_promise", False, _early),
)


def checklist(bid: BidFact) -> list[Check]:
    """Return what is missing or will be asked, what keeps the bid from being handed in first."""
    found = [Check(rule.code, text, pointer, rule.blocks) for rule in RULES for pointer, text in rule.find(bid)]
    return sorted(found, key=lambda check: not check.blocks)


def by_category(lines: Sequence[LineFact]) -> dict[str, int]:
    """Return the gross pence of each category."""
    found: dict[str, int] = defaultdict(int)
    for line in lines:
        found[line.category] += line.gross_pence
    return dict(found)
