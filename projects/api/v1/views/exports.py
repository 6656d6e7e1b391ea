"""Files of records for analysts: made at once or by a job, fetched in pieces; snapshots that stay for good."""

from typing import Any
from uuid import UUID

from django.http import FileResponse, HttpResponse, StreamingHttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from projects import choices
from projects.api.files import handed_out, licence_link
from projects.api.lists import Filter, narrowed, page, page_model, parameters
from projects.api.nouns import IDEMPOTENCY_KEY, NounView, once, tagged
from projects.api.ranges import in_pieces
from projects.api.renderers import FileRenderer, FiniteJSONRenderer
from projects.api.v1.answers import exports as answers
from projects.api.v1.answers.meadows import JobAnswer
from projects.api.v1.views.networks import job_accepted
from projects.api.v1.views.sites import PAGE
from projects.contracts.exports import ExportNew, SnapshotNew
from projects.rules.access import demand
from projects.rules.exports import KEPT, MOST_AT_ONCE
from projects.selectors import exports as reads
from projects.services import exports as acts
from projects.services import snapshots

RANGE = [
    OpenApiParameter("Range", str, OpenApiParameter.HEADER, description="One piece, such as bytes=1000-1999."),
    OpenApiParameter("If-Range", str, OpenApiParameter.HEADER, description="ETag of the file the piece is of."),
]
ANY_FILE = {
    (200, "application/octet-stream"): OpenApiTypes.BINARY,
    (206, "application/octet-stream"): OpenApiTypes.BINARY,
}
NETWORK = {"network": Filter("network__public_id", "id", about="Id of a network.")}
EXPORT_FILTERS = NETWORK | {
    "table": Filter("table", words=tuple(choices.ExportTable.values), about="Which table."),
    "form": Filter("form", words=tuple(choices.ExportForm.values), about="In which form."),
}


def api_address(request: Request) -> str:
    """The address that this version of the API begins with."""
    return reverse("v1-index", request=request)


