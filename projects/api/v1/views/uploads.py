"""Sheets that come in: templates, reading, answering, accepting; many returns in one call."""

from typing import Any
from uuid import UUID

from django.conf import settings
from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.exceptions import UnsupportedMediaType
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from modelling.reading import read_as
from projects import choices, sheets
from projects.api.base import query_problem
from projects.api.errors import FieldProblem, Problem, as_problem
from projects.api.lists import Filter, narrowed, page, page_model, parameters
from projects.api.nouns import IDEMPOTENCY_KEY, IF_MATCH, IF_MATCH_MAYBE, NounView, once, tagged
from projects.api.parsers import BatchJSONParser, CsvParser, FileParser, WorkbookParser
from projects.api.tags import version_asked
from projects.api.v1.answers import uploads as answers
from projects.api.v1.views.sites import PAGE
from projects.contracts.uploads import ReturnsBatch, UploadAccept, UploadAnswers, UploadAsked
from projects.models import SheetUpload
from projects.selectors import meadows as meadow_reads
from projects.selectors import networks as network_reads
from projects.selectors import uploads as reads
from projects.services import uploads as acts

XLSX = WorkbookParser.media_type
FILTERS = {
    "network": Filter("network__public_id", "id", about="Id of a network."),
    "group": Filter("group__public_id", "id", about="Id of a group."),
    "project": Filter("project__public_id", "id", about="Id of a project."),
    "state": Filter("state", words=tuple(choices.UploadState.values), about="Whether it was accepted."),
}
YEAR = OpenApiParameter(
    "year", {"type": "integer", "minimum": 2000, "maximum": 2100}, description="This year if left out."
)
FILENAME = OpenApiParameter("filename", str, description="What the file is called, where it is sent as the bare body.")
MENDS = OpenApiParameter(
    "mends", {"type": "string", "format": "uuid"}, description="Id of the sheet whose refused rows these are, mended."
)
FILE = {
    "multipart/form-data": {
        "type": "object",
        "properties": {"file": {"type": "string", "format": "binary"}},
        "required": ["file"],
    },
    "text/csv": OpenApiTypes.STR,
    XLSX: OpenApiTypes.BINARY,
}
READ_AS = (
    "Nothing is saved as a return: the answer tells what was understood, row by row. Answer its questions, then "
    "accept it with its `preview`. Up to 10 MB, XLSX or CSV; rows that cannot be read are kept for 30 days."
)


class SheetView(NounView):
    """An address that takes a file."""

    parser_classes = [MultiPartParser, CsvParser, WorkbookParser, FileParser]
    largest_body = settings.LARGEST_FILE + settings.DATA_UPLOAD_MAX_MEMORY_SIZE
    computes = True

    def take(self, request: Request, aim: acts.Aim) -> Response:
        """Read the file and answer with what was understood."""
        said: dict[str, Any] = self.read_query(request, "year", "filename", "mends")
        said["year"] = year_of(said)
        data, name = self.file_of(request)
        said["filename"] = str(said.get("filename") or name)[:80]
        asked = read_as(UploadAsked, said)
        row, reading = acts.upload_create(actor=self.actor, aim=aim, asked=asked, data=data, now=timezone.now())
        location = reverse("v1-upload", kwargs={"public_id": row.public_id}, request=request)
        return tagged(row, answers.upload_detail(reading), status=201, location=location)

    @staticmethod
    def file_of(request: Request) -> tuple[bytes, str]:
        """The bytes of the file and what it is called; raises Problem where none was sent."""
        try:
            sent: Any = request.data
        except UnsupportedMediaType as error:
            said = request.headers.get("Content-Type", "")[:200]
            kinds = f"multipart/form-data, text/csv or {XLSX}"
            raise Problem("unsupported_media_type", f"The body was sent as {said!r}; it should be {kinds}.") from error
        if isinstance(sent, bytes):
            return sent, ""
        files = request.FILES.getlist("file")
        if len(files) != 1:
            text = "Send one file, in the field file." if not files else f"{len(files)} files were sent; send one."
            raise Problem("invalid_request", text, errors=[FieldProblem("/file", "missing", text, expected="a file")])
        return files[0].read(), shown_name(files[0].name or "")


def shown_name(name: str) -> str:
    """A file's name of letters that can be shown."""
    return "".join(letter for letter in name if letter.isprintable())[:80]


