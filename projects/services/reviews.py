"""Reviews and notes by those who read bids; sent, they stay."""

from __future__ import annotations

from datetime import datetime
from typing import Final
from uuid import UUID

from django.db import transaction

from projects.choices import BidState, RoundState
from projects.contracts.bids import NoteNew, ReviewWritten
from projects.errors import NotAllowed, WrongState, broken
from projects.models import Bid, BidNote, Review, ReviewScore, RoundAssessor
from projects.rules.access import Actor, bids_to_read, demand
from projects.services.audit import record
from projects.services.base import found, person, save_changed, save_new

MOST_NOTES: Final = 500


def review_write(*, actor: Actor, bid_id: UUID, asked: ReviewWritten, now: datetime) -> Review:
    """Write one's review of a bid, and send it if so asked; the audit holds no score."""
    with transaction.atomic():
        bid = found(Bid, bids_to_read(actor), bid_id, "bid", hold=True, with_=("round",))
        demand(actor, "review.write", network_id=bid.network_id)
        appointed = RoundAssessor.objects.filter(round=bid.round_id, user=actor.user_id, until__isnull=True)
        if not appointed.exists():
            raise NotAllowed("Only the assessors appointed to this round score its bids.")
        if bid.state != BidState.SUBMITTED or bid.round.state == RoundState.SETTLED:
            raise WrongState("This bid is not to be scored now.")
        review = Review.objects.filter(bid=bid, assessor=actor.user_id).first()
        if review is not None and review.sent_at is not None:
            raise WrongState("Your review is sent; it stays as it is. Say what you think now in a note.")
        if review is None:
            review = save_new(Review(bid=bid, assessor_id=person(actor), created_at=now, updated_at=now))
        review.comment = asked.comment
        _set_scores(review, bid, asked)
        review.sent_at = now if asked.send else None
        save_changed(review, now)
        record(
            actor, now, "review_send" if asked.send else "review_write", "bid", bid.public_id, network=bid.network_id,
            after={"scores": len(asked.scores)},
        )  # fmt: skip
    return review


def _set_scores(review: Review, bid: Bid, asked: ReviewWritten) -> None:
    criteria = {criterion.position: criterion for criterion in bid.round.criteria.all()}
    review.scores.all().delete()
    seen: set[int] = set()
    for index, score in enumerate(asked.scores):
        criterion = criteria.get(score.criterion)
        if criterion is None:
            raise broken(
                f"/scores/{index}/criterion", "unknown", f"The round has {len(criteria)} criteria.", score.criterion,
                f"1 to {len(criteria)}",
            )  # fmt: skip
        if score.criterion in seen:
            raise broken(
                f"/scores/{index}/criterion", "twice", f"{criterion} is scored twice.", score.criterion, "once"
            )
        if score.score > criterion.most:
            raise broken(
                f"/scores/{index}/score", "out_of_range", f"{criterion}: the best score is {criterion.most}.",
                score.score, f"0 to {criterion.most}",
            )  # fmt: skip
        seen.add(score.criterion)
        ReviewScore(review=review, criterion=criterion, score=score.score, comment=score.comment).save()
    missing = [str(criterion) for position, criterion in criteria.items() if position not in seen]
    if asked.send and missing:
        raise broken("/scores", "missing", f"Not scored yet: {', '.join(missing)}.", None, "a score on each criterion")


def note_add(*, actor: Actor, bid_id: UUID, asked: NoteNew, now: datetime) -> BidNote:
    """Say something about a bid to the others who read it."""
    with transaction.atomic():
        bid = found(Bid, bids_to_read(actor), bid_id, "bid", hold=True)
        demand(actor, "note.write", network_id=bid.network_id)
        if bid.notes.count() >= MOST_NOTES:
            raise broken("", "too_many", f"A bid can have {MOST_NOTES} notes.", None, f"at most {MOST_NOTES}")
        note = BidNote(bid=bid, author_id=person(actor), text=asked.text, created_at=now)
        note.full_clean(validate_unique=False, validate_constraints=False)
        note.save()
        record(actor, now, "note_add", "bid", bid.public_id, network=bid.network_id, after={"note": note.pk})
    return note
