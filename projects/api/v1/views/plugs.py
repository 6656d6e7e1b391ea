"""Plug plants: batches, their history, promises."""

from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from projects.api.lists import page, page_model, parameters
from projects.api.nouns import IDEMPOTENCY_KEY, IF_MATCH_MAYBE, NounView, once, tagged
from projects.api.tags import version_asked
from projects.api.v1.answers import plugs as answers
from projects.api.v1.views.sites import PAGE
from projects.contracts.plugs import PlugBatchNew, PlugNoted, PlugPromiseMove, PlugPromiseNew
from projects.selectors import networks as network_reads
from projects.selectors import plugs as reads
from projects.services import plugs as acts


class NetworkPlugsView(NounView):
    """Batches of a network."""

    @extend_schema(
        operation_id="plugs_list", summary="Plug plants that a network raises", tags=["plugs"],
        parameters=parameters({}), responses={200: page_model(answers.PlugBatchAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, *PAGE)
        rows = reads.batches_of(self.actor, network_reads.network_get(self.actor, public_id))
        return Response(page(request, rows, said, lambda found: [answers.batch_answer(row) for row in found]))

    @extend_schema(
        operation_id="plugs_create", summary="Add a batch", tags=["plugs"],
        parameters=[IDEMPOTENCY_KEY], request=PlugBatchNew, responses={201: answers.PlugBatchAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, PlugBatchNew)
        row = acts.batch_create(actor=self.actor, network_id=public_id, asked=asked, now=timezone.now())
        location = reverse("v1-plug-batch", kwargs={"public_id": row.public_id}, request=request)
        return tagged(row, answers.batch_answer(row), status=201, location=location)


class PlugBatchView(NounView):
    """One batch."""

    @extend_schema(
        operation_id="plugs_read", summary="One batch of plugs", tags=["plugs"],
        responses={200: answers.PlugBatchAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.batch_get(self.actor, public_id)
        return tagged(row, answers.batch_answer(row))


class PlugEventsView(NounView):
    """The history of a batch."""

    @extend_schema(
        operation_id="plug_events_list", summary="What happened to a batch, in order", tags=["plugs"],
        responses={200: answers.PlugEvents},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        rows = reads.events_of(self.actor, reads.batch_get(self.actor, public_id))
        return Response(answers.events_answer(list(rows)))

    @extend_schema(
        operation_id="plug_events_add", summary="Note plants potted on or lost", tags=["plugs"],
        description="Where too few are left for what was promised, the latest promises are shortened.",
        parameters=[IDEMPOTENCY_KEY], request=PlugNoted, responses={201: answers.PlugBatchAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, PlugNoted)
        acts.batch_note(actor=self.actor, batch_id=public_id, asked=asked, now=timezone.now())
        row = reads.batch_get(self.actor, public_id)
        return tagged(row, answers.batch_answer(row), status=201)


class PlugPromisesView(NounView):
    """Promises of a batch."""

    @extend_schema(
        operation_id="plug_promises_list", summary="Promises of a batch", tags=["plugs"],
        description="All for coordinators, those to one's own groups for members.",
        parameters=parameters({}), responses={200: page_model(answers.PlugPromiseAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, *PAGE)
        rows = reads.promises_of(self.actor, reads.batch_get(self.actor, public_id))
        return Response(page(request, rows, said, lambda found: [answers.promise_answer(row) for row in found]))

    @extend_schema(
        operation_id="plugs_promise", summary="Promise plants to a project", tags=["plugs"],
        parameters=[IDEMPOTENCY_KEY], request=PlugPromiseNew, responses={201: answers.PlugPromiseAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, PlugPromiseNew)
        row = acts.plugs_promise(actor=self.actor, batch_id=public_id, asked=asked, now=timezone.now())
        return tagged(row, answers.promise_answer(reads.promise_get(self.actor, row.public_id)), status=201)


class PlugPromiseMovesView(NounView):
    """What becomes of a promise."""

    @extend_schema(
        operation_id="plug_promises_move", summary="Hand promised plants over, or take the promise back",
        tags=["plugs"], parameters=[IDEMPOTENCY_KEY, IF_MATCH_MAYBE], request=PlugPromiseMove,
        responses={200: answers.PlugPromiseAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.promise_get(self.actor, public_id), needed=False)
        asked = self.read(request, PlugPromiseMove)
        acts.promise_move(actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=timezone.now())
        row = reads.promise_get(self.actor, public_id)
        return tagged(row, answers.promise_answer(row))