def year_of(said: dict[str, Any]) -> int:
    """The year that an address asks for; raises Problem where it is none."""
    text = said.get("year", str(timezone.localdate().year))
    if not (isinstance(text, str) and text.isascii() and text.isdigit() and len(text) == 4):
        raise query_problem("year", "out_of_range", f"year is {text[:20]!r}; it has four figures.", text[:20], "a year")
    return int(text)


class TemplateView(NounView):
    """The workbook for one summer of a project."""

    @extend_schema(
        operation_id="projects_template", summary="The workbook to fill in on a summer's walk", tags=["uploads"],
        description="With the plants of the project's plan and of its last walk.", parameters=[YEAR],
        responses={(200, XLSX): OpenApiTypes.BINARY},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> HttpResponse:
        asked = template_asked(self, request, public_id)
        return download(sheets.template(asked), XLSX, f"summer-walk-{asked.year}.xlsx")


class TemplateCsvView(NounView):
    """The same as a CSV file."""

    @extend_schema(
        operation_id="projects_template_csv", summary="The table of a summer's walk as CSV", tags=["uploads"],
        parameters=[YEAR], responses={(200, "text/csv"): OpenApiTypes.STR},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> HttpResponse:
        asked = template_asked(self, request, public_id)
        return download(sheets.template_csv(asked), "text/csv; charset=utf-8", f"summer-walk-{asked.year}.csv")


def template_asked(view: NounView, request: Request, public_id: UUID) -> sheets.TemplateFor:
    """What a template is made from."""
    year = year_of(dict(view.read_query(request, "year")))
    return reads.template_for(view.actor, meadow_reads.project_get(view.actor, public_id), year)


def download(content: bytes | str, kind: str, name: str) -> HttpResponse:
    """A file to be kept, not shown."""
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return HttpResponse(content, content_type=kind, headers=headers)


class ProjectUploadsView(SheetView):
    """Sheets of one project."""

    @extend_schema(
        operation_id="projects_upload", summary="Read a sheet of one project", tags=["uploads"], description=READ_AS,
        parameters=[YEAR, FILENAME, MENDS, IDEMPOTENCY_KEY], request=FILE,
        responses={201: answers.UploadDetailAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        return self.take(request, meadow_reads.project_get(self.actor, public_id))


class GroupUploadsView(SheetView):
    """Sheets whose rows name a group's projects."""

    @extend_schema(
        operation_id="groups_upload", summary="Read a sheet whose rows name the group's meadows", tags=["uploads"],
        description=f"A column headed Meadow names the project or its site, or holds its id. {READ_AS}",
        parameters=[YEAR, FILENAME, MENDS, IDEMPOTENCY_KEY], request=FILE,
        responses={201: answers.UploadDetailAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        return self.take(request, network_reads.group_get(self.actor, public_id))


class NetworkUploadsView(SheetView):
    """Sheets whose rows name a network's projects."""

    @extend_schema(
        operation_id="networks_upload", summary="Read a sheet whose rows name the network's meadows", tags=["uploads"],
        description=f"A column headed Meadow names the project or its site, or holds its id. {READ_AS}",
        parameters=[YEAR, FILENAME, MENDS, IDEMPOTENCY_KEY], request=FILE,
        responses={201: answers.UploadDetailAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        return self.take(request, network_reads.network_get(self.actor, public_id))


class UploadsView(NounView):
    """Sheets that the caller may see."""

    @extend_schema(
        operation_id="uploads_list", summary="Sheets of the caller's groups and networks", tags=["uploads"],
        parameters=parameters(FILTERS), responses={200: page_model(answers.UploadAnswer)},
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        said = self.read_query(request, *FILTERS, *PAGE)
        rows = narrowed(reads.upload_list(self.actor, timezone.now()), said, FILTERS)
        return Response(page(request, rows, said, lambda found: [answers.upload_answer(row) for row in found]))


class OfUpload(NounView):
    """An address about one sheet."""

    def reading(self, row: SheetUpload) -> reads.Reading:
        return reads.reading_of(self.actor, row, timezone.localdate())

    def row(self, public_id: UUID) -> SheetUpload:
        return reads.upload_get(self.actor, public_id, timezone.now())


class UploadView(OfUpload):
    """One sheet."""

    @extend_schema(
        operation_id="uploads_read", summary="A sheet as it is understood now", tags=["uploads"],
        responses={200: answers.UploadDetailAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = self.row(public_id)
        return tagged(row, answers.upload_detail(self.reading(row)))

    @extend_schema(
        operation_id="uploads_remove", summary="Throw a sheet away, with its refused rows", tags=["uploads"],
        description="Returns that it came to stay.", parameters=[IF_MATCH], responses={204: None},
    )  # fmt: skip
    def delete(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, self.row(public_id))
        acts.upload_remove(actor=self.actor, public_id=public_id, if_version=version, now=timezone.now())
        return Response(status=204)


class UploadRowsView(OfUpload):
    """Every row of a sheet."""

    @extend_schema(
        operation_id="uploads_rows", summary="Every row of a sheet and what became of it", tags=["uploads"],
        parameters=[OpenApiParameter("start", {"type": "integer", "minimum": 0}, description="0 if left out.")],
        responses={200: answers.UploadRowsAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        text = self.read_query(request, "start").get("start", "0")
        if not (text.isascii() and text.isdigit() and len(text) < 7):
            detail = f"start is {text[:20]!r}; it is a whole number from 0."
            raise query_problem("start", "out_of_range", detail, text[:20], "a whole number")
        return Response(answers.rows_answer(self.reading(self.row(public_id)), int(text)))


class UploadRefusedView(OfUpload):
    """Rows that gave nothing to a return."""

    @extend_schema(
        operation_id="uploads_refused", summary="Rows that gave nothing to a return, and why", tags=["uploads"],
        responses={200: answers.RefusedRowsAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = self.row(public_id)
        return Response(answers.refused_answer(row, list(reads.refused_rows_of(row))))


class UploadRefusedCsvView(OfUpload):
    """The same to be mended and sent again."""

    @extend_schema(
        operation_id="uploads_refused_csv", summary="The refused rows as CSV, to be mended and sent again",
        tags=["uploads"], responses={(200, "text/csv"): OpenApiTypes.STR},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> HttpResponse:
        self.read_query(request)
        reading = self.reading(self.row(public_id))
        return download(sheets.refused_rows_csv(reading.as_one()), "text/csv; charset=utf-8", "rows-to-mend.csv")


class UploadAnswersView(OfUpload):
    """Answers to a sheet's questions."""

    @extend_schema(
        operation_id="uploads_answer", summary="Answer questions about a sheet", tags=["uploads"],
        parameters=[IDEMPOTENCY_KEY, IF_MATCH_MAYBE], request=UploadAnswers,
        responses={200: answers.UploadDetailAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, self.row(public_id), needed=False)
        asked = self.read(request, UploadAnswers)
        reading = acts.upload_answer(
            actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=timezone.now()
        )
        return tagged(reading.upload, answers.upload_detail(reading))


class UploadAcceptView(OfUpload):
    """Accepting a sheet."""

    computes = True

    @extend_schema(
        operation_id="uploads_accept", summary="Take a sheet in as it was shown", tags=["uploads"],
        description="Each meadow's year becomes a version of its return; where all of it is there already, nothing "
        "changes. A call takes in 25 returns at most: while the state is waiting, look and accept again.",
        parameters=[IDEMPOTENCY_KEY], request=UploadAccept, responses={200: answers.UploadDetailAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        self.row(public_id)
        asked = self.read(request, UploadAccept)
        acts.upload_accept(actor=self.actor, public_id=public_id, asked=asked, now=timezone.now())
        row = self.row(public_id)
        return tagged(row, answers.upload_detail(self.reading(row)))


class ReturnsBatchView(NounView):
    """Many returns in one call."""

    parser_classes = [BatchJSONParser]
    largest_body = settings.LARGEST_BATCH
    computes = True

    @extend_schema(
        operation_id="returns_batch", summary="Send many returns of many projects", tags=["returns"],
        description="Up to 200 returns and 4 MB. Each is taken wholly or not at all and answered by itself, in the "
        "order sent; the call is answered with 200 whatever became of them. A return without a submission_id that "
        "tells what is there already changes nothing.",
        parameters=[IDEMPOTENCY_KEY], request=ReturnsBatch, responses={200: answers.BatchAnswers},
    )  # fmt: skip
    @once
    def post(self, request: Request) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, ReturnsBatch)
        results = []
        for position, found in enumerate(acts.returns_send_batch(actor=self.actor, asked=asked, now=timezone.now())):
            problem = as_problem(found.refusal, request._request, []) if found.refusal is not None else None
            results.append(answers.batch_line(position, found, problem.as_dict() if problem is not None else None))
        return Response(answers.BatchAnswers(results=results).model_dump(mode="json"))
