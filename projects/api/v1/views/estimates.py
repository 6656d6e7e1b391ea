"""Ask what a meadow needs, costs and becomes. Nothing is stored, and no account is needed."""

from collections.abc import Callable
from typing import Any, TypeVar

from django.conf import settings
from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from modelling import services
from modelling.contracts import ComparisonAnswer, ComparisonRequest, EstimateAnswer, EstimateRequest
from projects.api.base import ApiView
from projects.api.throttling import charge

R = TypeVar("R", EstimateRequest, ComparisonRequest)


def answer(request: Request, asked: R, compute: Callable[..., dict[str, Any]]) -> HttpResponse:
    """Fit the draws, charge the caller, compute, and answer with the canonical text itself."""
    asked, lowered = services.fit_draws(asked, settings.LARGEST_CALL_CELLS)
    charge(request, services.cost_in_cells(asked))
    found = compute(asked, today=timezone.localdate(), lowered=lowered)
    return HttpResponse(services.canonical_text(found), content_type="application/json")


class EstimatesView(ApiView):
    """Answers one question about one site."""

    @extend_schema(
        operation_id="estimate",
        summary="What one site needs, costs and becomes",
        description=(
            "Only the area is needed. What is left out is planned or assumed, and the answer says so. The answer is "
            "canonical JSON (sorted keys, six significant digits): the same request, with its `as_of`, gives the same "
            "text on the same release."
        ),
        tags=["estimates"],
        request=EstimateRequest,
        responses={200: EstimateAnswer},
    )
    def post(self, request: Request) -> HttpResponse:
        return answer(request, services.read_estimate(self.read_object(request)), services.estimate_now)


class ComparisonsView(ApiView):
    """Answers one question about several plans for one site."""

    @extend_schema(
        operation_id="comparison",
        summary="Several plans for one site, side by side on the same draws",
        description=(
            "Changing the mowing only, and waiting a year, are always added. Options that another one beats on both "
            "cost and species are marked."
        ),
        tags=["estimates"],
        request=ComparisonRequest,
        responses={200: ComparisonAnswer},
    )
    def post(self, request: Request) -> HttpResponse:
        return answer(request, services.read_comparison(self.read_object(request)), services.compare_now)
