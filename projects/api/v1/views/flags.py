"""Flags of a bid: put to its group, read and answered."""

from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from projects.api.nouns import IDEMPOTENCY_KEY, NounView, once
from projects.api.v1.answers import flags as answers
from projects.contracts.bids import FlagAnswered
from projects.selectors import flags as reads
from projects.services import flags as acts


class FlagsView(NounView):
    """Flags put to a group, with its answers."""

    @extend_schema(
        operation_id="flags_list", summary="Flags put to a bid’s group, with what it answered", tags=["bids"],
        description="404 until the fund manager has put them. No verdict, no score, nothing of other bids.",
        responses={200: answers.PutFlags},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        return Response(answers.flags_answer(*reads.flags_read(self.actor, public_id)))

    @extend_schema(
        operation_id="flags_answer", summary="Answer one flag, as the group", tags=["bids"],
        description="Answered again, the later answer counts and the earlier one is kept.",
        parameters=[IDEMPOTENCY_KEY], request=FlagAnswered, responses={201: answers.PutFlags},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, FlagAnswered)
        acts.flag_answer(actor=self.actor, bid_id=public_id, asked=asked, now=timezone.now())
        return Response(answers.flags_answer(*reads.flags_read(self.actor, public_id)), status=201)


class FlagsPutView(NounView):
    """Putting flags to a group."""

    @extend_schema(
        operation_id="flags_put", summary="Put the flags of a bid’s latest appraisal to its group", tags=["bids"],
        description="Once the round is closed, until the bid is decided.",
        parameters=[IDEMPOTENCY_KEY], request=None, responses={201: answers.PutFlags},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        acts.flags_put(actor=self.actor, bid_id=public_id, now=timezone.now())
        return Response(answers.flags_answer(*reads.flags_read(self.actor, public_id)), status=201)
