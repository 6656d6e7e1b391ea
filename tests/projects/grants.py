"""A grant round in Saltmere for tests: who is who in it, and bids in any state."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from projects.choices import NetworkRole
from projects.contracts.base import read_as
from projects.contracts.bids import BidNew, ReviewWritten
from projects.contracts.decisions import DecisionNew
from projects.contracts.meadows import PlanNew
from projects.contracts.rounds import Appointment, RoundMove, RoundNew
from projects.models import Award, Bid, Decision, GrantRound, MeadowProject, User
from projects.rules.access import Actor
from projects.services import bids, decisions, meadows, reviews, rounds
from tests.projects.county import NOW, County, appoint, person, saltmere

#: the round opens, a bid is written, it closes, the panel meets
OPENS = NOW + timedelta(days=1)
WRITING = NOW + timedelta(days=10)
CLOSES = NOW + timedelta(days=30)
AFTER = CLOSES + timedelta(days=1)
PANEL = CLOSES + timedelta(days=20)
LATER = CLOSES + timedelta(days=40)
MAKERS, VERGES = "Gullhaven Meadow Makers", "Brackwater Verges"
YEWS, VERGE = "Under the yews", "Verge of the sea road"


def round_asked(county: County, **more: Any) -> dict[str, Any]:
    """A round's request, as JSON."""
    return {
        "network_id": str(county.network.public_id), "name": "Autumn meadows", "funder": "Tideline Trust",
        "funder_org_id": "GB-CHC-0000000", "grant_prefix": "tideline", "pot_gbp": 1000.0,
        "opens_at": OPENS.isoformat(), "closes_at": CLOSES.isoformat(),
        "starts_earliest_on": PANEL.date().isoformat(), "longest_months": 36, "must_show": ["constitution"],
        "categories": ["seed", "hire"], "match_percent": 20, "volunteer_match_percent": 100,
        "rates": [{"skill": "unskilled", "gbp_per_hour": 15.0, "from_day": "2026-01-01"}],
        "criteria": [
            {"name": "Flowers", "about": "What will grow.", "weight": 3, "most": 5},
            {"name": "People", "about": "Who takes part.", "weight": 1, "most": 4},
        ],
    } | more  # fmt: skip


def bid_asked(round: GrantRound, project: MeadowProject, pounds: float = 600.0, **more: Any) -> dict[str, Any]:
    """A whole bid's request for one project, as JSON: seed for so many pounds, and volunteers beside."""
    starts = PANEL.date() + timedelta(days=30)
    return {
        "round_id": str(round.public_id), "group_id": str(project.group.public_id), "title": f"Flowers: {project.name}",
        "summary": "Seed, and many mornings.", "starts_on": starts.isoformat(),
        "ends_on": (starts + timedelta(days=700)).isoformat(), "aftercare_years": 3,
        "project_ids": [str(project.public_id)],
        "lines": [
            {"what": "Seed", "category": "seed", "paid_by": "grant", "quantity": 2.0, "unit": "kg",
             "unit_price_gbp": pounds / 2},
            {"what": "Mornings", "category": "volunteers", "paid_by": "in_kind", "quantity": pounds / 15, "unit": "h",
             "skill": "unskilled", "unit_price_gbp": 15.0},
        ],
        "stages": [
            {"name": "Sown", "due_on": (starts + timedelta(days=60)).isoformat(), "amount_gbp": pounds / 2},
            {"name": "Cut and counted", "due_on": (starts + timedelta(days=600)).isoformat(), "amount_gbp": pounds / 2},
        ],
        "promises": [
            {"kind": "species_per_m2", "amount": 12, "project_id": str(project.public_id), "by_year": 2029}
        ],
        "proofs": [{"what": "constitution", "has_it": True}],
    } | more  # fmt: skip


@dataclass
class Grants:
    """A county with a round, its fund manager and its assessors."""

    county: County
    manager: User
    assessor: User
    second: User
    round: GrantRound
    bids: dict[str, Bid] = field(default_factory=dict)

    def as_(self, user: User) -> Actor:
        """Somebody with the roles they hold now."""
        return self.county.as_(user)

    @property
    def fund(self) -> Actor:
        """The fund manager."""
        return self.as_(self.manager)

    def leader(self, name: str) -> Actor:
        """Lead of the group that a project is of."""
        county = self.county
        return self.as_(county.neighbour if name == VERGE else county.lead)

    def bid(self, name: str = YEWS, pounds: float = 600.0, *, now: datetime = WRITING, **more: Any) -> Bid:
        """A draft bid for a project, by its group's lead."""
        asked = bid_asked(self.round, self.county.projects[name], pounds, **more)
        self.bids[name] = bids.bid_create(actor=self.leader(name), asked=read_as(BidNew, asked), now=now)
        return self.bids[name]

    def handed_in(self, name: str = YEWS, pounds: float = 600.0, **more: Any) -> Bid:
        """A bid that was handed in."""
        project = self.county.projects[name]
        if name == VERGE and project.plans.count() == 1:
            asked = read_as(PlanNew, {"plan": {"crew": {"volunteers": 5}}})
            meadows.plan_create(
                actor=self.leader(name), project_id=project.public_id, asked=asked, if_version=None, now=WRITING
            )
        bid = self.bid(name, pounds, **more)
        bids.bid_submit(actor=self.leader(name), public_id=bid.public_id, if_version=None, now=WRITING)
        bid.refresh_from_db()
        return bid

    def move(self, to: str, now: datetime) -> None:
        """Take the round a step on."""
        self.round = rounds.round_move(
            actor=self.fund,
            public_id=self.round.public_id,
            asked=RoundMove(to=to),
            if_version=None,
            now=now,  # type: ignore[arg-type]
        )

    def review(self, user: User, bid: Bid, *scores: int, send: bool = True, now: datetime = AFTER) -> None:
        """Somebody's review of a bid."""
        given = [{"criterion": number, "score": score} for number, score in enumerate(scores, start=1)]
        asked = read_as(ReviewWritten, {"scores": given, "send": send})
        reviews.review_write(actor=self.as_(user), bid_id=bid.public_id, asked=asked, now=now)

    def decide(
        self, bid: Bid, kind: str = "full", *, now: datetime = PANEL, publish: bool = True, **more: Any
    ) -> Decision:
        """A decision about a bid."""
        asked = read_as(DecisionNew, {"kind": kind} | more)
        row = decisions.decision_draft(actor=self.fund, bid_id=bid.public_id, asked=asked, now=now)
        if publish:
            row = decisions.decision_publish(actor=self.fund, public_id=row.public_id, if_version=None, now=now)
        return row

    def award(self, bid: Bid) -> Award:
        """The award of a bid as it stands."""
        return Award.objects.get(bid=bid)


def grants(*, announced: bool = True, **more: Any) -> Grants:
    """The county with an announced round of £1,000, a fund manager and two assessors."""
    county = saltmere(sown=False)
    manager, assessor, second = person("Florin Saltpan"), person("Marram Teal"), person("Pip Samphire")
    appoint(manager, county.network, NetworkRole.FUND_MANAGER)
    for user in (assessor, second):
        appoint(user, county.network, NetworkRole.ASSESSOR)
    asked = read_as(RoundNew, round_asked(county, **more))
    row = rounds.round_create(actor=county.as_(manager), asked=asked, now=NOW)
    found = Grants(county, manager, assessor, second, row)
    if announced:
        found.move("announced", NOW)
        for user in (assessor, second):
            appointment = Appointment(user_id=user.public_id)
            rounds.assessor_appoint(actor=found.fund, round_id=row.public_id, asked=appointment, now=NOW)
    return found
