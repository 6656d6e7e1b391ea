"""A blend for a site: how many grams of each lot, mix and top-up meet targets of live seeds per m2, at least cost.

An integer programme (HiGHS, through SciPy): whole grams of each, whole packs of what is bought. Where no blend meets
all targets, a second solve says which are missed and by how little they can be.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from modelling.core.distributions import Array

#: relative difference below which a target counts as met: the solver's own tolerance
_SLACK: Final = 1e-6
#: branches after which the search gives up and says so; counted, so that a slow machine answers alike
_MOST_NODES: Final = 20_000
#: optimal, by SciPy's count of outcomes
_OPTIMAL: Final = 0
#: weight of money in the solve that misses least: breaks ties alone
_TIE: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Pack:
    """A size sold, g, and its price."""

    grams: int
    price: float


@dataclass(frozen=True, slots=True)
class Source:
    """Seed that may go in.

    Parameters
    ----------
    id
        Name of it, different from the others'.
    live_per_g
        Target -> live seeds in a gram that count towards it, on average.
    grams
        Most there is; None for what is bought.
    price_per_g
        Of what is there.
    packs
        Of what is bought; empty for what is there.
    scarce
        How dear a gram is where scarce seed is to be spared.
    """

    id: str
    live_per_g: Mapping[str, float]
    grams: int | None = None
    price_per_g: float = 0.0
    packs: tuple[Pack, ...] = ()
    scarce: float = 0.0


@dataclass(frozen=True, slots=True)
class Target:
    """Live seeds per m2, at least and at most; None is no such limit."""

    id: str
    least: float | None = None
    most: float | None = None


@dataclass(frozen=True, slots=True)
class Missed:
    """A target that cannot be met: what the nearest blend reaches, and by how much it misses, live seeds per m2."""

    target: str
    reached: float
    by: float


@dataclass(frozen=True, slots=True)
class Blend:
    """Grams of each source, packs bought, cost, and live seeds per m2 by target; `missed` is empty if all are met."""

    grams: Mapping[str, int]
    packs: Mapping[str, Mapping[int, int]]
    cost: float
    live_per_m2: Mapping[str, float]
    missed: tuple[Missed, ...] = ()
    proven: bool = True


def blend(sources: Sequence[Source], targets: Sequence[Target], area_m2: float, *, spare_scarce: bool) -> Blend:
    """The best blend for an area: least cost, or least scarce seed and then least cost."""
    programme = _Programme(sources, targets, area_m2)
    goals = [programme.scarce, programme.cost] if spare_scarce else [programme.cost]
    # of what is equally good, the least seed: what is free is not for strewing about
    goals.append(programme.weight)
    held: list[tuple[Array, float]] = []
    found, proven = None, True
    for goal in goals:
        better = programme.solve(goal, elastic=False, held=held)
        if better is None:
            break
        found, proven = better[0], proven and better[1]
        held.append((goal, float((goal * found).sum()) * (1 + _SLACK) + _SLACK))
    if found is not None:
        return programme.told(found, proven)
    nearest = programme.solve((programme.cost + programme.weight) * _TIE, elastic=True, held=[])
    if nearest is None:
        raise ArithmeticError("the solver found no blend at all, though an empty one misses each target")
    return programme.told(*nearest)


class _Programme:
    """Columns: grams of each source, packs of each size, then what each target is missed by, relative to it."""

    def __init__(self, sources: Sequence[Source], targets: Sequence[Target], area_m2: float) -> None:
        self.sources, self.targets, self.area = sources, targets, area_m2
        self.sold = [(s, pack) for s, source in enumerate(sources) for pack in source.packs]
        self.limits = [(t, side) for t, target in enumerate(targets) for side in ("least", "most") if _of(target, side)
                       is not None]  # fmt: skip
        self.amounts = len(sources)
        self.columns = self.amounts + len(self.sold) + len(self.limits)
        self.per_m2 = np.array(
            [[source.live_per_g.get(target.id, 0.0) / area_m2 for source in sources] for target in targets]
        ).reshape(len(targets), len(sources))
        self.cost = self.column([source.price_per_g for source in sources], [pack.price for _, pack in self.sold])
        self.scarce = self.column([source.scarce for source in sources], [0.0] * len(self.sold))
        self.weight = self.column([1.0] * len(sources), [0.0] * len(self.sold))

    def column(self, amounts: Sequence[float], packs: Sequence[float]) -> Array:
        return np.array([*amounts, *packs, *[0.0] * len(self.limits)], dtype=np.float64)

    def enough(self, source: Source) -> int:
        """Grams beyond which more of what is bought meets no target better."""
        most = 0.0
        for target in self.targets:
            rate = source.live_per_g.get(target.id, 0.0)
            if target.least is not None and rate > 0:
                most = max(most, target.least * self.area / rate)
        return math.ceil(most)

    def solve(self, cost: Array, *, elastic: bool, held: Sequence[tuple[Array, float]]) -> tuple[Array, bool] | None:
        """The best columns and whether they are proven; None where the targets cannot be met.

        `held`: goals of earlier solves, with the most that each may come to.
        """
        upper = np.full(self.columns, np.inf)
        integer = np.zeros(self.columns)
        for s, source in enumerate(self.sources):
            upper[s] = source.grams if source.grams is not None else self.enough(source)
            integer[s] = 1
        for p, (s, pack) in enumerate(self.sold):
            upper[self.amounts + p] = math.ceil(upper[s] / pack.grams)
            integer[self.amounts + p] = 1
        first = self.amounts + len(self.sold)
        if not elastic:
            upper[first:] = 0.0
        rows, low, high = [], [], []
        for e, (t, side) in enumerate(self.limits):
            aim = float(_of(self.targets[t], side) or 0.0)
            row = np.zeros(self.columns)
            row[: self.amounts] = self.per_m2[t]
            row[first + e] = max(aim, 1.0) if side == "least" else -max(aim, 1.0)
            rows.append(row)
            low.append(aim if side == "least" else -np.inf)
            high.append(np.inf if side == "least" else aim)
        for s, source in enumerate(self.sources):
            if source.packs:
                row = np.zeros(self.columns)
                row[s] = 1
                for p, (sold, pack) in enumerate(self.sold):
                    if sold == s:
                        row[self.amounts + p] = -pack.grams
                rows.append(row)
                low.append(-np.inf)
                high.append(0.0)
        for goal, most in held:
            rows.append(goal)
            low.append(-np.inf)
            high.append(most)
        objective = cost.copy()
        if elastic:
            objective[first:] = 1.0
        found = milp(
            objective, integrality=integer, bounds=Bounds(np.zeros(self.columns), upper),
            constraints=LinearConstraint(csr_array(np.array(rows)), np.array(low), np.array(high)) if rows else (),
            options={"mip_rel_gap": 0.0, "node_limit": _MOST_NODES, "presolve": True},
        )  # fmt: skip
        if found.x is None:
            return None
        return np.asarray(found.x), bool(found.status == _OPTIMAL)

    def told(self, x: Array, proven: bool) -> Blend:
        """Whole grams and packs, and what they come to."""
        grams = {source.id: round(x[s]) for s, source in enumerate(self.sources) if round(x[s])}
        packs: dict[str, dict[int, int]] = {}
        for p, (s, pack) in enumerate(self.sold):
            count = round(x[self.amounts + p])
            if count:
                packs.setdefault(self.sources[s].id, {})[pack.grams] = count
        used = np.array([grams.get(source.id, 0) for source in self.sources], dtype=np.float64)
        reached = (self.per_m2 * used).sum(axis=1)
        cost = sum(source.price_per_g * grams.get(source.id, 0) for source in self.sources)
        cost += sum(
            pack.price * packs.get(self.sources[s].id, {}).get(pack.grams, 0) for s, pack in self.sold
        )  # fmt: skip
        missed = []
        for t, target in enumerate(self.targets):
            value = float(reached[t])
            by = max((target.least or 0.0) - value, value - target.most if target.most is not None else 0.0, 0.0)
            if by > _SLACK * max(target.least or 0.0, 1.0):
                missed.append(Missed(target.id, value, by))
        live = {target.id: float(reached[t]) for t, target in enumerate(self.targets)}
        return Blend(grams, packs, float(cost), live, tuple(missed), proven)


def _of(target: Target, side: str) -> float | None:
    return target.least if side == "least" else target.most
