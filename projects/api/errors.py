"""Every error of the API in one shape: problem details (RFC 9457), with stable codes and pointers."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import orjson
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.urls import Resolver404, resolve
from django.views import csrf, defaults
from rest_framework import exceptions

from modelling.errors import FieldError, RequestRefused
from projects.errors import Refused, RuleBroken, TooOften

API_PREFIX = "/api/"
MEDIA_TYPE = "application/problem+json"
# A request of 64 kB can be wrong in thousands of places; nobody reads more than these.
MOST_ERRORS = 100
_ABSENT = object()


@dataclass(frozen=True)
class ProblemKind:
    """A kind of error: what its code, its status and its title always are, and what to do about it."""

    status: int
    title: str
    meaning: str


# Codes are a promise: a kind may be added, a code is never renamed or reused.
KINDS: dict[str, ProblemKind] = {
    "bad_request": ProblemKind(
        400,
        "Bad request",
        "The request itself is malformed, apart from its body. Check its headers and address.",
    ),
    "malformed_json": ProblemKind(
        400,
        "Not readable as JSON",
        "The body could not be read as JSON in UTF-8. NaN, Infinity, numbers too large for a 64-bit float, "
        "half surrogate pairs and more than 1,024 levels of nesting are refused.",
    ),
    "empty_body": ProblemKind(
        400, "Nothing was sent", "This address needs a JSON object as its body, with its length stated."
    ),
    "unauthenticated": ProblemKind(
        401,
        "Token not known",
        "The token in the Authorization header is unknown, ended or withdrawn, or this needs one and there is none. "
        "Tokens are made on the account page.",
    ),
    "forbidden": ProblemKind(403, "Not allowed", "The caller may not do this."),
    "not_found": ProblemKind(404, "Not found", "Nothing stands at this address. Addresses end with a slash."),
    "method_not_allowed": ProblemKind(
        405,
        "Method not allowed",
        "This address does not take this method; the Allow header names those it takes.",
    ),
    "not_acceptable": ProblemKind(
        406, "No such format", "The answer cannot be given in a format that the Accept header names."
    ),
    "wrong_state": ProblemKind(
        409, "Not as it stands", "The thing stands where this cannot be done to it. The answer says what can."
    ),
    "in_progress": ProblemKind(
        409,
        "Being dealt with",
        "A request with the same Idempotency-Key is being dealt with. Send it again after the seconds in Retry-After.",
    ),
    "gone": ProblemKind(410, "Used up", "What was handed out is used, withdrawn or too old."),
    "stale": ProblemKind(
        412,
        "Changed in the meantime",
        "Somebody changed it after the version that If-Match names. Read it again and make the change to that.",
    ),
    "body_too_large": ProblemKind(
        413,
        "Too large",
        "The body is larger than this address takes: 65,536 bytes (64 kB), or 10 MB for a sheet or a photo and 4 MB "
        "for many returns at once.",
    ),
    "unsupported_media_type": ProblemKind(
        415,
        "Wrong content type",
        "Send JSON, with the header Content-Type: application/json; a photo as multipart/form-data.",
    ),
    "range_not_satisfiable": ProblemKind(
        416,
        "No such piece",
        "The file has no such bytes as the Range header asks for; Content-Range tells how many it has.",
    ),
    "invalid_request": ProblemKind(
        422,
        "Read, but wrong",
        "The body is JSON, but something in it is not as it should be, or something after the question mark of the "
        "address. Each entry of errors points at one thing, says what was read, and what would be right.",
    ),
    "too_costly": ProblemKind(
        422,
        "More than one call may ask",
        "The calculation asked for is too large. The answer names what would fit.",
    ),
    "key_used": ProblemKind(
        422,
        "Key used for something else",
        "This Idempotency-Key came with another request within the last 24 hours. Take a new key.",
    ),
    "precondition_required": ProblemKind(
        428,
        "Say which version",
        "A change or removal names the version it was made to, by the header If-Match with the ETag of an answer.",
    ),
    "too_many_tries": ProblemKind(
        429, "Too many tries", "Too many tries in a short time. Try again after the seconds in Retry-After."
    ),
    "too_many_requests": ProblemKind(
        429,
        "Too many estimates in a short time",
        "Each address may ask for so much computing a minute. Try again after the seconds in Retry-After.",
    ),
    "server_error": ProblemKind(
        500, "Our mistake", "Something went wrong on our side. It has been logged; trying again may not help."
    ),
}


@dataclass(frozen=True)
class FieldProblem:
    """One thing wrong in a request.

    Parameters
    ----------
    pointer
        JSON Pointer (RFC 6901) into the body; "" is the whole of it, or the address if `parameter` is given.
    code
        Stable, lower_snake.
    detail
        One sentence for a person: what was read, what is wrong, what would be right.
    value
        What was read, if it may be repeated.
    expected
        What would be right: a type, a range, a list of words.
    suggestions
        Nearest right words, best first.
    parameter
        Name in the address's query, where that is what is wrong.
    """

    pointer: str
    code: str
    detail: str
    value: Any = field(default=_ABSENT)
    expected: Any = field(default=_ABSENT)
    suggestions: tuple[str, ...] = ()
    parameter: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return the entry as JSON-ready data, without what was not given."""
        data: dict[str, Any] = {"pointer": self.pointer, "code": self.code, "detail": self.detail}
        if self.value is not _ABSENT:
            data["value"] = self.value
        if self.expected is not _ABSENT:
            data["expected"] = self.expected
        if self.suggestions:
            data["suggestions"] = list(self.suggestions)
        if self.parameter:
            data["parameter"] = self.parameter
        return data


