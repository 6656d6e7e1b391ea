"""Reads of reviews: one's own, and the others' once one's own is sent or the panel is open."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from uuid import UUID

import orjson
from django.db.models import Q, QuerySet

from modelling import marking
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
    #: likewise, without the habits of those who scored it; beside the raw mean, never in its place
    calibrated: float | None
    #: how many flags its appraisal has; None where there is none
    flags: int | None
    decision: Decision | None


@dataclass(frozen=True)
class Panel:
    """A round as its panel sees it."""

    rows: list[PanelRow]
    #: how far each marks above (+) or below (-) the others, of 100
    assessors: list[tuple[User, float]]
    assessor_share: float


def total_of(review: Review) -> float:
    """A review's score, of 100: each criterion's share of its best, by weight."""
    parts = [(row.criterion.weight, row.score / row.criterion.most) for row in review.scores.all()]
    weight = sum(part for part, _ in parts)
    return PERCENT * sum(part * share for part, share in parts) / weight if weight else 0.0


def raw_means(bids: list[Bid]) -> dict[int, float]:
    """Mean score of each bid that was scored, of 100: bid -> mean, as it was given."""
    return {int(key): row.raw_mean for key, row in marking.calibrate(_scored(bids)).bids.items()}  # type: ignore[call-overload]


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
    marked = marking.calibrate(scored)
    flags = {pk: len(orjson.loads(row.answer)["flags"]) for pk, row in latest_appraisals(bids).items()}
    held = {row.bid_id: row for row in Decision.objects.filter(bid__in=bids, state="published")}
    counts: dict[int, int] = defaultdict(int)
    for bid_id, _, _ in scored:
        counts[bid_id] += 1
    rows = []
    for bid in sorted(bids, key=lambda bid: (bid.number or 0, bid.pk)):
        found = marked.bids.get(bid.pk)
        rows.append(
            PanelRow(
                bid, counts[bid.pk], found.raw_mean if found else None, found.calibrated if found else None,
                flags.get(bid.pk), held.get(bid.pk),
            )
        )  # fmt: skip
    people = User.objects.filter(pk__in=list(marked.assessors)).order_by("name", "pk")
    return Panel(rows, [(user, marked.assessors[user.pk]) for user in people], marked.assessor_share)
