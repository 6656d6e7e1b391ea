"""Addresses that belong to no version of the API."""

from django.core.cache import cache
from django.db import Error as DatabaseError
from django.db import connection
from django.http import Http404
from drf_spectacular.utils import extend_schema
from redis.exceptions import RedisError
from rest_framework.request import Request
from rest_framework.response import Response

from projects.api.base import ApiView
from projects.api.errors import KINDS


@extend_schema(exclude=True)
class HealthView(ApiView):
    """Says whether what the service needs can be reached: 200 if all of it can, else 503."""

    def get(self, request: Request) -> Response:
        checks = {"database": _database_answers(), "cache": _cache_answers()}
        return Response(
            {
                "status": "well" if all(checks.values()) else "failing",
                "checks": {name: "reached" if reached else "out of reach" for name, reached in checks.items()},
            },
            status=200 if all(checks.values()) else 503,
            headers={"Cache-Control": "no-store"},
        )


def _database_answers() -> bool:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            return cursor.fetchone() == (1,)
    except DatabaseError:
        return False


def _cache_answers() -> bool:
    try:
        cache.set("health", "well", timeout=60)
        return cache.get("health") == "well"
    except RedisError:
        return False


@extend_schema(exclude=True)
class ProblemKindView(ApiView):
    """Explains one kind of error: what the `type` of a problem points at."""

    def get(self, request: Request, code: str) -> Response:
        kind = KINDS.get(code)
        if kind is None:
            raise Http404
        return Response({"code": code, "status": kind.status, "title": kind.title, "meaning": kind.meaning})
