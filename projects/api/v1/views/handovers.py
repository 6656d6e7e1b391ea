"""Handovers: what whoever comes next has to know."""

from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from projects.api.lists import page, page_model, parameters
from projects.api.nouns import IDEMPOTENCY_KEY, NounView, once, tagged
from projects.api.v1.answers import handovers as answers
from projects.api.v1.views.sites import PAGE
from projects.contracts.handovers import HandoverNew
from projects.models import Handover
from projects.selectors import handovers as reads
from projects.selectors import meadows as meadow_reads
from projects.selectors import networks as network_reads
from projects.services import handovers as acts

WRITTEN = "A dated note that is never changed: a later one stands beside it. Roles and offices, no names or numbers."


def answered(request: Request, written: tuple[Handover, bool]) -> Response:
    """Return a handover that was just written, or is there already."""
    row, new = written
    location = reverse("v1-handover", kwargs={"public_id": row.public_id}, request=request)
    return tagged(row, answers.handover_answer(row), status=201 if new else 200, location=location)


class GroupHandoversView(NounView):
    """Handovers of a group."""

    @extend_schema(
        operation_id="groups_handovers", summary="Handovers of a group and its projects", tags=["groups"],
        parameters=parameters({}), responses={200: page_model(answers.HandoverAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, *PAGE)
        rows = reads.handovers_of(self.actor, network_reads.group_get(self.actor, public_id))
        return Response(page(request, rows, said, lambda found: [answers.handover_answer(row) for row in found]))

    @extend_schema(
        operation_id="groups_hand_over", summary="Hand over a group as a whole", tags=["groups"], description=WRITTEN,
        parameters=[IDEMPOTENCY_KEY], request=HandoverNew,
        responses={201: answers.HandoverAnswer, 200: answers.HandoverAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, HandoverNew)
        return answered(
            request, acts.group_hand_over(actor=self.actor, group_id=public_id, asked=asked, now=timezone.now())
        )


class ProjectHandoversView(NounView):
    """Handovers of a project."""

    @extend_schema(
        operation_id="projects_handovers", summary="Handovers of one project", tags=["projects"],
        parameters=parameters({}), responses={200: page_model(answers.HandoverAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, *PAGE)
        rows = reads.handovers_of_project(self.actor, meadow_reads.project_get(self.actor, public_id))
        return Response(page(request, rows, said, lambda found: [answers.handover_answer(row) for row in found]))

    @extend_schema(
        operation_id="projects_hand_over", summary="Hand over one project", tags=["projects"], description=WRITTEN,
        parameters=[IDEMPOTENCY_KEY], request=HandoverNew,
        responses={201: answers.HandoverAnswer, 200: answers.HandoverAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, HandoverNew)
        return answered(
            request, acts.project_hand_over(actor=self.actor, project_id=public_id, asked=asked, now=timezone.now())
        )


class HandoverView(NounView):
    """One handover."""

    @extend_schema(
        operation_id="handovers_read", summary="One handover", tags=["groups"],
        responses={200: answers.HandoverAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.handover_get(self.actor, public_id)
        return tagged(row, answers.handover_answer(row))