def pointer(*steps: str | int) -> str:
    """Return the JSON Pointer (RFC 6901) of a path of keys and positions."""
    return "".join("/" + str(step).replace("~", "~0").replace("/", "~1") for step in steps)


class Problem(exceptions.APIException):
    """An error with its answer: raise it anywhere below an API view.

    Parameters
    ----------
    code
        A key of KINDS; status and title follow from it.
    detail
        One or two sentences for a person, about this request.
    errors
        What is wrong, field by field.
    headers
        Headers of the answer, such as Retry-After.
    """

    def __init__(
        self,
        code: str,
        detail: str,
        *,
        errors: Iterable[FieldProblem] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        kind = KINDS[code]
        super().__init__(detail, code)
        self.code = code
        self.status = self.status_code = kind.status
        self.title = kind.title
        self.text = detail
        self.errors = tuple(errors)
        self.headers = dict(headers or {})

    def as_dict(self) -> dict[str, Any]:
        """Return the problem as JSON-ready data."""
        return {
            "type": f"/problems/{self.code}/",
            "title": self.title,
            "status": self.status,
            "code": self.code,
            "detail": self.text,
            "errors": [error.as_dict() for error in self.errors],
        }


def unauthenticated(detail: str) -> Problem:
    """Return the 401 for a caller whose token is missing or not known."""
    return Problem("unauthenticated", detail, headers={"WWW-Authenticate": "Bearer"})


def problem_response(problem: Problem) -> HttpResponse:
    """Return the answer, the same whatever format the view itself speaks."""
    return HttpResponse(
        orjson.dumps(problem.as_dict()),
        status=problem.status,
        content_type=MEDIA_TYPE,
        headers=problem.headers,
    )


def exception_handler(exc: Exception, context: dict[str, Any]) -> HttpResponse | None:
    """Answer an error raised under a view; None lets an unforeseen one through, to be logged, as a 500."""
    problem = as_problem(exc, context["request"], context["view"].allowed_methods)
    return problem_response(problem) if problem else None


def as_problem(exc: Exception, request: HttpRequest, allowed_methods: list[str]) -> Problem | None:
    """Translate the framework's errors; None if the error is none of theirs."""
    match exc:
        case Problem():
            return exc
        case RequestRefused():
            return refusal(exc)
        case Refused():
            return refused_act(exc)
        case Http404() | exceptions.NotFound():
            return not_found_problem(request.path)
        case PermissionDenied() | exceptions.PermissionDenied() | exceptions.NotAuthenticated():
            return Problem("forbidden", "You may not do this.")
        case exceptions.MethodNotAllowed():
            allowed = ", ".join(sorted(allowed_methods))
            return Problem(
                "method_not_allowed",
                f"{request.path} does not take {request.method}; it takes {allowed}.",
                headers={"Allow": allowed},
            )
        case exceptions.NotAcceptable():
            wanted = request.headers.get("Accept", "")
            return Problem(
                "not_acceptable",
                f"The Accept header asks for {wanted[:200]!r}; this address answers in JSON.",
            )
        case exceptions.UnsupportedMediaType():
            sent = request.headers.get("Content-Type", "")
            return Problem(
                "unsupported_media_type",
                f"The body was sent as {sent[:200]!r}; it should be application/json.",
                headers={"Accept": "application/json"},
            )
        case exceptions.ParseError():
            return Problem("bad_request", str(exc.detail))
    return None


def refused_act(refused: Refused) -> Problem:
    """Return the problem of an act that a service refused."""
    if isinstance(refused, RuleBroken):
        return refusal(RequestRefused(refused.errors or [FieldError("", "invalid", refused.detail)]))
    headers = {"Retry-After": str(refused.wait_seconds)} if isinstance(refused, TooOften) else {}
    return Problem(refused.code, refused.detail, headers=headers)


def refusal(refused: RequestRefused) -> Problem:
    """Return the 422 for a request that the model cannot answer, with the first of what is wrong."""
    found, more = refused.errors[:MOST_ERRORS], len(refused.errors) - MOST_ERRORS
    detail = found[0].detail if len(found) == 1 else f"{len(refused.errors):,} things are not as they should be."
    if more > 0:
        detail += f" The first {MOST_ERRORS} are listed."
    return Problem(
        "too_costly" if any(error.code == "too_costly" for error in found) else "invalid_request",
        detail,
        errors=[
            FieldProblem(
                error.pointer,
                error.code,
                error.detail,
                error.value,
                error.expected or _ABSENT,
                tuple(error.suggestions),
            )
            for error in found
        ],
    )


def not_found_problem(path: str) -> Problem:
    """Return the problem of an address where nothing stands, naming the one with a slash if that exists."""
    if not path.endswith("/"):
        try:
            resolve(path + "/")
        except Resolver404:
            pass
        else:
            return Problem("not_found", f"Nothing stands at {path[:200]!r}; addresses end with a slash: {path}/.")
    return Problem("not_found", f"Nothing stands at {path[:200]!r}.")


def is_api(request: HttpRequest) -> bool:
    """Say whether an error for this request is answered as a problem instead of a page."""
    return request.path.startswith(API_PREFIX)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer a request that Django itself found malformed."""
    if is_api(request):
        return problem_response(Problem("bad_request", "The request is malformed: check its headers and address."))
    # The page looks for the form's token first: a form that cannot be read would be refused again, as a 500.
    request.POST = QueryDict()
    return defaults.bad_request(request, exception)


def permission_denied(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer a request refused outside a view."""
    if is_api(request):
        return problem_response(Problem("forbidden", "You may not do this."))
    return defaults.permission_denied(request, exception)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer for an address that leads nowhere."""
    if is_api(request):
        return problem_response(not_found_problem(request.path))
    return defaults.page_not_found(request, exception)


def server_error(request: HttpRequest) -> HttpResponse:
    """Answer for a mistake of our own; Django has logged it."""
    if is_api(request):
        return problem_response(Problem("server_error", "Something went wrong on our side; it has been logged."))
    return defaults.server_error(request)


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Answer a form sent without its token."""
    if is_api(request):
        return problem_response(Problem("forbidden", "The form's token is missing or out of date."))
    return csrf.csrf_failure(request, reason)
