"""Lots of seed: what is left of each, its history, counts, tests, promises, and dividing and blending."""

from typing import Any
from uuid import UUID

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from modelling.reading import read_as
from projects import choices
from projects.api.base import query_problem
from projects.api.errors import Problem
from projects.api.lists import Filter, narrowed, page, page_model, parameters
from projects.api.nouns import IDEMPOTENCY_KEY, IF_MATCH, IF_MATCH_MAYBE, NounView, once, tagged
from projects.api.parsers import CsvParser
from projects.api.tags import version_asked
from projects.api.v1.answers import lots as answers
from projects.api.v1.views.sites import PAGE
from projects.contracts.counts import CountNew, GerminationNew, samples_of_csv
from projects.contracts.lots import LotBlend, LotChange, LotMove, LotNew, LotSplit, PromiseMove, PromiseNew
from projects.models import SeedLot
from projects.selectors import contents
from projects.selectors import donors as donor_reads
from projects.selectors import lots as reads
from projects.selectors import networks as network_reads
from projects.services import counts, seed_promises
from projects.services import lots as acts

FILTERS = {
    "network": Filter("network__public_id", "id", about="Id of a network."),
    "state": Filter("state", words=tuple(choices.SeedState.values), about="How dry it is."),
    "origin": Filter("origin", words=tuple(choices.LotOrigin.values), about="How it came to be."),
}
PROMISE_FILTERS = {
    "network": Filter("network__public_id", "id", about="Id of a network."),
    "group": Filter("group__public_id", "id", about="Id of a group."),
    "lot": Filter("lot__public_id", "id", about="Id of a lot."),
}
KEPT = "Weights are grams with three decimals. With the same submission_id again nothing happens."


class OfLots(NounView):
    """An address about lots."""

    def told(self, rows: list[SeedLot]) -> list[dict[str, object]]:
        """Lots as answers."""
        parts = reads.parts_of(rows)
        donors = set(donor_reads.donors_seen(self.actor, rows))
        return [answers.lot_answer(row, parts[row.pk], donors) for row in rows]

    def answered(self, request: Request, row: SeedLot, *, new: bool = False) -> Response:
        """One lot as it is now."""
        row = reads.lot_get(self.actor, row.public_id)
        location = reverse("v1-lot", kwargs={"public_id": row.public_id}, request=request) if new else ""
        return tagged(row, self.told([row])[0], status=201 if new else 200, location=location)


