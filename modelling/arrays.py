"""Between contracts and the core: requests become questions, results become answers. NumPy ends here."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Mapping
from dataclasses import fields
from datetime import date
from typing import Any, Final

import numpy as np
import orjson
from numpy.typing import NDArray
from pydantic import BaseModel

from modelling import contracts
from modelling.core import plan as core

SIGNIFICANT: Final = 6

# ------------------------------------------------------------------ requests


def _plain(value: object) -> Any:
    """A contract object as the core's own dataclass, by the names of the fields."""
    if isinstance(value, tuple):
        return tuple(_plain(item) for item in value)
    if not isinstance(value, BaseModel):
        return value
    kind = getattr(core, type(value).__name__)
    names = {f.name for f in fields(kind)}
    given = {name: _plain(getattr(value, name)) for name in type(value).model_fields if name in names}
    return kind(**given)


def site_of(site: contracts.Site) -> core.Site:
    """The core's site."""
    found: core.Site = _plain(site)
    return found


def plan_of(plan: contracts.Plan) -> core.Plan:
    """The core's plan."""
    found: core.Plan = _plain(plan)
    return found


def question_of(
    request: contracts.EstimateRequest | contracts.ComparisonRequest, plan: contracts.Plan, draws: int, as_of: date
) -> core.Question:
    """The core's question for one plan."""
    return core.Question(
        site=site_of(request.site),
        plan=plan_of(plan),
        as_of=as_of,
        quadrat_area_m2=request.quadrat_area_m2,
        horizon_years=request.horizon_years,
        draws=draws,
        random_seed=request.random_seed,
        world_seed=request.world_seed,
    )


# ------------------------------------------------------------------ canonical text


def rounded(value: Any, *, money: bool = False) -> Any:
    """The same structure with floats to six significant digits, pounds (`*_gbp`) to the penny.

    What stands under `inputs` is kept to the last digit, so that the recipe makes the same answer again. Infinite
    numbers are refused.
    """
    if isinstance(value, dict):
        return {
            key: item if key == "inputs" else rounded(item, money=str(key).endswith("_gbp"))
            for key, item in value.items()
        }
    if isinstance(value, list | tuple):
        return [rounded(item) for item in value]
    if isinstance(value, bool | int | str) or value is None:
        return value
    if isinstance(value, date):
        return value.isoformat()
    number = float(value)
    if not np.isfinite(number):
        raise ValueError("a result is infinite or not a number")
    if money:
        return round(number, 2)
    return float(f"{number:.{SIGNIFICANT}g}")


def canonical_text(answer: dict[str, Any]) -> str:
    """Canonical JSON: sorted keys, no spaces, six significant digits."""
    return orjson.dumps(rounded(answer), option=orjson.OPT_SORT_KEYS).decode()


def checksum(text: str) -> str:
    """SHA-256 of a text."""
    return hashlib.sha256(text.encode()).hexdigest()


# ------------------------------------------------------------------ kept draws


def packed(draws: Mapping[str, NDArray[np.float32]]) -> bytes:
    """Named arrays as one compressed `.npz`, little-endian float32 on every machine."""
    file = io.BytesIO()
    arrays: dict[str, Any] = {name: array.astype("<f4") for name, array in draws.items()}
    np.savez_compressed(file, **arrays)
    return file.getvalue()


def unpacked(packed_draws: bytes | memoryview) -> dict[str, NDArray[np.float32]]:
    """The arrays of `packed` by name, shape (draws,) each."""
    with np.load(io.BytesIO(packed_draws), allow_pickle=False) as file:
        return {name: file[name].astype(np.float32) for name in file.files}
