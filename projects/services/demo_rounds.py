"""The grant rounds of the invented county: announced, bid for, read, decided and paid, act by act.

One round of last year is settled; its money has been offered, accepted, declined, paid in stages and partly come back.
The other takes bids until December: some are good, and some have the faults that assessors meet.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import IntEnum, auto
from typing import Any, Final, Protocol

from projects.choices import BidState, ChangeState, PaymentState
from projects.contracts.base import read_as
from projects.contracts.bids import BidNew, ReviewWritten
from projects.contracts.decisions import (
    AwardMove,
    ChangeMove,
    ChangeNew,
    DecisionNew,
    EndReport,
    MoneyBack,
    PaymentMove,
    PaymentNew,
)
from projects.contracts.rounds import Appointment, ChoiceNew, InterestNew, RoundMove, RoundNew
from projects.models import Award, Bid, GrantRound, Group, MeadowProject, Network, User
from projects.rules.access import Actor
from projects.services import appraisals, awards, bids, decisions, jobs, reviews, rounds
from projects.services.base import person

Row = dict[str, Any]
#: columns of a review, in the order of the criteria
SCORES: Final = ("what_will_grow", "who_takes_part", "value", "later_years")


class Step(IntEnum):
    """What comes first on the same evening."""

    ROUND = auto()
    INTEREST = auto()
    BID = auto()
    HAND_IN = auto()
    READ = auto()
    REVIEW = auto()
    DECISION = auto()
    MONEY = auto()


class Story(Protocol):
    """What is known by now of the county."""

    network: Network
    groups: dict[str, Group]
    projects: dict[str, MeadowProject]

    def actor(self, key: str) -> Actor:
        """Somebody, by their key."""


@dataclass(frozen=True)
class Act:
    """Something somebody did about a round one evening."""

    on: date
    step: Step
    do: Callable[[datetime], object]
    #: whether the model computes in it, which it does outside transactions only
    computes: bool = False


@dataclass(frozen=True)
class Tables:
    """Rows of the fixtures."""

    rounds: list[Row]
    bids: list[Row]
    reviews: list[Row]
    decisions: list[Row]
    awards: list[Row]


@dataclass
class _Told:
    """What has been made so far."""

    story: Story
    rounds: dict[str, GrantRound] = field(default_factory=dict)
    bids: dict[str, Bid] = field(default_factory=dict)

    def award(self, key: str) -> Award:
        return Award.objects.get(bid=self.bids[key])


def acts(story: Story, tables: Tables) -> Iterator[Act]:
    """Everything that was done about the county's rounds, in no order."""
    told = _Told(story)
    for row in tables.rounds:
        yield from _round(told, row)
    for row in tables.bids:
        yield from _bid(told, row)
    for row in tables.reviews:
        yield Act(_day(row["on"]), Step.REVIEW, _reviews(told, row))
    manager = tables.rounds[0]["by"]
    for row in tables.decisions:
        yield Act(_day(row["on"]), Step.DECISION, _decides(told, row, manager))
    for row in tables.awards:
        yield Act(_day(row["on"]), Step.MONEY, _MONEY[row["act"]](told, row))


def _day(text: str) -> date:
    return date.fromisoformat(text)


# ------------------------------------------------------------------ the round


def _round(told: _Told, row: Row) -> Iterator[Act]:
    name, story = row["says"]["name"], told.story

    def write(now: datetime) -> None:
        asked = read_as(RoundNew, row["says"] | {"network_id": story.network.public_id})
        told.rounds[name] = rounds.round_create(actor=story.actor(row["by"]), asked=asked, now=now)

    def announce(now: datetime) -> None:
        _moves(told, name, row["by"], "announced")(now)
        for key in row["assessors"]:
            somebody = User.objects.get(pk=person(story.actor(key)))
            rounds.assessor_appoint(
                actor=story.actor(row["by"]),
                round_id=told.rounds[name].public_id,
                asked=Appointment(user_id=somebody.public_id),
                now=now,
            )

    yield Act(_day(row["begun"]), Step.ROUND, write)
    yield Act(_day(row["announced"]), Step.ROUND, announce)
    for interest in row["interests"]:
        yield Act(_day(interest["on"]), Step.INTEREST, _declares(told, name, interest))
    if "appraised" in row:
        yield Act(_day(row["appraised"]), Step.READ, _appraises(told, name, row["by"]), computes=True)
    if "chosen" in row:
        yield Act(_day(row["chosen"]), Step.READ, _chooses(told, name, row["by"]), computes=True)
    for to in ("panel", "settled"):
        if to in row:
            yield Act(_day(row[to]), Step.ROUND, _moves(told, name, row["by"], to))