class LotsView(OfLots):
    """Lots of the caller's networks."""

    @extend_schema(
        operation_id="lots_list", summary="Lots of seed of the caller's networks", tags=["seed"],
        parameters=parameters(FILTERS), responses={200: page_model(answers.LotAnswer)},
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        said = self.read_query(request, *FILTERS, *PAGE)
        return Response(page(request, narrowed(reads.lot_list(self.actor), said, FILTERS), said, self.told))

    @extend_schema(
        operation_id="lots_create", summary="Take in seed that was bought or given", tags=["seed"],
        parameters=[IDEMPOTENCY_KEY], request=LotNew, responses={201: answers.LotAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request) -> Response:
        self.must_be_signed_in()
        row = acts.lot_create(actor=self.actor, asked=self.read(request, LotNew), now=timezone.now())
        return self.answered(request, row, new=True)


class LotView(OfLots):
    """One lot."""

    @extend_schema(
        operation_id="lots_read", summary="One lot of seed", tags=["seed"], responses={200: answers.LotAnswer}
    )
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        return self.answered(request, reads.lot_get(self.actor, public_id))

    @extend_schema(
        operation_id="lots_change", summary="Change what is said of a lot", tags=["seed"],
        description="Weights change by what happens to a lot, see its moves.",
        parameters=[IF_MATCH], request=LotChange, responses={200: answers.LotAnswer},
    )  # fmt: skip
    def patch(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.lot_get(self.actor, public_id))
        asked = self.read(request, LotChange)
        row = acts.lot_change(
            actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=timezone.now()
        )
        return self.answered(request, row)


class LotMovesView(OfLots):
    """What happens to a lot."""

    @extend_schema(
        operation_id="lots_move", summary="Dry, clean, use, spill, discard or hold seed of a lot", tags=["seed"],
        description=KEPT, parameters=[IDEMPOTENCY_KEY, IF_MATCH_MAYBE], request=LotMove,
        responses={200: answers.LotAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.lot_get(self.actor, public_id), needed=False)
        asked = self.read(request, LotMove)
        row = acts.lot_move(actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=timezone.now())
        return self.answered(request, row)


class LotSplitView(OfLots):
    """Taking a part off a lot."""

    @extend_schema(
        operation_id="lots_split", summary="Take a part off a lot, as a lot of its own", tags=["seed"],
        description=KEPT, parameters=[IDEMPOTENCY_KEY], request=LotSplit,
        responses={201: answers.LotAnswer, 200: answers.LotAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        reads.lot_get(self.actor, public_id)
        asked = self.read(request, LotSplit)
        row, new = acts.lot_split(actor=self.actor, public_id=public_id, asked=asked, now=timezone.now())
        return self.answered(request, row, new=new)


class LotBlendsView(OfLots):
    """Mixing lots."""

    @extend_schema(
        operation_id="networks_blend_lots", summary="Mix parts of dry lots into a new one", tags=["seed"],
        description=f"It weighs what its parts weigh and holds what they hold. {KEPT}",
        parameters=[IDEMPOTENCY_KEY], request=LotBlend,
        responses={201: answers.LotAnswer, 200: answers.LotAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        network = network_reads.network_get(self.actor, public_id)
        asked = self.read(request, LotBlend)
        row, new = acts.lot_blend(actor=self.actor, network_id=network.public_id, asked=asked, now=timezone.now())
        return self.answered(request, row, new=new)


class LotHistoryView(NounView):
    """The history of a lot."""

    @extend_schema(
        operation_id="lots_history", summary="Everything that happened to a lot", tags=["seed"],
        responses={200: answers.History},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        rows = list(reads.entries_of(reads.lot_get(self.actor, public_id)))
        return Response(answers.history_answer(rows, reads.groups_told(self.actor, rows)))


class LotContentsView(NounView):
    """What is in a lot."""

    @extend_schema(
        operation_id="lots_contents", summary="What is in a lot, as far as is known today", tags=["seed"],
        responses={200: answers.ContentsAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.lot_get(self.actor, public_id)
        return Response(answers.contents_answer(contents.contents_now(row, timezone.localdate())))


ADDS = OpenApiParameter("adds_to_last", {"type": "string", "enum": ["yes", "no"]}, description="For CSV; see JSON.")


class LotCountsView(NounView):
    """Counts of a lot."""

    parser_classes = [*NounView.parser_classes, CsvParser]
    computes = True

    @extend_schema(
        operation_id="lots_counts", summary="Counts of a lot, the latest first", tags=["seed"],
        responses={200: answers.Counts},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.lot_get(self.actor, public_id)
        rows = contents.counts_of(self.actor, public_id)
        return Response({"results": [answers.count_answer(count, row.treatments) for count in rows]})

    @extend_schema(
        operation_id="lots_count", summary="Keep a count of sub-samples, and what it says of the lot", tags=["seed"],
        description="Every kind that is counted in one sub-sample is counted in all: 0 for none. As CSV: a column "
        "grams, one for each kind headed by its key, and a row for each sub-sample. Weeds of concern put the lot on "
        "hold.",
        parameters=[IDEMPOTENCY_KEY, ADDS], request={"application/json": CountNew, "text/csv": OpenApiTypes.STR},
        responses={201: answers.CountAnswer, 200: answers.CountAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        reads.lot_get(self.actor, public_id)
        said = self.read_query(request, "adds_to_last")
        asked = self.asked(request, said.get("adds_to_last", "no"))
        row, new = counts.count_add(actor=self.actor, lot_id=public_id, asked=asked, now=timezone.now())
        return Response(answers.count_answer(row, row.treatments), status=201 if new else 200)

    def asked(self, request: Request, adds: str) -> CountNew:
        """The count, from JSON or from a table."""
        if adds not in {"yes", "no"}:
            detail = f"adds_to_last is {adds[:20]!r}; it is yes or no."
            raise query_problem("adds_to_last", "unknown_word", detail, adds[:20], "yes or no")
        sent: Any = request.data
        if not isinstance(sent, bytes):
            return self.read(request, CountNew)
        try:
            text = sent.decode("utf-8-sig")
        except UnicodeDecodeError:
            raise Problem("bad_request", "The table is not UTF-8 text.") from None
        return read_as(CountNew, {"samples": samples_of_csv(text), "adds_to_last": adds == "yes"})


class GerminationTestsView(NounView):
    """Germination tests of a lot."""

    @extend_schema(
        operation_id="lots_germination_tests", summary="Germination tests of a lot, the latest first", tags=["seed"],
        responses={200: answers.GerminationTests},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        rows = reads.lot_get(self.actor, public_id).germination_tests.order_by("-on", "-pk")
        return Response({"results": [answers.germination_answer(row) for row in rows]})

    @extend_schema(
        operation_id="lots_germinate", summary="Keep a germination test", tags=["seed"],
        parameters=[IDEMPOTENCY_KEY], request=GerminationNew,
        responses={201: answers.GerminationAnswer, 200: answers.GerminationAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        reads.lot_get(self.actor, public_id)
        asked = self.read(request, GerminationNew)
        row, new = counts.germination_add(actor=self.actor, lot_id=public_id, asked=asked, now=timezone.now())
        return Response(answers.germination_answer(row), status=201 if new else 200)


class LotPromisesView(NounView):
    """Promises of a lot."""

    @extend_schema(
        operation_id="lots_promise", summary="Promise seed of a lot to a group, or hand it over", tags=["seed"],
        description=f"Only of dry seed that is not on hold, and never more than is free. {KEPT}",
        parameters=[IDEMPOTENCY_KEY], request=PromiseNew,
        responses={201: answers.PromiseAnswer, 200: answers.PromiseAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        reads.lot_get(self.actor, public_id)
        asked = self.read(request, PromiseNew)
        row, new = seed_promises.promise_make(actor=self.actor, lot_id=public_id, asked=asked, now=timezone.now())
        row = reads.promise_get(self.actor, row.public_id)
        location = reverse("v1-promise", kwargs={"public_id": row.public_id}, request=request)
        return tagged(row, answers.promise_answer(row), status=201 if new else 200, location=location if new else "")


class PromisesView(NounView):
    """Promises of seed."""

    @extend_schema(
        operation_id="promises_list", summary="Promises to the caller's groups, or of their network", tags=["seed"],
        parameters=parameters(PROMISE_FILTERS), responses={200: page_model(answers.PromiseAnswer)},
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        said = self.read_query(request, *PROMISE_FILTERS, *PAGE)
        rows = narrowed(reads.promise_list(self.actor), said, PROMISE_FILTERS)
        return Response(page(request, rows, said, lambda found: [answers.promise_answer(row) for row in found]))


class PromiseView(NounView):
    """One promise."""

    @extend_schema(
        operation_id="promises_read", summary="One promise of seed", tags=["seed"],
        responses={200: answers.PromiseAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.promise_get(self.actor, public_id)
        return tagged(row, answers.promise_answer(row))


class PromiseMovesView(NounView):
    """What becomes of a promise."""

    @extend_schema(
        operation_id="promises_move", summary="Hand over, take back, bring back, or tell that it was sown",
        tags=["seed"], description=KEPT, parameters=[IDEMPOTENCY_KEY, IF_MATCH_MAYBE], request=PromiseMove,
        responses={200: answers.PromiseAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.promise_get(self.actor, public_id), needed=False)
        asked = self.read(request, PromiseMove)
        seed_promises.promise_move(
            actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=timezone.now()
        )
        row = reads.promise_get(self.actor, public_id)
        return tagged(row, answers.promise_answer(row))
