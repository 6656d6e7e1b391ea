"""Green hay: days planned, done or called off."""

from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from projects.api.lists import page, page_model, parameters
from projects.api.nouns import IDEMPOTENCY_KEY, IF_MATCH_MAYBE, NounView, once, tagged
from projects.api.tags import version_asked
from projects.api.v1.answers import green_hay as answers
from projects.api.v1.views.sites import PAGE
from projects.contracts.green_hay import GreenHayEnd, GreenHayNew
from projects.selectors import green_hay as reads
from projects.selectors import networks as network_reads
from projects.services import green_hay as acts


class NetworkGreenHayView(NounView):
    """Days of a network."""

    @extend_schema(
        operation_id="green_hay_list", summary="Days of green hay", tags=["green hay"],
        description="All for coordinators, those of one's own groups for members.",
        parameters=parameters({}), responses={200: page_model(answers.GreenHayAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, *PAGE)
        rows = reads.days_of(self.actor, network_reads.network_get(self.actor, public_id))
        return Response(page(request, rows, said, lambda found: [answers.day_answer(self.actor, row) for row in found]))

    @extend_schema(
        operation_id="green_hay_plan", summary="Plan a day: a strip of a donor and the ground it goes on",
        tags=["green hay"], description="What should be looked at beforehand stands in to_look_at.",
        parameters=[IDEMPOTENCY_KEY], request=GreenHayNew, responses={201: answers.GreenHayAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, GreenHayNew)
        made = acts.day_plan(actor=self.actor, network_id=public_id, asked=asked, now=timezone.now())
        row = reads.day_get(self.actor, made.public_id)
        location = reverse("v1-green-hay", kwargs={"public_id": row.public_id}, request=request)
        return tagged(row, answers.day_answer(self.actor, row), status=201, location=location)


class GreenHayView(NounView):
    """One day."""

    @extend_schema(
        operation_id="green_hay_read", summary="One day of green hay", tags=["green hay"],
        responses={200: answers.GreenHayAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.day_get(self.actor, public_id)
        return tagged(row, answers.day_answer(self.actor, row))


class GreenHayMovesView(NounView):
    """The day is done, or called off."""

    @extend_schema(
        operation_id="green_hay_move", summary="Note that the day is done, or called off", tags=["green hay"],
        parameters=[IDEMPOTENCY_KEY, IF_MATCH_MAYBE], request=GreenHayEnd, responses={200: answers.GreenHayAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.day_get(self.actor, public_id), needed=False)
        asked = self.read(request, GreenHayEnd)
        acts.day_end(actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=timezone.now())
        row = reads.day_get(self.actor, public_id)
        return tagged(row, answers.day_answer(self.actor, row))
