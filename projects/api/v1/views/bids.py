"""Bids: written, handed in, read, reviewed."""

from uuid import UUID

from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from modelling.contracts.appraisal_answers import AppraisalAnswer
from projects import choices
from projects.api.lists import Filter, narrowed, page, page_model, parameters
from projects.api.nouns import IDEMPOTENCY_KEY, IF_MATCH, IF_MATCH_MAYBE, NounView, once, tagged
from projects.api.tags import version_asked
from projects.api.v1.answers import bids as answers
from projects.api.v1.views.sites import PAGE
from projects.contracts.bids import BidChange, BidMove, BidNew, NoteNew, ProofSeen, ReviewWritten
from projects.selectors import appraisals as appraisal_reads
from projects.selectors import bids as reads
from projects.selectors import reviews as review_reads
from projects.services import bids as acts
from projects.services import reviews

FILTERS = {
    "network": Filter("network__public_id", "id", about="Id of a network."),
    "round": Filter("round__public_id", "id", about="Id of a round."),
    "group": Filter("group__public_id", "id", about="Id of a group."),
    "project": Filter("projects__project__public_id", "id", about="Id of a project that it is for."),
    "state": Filter("state", words=tuple(choices.BidState.values), about="How far it has come."),
}


class BidsView(NounView):
    """Bids that the caller may see."""

    @extend_schema(
        operation_id="bids_list", summary="Bids of the caller's groups, and those they are to read", tags=["bids"],
        parameters=parameters(FILTERS), responses={200: page_model(answers.BidAnswer)},
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        said = self.read_query(request, *FILTERS, *PAGE)
        rows = narrowed(reads.bid_list(self.actor), said, FILTERS)
        return Response(page(request, rows, said, lambda found: [answers.bid_answer(row) for row in found]))

    @extend_schema(
        operation_id="bids_create", summary="Begin a bid", tags=["bids"],
        description="A draft is seen by its group and the network's coordinators only. Of papers the name, size and "
        "checksum are kept; the files are sent aside.",
        parameters=[IDEMPOTENCY_KEY], request=BidNew, responses={201: answers.BidDetailAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request) -> Response:
        self.must_be_signed_in()
        made = acts.bid_create(actor=self.actor, asked=self.read(request, BidNew), now=timezone.now())
        row = reads.bid_get(self.actor, made.public_id)
        location = reverse("v1-bid", kwargs={"public_id": row.public_id}, request=request)
        return tagged(row, answers.bid_detail(row), status=201, location=location)


class BidView(NounView):
    """One bid."""

    @extend_schema(
        operation_id="bids_read", summary="All that a bid says", tags=["bids"], responses={200: answers.BidDetailAnswer}
    )
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.bid_get(self.actor, public_id)
        return tagged(row, answers.bid_detail(row))

    @extend_schema(
        operation_id="bids_change", summary="Change a bid that is being written", tags=["bids"],
        description="Lists are taken whole.",
        parameters=[IF_MATCH], request=BidChange, responses={200: answers.BidDetailAnswer},
    )  # fmt: skip
    def patch(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.bid_row(self.actor, public_id))
        asked = self.read(request, BidChange)
        acts.bid_change(actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=timezone.now())
        row = reads.bid_get(self.actor, public_id)
        return tagged(row, answers.bid_detail(row))


class ChecklistView(NounView):
    """What an assessor would ask."""

    @extend_schema(
        operation_id="bids_checklist", summary="What is missing in a bid, or will be asked", tags=["bids"],
        responses={200: answers.Checklist},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.bid_get(self.actor, public_id)
        return Response(answers.checklist_answer(reads.checks_of(row, timezone.localdate())))


class BidMovesView(NounView):
    """The life of a bid."""

    computes = True

    @extend_schema(
        operation_id="bids_move", summary="Hand a bid in, note it as checked, take it up again, withdraw it",
        description="Handed in, its forecasts and its text are kept for good; the receipt is in the answer. A bid that "
        "comes late is refused with both times, and its draft is kept.", tags=["bids"],
        parameters=[IDEMPOTENCY_KEY, IF_MATCH_MAYBE], request=BidMove, responses={200: answers.BidDetailAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        now = timezone.now()
        version = version_asked(request, reads.bid_row(self.actor, public_id), needed=False)
        to = self.read(request, BidMove).to
        if to == "submitted":
            acts.bid_submit(actor=self.actor, public_id=public_id, if_version=version, now=now)
        else:
            acts.bid_move(actor=self.actor, public_id=public_id, to=to, if_version=version, now=now)
        row = reads.bid_get(self.actor, public_id)
        return tagged(row, answers.bid_detail(row))


class SubmissionsView(NounView):
    """A bid as it was handed in."""

    @extend_schema(
        operation_id="bids_submissions", summary="A bid as it was handed in, each time", tags=["bids"],
        parameters=parameters({}), responses={200: page_model(answers.SubmissionAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, *PAGE)
        rows = reads.submissions_of(self.actor, reads.bid_row(self.actor, public_id))
        return Response(page(request, rows, said, lambda found: [answers.submission_answer(row) for row in found]))


class ProofsView(NounView):
    """What a group has shown."""

    @extend_schema(
        operation_id="bids_proof", summary="Note the day on which something a group has was seen", tags=["bids"],
        parameters=[IDEMPOTENCY_KEY], request=ProofSeen, responses={200: answers.BidDetailAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        acts.proof_seen(actor=self.actor, public_id=public_id, asked=self.read(request, ProofSeen), now=timezone.now())
        row = reads.bid_get(self.actor, public_id)
        return tagged(row, answers.bid_detail(row))


class AppraisalView(NounView):
    """What the model says of a bid."""

    @extend_schema(
        operation_id="bids_appraisal", summary="The bid on one scale: cost, outcome, promises, flags", tags=["bids"],
        description="As it was stored, letter for letter. It is no verdict.", responses={200: AppraisalAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> HttpResponse:
        self.read_query(request)
        text = appraisal_reads.appraisal_text(reads.appraisal_get(self.actor, public_id))
        return HttpResponse(text, content_type="application/json")


class ReviewView(NounView):
    """One's own review."""

    @extend_schema(
        operation_id="review_read", summary="The caller's own review of a bid", tags=["bids"],
        responses={200: answers.ReviewAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = review_reads.own_review(self.actor, public_id)
        return tagged(row, answers.review_answer(row))

    @extend_schema(
        operation_id="review_write", summary="Write one's own review of a bid, and send it", tags=["bids"],
        description="It is taken whole. Sent, it stays, and the others' can be read.",
        parameters=[IDEMPOTENCY_KEY], request=ReviewWritten, responses={200: answers.ReviewAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, ReviewWritten)
        reviews.review_write(actor=self.actor, bid_id=public_id, asked=asked, now=timezone.now())
        row = review_reads.own_review(self.actor, public_id)
        return tagged(row, answers.review_answer(row))


class ReviewsView(NounView):
    """What assessors make of a bid."""

    @extend_schema(
        operation_id="reviews_list", summary="Reviews of a bid that the caller may see by now", tags=["bids"],
        description="An assessor sees the others' once their own is sent or the panel is open.",
        responses={200: answers.Reviews},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        rows = review_reads.reviews_of(self.actor, public_id)
        return Response({"results": [answers.review_answer(row) for row in rows]})


class NotesView(NounView):
    """What is said about a bid."""

    @extend_schema(
        operation_id="notes_list", summary="Notes about a bid, for those who read it", tags=["bids"],
        responses={200: answers.Notes},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        rows = review_reads.notes_of(self.actor, public_id)
        return Response({"results": [answers.note_answer(row) for row in rows]})

    @extend_schema(
        operation_id="notes_add", summary="Say something about a bid to the others who read it", tags=["bids"],
        parameters=[IDEMPOTENCY_KEY], request=NoteNew, responses={201: answers.NoteAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, NoteNew)
        row = reviews.note_add(actor=self.actor, bid_id=public_id, asked=asked, now=timezone.now())
        return Response(answers.note_answer(row), status=201)


class HistoryView(NounView):
    """What was done about a bid."""

    @extend_schema(
        operation_id="bids_history", summary="What was done about a bid, and by whom", tags=["bids"],
        description="Its group sees what concerns it.",
        parameters=parameters({}), responses={200: page_model(answers.EventAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, *PAGE)
        rows = reads.history_of(self.actor, public_id)
        return Response(
            page(request, rows, said, lambda found: [answers.event_answer(row) for row in found], key=("at", "pk"))
        )
