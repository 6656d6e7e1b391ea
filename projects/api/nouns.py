"""The base of the views that read and change what groups keep here."""

import hashlib
import re
from collections.abc import Callable
from functools import cached_property, wraps
from typing import Any, TypeVar
from uuid import UUID

from django.db import transaction
from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request
from rest_framework.response import Response

from modelling.contracts import Strict
from modelling.reading import read_as
from projects.api.base import ApiView
from projects.api.errors import Problem, unauthenticated
from projects.api.parsers import bounded
from projects.api.renderers import FiniteJSONRenderer
from projects.api.tags import tag_of
from projects.choices import Via
from projects.models import ApiToken, User
from projects.models.base import Noun
from projects.rules.access import Actor
from projects.selectors.actors import actor_of
from projects.services import remembered

LONGEST_KEY = 200
_KEY = re.compile(rf"[!-~]{{1,{LONGEST_KEY}}}")
S = TypeVar("S", bound=Strict)
IF_MATCH = OpenApiParameter(
    "If-Match", str, OpenApiParameter.HEADER, required=True, description="ETag of the version that was read."
)
IF_MATCH_MAYBE = OpenApiParameter(
    "If-Match",
    str,
    OpenApiParameter.HEADER,
    description="ETag of the version that was read, to be sure it still holds.",
)
IDEMPOTENCY_KEY = OpenApiParameter(
    "Idempotency-Key",
    {"type": "string", "pattern": f"^[!-~]{{1,{LONGEST_KEY}}}$"},
    OpenApiParameter.HEADER,
    description=f"Up to {LONGEST_KEY} letters of the caller's own. The same request with it within a day gives "
    "the same answer and changes nothing more.",
)


class NounView(ApiView):
    """A view for things that belong to somebody."""

    #: whether the act works something out, for which no transaction may be open
    computes = False
    #: most bytes of a body, where they are more than those of usual JSON
    largest_body: int | None = None

    @cached_property
    def actor(self) -> Actor:
        """Who is asking: the owner of the token, or the public."""
        user, token = self.request.user, self.request.auth
        return actor_of(
            user if isinstance(user, User) else None, token=token if isinstance(token, ApiToken) else None, via=Via.API
        )

    def read(self, request: Request, kind: type[S]) -> S:
        """Return the body as a contract; raises Problem or RequestRefused."""
        return read_as(kind, self.read_object(request))

    def read_with(self, request: Request, kind: type[S], **address: UUID) -> S:
        """Return the body as a contract, with what the address says put in; saying it twice is refused as unknown."""
        data = self.read_object(request)
        for name in address:
            if name in data:
                raise Problem("invalid_request", f"{name} stands in the address; leave it out of the body.")
        return read_as(kind, data | {name: str(value) for name, value in address.items()})

    def must_be_signed_in(self) -> None:
        """Raise a 401 for the public."""
        if self.actor.user_id is None:
            raise unauthenticated("This needs a token, in the header Authorization: Bearer …")


def tagged(row: Noun, data: dict[str, Any], *, status: int = 200, location: str = "") -> Response:
    """Return an answer about one thing, with its tag."""
    headers = {"ETag": tag_of(row)} | ({"Location": location} if location else {})
    return Response(data, status=status, headers=headers)


H = TypeVar("H", bound=Callable[..., Any])


def once(method: H) -> H:
    """Make a POST do its act once for each Idempotency-Key of a caller."""

    @wraps(method)
    def post(self: NounView, request: Request, *args: Any, **kwargs: Any) -> HttpResponse:
        key = request.headers.get("Idempotency-Key", "")
        user_id = self.actor.user_id
        if not key or user_id is None:
            answer: HttpResponse = method(self, request, *args, **kwargs)
            return answer
        if not _KEY.fullmatch(key):
            detail = f"Idempotency-Key should be 1 to {LONGEST_KEY} printable ASCII letters without blanks."
            raise Problem("bad_request", detail)
        row, held = _begin(request, self.actor, user_id, key, self.largest_body)
        if held:
            return HttpResponse(row.body, status=row.status, headers=row.headers, content_type="application/json")
        try:
            if self.computes:
                return _kept(row, method(self, request, *args, **kwargs))
            with transaction.atomic():
                return _kept(row, method(self, request, *args, **kwargs))
        except remembered.InProgress:
            raise in_progress(key) from None
        except BaseException:
            remembered.remember_not(row)
            raise

    return post  # type: ignore[return-value]  # the same to whoever calls it


def _begin(request: Request, actor: Actor, user_id: int, key: str, largest: int | None) -> tuple[Any, bool]:
    http = request._request
    if largest is not None and not hasattr(http, "_body"):
        # Django reads no body that is longer than usual JSON: it is read here, up to its own limit
        http._body = bounded(http, largest)  # type: ignore[arg-type]
    # an answer made for a token that may read more is none for one that may read less
    scopes = " ".join(sorted(actor.scopes)).encode()
    said = b"\0".join([(request.method or "").encode(), request.get_full_path().encode(), scopes, http.body])
    digest = hashlib.sha256(said).hexdigest()
    try:
        return remembered.remember_begin(user_id=user_id, key=key, digest=digest, now=timezone.now())
    except remembered.OtherRequest:
        raise Problem("key_used", f"The Idempotency-Key {key[:80]!r} came with another request before.") from None
    except remembered.InProgress:
        raise in_progress(key) from None


def in_progress(key: str) -> Problem:
    """Return the 409 for a key whose first request is still being dealt with."""
    detail = f"The request with the Idempotency-Key {key[:80]!r} is being dealt with."
    return Problem("in_progress", detail, headers={"Retry-After": "2"})


def _kept(row: Any, response: Response) -> HttpResponse:
    """Keep the answer beside the act, and give it as it is kept."""
    body = b"" if response.data is None else FiniteJSONRenderer().render(response.data)
    headers = {name: response.headers[name] for name in ("ETag", "Location") if name in response.headers}
    remembered.remember_end(row, status=response.status_code, headers=headers, body=body.decode())
    return HttpResponse(body, status=response.status_code, headers=headers, content_type="application/json")
