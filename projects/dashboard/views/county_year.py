"""A county's year: its report, and the map in it."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, JsonResponse

from projects.dashboard.forms.county_year import CountyYearForm
from projects.dashboard.pages.county import LEGEND, map_data
from projects.dashboard.pages.county_year import SITES_SHOWN, CountyYearPage, SiteFound, sites_found, year_map
from projects.dashboard.views.county import OfNetwork, lines_of
from projects.errors import NotFound
from projects.rules.access import PUBLIC_ACTOR
from projects.rules.aggregates import Line
from projects.selectors import aggregates, county
from projects.selectors.county_year import found_on_sites, stages_by_year
from projects.selectors.due import due_of_network
from projects.selectors.networks import districts_of, villages_of

FIRST_YEAR = 2000
#: years that the table of ground goes back
YEARS_BACK = 9


class OfYear(OfNetwork):
    """A page of one year of a network."""

    def summers(self, year: int, only: dict[str, str] | None = None) -> list[Line]:
        """Summers of open sites up to a year; alike for everybody."""
        if not FIRST_YEAR <= year <= self.today.year:
            raise NotFound(f"{year} has not come, or lies before all meadows here.")
        asked = aggregates.Asked(only=only or {}, year_to=year)
        return aggregates.lines_of(self.actor, self.network, asked, self.today)

    def sites(self, lines: list[Line]) -> list[SiteFound]:
        """Open sites of these lines, as anybody may see them."""
        found = found_on_sites(lines)
        rows = county.sites_listed(PUBLIC_ACTOR, self.network, county.SiteFilter())
        return sites_found(lines_of(PUBLIC_ACTOR, [row for row in rows if row.pk in found]), found)


class CountyYearView(OfYear):
    """The county's year as a report."""

    template_name = "county/year.html"

    def get(self, request: HttpRequest, slug: str, year: int) -> HttpResponse:
        every = self.summers(year)
        form = CountyYearForm(
            request.GET,
            districts=[(str(row.public_id), row.name) for row in districts_of(self.actor, self.network)],
            funders=sorted({name for line in every for name in line.funders}),
        )
        said = form.said()
        lines = self.summers(year, said) if said else every
        exact = None
        if self.may("aggregate.read_exact"):
            asked = aggregates.Asked(only=said, year_from=year, year_to=year, exact=True)
            exact = aggregates.lines_of(self.actor, self.network, asked, self.today)
        begun = min((line.sown_year or line.year for line in every), default=year)
        years = range(max(begun - 1, year - YEARS_BACK), year + 1)
        page = CountyYearPage(
            self.network, year, lines,
            stages_by_year(self.actor, self.network, years, self.today),
            said,
            aggregates.as_of(self.network, exact=False),
            aggregates.private_years(self.network, self.today),
            exact,
            over=year < self.today.year,
        )  # fmt: skip
        rows = self.sites([line for line in lines if line.year == year])
        context = {
            "network": self.network,
            "page": page,
            "form": form,
            "filtered": bool(said),
            "query": request.GET.urlencode(),
            "rows": rows[:SITES_SHOWN],
            "row_count": len(rows),
            "legend": LEGEND,
            "due": due_of_network(self.actor, self.network) if self.may("return.check") else None,
            "year_before": year - 1 if begun < year else None,
            "year_after": year + 1 if year < self.today.year else None,
        }
        return self.show(request, context, status=422 if form.errors else 200)


class CountyYearMapView(OfYear):
    """What the map of the report draws."""

    def get(self, request: HttpRequest, slug: str, year: int) -> HttpResponse:
        funders: set[str] = set()
        every = self.summers(year)
        for line in every:
            funders |= set(line.funders)
        districts = list(districts_of(self.actor, self.network))
        form = CountyYearForm(
            request.GET, districts=[(str(row.public_id), row.name) for row in districts], funders=sorted(funders)
        )
        said = form.said()
        lines = [line for line in (self.summers(year, said) if said else every) if line.year == year]
        base = map_data(self.network, districts, list(villages_of(self.actor, self.network)), [])
        response = JsonResponse(year_map(base, self.sites(lines)))
        response.headers["X-Robots-Tag"] = "noindex"
        return response
