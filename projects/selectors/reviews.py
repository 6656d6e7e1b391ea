"""Reads of reviews: one's own, and the others' once one's own is sent or the panel is open."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import orjson
from django.db.models import Q, QuerySet

from modelling.contracts.scores import Scored, ScoreQuestion
from modelling.scores import calibrated
from projects.choices import BidState, NetworkRole, RoundState
from projects.errors import NotAllowed, NotFound
from projects.models import Bid, BidNote, Decision, GrantRound, Review, User
from projects.rules.access import Actor, bids_to_read, by_the_near, demand, visible_rounds
from projects.selectors.appraisals import latest_appraisals
from projects.selectors.bids import bid_to_read

PERCENT = 100
_PANEL = (RoundState.PANEL, RoundState.SETTLED)


def sees_others(actor: Actor, bid: Bid) -> bool:
    """Whether the actor may read what others make of a bid.

    Whoever is to score it, only after their own review is sent or once the panel is open.
    """
    if bid.round.state in _PANEL:
        return True
    if NetworkRole.ASSESSOR in actor.networks.get(bid.network_id, ()):
        return Review.objects.filter(bid=bid, assessor=actor.user_id, sent_at__isnull=False).exists()
    return True


def own_review(actor: Actor, public_id: UUID) -> Review:
    """The actor's own review of a bid; raises NotFound."""
    bid = bid_to_read(actor, public_id)
    row = Review.objects.filter(bid=bid, assessor=actor.user_id).prefetch_related("scores__criterion").first()
    if row is None:
        raise NotFound("You have not begun a review of this bid.")
    return row


def reviews_of(actor: Actor, public_id: UUID) -> QuerySet[Review]:
    """Sent reviews of a bid, and one's own; the others' only once they may be seen."""
    bid = bid_to_read(actor, public_id)
    demand(actor, "review.read", network_id=bid.network_id)
    seen = Q(assessor=actor.user_id)
    if sees_others(actor, bid):
        seen |= Q(sent_at__isnull=False)
    rows = Review.objects.filter(seen, bid=bid).select_related("assessor", "bid")
    return rows.prefetch_related("scores__criterion").order_by("pk")


def notes_of(actor: Actor, public_id: UUID) -> QuerySet[BidNote]:
    """Notes about a bid; like reviews, they may not be seen before one's own review is sent."""
    bid = bid_to_read(actor, public_id)
    demand(actor, "note.read", network_id=bid.network_id)
    rows = BidNote.objects.filter(bid=bid).select_related("author").order_by("pk")
    return rows if sees_others(actor, bid) else rows.filter(author=actor.user_id)


# ------------------------------------------------------------------ the panel


@dataclass(frozen=True)
class PanelRow:
    """One bid before the panel."""

    bid: Bid
    reviews: int
    #: of 100, by the criteria's weights
    raw_mean: float | None
    #: lowest and highest score it was given, likewise
    lowest: float | None
    highest: float | None
    #: the mean likewise, without the habits of those who scored it; beside the raw mean, never in its place
    calibrated: float | None
    #: of the calibrated score; None where the scores cannot tell
    standard_error: float | None
    #: the best of the bids that are clearly below it; None where none is
    clearly_above: Bid | None
    #: how many flags its appraisal has; None where there is none
    flags: int | None
    decision: Decision | None


@dataclass(frozen=True)
class Panel:
    """A round as its panel sees it."""

    rows: list[PanelRow]
    #: how far each marks above (+) or below (-) the others, of 100
    assessors: list[tuple[User, float]]
    #: share of the spread of scores that comes from who scored, 0 to 1; 0 where the scores cannot tell
    assessor_share: float
    #: what the scores can tell, in plain words
    sentences: list[str]


def total_of(review: Review) -> float:
    """A review's score, of 100: each criterion's share of its best, by weight."""
    parts = [(row.criterion.weight, row.score / row.criterion.most) for row in review.scores.all()]
    weight = sum(part for part, _ in parts)
    return PERCENT * sum(part * share for part, share in parts) / weight if weight else 0.0


