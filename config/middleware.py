"""Django's middleware where its default would lose somebody's work, and a limit to what is read at all."""

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponsePermanentRedirect
from django.middleware import common
from django.shortcuts import render

from projects.api.errors import Problem, is_api, problem_response

PROBES = ("/health/", "/health/live", "/health/ready", "/metrics")


class CommonMiddleware(common.CommonMiddleware):
    """Adds a forgotten last slash for readers only: a redirected POST arrives without what was posted.

    Probes come to a number, not to a name, so their Host header is not looked at; nothing in their answers uses it.
    """

    def process_request(self, request: HttpRequest) -> HttpResponsePermanentRedirect | None:
        if request.path in PROBES:
            return None
        return super().process_request(request)

    def should_redirect_with_slash(self, request: HttpRequest) -> bool:
        return request.method in {"GET", "HEAD"} and super().should_redirect_with_slash(request)


class BodyLimitMiddleware:
    """Refuses a body that says it is longer than any that is taken, before a byte of it is read."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        said = request.META.get("CONTENT_LENGTH") or ""
        # a form around a file takes some room of its own
        most = settings.LARGEST_FILE + settings.DATA_UPLOAD_MAX_MEMORY_SIZE
        if not (said.isdecimal() and said.isascii()) or int(said[:20]) <= most:
            return self.get_response(request)
        shown = f"{int(said[:20]) / 2**20:,.0f} MB were sent; a file may have {settings.LARGEST_FILE // 2**20} MB."
        if is_api(request):
            return problem_response(Problem("body_too_large", shown, headers={"Connection": "close"}))
        response = render(request, "413.html", {"detail": shown}, status=413)
        response.headers["Connection"] = "close"
        return response
