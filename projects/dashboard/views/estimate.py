"""The estimate and its sheets. The address is the recipe: nothing is stored."""

import json
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from modelling import services
from modelling.errors import RequestRefused
from modelling.selectors import vocabularies
from projects.api.throttling import charge
from projects.dashboard.forms.plan import PlanForm
from projects.dashboard.pages.estimate import EstimatePage
from projects.dashboard.pages.sheets import SowingDay
from projects.dashboard.pages.ways import other_ways
from projects.dashboard.views.shared import EstimateBase, unindexed

MOST_STRIPS = 60


class EstimateView(EstimateBase):
    """The estimate as a short report."""

    template_name = "dashboard/estimate.html"

    def context(self, request: HttpRequest, form: PlanForm, answer: dict[str, Any], query: str) -> dict[str, Any]:
        asked = form.asked()
        comparison, not_compared = None, ""
        try:
            comparison = self.compare(
                request, other_ways(asked, answer, [mix["key"] for mix in vocabularies()["mixes"]])
            )
        except RequestRefused as refusal:
            # The plan itself was answered; that its variants cannot be is told in their place.
            not_compared = " ".join(error.detail for error in refusal.errors)
        return {
            "answer": answer,
            "page": EstimatePage(answer, comparison, not_compared),
            "call": json.dumps(asked, indent=2, ensure_ascii=False),
            "unknown": form.unknown,
            "hidden": others(request, "area_m2"),
        }

    @staticmethod
    def compare(request: HttpRequest, asked: dict[str, Any]) -> dict[str, Any]:
        """Answer the comparison, charged like any other."""
        ways, lowered = services.fit_draws(services.read_comparison(asked), settings.LARGEST_CALL_CELLS)
        charge(request, services.cost_in_cells(ways))
        return services.compare_now(ways, today=timezone.localdate(), lowered=lowered)


class PlanSheetView(EstimateBase):
    """The plan on two sides of A4."""

    template_name = "dashboard/plan_sheet.html"

    def context(self, request: HttpRequest, form: PlanForm, answer: dict[str, Any], query: str) -> dict[str, Any]:
        return {"answer": answer, "page": EstimatePage(answer)}


class SowingDayView(EstimateBase):
    """The sheet for the day of sowing. `strips` in the address changes the number of strips."""

    template_name = "dashboard/sowing_day.html"

    def context(self, request: HttpRequest, form: PlanForm, answer: dict[str, Any], query: str) -> dict[str, Any]:
        strips = request.GET.get("strips", "")
        given = int(strips) if strips in map(str, range(1, MOST_STRIPS + 1)) else None
        return {
            "answer": answer,
            "page": SowingDay(answer, given),
            "hidden": others(request, "strips"),
            "most_strips": MOST_STRIPS,
        }


def others(request: HttpRequest, changed: str) -> list[tuple[str, str]]:
    """Return what the address says apart from the one thing that a small form on the page changes."""
    return [(name, value) for name in request.GET if name != changed for value in request.GET.getlist(name)]


def plan(request: HttpRequest) -> HttpResponse:
    """Show the form, filled in with what the address says."""
    response = render(request, "dashboard/plan.html", {"form": PlanForm(initial=request.GET)})
    return unindexed(response) if request.GET else response