def raw_means(bids: list[Bid]) -> dict[int, float]:
    """Mean score of each bid that was scored, of 100: bid -> mean, as it was given."""
    return {int(row["bid"]): row["mean"] for row in _on_one_scale(_scored(bids))["bids"]}


def _on_one_scale(scored: list[tuple[int, int, float]]) -> dict[str, Any]:
    """Scores put on one scale, shaped as `modelling.contracts.scores.ScoreAnswer`; bids and people by their keys."""
    rows = tuple(Scored(bid=str(bid), assessor=str(person), score=score) for bid, person, score in scored)
    return calibrated(ScoreQuestion(scores=rows))


def _scored(bids: list[Bid]) -> list[tuple[int, int, float]]:
    """(bid, assessor, score) of sent reviews, but of nobody who turned out to be near to the group."""
    reviews = Review.objects.filter(~by_the_near(), bid__in=bids, sent_at__isnull=False)
    reviews = reviews.prefetch_related("scores__criterion")
    return [(review.bid_id, review.assessor_id, total_of(review)) for review in reviews.order_by("pk")]


def panel_of(actor: Actor, round_id: UUID) -> Panel:
    """The bids of a round that exist for the actor, with their scores; raises NotAllowed before the panel is open
    to those who still have to score."""
    round = GrantRound.objects.filter(visible_rounds(actor), public_id=round_id).first()
    if round is None:
        raise NotFound(f"There is no round {round_id}, or none that you may see.")
    demand(actor, "review.read", network_id=round.network_id)
    if round.state not in _PANEL and NetworkRole.ASSESSOR in actor.networks.get(round.network_id, ()):
        raise NotAllowed("The scores of all bids are shown to assessors once the panel is open.")
    bids = list(
        Bid.objects.filter(
            bids_to_read(actor), round=round, state__in=(BidState.SUBMITTED, BidState.DECIDED)
        ).select_related("group", "round", "network")
    )
    scored = _scored(bids)
    marked = _on_one_scale(scored)
    by_bid = {int(row["bid"]): row for row in marked["bids"]}
    flags = {pk: len(orjson.loads(row.answer)["flags"]) for pk, row in latest_appraisals(bids).items()}
    held = {row.bid_id: row for row in Decision.objects.filter(bid__in=bids, state="published")}
    given: dict[int, list[float]] = defaultdict(list)
    for bid_id, _, score in scored:
        given[bid_id].append(score)
    by_key = {bid.pk: bid for bid in bids}
    rows = []
    for bid in sorted(bids, key=lambda bid: (bid.number or 0, bid.pk)):
        found, scores = by_bid.get(bid.pk, {}), given[bid.pk]
        below = found.get("first_below")
        rows.append(
            PanelRow(
                bid=bid,
                reviews=len(scores),
                raw_mean=found.get("mean"),
                lowest=min(scores, default=None),
                highest=max(scores, default=None),
                calibrated=found.get("adjusted"),
                standard_error=found.get("standard_error"),
                clearly_above=None if below is None else by_key[int(below)],
                flags=flags.get(bid.pk),
                decision=held.get(bid.pk),
            )
        )
    habits = {int(row["assessor"]): row["leniency"] for row in marked["assessors"]}
    people = User.objects.filter(pk__in=list(habits)).order_by("name", "pk")
    return Panel(rows, [(user, habits[user.pk]) for user in people], _share(marked), marked["sentences"])


def _share(marked: dict[str, Any]) -> float:
    """Share of the spread of scores that comes from who scored."""
    noise, leniency = marked["noise_sd"], marked["leniency_sd"]
    if noise is None or leniency is None or not noise + leniency:
        return 0.0
    return float(leniency**2 / (leniency**2 + noise**2))
