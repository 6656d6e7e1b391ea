"""Grant rounds: what is offered, who reads the bids, where the money is, what the pot could buy."""

from uuid import UUID

from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from modelling.contracts.portfolio import PortfolioAnswer
from projects import choices
from projects.api.lists import Filter, narrowed, page, page_model, parameters
from projects.api.nouns import IDEMPOTENCY_KEY, IF_MATCH, IF_MATCH_MAYBE, NounView, once, tagged
from projects.api.tags import version_asked
from projects.api.v1.answers import rounds as answers
from projects.api.v1.answers.meadows import JobAnswer
from projects.api.v1.views.networks import job_accepted
from projects.api.v1.views.sites import PAGE
from projects.contracts.rounds import Appointment, ChoiceNew, InterestNew, RoundChange, RoundMove, RoundNew
from projects.selectors import appraisals as appraisal_reads
from projects.selectors import reviews as review_reads
from projects.selectors import rounds as reads
from projects.services import appraisals
from projects.services import rounds as acts

FILTERS = {
    "network": Filter("network__public_id", "id", about="Id of a network."),
    "state": Filter("state", words=tuple(choices.RoundState.values), about="How far it has come."),
    "opens_before": Filter("opens_at__lte", "moment", about="Opens at this moment or earlier."),
    "closes_after": Filter("closes_at__gt", "moment", about="Closes after this moment."),
}


