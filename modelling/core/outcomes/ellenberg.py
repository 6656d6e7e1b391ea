"""What the plants say of the richness of the soil: mean British Ellenberg N, plain and by cover.

British values only (Hill and others). Plants without one are left out, and how much was left out is told.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from modelling.core.distributions import Array
from modelling.core.parameters import ParameterSet

TABLE = "british_ellenberg"


@dataclass(frozen=True, slots=True)
class Ellenberg:
    """Means are None where nothing could be used.

    Attributes
    ----------
    unweighted, by_cover
        Mean N of the kinds; of the kinds by their cover.
    kinds_used, kinds
        Kinds with a value; kinds.
    cover_used_share
        Share of the cover that belongs to kinds with a value.
    """

    unweighted: float | None
    by_cover: float | None
    kinds_used: int
    kinds: int
    cover_used_share: float | None


def values_of(parameters: ParameterSet, slugs: tuple[str, ...]) -> Array:
    """British N of each scientific name, NaN where there is none."""
    found = (parameters.find(TABLE, slug, "ellenberg_n") for slug in slugs)
    return np.array([np.nan if row is None else row.middle for row in found])


def mean_n(values: Array, covers: Array | None) -> Ellenberg:
    """Mean N of kinds with these values, and by these covers where they are known."""
    used = ~np.isnan(values)
    plain = float(values[used].mean()) if used.any() else None
    by_cover = share = None
    if covers is not None and covers.sum() > 0:
        share = float(covers[used].sum() / covers.sum())
        if covers[used].sum() > 0:
            by_cover = float((values[used] * covers[used]).sum() / covers[used].sum())
    return Ellenberg(plain, by_cover, int(used.sum()), len(values), share)
