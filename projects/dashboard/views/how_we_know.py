"""Where the numbers come from: the model card, every reference table, every source."""

from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.safestring import SafeString, mark_safe
from markdown_it import MarkdownIt

from modelling import selectors
from projects.dashboard.pages.reference import entries

ROWS_PER_PAGE = 100


def how_we_know(request: HttpRequest) -> HttpResponse:
    """Show the model card and the list of tables."""
    context = {
        "card": rendered(selectors.model_card()),
        "tables": selectors.table_names(),
        "checksum": selectors.reference_checksum(),
    }
    return render(request, "dashboard/how_we_know.html", context)


def rendered(markdown: str) -> SafeString:
    """Return a text of our own as HTML: headings one level down, tables that can be moved sideways by keyboard."""
    reader = MarkdownIt("commonmark", {"html": False}).enable("table")
    tokens = reader.parse(markdown)
    for token in tokens:
        if token.type in {"heading_open", "heading_close"}:
            token.tag = f"h{int(token.tag[1]) + 1}"
    html = reader.renderer.render(tokens, reader.options, {})
    html = html.replace("<table>", '<div class="wide-table" tabindex="0"><table>')
    return mark_safe(html.replace("</table>", "</table></div>"))  # noqa: S308 - HTML in the text itself is turned off


def table(request: HttpRequest, name: str) -> HttpResponse:
    """Show one reference table, row by row, with what each number rests on."""
    found = selectors.reference_table(name)
    if found is None:
        raise Http404
    asked = request.GET.get("q", "").strip()[:100]
    rows = entries(found, {source["source_id"]: source for source in selectors.sources()})
    shown = [row for row in rows if row.holds(asked)]
    page = Paginator(shown, ROWS_PER_PAGE).get_page(request.GET.get("page"))
    context: dict[str, Any] = {"table": found, "page": page, "asked": asked, "count": len(shown), "all": len(rows)}
    return render(request, "dashboard/table.html", context)


def sources(request: HttpRequest) -> HttpResponse:
    """Show every source."""
    return render(request, "dashboard/sources.html", {"sources": selectors.sources()})
