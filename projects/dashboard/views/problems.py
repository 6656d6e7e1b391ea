"""What each error code of the API means: a page for people, JSON for programs."""

from django.http import Http404, HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.cache import patch_vary_headers

from projects.api.errors import KINDS
from projects.api.views import ProblemKindView


def problem(request: HttpRequest, code: str) -> HttpResponseBase:
    """Explain one kind of error."""
    if request.accepts("text/html") and "text/html" in request.headers.get("Accept", ""):
        if code not in KINDS:
            raise Http404
        response: HttpResponseBase = render(request, "dashboard/problem.html", {"code": code, "kind": KINDS[code]})
    else:
        response = ProblemKindView.as_view()(request, code=code)
    patch_vary_headers(response, ["Accept"])
    return response
