"""What was found, as the core takes it: kinds of plant, quadrats, and the arrays that everything is worked out from.

Only vascular plants count. A group ("some dock", "Carex", "grass") does not count beside a plant that it may be.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from modelling.core.distributions import Array
from modelling.core.outcomes.scales import Cover

Flags = NDArray[np.bool_]

SOWN: Final = "sown"
CONTROL: Final = "control"
MOSS: Final = "moss"
GRASS: Final = "grass"
SEDGE: Final = "sedge"
RUSH: Final = "rush"
FORB: Final = "forb"
UNKNOWN: Final = "unknown"


@dataclass(frozen=True, slots=True)
class Plant:
    """One kind of plant as it was written down.

    Attributes
    ----------
    key
        Key of the table of plants, or the written name in small letters.
    name
        In words.
    settled
        Whether the name was settled into a key.
    kind
        forb, grass, sedge, rush, fern, woody, moss or unknown.
    slug
        Scientific name in small letters with underscores, for lists that go by name; else empty.
    genus
        In small letters, or empty.
    may_be
        For a group, the keys of the plants that it may be.
    is_genus
        Whether it is a whole genus: it may be any plant of it.
    """

    key: str
    name: str
    settled: bool = True
    kind: str = UNKNOWN
    slug: str = ""
    genus: str = ""
    may_be: frozenset[str] = frozenset()
    is_genus: bool = False

    @property
    def vascular(self) -> bool:
        """Whether it counts at all: mosses, liverworts and lichens do not."""
        return self.kind != MOSS

    def covers(self, other: Plant) -> bool:
        """Whether this is a group and the other a plant that it may be."""
        if self.key == other.key:
            return False
        return other.key in self.may_be or (
            self.is_genus and bool(self.genus) and self.genus == other.genus and not other.is_genus
        )


@dataclass(frozen=True, slots=True)
class Sighting:
    """One kind of plant in one quadrat, with its cover where that was judged."""

    plant: Plant
    cover: Cover | None = None


@dataclass(frozen=True, slots=True)
class Square:
    """One quadrat. Covers are shares of its area."""

    label: str
    part: str
    area_m2: float
    sightings: tuple[Sighting, ...] = ()
    bare_ground: float | None = None
    litter: float | None = None
    forb_cover: float | None = None
    sward_height_m: float | None = None
    rattle_plants: int | None = None


def distinct(plants: Iterable[Plant]) -> tuple[Plant, ...]:
    """Vascular kinds that are surely different, by key: a group not beside a plant that it may be."""
    by_key = {plant.key: plant for plant in plants if plant.vascular}
    kinds = [by_key[key] for key in sorted(by_key)]
    return tuple(
        plant
        for plant in kinds
        if not ((plant.may_be or plant.is_genus) and any(plant.covers(other) for other in kinds))
    )


@dataclass(frozen=True)
class Stand:
    """The quadrats of one part of a meadow and of one size, as arrays.

    Attributes
    ----------
    area_m2
        Size of the quadrats.
    squares
        The quadrats.
    plants
        Kinds that count over all of them, by key.
    left_out
        Quadrats of another size.
    counts
        Kinds in each quadrat, (quadrats,).
    present
        (quadrats, kinds)
    low, middle, high
        Cover as a share, (quadrats, kinds): 0 where absent, NaN where present without a cover.
    """

    area_m2: float
    squares: tuple[Square, ...]
    plants: tuple[Plant, ...]
    left_out: int
    counts: NDArray[np.int64]
    present: Flags
    low: Array
    middle: Array
    high: Array

    @property
    def n(self) -> int:
        """Number of quadrats."""
        return len(self.squares)

    @property
    def in_quadrats(self) -> NDArray[np.int64]:
        """How many quadrats hold each kind, (kinds,)."""
        return np.asarray(self.present.sum(axis=0), dtype=np.int64)

    def has_covers(self) -> bool:
        """Whether every plant in every quadrat has a cover."""
        return bool(self.present.any()) and not bool(np.isnan(self.middle).any())


def stand_of(squares: Iterable[Square], usual_area_m2: float) -> Stand:
    """The quadrats of the commonest size as arrays; of sizes equally common the usual one, then the largest."""
    given = tuple(squares)
    sizes: dict[float, int] = {}
    for square in given:
        sizes[square.area_m2] = sizes.get(square.area_m2, 0) + 1
    area = max(sizes, key=lambda a: (sizes[a], a == usual_area_m2, a), default=usual_area_m2)
    kept = tuple(square for square in given if square.area_m2 == area)
    plants = distinct(sighting.plant for square in kept for sighting in square.sightings)
    column = {plant.key: j for j, plant in enumerate(plants)}
    shape = (len(kept), len(plants))
    present = np.zeros(shape, dtype=bool)
    low, middle, high = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    counts = np.zeros(len(kept), dtype=np.int64)
    for i, square in enumerate(kept):
        counts[i] = len(distinct(sighting.plant for sighting in square.sightings))
        for sighting in square.sightings:
            j = column.get(sighting.plant.key)
            if j is None:
                continue
            cover = sighting.cover
            none = (np.nan, np.nan, np.nan)
            values = none if cover is None else (cover.low, cover.middle, cover.high)
            # written twice in one quadrat: the larger cover holds, and any cover says more than none
            if not present[i, j] or np.isnan(middle[i, j]) or (cover is not None and cover.middle > middle[i, j]):
                low[i, j], middle[i, j], high[i, j] = values
            present[i, j] = True
    return Stand(area, kept, plants, len(given) - len(kept), counts, present, low, middle, high)
