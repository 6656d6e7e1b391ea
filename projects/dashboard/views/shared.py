"""What the pages that show an estimate have in common: reading the address, asking the service, refusing."""

from typing import Any
from urllib.parse import parse_qsl

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.utils import timezone
from django.views import View

from modelling import contracts, services
from modelling.errors import FieldError, RequestRefused
from projects.api.errors import Problem
from projects.api.throttling import charge
from projects.dashboard.forms.plan import PlanForm


class EstimateBase(View):
    """A page whose address is the recipe of an estimate. A subclass says what to make of the answer."""

    http_method_names = ["get", "head"]

    def get(self, request: HttpRequest) -> HttpResponse:
        form = PlanForm(request.GET)
        if not form.is_valid():
            form.add_refusals(faults(form))
            return refused(request, form)
        today = timezone.localdate()
        changes = {} if form.cleaned_data["as_of"] else {"as_of": today.isoformat()}
        query = form.query(**changes)
        if said(query) != said(request.META["QUERY_STRING"]):
            return unindexed(HttpResponseRedirect(f"{request.path}?{query}"))
        try:
            asked, lowered = services.fit_draws(services.read_estimate(form.asked()), settings.LARGEST_CALL_CELLS)
            charge(request, services.cost_in_cells(asked))
            answer = services.estimate_now(asked, today=today, lowered=lowered)
            context = self.context(request, form, answer, query)
        except RequestRefused as refusal:
            form.add_refusals(refusal.errors)
            return refused(request, form)
        except Problem as problem:
            return too_many(request, problem)
        return unindexed(render(request, self.template_name, context | {"form": form, "query": query}))

    template_name = ""

    def context(self, request: HttpRequest, form: PlanForm, answer: dict[str, Any], query: str) -> dict[str, Any]:
        """Return what the template shows."""
        raise NotImplementedError


def said(query: str) -> list[tuple[str, str]]:
    """Return what a query says, whatever the order it is said in."""
    return sorted(parse_qsl(query, keep_blank_values=True))


def faults(form: PlanForm) -> list[FieldError]:
    """Return what the service would refuse in the rest of a form, so that all faults are shown at once."""
    asked = form.asked()
    site = {"area_m2": contracts.MAX_AREA_M2, **asked["site"]}
    try:
        services.read_estimate({**asked, "site": site})
    except RequestRefused as refusal:
        return refusal.errors
    return []


def refused(request: HttpRequest, form: PlanForm) -> HttpResponse:
    """Return the form with what is wrong beside each field, and everything typed kept."""
    return unindexed(render(request, "dashboard/plan.html", {"form": form}, status=422))


def too_many(request: HttpRequest, problem: Problem) -> HttpResponse:
    """Return the page for an address that has used up its minute."""
    wait = problem.headers.get("Retry-After", "60")
    response = unindexed(render(request, "429.html", {"wait": wait}, status=problem.status))
    for name, value in problem.headers.items():
        response.headers[name] = value
    return response


def unindexed(response: HttpResponse) -> HttpResponse:
    """Ask search engines to leave a page out: its address may describe somebody's ground."""
    response.headers["X-Robots-Tag"] = "noindex"
    return response