class ExportsView(NounView):
    """Files that the caller asked for."""

    renderer_classes = [FiniteJSONRenderer, FileRenderer]

    @extend_schema(
        operation_id="exports_list", summary="Files of records that the caller asked for", tags=["exports"],
        parameters=parameters(EXPORT_FILTERS), responses={200: page_model(answers.ExportAnswer)},
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        said = self.read_query(request, *EXPORT_FILTERS, *PAGE)
        rows, address = narrowed(reads.export_list(self.actor), said, EXPORT_FILTERS), api_address(request)
        return Response(page(request, rows, said, lambda found: [answers.export_answer(row, address) for row in found]))

    @extend_schema(
        operation_id="exports_ask", summary="A table of open records: the file itself, or a job that makes it",
        description="Of sites that are shown to everybody and returns that their network agreed to, each place no "
        f"more precise than its owner allows. Up to {MOST_AT_ONCE:,} rows are answered at once with the file (200); "
        "more, or with as_job, by 202 with a job, whose result names the export. The file is then fetched from "
        f"/exports/{{id}}/file/, in pieces if need be, for {KEPT.days} days. GeoJSON is there for sites, projects, "
        "returns and records, a Darwin Core archive for records. /exports/dictionary/ tells what each column holds.",
        tags=["exports"], request=ExportNew,
        responses={(200, "application/octet-stream"): OpenApiTypes.BINARY, 202: JobAnswer},
    )  # fmt: skip
    def post(self, request: Request) -> HttpResponse | FileResponse:
        self.must_be_signed_in()
        demand(self.actor, "export.read", owner_id=self.actor.user_id)
        asked, now = self.read(request, ExportNew), timezone.now()
        network = acts.export_checked(asked)
        if asked.as_job or reads.size_of(asked.table, network, asked.year) > MOST_AT_ONCE:
            waiting = job_accepted(request, acts.export_ask(actor=self.actor, asked=asked, now=now).job)
            # whatever file the caller would have
            waiting.content_type = FiniteJSONRenderer.media_type
            return waiting
        tables = reads.tables_of(asked.table, asked.form)
        told = reads.rows_for(asked.table, reads.keys_for(asked.table, network, asked.year), tables)
        archive = asked.form == choices.ExportForm.DARWIN_CORE
        rows: Any = told if archive else (row for _, row in told)
        writer = reads.writer_for(asked.table, asked.form, network, timezone.localdate(now))
        response = handed_out(writer, rows, asked.table, reads.licences_of(network)[0])
        response.headers["Link"] = ", ".join(licence_link(licence) for licence in reads.licences_of(network))
        return response


class DictionaryView(NounView):
    """What is in the tables."""

    @extend_schema(
        operation_id="exports_dictionary", summary="What each column of each table holds, in which unit",
        tags=["exports"], responses={200: answers.DictionaryAnswer},
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        self.read_query(request)
        return Response(reads.dictionary())


class ExportView(NounView):
    """One file."""

    @extend_schema(
        operation_id="exports_read", summary="How far a file has come", tags=["exports"],
        responses={200: answers.ExportAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.export_get(self.actor, public_id)
        return tagged(row, answers.export_answer(row, api_address(request)))


class ExportFileView(NounView):
    """The file itself."""

    renderer_classes = [FileRenderer]

    @extend_schema(
        operation_id="exports_file", summary="The file itself, or a piece of it", tags=["exports"],
        description="Answers 409 while it is not made, 410 once its time is over or something in it is not shown any "
        "more as it was when it was made.",
        parameters=RANGE, responses=ANY_FILE,
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> StreamingHttpResponse:
        self.read_query(request)
        row, path = reads.export_file(self.actor, public_id, timezone.now())
        name = f"{row.table}.{reads.ending_of(row.form)}"
        response = in_pieces(request, path, row.sha256, reads.media_type_of(row.form), name)
        response.headers["Link"] = ", ".join(licence_link(licence) for licence in reads.licences_of(row.network))
        return response


class SnapshotsView(NounView):
    """Snapshots."""

    @extend_schema(
        operation_id="snapshots_list", summary="Snapshots of the records, for everybody", tags=["snapshots"],
        parameters=parameters(NETWORK), responses={200: page_model(answers.SnapshotAnswer)},
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        said = self.read_query(request, *NETWORK, *PAGE)
        rows, address = narrowed(reads.snapshot_list(self.actor), said, NETWORK), api_address(request)
        return Response(
            page(request, rows, said, lambda found: [answers.snapshot_answer(row, address) for row in found])
        )

    @extend_schema(
        operation_id="snapshots_make", summary="Keep all open tables for good as they are now", tags=["snapshots"],
        description="For coordinators and analysts of the network, and of all networks together for operators: it "
        "stays for good and bears the network's name. Answers with the job that makes it.",
        parameters=[IDEMPOTENCY_KEY], request=SnapshotNew, responses={202: JobAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, SnapshotNew)
        return job_accepted(request, snapshots.snapshot_ask(actor=self.actor, asked=asked, now=timezone.now()).job)


class SnapshotView(NounView):
    """One snapshot, at the address it is cited by."""

    @extend_schema(
        operation_id="snapshots_read", summary="A snapshot, its files and their checksums", tags=["snapshots"],
        description="Files never change. What has been withdrawn from publication since is noted, not taken out: "
        "copies are about under a licence that cannot be called back, and a checksum that was cited must hold. "
        "Places that were private were never in it.",
        responses={200: answers.SnapshotAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.snapshot_get(self.actor, public_id)
        return tagged(row, answers.snapshot_answer(row, api_address(request), whole=True))


class SnapshotFileView(NounView):
    """One file of a snapshot."""

    renderer_classes = [FileRenderer]

    @extend_schema(
        operation_id="snapshots_file", summary="A file of a snapshot, or a piece of it", tags=["snapshots"],
        parameters=RANGE, responses=ANY_FILE,
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID, name: str) -> StreamingHttpResponse:
        self.read_query(request)
        row, path = reads.snapshot_file(self.actor, public_id, name)
        return in_pieces(request, path, row.sha256, row.media_type, row.name)
