"""Photos from fixed points: sent beside what is said of them, read, withdrawn."""

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
from projects.api.base import query_problem
from projects.api.errors import FieldProblem, Problem
from projects.api.lists import page, page_model, parameters
from projects.api.nouns import IDEMPOTENCY_KEY, IF_MATCH, NounView, once, tagged
from projects.api.renderers import JpegRenderer, picture
from projects.api.tags import version_asked
from projects.api.v1.answers import photos as answers
from projects.api.v1.views.sites import PAGE
from projects.choices import PhotoSize
from projects.contracts.photos import PhotoNew
from projects.pictures import MEDIA_TYPE
from projects.selectors import meadows as meadow_reads
from projects.selectors import photos as reads
from projects.selectors import returns as return_reads
from projects.services import photos as acts

SIZE = OpenApiParameter("size", {"type": "string", "enum": PhotoSize.values}, description="Large if left out.")
_YES_OR_NO: dict[str, Any] = {"type": "string", "enum": ["true", "false"]}
FORM = {
    "multipart/form-data": {
        "type": "object",
        "properties": {
            "photo": {"type": "string", "format": "binary"},
            "taken_on": {"type": "string", "format": "date"},
            "point": {"type": "string", "maxLength": 120},
            "caption": {"type": "string", "maxLength": 200},
            "agreed": {"type": "string", "enum": ["true"]},
            "shown": {**_YES_OR_NO, "default": "false"},
        },
        "required": ["photo", "taken_on", "point", "caption", "agreed"],
    }
}
_SHOWN = 80


class ReturnPhotosView(NounView):
    """Photos of one return."""

    parser_classes = [MultiPartParser]
    largest_body = settings.LARGEST_FILE + settings.DATA_UPLOAD_MAX_MEMORY_SIZE
    computes = True

    @extend_schema(
        operation_id="returns_photos", summary="Photos of a year's return", tags=["returns"],
        parameters=parameters({}), responses={200: page_model(answers.PhotoAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, *PAGE)
        rows = reads.photo_list(self.actor).filter(outcome=return_reads.return_get(self.actor, public_id))
        return Response(page(request, rows, said, lambda found: [answers.photo_answer(row) for row in found]))

    @extend_schema(
        operation_id="returns_photo_add", summary="Send a photo from a fixed point", tags=["returns"],
        description="JPEG, PNG or WebP up to 10 MB and 60 million pixels. The picture is made anew: nothing that the "
        "camera wrote beside it is kept. `agreed` says that no person who has not agreed can be recognised, and "
        "children only with their parents' written consent. The same file sent again is answered with 200.",
        parameters=[IDEMPOTENCY_KEY], request=FORM,
        responses={201: answers.PhotoAnswer, 200: answers.PhotoAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        return_reads.return_get(self.actor, public_id)
        said, content = form_of(request)
        row, new = acts.photo_add(
            actor=self.actor, return_id=public_id, asked=read_as(PhotoNew, said), content=content, now=timezone.now()
        )
        row = reads.photo_get(self.actor, row.public_id)
        location = reverse("v1-photo", kwargs={"public_id": row.public_id}, request=request)
        return tagged(row, answers.photo_answer(row), status=201 if new else 200, location=location)


def form_of(request: Request) -> tuple[dict[str, Any], bytes]:
    """What a form says beside its photo, and the bytes of that; raises Problem."""
    try:
        form: Any = request.data
    except UnsupportedMediaType as error:
        kind = request.headers.get("Content-Type", "")[:200]
        raise Problem(
            "unsupported_media_type", f"The body was sent as {kind!r}; it should be multipart/form-data."
        ) from error
    said: dict[str, Any] = {}
    for name in (name for name in form if name not in request.FILES):
        values = form.getlist(name)
        if len(values) > 1:
            text = f"{name[:_SHOWN]} is given {len(values)} times; once is enough."
            raise Problem("invalid_request", text, errors=[FieldProblem(f"/{name[:_SHOWN]}", "given_twice", text)])
        # a form knows texts only
        said[name] = {"true": True, "false": False}.get(values[0], values[0]) if name in _TICKS else values[0]
    files = request.FILES.getlist("photo")
    if len(files) != 1 or len(request.FILES) != 1:
        text = "Send one file of at most 10 MB, in the field photo."
        raise Problem("invalid_request", text, errors=[FieldProblem("/photo", "missing", text, expected="a photo")])
    return said, files[0].read()


_TICKS = frozenset({"agreed", "shown"})


class ProjectPhotosView(NounView):
    """Photos of one project, of all its years."""

    @extend_schema(
        operation_id="projects_photos", summary="Photos of a project, of all its years", tags=["returns"],
        description="Everybody is told of those that were agreed to be shown, where the site is shown.",
        parameters=parameters({}), responses={200: page_model(answers.PhotoAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, *PAGE)
        project = meadow_reads.project_get(self.actor, public_id)
        rows = reads.photo_list(self.actor).filter(outcome__project=project)
        return Response(page(request, rows, said, lambda found: [answers.photo_answer(row) for row in found]))


class PhotoView(NounView):
    """One photo."""

    @extend_schema(
        operation_id="photos_read", summary="What is said of a photo", tags=["returns"],
        responses={200: answers.PhotoAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.photo_get(self.actor, public_id)
        return tagged(row, answers.photo_answer(row))

    @extend_schema(
        operation_id="photos_withdraw", summary="Take a photo away for good", tags=["returns"],
        description="Where somebody no longer agrees, or it was sent by mistake. Nothing of it is kept.",
        parameters=[IF_MATCH], responses={204: None},
    )  # fmt: skip
    def delete(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.photo_get(self.actor, public_id))
        acts.photo_withdraw(actor=self.actor, public_id=public_id, if_version=version, now=timezone.now())
        return Response(status=204)


class PhotoImageView(NounView):
    """The picture."""

    renderer_classes = [JpegRenderer]

    @extend_schema(
        operation_id="photos_image", summary="The picture itself, as JPEG", tags=["returns"], parameters=[SIZE],
        responses={(200, MEDIA_TYPE): OpenApiTypes.BINARY},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> HttpResponse:
        size = self.read_query(request, "size").get("size", PhotoSize.LARGE)
        if size not in PhotoSize.values:
            known = ", ".join(PhotoSize.values)
            raise query_problem("size", "unknown", f"size is {size[:_SHOWN]!r}; it is {known}.", size[:_SHOWN], known)
        return picture(reads.photo_bytes(self.actor, public_id, size), public_id)
