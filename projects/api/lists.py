"""Lists: filters that are spelled out, and pages by a cursor that stays true while rows are added."""

import base64
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any
from urllib.parse import urlencode

from django.db.models import Model, Q, QuerySet
from drf_spectacular.utils import OpenApiParameter
from pydantic import BaseModel, create_model
from rapidfuzz import process
from rest_framework.request import Request

from projects.api.base import query_problem
from projects.api.errors import Problem

USUAL = 50
MOST = 100
_KEY = ("created_at", "public_id")
_SHOWN = 80


@dataclass(frozen=True)
class Filter:
    """One thing a list can be narrowed by: what the address says, and what is asked of the database."""

    lookup: str
    kind: str = "word"
    words: tuple[str, ...] = ()
    about: str = ""

    def read(self, name: str, text: str) -> Any:
        """Return the value; raises Problem with what would be right."""
        match self.kind:
            case "id":
                try:
                    return uuid.UUID(text)
                except ValueError:
                    raise query_problem(
                        name, "bad_id", f"{name} is {text[:_SHOWN]!r}; an id has 32 hexadecimal digits.",
                        text[:_SHOWN], "an id (UUID)",
                    ) from None  # fmt: skip
            case "day":
                try:
                    return date.fromisoformat(text) if len(text) == len("2026-09-20") else _fail()
                except ValueError:
                    raise query_problem(
                        name, "bad_date", f"{name} is {text[:_SHOWN]!r}; a date is written YYYY-MM-DD.",
                        text[:_SHOWN], "YYYY-MM-DD",
                    ) from None  # fmt: skip
            case "moment":
                return _moment(name, text)
            case "year":
                if not (text.isascii() and text.isdigit() and len(text) == 4 and 1900 <= int(text) <= 2200):
                    raise query_problem(
                        name,
                        "out_of_range",
                        f"{name} is {text[:_SHOWN]!r}; a year has four figures.",
                        text[:_SHOWN],
                        "a year",
                    )
                return int(text)
        if text not in self.words:
            near = tuple(word for word, _, _ in process.extract(text[:_SHOWN], self.words, limit=1, score_cutoff=60))
            allowed = ", ".join(self.words)
            raise query_problem(
                name, "unknown_word", f"{name} is {text[:_SHOWN]!r}; it should be one of {allowed}.",
                text[:_SHOWN], f"one of {allowed}", near,
            )  # fmt: skip
        return text

    def parameter(self, name: str) -> OpenApiParameter:
        """Return its description."""
        kinds: dict[str, Any] = {
            "id": {"type": "string", "format": "uuid"},
            "day": {"type": "string", "format": "date"},
            "moment": {"type": "string", "format": "date-time"},
            "year": {"type": "integer", "minimum": 1900, "maximum": 2200},
            "word": {"type": "string", "enum": list(self.words)},
        }
        return OpenApiParameter(name, kinds[self.kind], description=self.about)


def _fail() -> date:
    raise ValueError


def _moment(name: str, text: str) -> datetime:
    try:
        return _in_utc(datetime.fromisoformat(text))
    except ValueError:
        raise query_problem(
            name, "bad_date", f"{name} is {text[:_SHOWN]!r}; a moment is written 2026-09-20T12:00:00Z.",
            text[:_SHOWN], "a date and time with its zone",
        ) from None  # fmt: skip


def _in_utc(moment: datetime) -> datetime:
    """The moment in UTC; raises ValueError without a zone, or where the zone leads past the first or the last year."""
    if moment.tzinfo is None:
        raise ValueError
    try:
        return moment.astimezone(UTC)
    except OverflowError:
        raise ValueError from None


CURSOR_PARAMETERS = [
    OpenApiParameter("cursor", str, description="Where to go on: take `next` of the page before as it is."),
    OpenApiParameter(
        "limit", {"type": "integer", "minimum": 1, "maximum": MOST}, description=f"Rows a page, {USUAL} if left out."
    ),
    OpenApiParameter("order", {"type": "string", "enum": ["oldest", "newest"]}, description="By when they were added."),
]


