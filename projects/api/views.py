"""Addresses that belong to no version of the API: probes, figures for a machine that watches, kinds of errors."""

import hmac
import ipaddress

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from prometheus_client.exposition import CONTENT_TYPE_LATEST
from rest_framework.request import Request
from rest_framework.response import Response

from projects.api.base import ApiView
from projects.api.errors import KINDS
from projects.api.figures import exposed
from projects.selectors import running

#: what a proxy adds: whoever comes through one is not from this machine, whatever the socket says
_FORWARDED = ("HTTP_X_FORWARDED_FOR", "HTTP_X_FORWARDED_HOST", "HTTP_FORWARDED", "HTTP_X_REAL_IP", "HTTP_VIA")
_FRESH = {"Cache-Control": "no-store"}


def watches(request: HttpRequest | Request) -> bool:
    """Whether the caller may see how the service is doing: shows the token, or is on this very machine if none is set.

    Behind a proxy on the same machine all the world comes from it, so any sign of one is enough to be a stranger.
    """
    token = settings.METRICS_TOKEN
    if token:
        said = request.META.get("HTTP_AUTHORIZATION", "").encode()
        return hmac.compare_digest(said, b"Bearer " + token.encode())
    if settings.NUM_PROXIES or any(request.META.get(name) for name in _FORWARDED):
        return False
    try:
        return ipaddress.ip_address(request.META.get("REMOTE_ADDR", "")).is_loopback
    except ValueError:
        return False


@extend_schema(exclude=True)
class LiveView(ApiView):
    """Says that this process answers, whatever it can reach: what a supervisor restarts by."""

    authentication_classes = []

    def get(self, request: Request) -> Response:
        return Response({"status": "well"}, headers=_FRESH)


@extend_schema(exclude=True)
class HealthView(ApiView):
    """Says whether what the service needs can be reached: 200 if all of it can, else 503; strangers hear no more."""

    authentication_classes = []

    def get(self, request: Request) -> Response:
        database = running.database_answers()
        checks = {
            "database": database,
            "migrations": database and running.is_migrated(),
            "cache": running.cache_answers(),
        }
        told: dict[str, object] = {"status": "well" if all(checks.values()) else "failing"}
        if watches(request):
            told["checks"] = {name: "well" if found else "failing" for name, found in checks.items()}
        return Response(told, status=200 if all(checks.values()) else 503, headers=_FRESH)


@extend_schema(exclude=True)
class MetricsView(ApiView):
    """Figures in the text format of Prometheus, counted from the database, so alike from every process."""

    authentication_classes = []

    def get(self, request: Request) -> HttpResponse:
        if not watches(request):
            raise Http404
        return HttpResponse(exposed(timezone.now()), content_type=CONTENT_TYPE_LATEST, headers=_FRESH)


@extend_schema(exclude=True)
class ProblemKindView(ApiView):
    """Explains one kind of error: what the `type` of a problem points at."""

    def get(self, request: Request, code: str) -> Response:
        kind = KINDS.get(code)
        if kind is None:
            raise Http404
        return Response({"code": code, "status": kind.status, "title": kind.title, "meaning": kind.meaning})
