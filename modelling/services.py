"""The front door of the modelling app: read a request, answer it. Nothing is stored."""

from __future__ import annotations

from datetime import date
from typing import Any, Final, TypeVar

from modelling import answers, arrays, contracts
from modelling.answer_parts import THRESHOLDS
from modelling.arrays import canonical_text
from modelling.core import estimate as core
from modelling.core.errors import InputError
from modelling.errors import FieldError, RequestRefused, pointer_of
from modelling.reading import plan_keys, read_comparison, read_estimate
from modelling.selectors import parameters, taxa_of_mix

__all__ = [
    "canonical_text", "compare_now", "cost_in_cells", "estimate_now", "fit_draws", "read_comparison", "read_estimate",
]  # fmt: skip

FORECASTS: Final = 2
ADDED_OPTIONS: Final = 2
#: taxa in the longest mix that the service sows where a plan leaves the seed to it
USUAL_TAXA: Final = 23

R = TypeVar("R", contracts.EstimateRequest, contracts.ComparisonRequest)
Request = contracts.EstimateRequest | contracts.ComparisonRequest

# ------------------------------------------------------------------ size


def cost_in_cells(request: Request) -> int:
    """Size of a call: draws x taxa x zones x years x options x forecasts."""
    return (request.draws or _default_draws(request)) * _cells_per_draw(request)


def _cells_per_draw(request: Request) -> int:
    plans = [request.plan] if isinstance(request, contracts.EstimateRequest) else [o.plan for o in request.options]
    added = 0 if isinstance(request, contracts.EstimateRequest) else ADDED_OPTIONS
    taxa = max(_taxa(plan) for plan in plans)
    zones = max(_zones(plan) for plan in plans)
    return max(taxa, 1) * zones * request.horizon_years * (len(plans) + added) * FORECASTS


def _taxa(plan: contracts.Plan) -> int:
    """Number of taxa a plan follows."""
    named: set[str] = set()
    for table, key, _ in plan_keys(plan, ()):
        if table == "taxa":
            named.add(key)
        elif table == "mixes":
            named.update(taxa_of_mix(key))
    left_to_us = plan.seed is None and plan.steps is None
    return len(named) + (USUAL_TAXA if left_to_us else 0)


def _zones(plan: contracts.Plan) -> int:
    """Strips and zones a plan follows, and the rest of the ground."""
    shares: dict[tuple[object, ...], float] = {}
    for step in plan.steps or ():
        if step.zone is not None or step.area_share < 1:
            ground = (step.zone,) if step.zone is not None else (step.area_share, step.on.year)
            shares[ground] = max(step.area_share, shares.get(ground, 0.0))
    return len(shares) + (sum(shares.values()) < 1)


def fit_draws(request: R, limit_cells: int) -> tuple[R, bool]:
    """The request with draws that fit the limit, and whether they were lowered.

    Draws left out are lowered to fit; stated draws that do not fit are refused with the largest that would.
    """
    per_draw = _cells_per_draw(request)
    largest = limit_cells // per_draw
    least = contracts.LEAST_DRAWS
    draws = request.draws or _default_draws(request)
    if draws <= largest:
        return request.model_copy(update={"draws": draws}), False
    if largest < least:
        text = (
            f"This call is too large even with {least} draws: {per_draw * least:,} cells (draws x plants x zones x "
            f"years x options x 2), and {limit_cells:,} are allowed. Ask for fewer options, plants, zones or years."
        )
        raise RequestRefused([FieldError("", "too_costly", text, None, "a smaller request")])
    if request.draws is not None:
        text = (
            f"{draws:,} draws make {draws * per_draw:,} cells (draws x plants x zones x years x options x 2); "
            f"{limit_cells:,} are allowed, so at most {largest:,} draws."
        )
        raise RequestRefused([FieldError("/draws", "too_costly", text, draws, f"at most {largest}")])
    return request.model_copy(update={"draws": largest}), True


def _default_draws(request: Request) -> int:
    if isinstance(request, contracts.ComparisonRequest):
        return contracts.DEFAULT_COMPARISON_DRAWS
    return contracts.DEFAULT_DRAWS


# ------------------------------------------------------------------ answering


def estimate_now(request: contracts.EstimateRequest, *, today: date, lowered: bool = False) -> dict[str, Any]:
    """Answer one request at once, as plain values shaped as `contracts.EstimateAnswer`.

    Raises
    ------
    RequestRefused
        If the plan cannot be carried out as asked.
    """
    known = parameters()
    as_of = request.as_of or today
    draws = request.draws or contracts.DEFAULT_DRAWS
    question = arrays.question_of(request, request.plan, draws, as_of)
    with _refusing():
        found = core.estimate(known, question)
    return answers.estimate_answer(known, request, found, lowered)


def compare_now(request: contracts.ComparisonRequest, *, today: date, lowered: bool = False) -> dict[str, Any]:
    """Answer a comparison at once, shaped as `contracts.ComparisonAnswer`; raises as `estimate_now`."""
    known = parameters()
    as_of = request.as_of or today
    draws = request.draws or contracts.DEFAULT_COMPARISON_DRAWS
    question = arrays.question_of(request, request.options[0].plan, draws, as_of)
    options = tuple((option.name, arrays.plan_of(option.plan)) for option in request.options)
    with _refusing():
        found, flags = core.compare(known, question, options, THRESHOLDS)
    return answers.comparison_answer(known, request, question, found, flags, lowered)


class _refusing:
    """Turn the core's refusals into ours."""

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        if isinstance(error, InputError):
            detail = error.detail[:1].upper() + error.detail[1:]
            found = FieldError(
                pointer_of(error.field), error.code, detail, error.value, error.expected, list(error.suggestions)
            )
            raise RequestRefused([found]) from error