def _moves(told: _Told, name: str, by: str, to: str) -> Callable[[datetime], None]:
    def move(now: datetime) -> None:
        rounds.round_move(
            actor=told.story.actor(by),
            public_id=told.rounds[name].public_id,
            asked=read_as(RoundMove, {"to": to}),
            if_version=None,
            now=now,
        )

    return move


def _declares(told: _Told, name: str, row: Row) -> Callable[[datetime], None]:
    def declare(now: datetime) -> None:
        asked = InterestNew(group_id=told.story.groups[row["group"]].public_id, reason=row["reason"])
        rounds.interest_declare(
            actor=told.story.actor(row["by"]), round_id=told.rounds[name].public_id, asked=asked, now=now
        )

    return declare


def _appraises(told: _Told, name: str, by: str) -> Callable[[datetime], None]:
    """Every bid handed in by now is laid beside the model, by a job that is done at once."""

    def appraise(now: datetime) -> None:
        appraisals.appraisals_ask(actor=told.story.actor(by), round_id=told.rounds[name].public_id, now=now)
        jobs.jobs_run_due(clock=lambda: now)

    return appraise


def _chooses(told: _Told, name: str, by: str) -> Callable[[datetime], None]:
    def choose(now: datetime) -> None:
        appraisals.choice_ask(
            actor=told.story.actor(by), round_id=told.rounds[name].public_id, asked=ChoiceNew(), now=now
        )
        jobs.jobs_run_due(clock=lambda: now)

    return choose


# ------------------------------------------------------------------ bids


def _bid(told: _Told, row: Row) -> Iterator[Act]:
    """A bid that is begun, and perhaps looked over or handed in later."""

    def begin(now: datetime) -> None:
        asked = read_as(BidNew, _content(told, row))
        told.bids[row["key"]] = bids.bid_create(actor=told.story.actor(row["by"]), asked=asked, now=now)

    def hand_in(now: datetime) -> None:
        bids.bid_submit(
            actor=told.story.actor(row["by"]), public_id=told.bids[row["key"]].public_id, if_version=None, now=now
        )

    def check(now: datetime) -> None:
        bids.bid_move(
            actor=told.story.actor(row["by"]),
            public_id=told.bids[row["key"]].public_id,
            to=BidState.CHECKED,
            if_version=None,
            now=now,
        )

    yield Act(_day(row["begun"]), Step.BID, begin)
    if row["state"] == BidState.SUBMITTED:
        yield Act(_day(row["handed_in"]), Step.HAND_IN, hand_in, computes=True)
    elif row["state"] == BidState.CHECKED:
        yield Act(_day(row["handed_in"]), Step.HAND_IN, check)


def _content(told: _Told, row: Row) -> Row:
    """What a bid says, with the ids of what it names; a promise names its project by its place."""
    named = [told.story.projects[name] for name in row["projects"]]
    promises = []
    for promise in row["promises"]:
        which = promise.get("project")
        promises.append(promise | {"project_id": None if which is None else named[which].public_id})
        promises[-1].pop("project", None)
    group = named[0].group
    return row["says"] | {
        "round_id": told.rounds[row["round"]].public_id,
        "group_id": group.public_id,
        "project_ids": [project.public_id for project in named],
        "lines": row["lines"],
        "stages": row["stages"],
        "promises": promises,
        "proofs": [{"what": what, "has_it": True} for what in row["proofs"]],
    }


