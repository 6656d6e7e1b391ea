"""One bid for those who read it: beside the model, scored, talked about."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils.functional import cached_property

from projects.choices import BidState
from projects.dashboard.doors import Door, FormDoor
from projects.dashboard.forms.base import ServiceForm
from projects.dashboard.forms.bids import ConfirmForm
from projects.dashboard.forms.fund_bids import NoteForm, ScoreForm, SeenForm
from projects.dashboard.pages.fund_bids import BidPage
from projects.errors import NotAllowed, NotFound
from projects.models import Bid, Review
from projects.rules.access import demand, may
from projects.selectors import fund
from projects.selectors.appraisals import latest_appraisals
from projects.selectors.decisions import award_list, decisions_of
from projects.selectors.flags import answers_beside, put_of
from projects.selectors.reviews import notes_of, own_review, reviews_of, sees_others, total_of
from projects.selectors.rounds import is_assessor
from projects.services import bids as bid_acts
from projects.services import flags as flag_acts
from projects.services import reviews as acts


class OfBid(Door):
    """A page of one bid; for its own group and whoever is near to it there is none."""

    @cached_property
    def bid(self) -> Bid:
        return fund.bid_whole(self.actor, self.kwargs["bid_id"])

    @property
    def address(self) -> str:
        return f"/fund/bids/{self.bid.public_id}/"

    def may(self, act: str) -> bool:
        """Whether the actor may do an act about this bid, as one who reads it."""
        return may(self.actor, act, network_id=self.bid.network_id)

    def demand(self, act: str) -> None:
        """Raise NotAllowed unless the actor may do an act about this bid, as one who reads it."""
        demand(self.actor, act, network_id=self.bid.network_id)

    @cached_property
    def assessing(self) -> bool:
        return is_assessor(self.actor, self.bid.round) and self.may("review.write")


class BidReadView(OfBid):
    """A bid on one scale: cost, outcome, promises, flags, what the group did before, and what others make of it."""

    template_name = "fund/bid.html"

    def get(self, request: HttpRequest, bid_id: UUID) -> HttpResponse:
        bid, actor = self.bid, self.actor
        appraisal = fund.read_appraisal(latest_appraisals([bid]).get(bid.pk))
        place = fund.places_in_size_class(actor, bid.round).get(bid.pk) if appraisal is not None else None
        put = put_of(bid)
        said = answers_beside(put, appraisal["flags"]) if appraisal is not None else []
        page = BidPage(bid, appraisal, place, fund.forecasts_of_bid(actor, bid), fund.handed_in_with(bid), said)
        reviews = [row for row in reviews_of(actor, bid.public_id) if row.sent_at is not None]
        award = award_list(actor).filter(bid=bid).first() if self.may("award.read") else None
        context = {
            "bid": bid,
            "page": page,
            "assessing": self.assessing,
            "own": Review.objects.filter(bid=bid, assessor=actor.user_id).first(),
            "sees_others": sees_others(actor, bid),
            "reviews": [(row, total_of(row)) for row in reviews],
            "notes": notes_of(actor, bid.public_id),
            "decisions": decisions_of(actor, bid.public_id),
            "award": award,
            "manages": self.may("decision.write"),
            "may_note": self.may("note.write"),
            "may_see": self.may("bid.note_seen"),
            "put": put,
            "may_put": self.may("flag.put") and bid.state == BidState.SUBMITTED and bid.round.closes_at <= self.now,
        }
        return self.show(request, context)


class ScoreView(OfBid, FormDoor):
    """One's own scores: kept as a draft as often as one likes, sent once."""

    template_name = "fund/score.html"

    def load(self) -> None:
        self.demand("review.write")
        if not self.assessing:
            raise NotAllowed("Only the assessors appointed to this round score its bids.")

    @cached_property
    def review(self) -> Review | None:
        try:
            return own_review(self.actor, self.bid.public_id)
        except NotFound:
            return None

    def form(self, data: Any = None) -> ServiceForm:
        return ScoreForm(data, criteria=self.bid.round.criteria.all(), review=self.review)

    def context(self) -> dict[str, Any]:
        sent = self.review is not None and self.review.sent_at is not None
        return {"bid": self.bid, "review": self.review, "sent": sent, "done_with": self.request.GET.get("kept")}

    def act(self, form: Any) -> str:
        asked = form.read()
        acts.review_write(actor=self.actor, bid_id=self.bid.public_id, asked=asked, now=self.now)
        return f"{self.address}#others" if asked.send else f"{self.address}score/?kept=1"


class NoteView(OfBid, FormDoor):
    """Say something to the others who read a bid."""

    template_name = "fund/note.html"
    done = "It is said."

    def load(self) -> None:
        self.demand("note.write")

    def form(self, data: Any = None) -> ServiceForm:
        return NoteForm(data)

    def context(self) -> dict[str, Any]:
        return {"bid": self.bid, "notes": notes_of(self.actor, self.bid.public_id)}

    def act(self, form: Any) -> str:
        acts.note_add(actor=self.actor, bid_id=self.bid.public_id, asked=form.read(), now=self.now)
        return f"{self.address}#notes"


class SeenView(OfBid, FormDoor):
    """Note that a paper was seen."""

    template_name = "fund/seen.html"
    done = "Noted."

    def load(self) -> None:
        self.demand("bid.note_seen")

    def form(self, data: Any = None) -> ServiceForm:
        return SeenForm(data, proofs=self.bid.proofs.all())

    def context(self) -> dict[str, Any]:
        return {"bid": self.bid}

    def act(self, form: Any) -> str:
        bid_acts.proof_seen(actor=self.actor, public_id=self.bid.public_id, asked=form.read(), now=self.now)
        return f"{self.address}#papers"


class PutView(OfBid, FormDoor):
    """Put the flags of a bid to its group."""

    template_name = "fund/put.html"
    done = "The group can read and answer them now."

    def load(self) -> None:
        self.demand("flag.put")

    def form(self, data: Any = None) -> ServiceForm:
        return ConfirmForm(data)

    def context(self) -> dict[str, Any]:
        return {"bid": self.bid}

    def act(self, form: Any) -> str:
        flag_acts.flags_put(actor=self.actor, bid_id=self.bid.public_id, now=self.now)
        return f"{self.address}#flags"
