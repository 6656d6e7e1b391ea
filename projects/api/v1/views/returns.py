"""Yearly returns: sent, read, settled, asked about, agreed, judged."""

from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from modelling.contracts.outcome_answers import SurveyAnswer
from projects import choices
from projects.api.lists import Filter, narrowed, page, page_model, parameters
from projects.api.nouns import IDEMPOTENCY_KEY, IF_MATCH_MAYBE, NounView, once, tagged
from projects.api.tags import version_asked
from projects.api.v1.answers import returns as answers
from projects.api.v1.views.sites import PAGE
from projects.contracts.returns import NameSettled, ReturnMove, ReturnNew, ReturnQuestionAnswer
from projects.errors import NotFound
from projects.selectors import meadows as meadow_reads
from projects.selectors import returns as reads
from projects.services import returns as acts

FILTERS = {
    "network": Filter("network__public_id", "id", about="Id of a network."),
    "group": Filter("group__public_id", "id", about="Id of a group."),
    "project": Filter("project__public_id", "id", about="Id of a project."),
    "year": Filter("year", "year", about="Year of the return."),
    "state": Filter("state", words=tuple(choices.ReturnState.values), about="How far it has come."),
}


class ReturnsView(NounView):
    """Returns that the caller may see."""

    @extend_schema(
        operation_id="returns_list", summary="Yearly returns of the caller's groups and networks", tags=["returns"],
        parameters=parameters(FILTERS), responses={200: page_model(answers.ReturnAnswer)},
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        said = self.read_query(request, *FILTERS, *PAGE)
        rows = narrowed(reads.return_list(self.actor), said, FILTERS)
        return Response(page(request, rows, said, lambda found: [answers.return_answer(row) for row in found]))


class ProjectReturnsView(NounView):
    """Returns of one project."""

    @extend_schema(
        operation_id="returns_send", summary="Send a year's return, or a new version of it", tags=["returns"],
        description="With a submission_id the same return sent again is answered with 200 and changes nothing.",
        parameters=[IDEMPOTENCY_KEY], request=ReturnNew,
        responses={201: answers.ReturnDetailAnswer, 200: answers.ReturnDetailAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        meadow_reads.project_get(self.actor, public_id)
        asked = self.read(request, ReturnNew)
        made, new = acts.return_send(
            actor=self.actor, project_id=public_id, asked=asked, now=timezone.now(), came_by=choices.CameBy.API
        )
        row = reads.return_get(self.actor, made.public_id)
        location = reverse("v1-return", kwargs={"public_id": row.public_id}, request=request)
        return tagged(row, answers.return_detail(row), status=201 if new else 200, location=location)


class ReturnView(NounView):
    """One return."""

    @extend_schema(
        operation_id="returns_read", summary="One return, with questions and names to settle", tags=["returns"],
        responses={200: answers.ReturnDetailAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.return_get(self.actor, public_id)
        return tagged(row, answers.return_detail(row))


class ReturnVersionsView(NounView):
    """Versions of a return."""

    @extend_schema(
        operation_id="returns_versions", summary="Every version of a return, as it was sent", tags=["returns"],
        parameters=parameters({}), responses={200: page_model(answers.ReturnVersionAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, *PAGE)
        rows = reads.return_get(self.actor, public_id).versions.all()
        return Response(page(request, rows, said, lambda found: [answers.version_answer(row) for row in found]))


class ReturnResultView(NounView):
    """What a return comes to."""

    @extend_schema(
        operation_id="returns_result", summary="What the latest version of a return comes to", tags=["returns"],
        description="By this release's rules and the names as settled now. Kept when a return is sent, settled or "
        "agreed, so that it can be cited; worked out anew where the rules or the year before have changed since.",
        responses={200: SurveyAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> HttpResponse:
        self.read_query(request)
        row = reads.return_get(self.actor, public_id)
        result = reads.result_of(row.current) if row.current is not None else None
        if result is None:
            raise NotFound("This return holds no plants to judge.")
        return HttpResponse(result.text, content_type="application/json")


class ReturnNamesView(NounView):
    """Settling names."""

    @extend_schema(
        operation_id="returns_settle", summary="Say what a written name stands for", tags=["returns"],
        parameters=[IDEMPOTENCY_KEY], request=NameSettled, responses={200: answers.ReturnDetailAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        reads.return_get(self.actor, public_id)
        asked = self.read(request, NameSettled)
        acts.name_settle(actor=self.actor, return_id=public_id, asked=asked, now=timezone.now())
        row = reads.return_get(self.actor, public_id)
        return tagged(row, answers.return_detail(row))


class ReturnMovesView(NounView):
    """Checking a return."""

    @extend_schema(
        operation_id="returns_move", summary="Check, send back or agree a return", tags=["returns"],
        description="Agreed, its version counts until a later one is agreed. Every question must be accepted first.",
        parameters=[IDEMPOTENCY_KEY, IF_MATCH_MAYBE], request=ReturnMove, responses={200: answers.ReturnDetailAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.return_get(self.actor, public_id), needed=False)
        asked = self.read(request, ReturnMove)
        known: dict[str, Any] = {
            "actor": self.actor, "return_id": public_id, "if_version": version, "now": timezone.now()
        }  # fmt: skip
        moves = {"checking": acts.return_check, "agreed": acts.return_agree, "sent_back": acts.return_send_back}
        moves[asked.to](comment=asked.comment, **known)
        row = reads.return_get(self.actor, public_id)
        return tagged(row, answers.return_detail(row))


class QuestionView(NounView):
    """One question."""

    @extend_schema(
        operation_id="questions_answer", summary="Answer a question about a return", tags=["returns"],
        parameters=[IDEMPOTENCY_KEY], request=ReturnQuestionAnswer, responses={200: answers.QuestionAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, ReturnQuestionAnswer)
        row = acts.question_answer(actor=self.actor, public_id=public_id, answer=asked.answer, now=timezone.now())
        return tagged(row, answers.question_answer(row))


class QuestionAcceptView(NounView):
    """Accepting what a question was answered with."""

    @extend_schema(
        operation_id="questions_accept", summary="Accept a question as answered", tags=["returns"],
        parameters=[IDEMPOTENCY_KEY], request=None, responses={200: answers.QuestionAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        row = acts.question_accept(actor=self.actor, public_id=public_id, now=timezone.now())
        return tagged(row, answers.question_answer(row))
