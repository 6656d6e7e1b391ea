"""The front door of the modelling app: read a request, answer it, and store the answer where that is asked."""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Iterable
from datetime import date
from typing import Any, Final, TypeVar
from uuid import UUID

import orjson
from django.db import IntegrityError, transaction

from modelling import answers, arrays, contracts
from modelling.answer_parts import THRESHOLDS
from modelling.arrays import canonical_text
from modelling.core import estimate as core
from modelling.core.plan import Question
from modelling.errors import FieldError, RequestRefused, refusing
from modelling.models import ModelRun, ParameterSet
from modelling.reading import plan_keys, read_comparison, read_estimate
from modelling.release import MODEL_VERSION, RELEASE
from modelling.selectors import parameters, reference_content, runs_of, taxa_of_mix

__all__ = [
    "canonical_text", "compare_now", "cost_in_cells", "estimate_now", "fit_draws", "random_seed_of", "read_comparison",
    "read_estimate", "run_estimate_stored", "runs_stored_already",
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
    with refusing():
        found = core.estimate(known, _question(request, today))
    return answers.estimate_answer(known, request, found, lowered)


def _question(request: contracts.EstimateRequest, today: date) -> Question:
    """The core's question, with the draws and the date filled in."""
    draws = request.draws or contracts.DEFAULT_DRAWS
    return arrays.question_of(request, request.plan, draws, request.as_of or today)


def compare_now(request: contracts.ComparisonRequest, *, today: date, lowered: bool = False) -> dict[str, Any]:
    """Answer a comparison at once, shaped as `contracts.ComparisonAnswer`; raises as `estimate_now`."""
    known = parameters()
    as_of = request.as_of or today
    draws = request.draws or contracts.DEFAULT_COMPARISON_DRAWS
    question = arrays.question_of(request, request.options[0].plan, draws, as_of)
    options = tuple((option.name, arrays.plan_of(option.plan)) for option in request.options)
    with refusing():
        found, flags = core.compare(known, question, options, THRESHOLDS)
    return answers.comparison_answer(known, request, question, found, flags, lowered)


# ------------------------------------------------------------------ stored runs


def random_seed_of(public_id: UUID) -> int:
    """Random seed of a stored project, 0 to 2**63 - 1, from a hash of its public id: projects do not share luck."""
    digest = hashlib.sha256(b"random_seed\0" + public_id.bytes).digest()
    return int.from_bytes(digest[:8], "big") >> 1


def run_estimate_stored(request: contracts.EstimateRequest, *, today: date) -> ModelRun:
    """The stored run of a request, worked out and stored if need be: the same request gives the same row.

    Nothing is worked out inside a transaction, so that no one waits for a lock meanwhile.

    Raises
    ------
    RequestRefused
        If the plan cannot be carried out as asked, or asks for fewer draws than a stored run keeps.
    RuntimeError
        If a transaction is open and the run is not stored yet.
    """
    if request.draws is not None and request.draws < core.KEPT_DRAWS:
        text = f"A stored run keeps {core.KEPT_DRAWS} draws; {request.draws} are too few."
        raise RequestRefused([FieldError("/draws", "out_of_range", text, request.draws, f"at least {core.KEPT_DRAWS}")])
    known = parameters()
    question = _question(request, today)
    inputs = answers.inputs_of(request, question)
    recipe = {
        "kind": ModelRun.Kind.ESTIMATE,
        "inputs_checksum": answers.inputs_checksum(inputs),
        "release": RELEASE,
        "reference__checksum": known.checksum,
    }
    stored: ModelRun | None = ModelRun.objects.filter(**recipe).first()
    if stored is not None:
        return stored
    with transaction.atomic(durable=True):
        reference = _parameter_set(known.checksum)
    with refusing():
        found = core.estimate(known, question)
    text = canonical_text(answers.estimate_answer(known, request, found, lowered=False))
    run = ModelRun(
        kind=ModelRun.Kind.ESTIMATE,
        request=orjson.dumps(inputs, option=orjson.OPT_SORT_KEYS).decode(),
        inputs_checksum=recipe["inputs_checksum"],
        as_of=question.as_of,
        random_seed=question.random_seed,
        world_seed=question.world_seed,
        draws=question.draws,
        release=RELEASE,
        model_version=MODEL_VERSION,
        reference=reference,
        answer=text,
        answer_checksum=arrays.checksum(text),
        kept_draws=arrays.packed(core.kept_draws(found)),
    )
    return _added(run, **recipe)


def _parameter_set(checksum: str) -> ParameterSet:
    """The stored reference tables of a checksum, stored if need be."""
    stored: ParameterSet | None = ParameterSet.objects.defer("content").filter(checksum=checksum).first()
    if stored is not None:
        return stored
    content = reference_content()
    if hashlib.sha256(content).hexdigest() != checksum:
        raise RuntimeError("The reference tables on disk changed after they were read; start the program again.")
    return _added(ParameterSet(checksum=checksum, content=zlib.compress(content)), checksum=checksum)


M = TypeVar("M", ModelRun, ParameterSet)


def _added(row: M, **unique: Any) -> M:
    """The row, added; or the one that somebody else added since we looked."""
    # what is unique is for the database to say, since a rival may add the same row at any moment
    row.full_clean(validate_unique=False, validate_constraints=False)
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError:
        rival: M | None = type(row).objects.filter(**unique).first()
        if rival is None:
            raise
        return rival
    return row


def runs_stored_already(requests: Iterable[contracts.EstimateRequest], *, today: date) -> list[UUID | None]:
    """Public id of the stored run of each request, or None: one query for all."""
    checksums = [answers.inputs_checksum(answers.inputs_of(asked, _question(asked, today))) for asked in requests]
    found = runs_of(checksums)
    return [found.get(checksum) for checksum in checksums]
