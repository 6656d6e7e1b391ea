"""What was sown against what came: which sown kinds were met, and how many of the kinds in a quadrat are sown."""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass

import numpy as np

from modelling.core.distributions import Array
from modelling.core.outcomes.found import Plant, Stand


@dataclass(frozen=True, slots=True)
class Sown:
    """Sown kinds met and not met, and their number in each quadrat, (quadrats,)."""

    met: tuple[str, ...]
    not_met: tuple[str, ...]
    per_quadrat: Array


def sown_kinds(stand: Stand, sown: Set[str], elsewhere: tuple[Plant, ...] = ()) -> Sown:
    """Sown kinds in the quadrats, or met elsewhere on the site. A group is not one of the kinds that it may be."""
    columns = [j for j, plant in enumerate(stand.plants) if plant.key in sown]
    met = {stand.plants[j].key for j in columns} | {plant.key for plant in elsewhere if plant.key in sown}
    per_quadrat = stand.present[:, columns].sum(axis=1).astype(np.float64)
    return Sown(tuple(sorted(met)), tuple(sorted(sown - met)), per_quadrat)
