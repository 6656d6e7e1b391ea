"""Where the numbers come from: every table that an estimate uses, row by row."""

from math import ceil
from typing import Any, get_args

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from modelling.release import MODEL_VERSION, RELEASE
from modelling.selectors import TITLES, model_card, reference_checksum, reference_table, sources, table_names
from projects.api.base import ApiView, query_problem
from projects.api.errors import Problem
from projects.api.v1.serializers.reference import Confidence, ModelCard, ReferenceIndex, ReferencePage, SourceList

PAGE_ROWS = 100
LONGEST_SEARCH = 80
CONFIDENCES: tuple[str, ...] = get_args(Confidence)


class ReferenceIndexView(ApiView):
    """Lists the tables."""

    @extend_schema(
        operation_id="reference",
        summary="The tables that the estimates use",
        tags=["reference"],
        responses={200: ReferenceIndex},
    )
    def get(self, request: Request) -> Response:
        self.read_query(request)
        return Response(
            {
                "release": RELEASE,
                "model_version": MODEL_VERSION,
                "reference_checksum": reference_checksum(),
                "tables": [
                    {**table, "url": reverse("v1-reference-table", args=[table["table"]], request=request)}
                    for table in table_names()
                ],
                "sources_url": reverse("v1-reference-sources", request=request),
                "model_card_url": reverse("v1-reference-model-card", request=request),
            }
        )


class ReferenceTableView(ApiView):
    """Shows the rows of one table."""

    @extend_schema(
        operation_id="reference_table",
        summary="Rows of one table, with unit, source and confidence",
        tags=["reference"],
        parameters=[
            OpenApiParameter("table", str, OpenApiParameter.PATH, enum=list(TITLES), description="Name of the table."),
            OpenApiParameter("confidence", str, enum=CONFIDENCES, description="Only rows of this confidence."),
            OpenApiParameter(
                "q",
                {"type": "string", "minLength": 1, "maxLength": LONGEST_SEARCH},
                description="Only rows with this text in any column; capitals do not matter.",
            ),
            OpenApiParameter(
                "page",
                {"type": "integer", "minimum": 1, "default": 1},
                description=f"Page of {PAGE_ROWS} rows. Past the last is refused.",
            ),
        ],
        responses={200: ReferencePage},
    )
    def get(self, request: Request, table: str) -> Response:
        found = reference_table(table)
        if found is None:
            names = ", ".join(entry["table"] for entry in table_names())
            raise Problem("not_found", f"There is no table {table[:80]!r}. The tables are {names}.")
        asked = self.read_query(request, "confidence", "q", "page")
        rows = matching(found["rows"], asked)
        page_count = max(ceil(len(rows) / PAGE_ROWS), 1)
        page = read_page(asked.get("page", "1"), page_count)
        following = None
        if page < page_count:
            following = reverse(
                "v1-reference-table", args=[table], request=request, query=asked | {"page": str(page + 1)}
            )
        return Response(
            {
                **found,
                "reference_checksum": reference_checksum(),
                "row_count": len(rows),
                "page": page,
                "page_count": page_count,
                "next": following,
                "rows": rows[(page - 1) * PAGE_ROWS : page * PAGE_ROWS],
            }
        )


def matching(rows: list[dict[str, Any]], asked: dict[str, str]) -> list[dict[str, Any]]:
    """Return the rows that fit the filters; raises Problem if a filter is not as it should be."""
    confidence, text = asked.get("confidence"), asked.get("q")
    if confidence is not None:
        if confidence not in CONFIDENCES:
            allowed = ", ".join(CONFIDENCES)
            raise query_problem(
                "confidence", "unknown_word", f"{confidence[:80]!r} is not one of {allowed}.", confidence[:80], allowed
            )
        rows = [row for row in rows if row.get("confidence") == confidence]
    if text is not None:
        if not 1 <= len(text) <= LONGEST_SEARCH:
            raise query_problem(
                "q",
                "out_of_range",
                f"The text to look for has {len(text):,} characters; 1 to {LONGEST_SEARCH} are allowed.",
                text[:LONGEST_SEARCH],
                f"1 to {LONGEST_SEARCH} characters",
            )
        wanted = text.casefold()
        rows = [row for row in rows if any(wanted in str(value).casefold() for value in row.values())]
    return rows


def read_page(text: str, page_count: int) -> int:
    """Return the number of an existing page; raises Problem if it is none."""
    # Longer numbers than any page could have are not worth converting.
    if text.isascii() and text.isdigit() and len(text) <= 9 and 1 <= int(text) <= page_count:
        return int(text)
    expected = "1" if page_count == 1 else f"a whole number from 1 to {page_count}"
    raise query_problem("page", "out_of_range", f"Read {text[:80]!r}; it must be {expected}.", text[:80], expected)


class SourcesView(ApiView):
    """Lists the sources."""

    @extend_schema(
        operation_id="reference_sources",
        summary="Every source of a number or a word",
        tags=["reference"],
        responses={200: SourceList},
    )
    def get(self, request: Request) -> Response:
        self.read_query(request)
        return Response({"reference_checksum": reference_checksum(), "sources": sources()})


class ModelCardView(ApiView):
    """Shows the model card."""

    @extend_schema(
        operation_id="reference_model_card",
        summary="The model card: what was checked, and what is not known",
        tags=["reference"],
        responses={200: ModelCard},
    )
    def get(self, request: Request) -> Response:
        self.read_query(request)
        return Response(
            {
                "release": RELEASE,
                "model_version": MODEL_VERSION,
                "reference_checksum": reference_checksum(),
                "markdown": model_card(),
            }
        )