# ------------------------------------------------------------------ read and decided


def _reviews(told: _Told, row: Row) -> Callable[[datetime], None]:
    def review(now: datetime) -> None:
        scores = [{"criterion": place, "score": int(row[name])} for place, name in enumerate(SCORES, start=1)]
        asked = read_as(ReviewWritten, {"scores": scores, "comment": row.get("comment", ""), "send": True})
        reviews.review_write(
            actor=told.story.actor(row["by"]), bid_id=told.bids[row["bid"]].public_id, asked=asked, now=now
        )

    return review


def _decides(told: _Told, row: Row, manager: str) -> Callable[[datetime], None]:
    def decide(now: datetime) -> None:
        actor = told.story.actor(manager)
        draft = decisions.decision_draft(
            actor=actor, bid_id=told.bids[row["bid"]].public_id, asked=read_as(DecisionNew, row["says"]), now=now
        )
        decisions.decision_publish(actor=actor, public_id=draft.public_id, if_version=None, now=now)

    return decide


# ------------------------------------------------------------------ what became of the money


def _move(told: _Told, row: Row) -> Callable[[datetime], None]:
    def move(now: datetime) -> None:
        awards.award_move(
            actor=told.story.actor(row["by"]),
            public_id=told.award(row["bid"]).public_id,
            asked=read_as(AwardMove, row["says"]),
            if_version=None,
            now=now,
        )

    return move


def _ask(told: _Told, row: Row) -> Callable[[datetime], None]:
    """All of a stage, or what is said."""

    def ask(now: datetime) -> None:
        award = told.award(row["bid"])
        stage = award.bid.stages.get(number=row["stage"])
        asked = {"amount_gbp": stage.amount_pence / 100} | row["says"] | {"stage": stage.number}
        awards.payment_ask(
            actor=told.story.actor(row["by"]), award_id=award.public_id, asked=read_as(PaymentNew, asked), now=now
        )

    return ask


def _settle(told: _Told, row: Row) -> Callable[[datetime], None]:
    def settle(now: datetime) -> None:
        payment = told.award(row["bid"]).payments.get(stage__number=row["stage"], state=PaymentState.ASKED)
        awards.payment_settle(
            actor=told.story.actor(row["by"]),
            public_id=payment.public_id,
            asked=read_as(PaymentMove, row["says"]),
            if_version=None,
            now=now,
        )

    return settle


def _back(told: _Told, row: Row) -> Callable[[datetime], None]:
    def back(now: datetime) -> None:
        awards.money_back(
            actor=told.story.actor(row["by"]),
            award_id=told.award(row["bid"]).public_id,
            asked=read_as(MoneyBack, row["says"]),
            now=now,
        )

    return back


def _change(told: _Told, row: Row) -> Callable[[datetime], None]:
    def change(now: datetime) -> None:
        awards.alteration_ask(
            actor=told.story.actor(row["by"]),
            award_id=told.award(row["bid"]).public_id,
            asked=read_as(ChangeNew, row["says"]),
            now=now,
        )

    return change


def _agree(told: _Told, row: Row) -> Callable[[datetime], None]:
    def agree(now: datetime) -> None:
        change = told.award(row["bid"]).changes.get(state=ChangeState.ASKED)
        awards.alteration_settle(
            actor=told.story.actor(row["by"]),
            public_id=change.public_id,
            asked=read_as(ChangeMove, row["says"]),
            if_version=None,
            now=now,
        )

    return agree


def _report(told: _Told, row: Row) -> Callable[[datetime], None]:
    def report(now: datetime) -> None:
        awards.report_send(
            actor=told.story.actor(row["by"]),
            public_id=told.award(row["bid"]).public_id,
            asked=read_as(EndReport, row["says"]),
            if_version=None,
            now=now,
        )

    return report


_MONEY: Final[Mapping[str, Callable[[_Told, Row], Callable[[datetime], None]]]] = {
    "move": _move, "ask": _ask, "settle": _settle, "back": _back, "change": _change, "agree": _agree, "report": _report,
}  # fmt: skip
