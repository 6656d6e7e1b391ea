"""The log as lines of JSON, for a machine that collects them: nothing in it that tells of a person.

A line for each request says which route was asked, not for what: no ids, no query, no address, nobody's name. What a
library or the database says about an error may quote somebody's row, so only the kind of error and the places in the
code stand here.
"""

from __future__ import annotations

import contextvars
import json
import logging
import re
import sys
import time
import traceback
import uuid
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any, Final

from django.http import HttpRequest, HttpResponse

#: the request that this thread is answering
request_id: Final[contextvars.ContextVar[str]] = contextvars.ContextVar("request_id", default="")
logger = logging.getLogger("forbcast.request")
HEADER: Final = "X-Request-ID"
#: what a proxy in front may call a request; anything else is given a name here
_GIVEN: Final = re.compile(r"[A-Za-z0-9-]{8,64}")
_PLACES: Final = 12
#: Django writes the path into these, and some paths hold a secret
_WITH_PATHS: Final = ("django.request", "django.security", "django.server")


class JsonLines(logging.Formatter):
    """One JSON object a line."""

    def format(self, record: logging.LogRecord) -> str:
        told: dict[str, Any] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "text": self._text(record),
        }
        if named := request_id.get():
            told["request"] = named
        told |= getattr(record, "facts", {})
        if record.exc_info and record.exc_info[0] is not None:
            told["error"] = record.exc_info[0].__name__
            frames = traceback.extract_tb(record.exc_info[2])[-_PLACES:]
            told["at"] = [f"{frame.filename}:{frame.lineno} {frame.name}" for frame in frames]
        return json.dumps(told, ensure_ascii=False)

    def _text(self, record: logging.LogRecord) -> str:
        if record.name.startswith(_WITH_PATHS):
            return str(record.msg).partition(":")[0].partition("%")[0].strip()
        return record.getMessage()


class RequestLogMiddleware:
    """Gives each request a name, echoes it, and notes route, status and time taken."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.headers.get(HEADER, "")
        named = given if _GIVEN.fullmatch(given) else uuid.uuid4().hex
        token = request_id.set(named)
        start = time.perf_counter()
        try:
            response = self.get_response(request)
            facts = {
                "method": request.method if request.method in _METHODS else "other",
                "route": request.resolver_match.route if request.resolver_match else "none",
                "status": response.status_code,
                "ms": round((time.perf_counter() - start) * 1000, 1),
            }
            logger.info("request", extra={"facts": facts})
        finally:
            request_id.reset(token)
        response.headers[HEADER] = named
        return response


_METHODS: Final = {"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"}


def described(kind: str, level: str) -> dict[str, Any]:
    """Django's description of the log: `json` to standard output, or `line` to standard error for whoever sits there.

    Lines name no requests: paths are logged by Django without their query, which may describe somebody's site.
    """
    as_json = kind == "json"
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {
            "line": {"format": "{asctime} {levelname} {name} {message}", "style": "{"},
            "json": {"()": JsonLines},
        },
        "handlers": {
            "out": {
                "class": "logging.StreamHandler",
                "stream": sys.stdout if as_json else sys.stderr,
                "formatter": kind,
            }
        },
        "root": {"handlers": ["out"], "level": level},
        "loggers": {
            "django": {"handlers": ["out"], "propagate": False},
            # The development server logs each address with its query, so it is kept to what went wrong.
            "django.server": {"handlers": ["out"], "level": "ERROR", "propagate": False},
            "forbcast.request": {"level": "INFO" if as_json else "WARNING"},
        }
        # What was refused stands in the line of its request.
        | ({"django.request": {"level": "ERROR"}} if as_json else {}),
    }