class RoundsView(NounView):
    """Rounds that the caller may see."""

    @extend_schema(
        operation_id="rounds_list", summary="Grant rounds", tags=["rounds"],
        parameters=parameters(FILTERS), responses={200: page_model(answers.RoundAnswer)},
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        said = self.read_query(request, *FILTERS, *PAGE)
        rows = narrowed(reads.round_list(self.actor), said, FILTERS)
        now = timezone.now()
        return Response(page(request, rows, said, lambda found: [answers.round_answer(row, now) for row in found]))

    @extend_schema(
        operation_id="rounds_create", summary="Begin to write a round", tags=["rounds"],
        parameters=[IDEMPOTENCY_KEY], request=RoundNew, responses={201: answers.RoundAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request) -> Response:
        self.must_be_signed_in()
        now = timezone.now()
        made = acts.round_create(actor=self.actor, asked=self.read(request, RoundNew), now=now)
        row = reads.round_get(self.actor, made.public_id)
        location = reverse("v1-round", kwargs={"public_id": row.public_id}, request=request)
        return tagged(row, answers.round_answer(row, now), status=201, location=location)


class RoundView(NounView):
    """One round."""

    @extend_schema(
        operation_id="rounds_read", summary="One round", tags=["rounds"], responses={200: answers.RoundAnswer}
    )
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.round_get(self.actor, public_id)
        return tagged(row, answers.round_answer(row, timezone.now()))

    @extend_schema(
        operation_id="rounds_change", summary="Change a round", tags=["rounds"],
        description="Once announced, only what takes nothing from those who are writing bids.",
        parameters=[IF_MATCH], request=RoundChange, responses={200: answers.RoundAnswer},
    )  # fmt: skip
    def patch(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.round_get(self.actor, public_id))
        asked, now = self.read(request, RoundChange), timezone.now()
        acts.round_change(actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=now)
        row = reads.round_get(self.actor, public_id)
        return tagged(row, answers.round_answer(row, now))


class RoundMovesView(NounView):
    """The life of a round."""

    @extend_schema(
        operation_id="rounds_move", summary="Announce a round, open its panel, settle it", tags=["rounds"],
        description="A round opens and closes by its times; nobody has to do anything for that.",
        parameters=[IDEMPOTENCY_KEY, IF_MATCH_MAYBE], request=RoundMove, responses={200: answers.RoundAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.round_get(self.actor, public_id), needed=False)
        asked, now = self.read(request, RoundMove), timezone.now()
        acts.round_move(actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=now)
        row = reads.round_get(self.actor, public_id)
        return tagged(row, answers.round_answer(row, now))


class AssessorsView(NounView):
    """Who reads the bids of a round."""

    @extend_schema(
        operation_id="assessors_list", summary="Assessors of the network, and whether they read this round's bids",
        tags=["rounds"], responses={200: answers.Assessors},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        people = reads.assessors_of(self.actor, reads.round_get(self.actor, public_id))
        return Response(answers.assessors_answer(people))

    @extend_schema(
        operation_id="assessors_appoint", summary="Appoint somebody to read bids, or let them go", tags=["rounds"],
        parameters=[IDEMPOTENCY_KEY], request=Appointment, responses={200: answers.Assessors},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, Appointment)
        row = acts.assessor_appoint(actor=self.actor, round_id=public_id, asked=asked, now=timezone.now())
        return Response(answers.assessors_answer(reads.assessors_of(self.actor, row)))


class InterestsView(NounView):
    """Who is near to whom."""

    @extend_schema(
        operation_id="interests_list", summary="Interests declared in a round: its fund manager's all, else one's own",
        tags=["rounds"], responses={200: answers.Interests},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        rows = reads.interests_of(self.actor, reads.round_get(self.actor, public_id))
        return Response({"results": [answers.interest_answer(row) for row in rows]})

    @extend_schema(
        operation_id="interests_declare", summary="Declare an interest in a group", tags=["rounds"],
        description="From then on its bids in the round do not exist for the caller. It stays.",
        parameters=[IDEMPOTENCY_KEY], request=InterestNew, responses={201: answers.InterestAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, InterestNew)
        row = acts.interest_declare(actor=self.actor, round_id=public_id, asked=asked, now=timezone.now())
        return Response(answers.interest_answer(row), status=201)


class RoundMoneyView(NounView):
    """Where the money is."""

    @extend_schema(
        operation_id="rounds_money", summary="Where the money of a round is", tags=["rounds"],
        description="Not there for whoever is near to one of the bidding groups.",
        responses={200: answers.MoneyAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        return Response(answers.money_answer(reads.round_money(self.actor, public_id)))


class PanelView(NounView):
    """A round as its panel sees it."""

    @extend_schema(
        operation_id="rounds_panel", summary="The bids of a round with their scores", tags=["rounds"],
        description="Bids of groups that the caller is near to are not in it.", responses={200: answers.PanelAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        return Response(answers.panel_answer(review_reads.panel_of(self.actor, public_id)))


class RoundAppraisalsView(NounView):
    """Appraising all bids."""

    @extend_schema(
        operation_id="rounds_appraise", summary="Appraise all bids of a round as they were handed in", tags=["rounds"],
        parameters=[IDEMPOTENCY_KEY], request=None, responses={202: JobAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        return job_accepted(
            request, appraisals.appraisals_ask(actor=self.actor, round_id=public_id, now=timezone.now())
        )


class ChoicesView(NounView):
    """What the pot could buy."""

    @extend_schema(
        operation_id="choices_list", summary="What the pot could buy, as it was worked out", tags=["rounds"],
        description="Empty for whoever is near to one of the bidding groups.",
        parameters=parameters({}), responses={200: page_model(answers.ChoiceAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, *PAGE)
        rows = reads.choices_of(self.actor, reads.round_get(self.actor, public_id))
        return Response(page(request, rows, said, lambda found: [answers.choice_answer(row) for row in found]))

    @extend_schema(
        operation_id="choices_ask", summary="Work out what the pot could buy", tags=["rounds"],
        description="The job's result names the choice. The same question has the same answer, kept for good.",
        parameters=[IDEMPOTENCY_KEY], request=ChoiceNew, responses={202: JobAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, ChoiceNew)
        job = appraisals.choice_ask(actor=self.actor, round_id=public_id, asked=asked, now=timezone.now())
        return job_accepted(request, job)


class ChoiceView(NounView):
    """What the pot could buy, at one moment."""

    @extend_schema(
        operation_id="choices_read", summary="The best set of bids, what each limit costs, why others are not in it",
        description="As it was stored, letter for letter.", tags=["rounds"], responses={200: PortfolioAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> HttpResponse:
        self.read_query(request)
        text = appraisal_reads.choice_text(reads.choice_get(self.actor, public_id))
        return HttpResponse(text, content_type="application/json")