def parameters(filters: Mapping[str, Filter]) -> list[OpenApiParameter]:
    """Return the description of a list's address."""
    return [*(item.parameter(name) for name, item in filters.items()), *CURSOR_PARAMETERS]


def page_model(row: type[BaseModel]) -> type[BaseModel]:
    """Return the shape of a page of rows."""
    return create_model(
        f"{row.__name__}Page",
        __doc__="Some rows, and where the next ones are.",
        results=(list[row], ...),  # type: ignore[valid-type]  # made at run time
        next=(str | None, ...),
    )


def narrowed(rows: QuerySet[Any], said: Mapping[str, str], filters: Mapping[str, Filter]) -> QuerySet[Any]:
    """Return the rows that every filter in the address lets through."""
    return rows.filter(**{item.lookup: item.read(name, said[name]) for name, item in filters.items() if name in said})


def page(
    request: Request,
    rows: QuerySet[Any],
    said: Mapping[str, str],
    answer: Callable[[list[Any]], list[Any]],
    key: tuple[str, str] = _KEY,
) -> dict[str, Any]:
    """Return one page of rows: `results` and the address of the `next` page, or null.

    Rows are ordered by when they were added and then by id; the cursor is the last row's pair of them.
    """
    limit = _limit(said.get("limit"))
    order = said.get("order", "oldest")
    if order not in {"oldest", "newest"}:
        raise query_problem(
            "order", "unknown_word", f"order is {order[:_SHOWN]!r}; it should be oldest or newest.",
            order[:_SHOWN], "oldest or newest",
        )  # fmt: skip
    first, second = key
    sign = "-" if order == "newest" else ""
    after = "lt" if order == "newest" else "gt"
    if "cursor" in said:
        moment, last = _read_cursor(said["cursor"], int if second == "pk" else uuid.UUID)
        # the first says nothing that the second does not, but an index can begin there
        rows = rows.filter(**{f"{first}__{after}e": moment})
        rows = rows.filter(Q(**{f"{first}__{after}": moment}) | Q(**{first: moment, f"{second}__{after}": last}))
    found = list(rows.order_by(f"{sign}{first}", f"{sign}{second}")[: limit + 1])
    following = None
    if len(found) > limit:
        found = found[:limit]
        query = {name: value for name, value in said.items() if name != "cursor"}
        query["cursor"] = _cursor(found[-1], first, second)
        following = f"{request.build_absolute_uri(request.path)}?{urlencode(query)}"
    return {"results": answer(found), "next": following}


def _limit(text: str | None) -> int:
    if text is None:
        return USUAL
    # As many figures as the largest: a longer text is not cut, since what is read on must be what was looked at.
    if not (text.isascii() and text.isdigit() and len(text) <= len(str(MOST)) and 1 <= int(text) <= MOST):
        raise query_problem(
            "limit",
            "out_of_range",
            f"limit is {text[:_SHOWN]!r}; it should be 1 to {MOST}.",
            text[:_SHOWN],
            f"1 to {MOST}",
        )
    return int(text)


def _cursor(row: Model, first: str, second: str) -> str:
    return base64.urlsafe_b64encode(f"{getattr(row, first).isoformat()} {getattr(row, second)}".encode()).decode()


def _read_cursor(text: str, kind: Callable[[str], Any]) -> tuple[datetime, Any]:
    try:
        moment, last = base64.urlsafe_b64decode(text.encode("ascii")).decode("ascii").split(" ")
        found = _in_utc(datetime.fromisoformat(moment)), kind(last[:40])
        if isinstance(found[1], int) and not 0 <= found[1] < 2**63:
            raise ValueError
    except ValueError:
        raise _bad_cursor(text) from None
    return found


def _bad_cursor(text: str) -> Problem:
    return query_problem(
        "cursor", "bad_cursor", "This cursor cannot be read; take `next` of the page before as it is.",
        text[:_SHOWN], "a cursor from `next`",
    )  # fmt: skip
