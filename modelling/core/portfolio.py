"""What a pot could buy: the best set of bids, exactly, under limits that are never passed.

An integer programme (HiGHS, through SciPy). Costs, seed and days are whole numbers and checked exactly after each
solve; values are whole numbers too, so that equal sets are equal.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array, hstack

from modelling.core.distributions import Array

Mask = NDArray[np.bool_]
Whole = NDArray[np.int64]

POT: Final = "pot"
GROUP: Final = "per_group"
DISTRICT: Final = "per_district"
SEED: Final = "seed"
HARVESTER: Final = "harvester"
EXCLUSIVE: Final = "exclusive"
#: limits in money
PRICED: Final = (POT, GROUP, DISTRICT)
IN: Final = "in"
OUT: Final = "out"

#: values are rounded so that the largest bid is worth at most this many units: a millionth is below what the draws tell
FINEST: Final = 1_000_000
#: branches after which the search gives up and says so; counted rather than timed, so that a slow machine answers alike
MOST_NODES: Final = 100_000
#: relative difference below which two risk-averse values, which are not whole numbers, are the same
SAME: Final = 1e-7
#: coefficients are scaled below this, by powers of two, so that the solver's tolerance is far less than a penny
LARGEST: Final = 1024
#: solves that may be repeated because rounding passed a limit by a penny
MOST_REPAIRS: Final = 50
OPTIMAL: Final = 0


@dataclass(frozen=True, slots=True)
class Bid:
    """One bid: pence, milligrams of scarce seed by item, half-days of the harvester; `pinned` in, out or empty."""

    id: str
    cost: int
    group: str
    district: str
    seed: Mapping[str, int] = field(default_factory=dict)
    half_days: int = 0
    pinned: str = ""


@dataclass(frozen=True, slots=True)
class Limits:
    """Most that may be used; None is no limit. `exclusive`: sets of ids of which at most one is taken."""

    pot: int
    per_group: int | None = None
    per_district: int | None = None
    seed: Mapping[str, int] = field(default_factory=dict)
    half_days: int | None = None
    exclusive: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class Row:
    """One limit: `load` of each bid, shape (bids,), and the most there may be. `of`: group, district or item."""

    limit: str
    of: str
    load: Whole
    most: int

    def used(self, chosen: Mask) -> int:
        """What a set takes."""
        return int(self.load[chosen].sum())


@dataclass(frozen=True, slots=True)
class Over:
    """A limit passed, by how much, and the bids that share it."""

    limit: str
    of: str
    by: int
    ids: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Solution:
    """A set; `gap` is the most that a better one could add, as a share of its value."""

    chosen: Mask
    value: float
    proven: bool
    gap: float


@dataclass(frozen=True, slots=True)
class Goal:
    """What is to be as great as possible.

    Attributes
    ----------
    outcomes
        Draws of each bid's outcome, (bids, worlds); world d is the same for every bid.
    values
        Value of each bid, (bids,); values add up.
    worst_share
        Share of the worlds, the worst ones, that `worst_mean` is taken over.
    cautious
        Whether `worst_mean` is the goal, and not the sum of the values.
    """

    outcomes: Array
    values: Array
    worst_share: float
    cautious: bool = False

    def worst_mean(self, chosen: Mask) -> float:
        """Mean total outcome over the worst share of the worlds (conditional value at risk)."""
        total = np.sort(self.outcomes[chosen].sum(axis=0))
        worlds = total.size
        if worlds == 0:
            return 0.0
        tail = self.worst_share * worlds
        weight = np.clip(tail - np.arange(worlds), 0, 1)
        return float((total * weight).sum() / tail)

    def expected(self, chosen: Mask) -> float:
        """Mean total outcome."""
        total = self.outcomes[chosen].sum(axis=0)
        return float(total.mean()) if total.size else 0.0


def whole_values(values: Array) -> tuple[Whole, float]:
    """Values as whole numbers of a unit, and the unit: the largest is worth at most `FINEST` units."""
    most = float(values.max(initial=0.0))
    unit = most / FINEST if most > 0 else 1.0
    return np.rint(values / unit).astype(np.int64), unit


def rows_of(bids: Sequence[Bid], limits: Limits) -> list[Row]:
    """Every limit with what each bid takes of it."""
    cost = np.array([bid.cost for bid in bids], dtype=np.int64)
    out = [Row(POT, "", cost, limits.pot)]
    for limit, most, names in (
        (GROUP, limits.per_group, [bid.group for bid in bids]),
        (DISTRICT, limits.per_district, [bid.district for bid in bids]),
    ):
        if most is not None:
            for name in sorted(set(names)):
                own = np.array([name == other for other in names], dtype=np.int64)
                out.append(Row(limit, name, cost * own, most))
    for item in sorted(limits.seed):
        need = np.array([bid.seed.get(item, 0) for bid in bids], dtype=np.int64)
        out.append(Row(SEED, item, need, limits.seed[item]))
    if limits.half_days is not None:
        out.append(Row(HARVESTER, "", np.array([bid.half_days for bid in bids], dtype=np.int64), limits.half_days))
    for members in limits.exclusive:
        load = np.array([bid.id in members for bid in bids], dtype=np.int64)
        out.append(Row(EXCLUSIVE, ", ".join(sorted(members)), load, 1))
    return out


def scale_of(coefficients: Array | Whole) -> float:
    """Power of two by which coefficients are divided so that none is above `LARGEST`."""
    most = float(np.abs(coefficients).max(initial=0.0))
    return float(2 ** max(np.ceil(np.log2(most / LARGEST)), 0)) if most > 0 else 1.0


def not_again(chosen: Mask) -> tuple[Array, float]:
    """A cut that no set passes but this one: coefficients of the bids, and their most."""
    return np.where(chosen, 1.0, -1.0), float(chosen.sum()) - 1


class Chooser:
    """Chooses among bids. Bids are put in the order of their ids, so that the order they come in means nothing.

    Attributes
    ----------
    bids, rows
        Sorted bids; every limit.
    """

    def __init__(self, bids: Iterable[Bid], limits: Limits, goal: Goal) -> None:
        given = list(bids)
        order = sorted(range(len(given)), key=lambda index: given[index].id)
        self.bids = tuple(given[index] for index in order)
        self.goal = Goal(goal.outcomes[order], goal.values[order], goal.worst_share, goal.cautious)
        self.limits = limits
        self.rows = rows_of(self.bids, limits)
        self.n = len(self.bids)
        self.index = {bid.id: number for number, bid in enumerate(self.bids)}
        self.pins = {number: bid.pinned for number, bid in enumerate(self.bids) if bid.pinned}

    # ---------------------------------------------------------------- values

    @cached_property
    def whole(self) -> tuple[Whole, float]:
        """Values in whole units, and the unit."""
        return whole_values(self.goal.values)

    def value(self, chosen: Mask) -> float:
        """Value of a set in whole units, or of the risk-averse goal as it is."""
        if self.goal.cautious:
            return self.goal.worst_mean(chosen)
        return float(self.whole[0][chosen].sum())

    @property
    def unit(self) -> float:
        """What one unit of `value` is worth."""
        return 1.0 if self.goal.cautious else self.whole[1]

    def slack(self, value: float) -> float:
        """Difference from `value` that is none."""
        return SAME * abs(value) if self.goal.cautious else 1 / 2

    # ---------------------------------------------------------------- the programme

    @cached_property
    def objective(self) -> Array:
        """Coefficients of the value over all columns: the bids, and for the risk-averse goal a level and shortfalls."""
        if not self.goal.cautious:
            return self.whole[0].astype(np.float64)
        worlds = self.goal.outcomes.shape[1]
        tail = self.goal.worst_share * worlds
        return np.concatenate([np.zeros(self.n), [1.0], np.full(worlds, -1 / tail)])

    @cached_property
    def scenarios(self) -> LinearConstraint | None:
        """In each world: outcome - level + shortfall >= 0."""
        if not self.goal.cautious:
            return None
        worlds = self.goal.outcomes.shape[1]
        eye = csr_array((np.ones(worlds), (np.arange(worlds), np.arange(worlds))), shape=(worlds, worlds))
        matrix = hstack([csr_array(self.goal.outcomes.T), csr_array(-np.ones((worlds, 1))), eye]).tocsr()
        return LinearConstraint(matrix, 0, np.inf)

    def solve(
        self,
        rows: Sequence[Row],
        pins: Mapping[int, str],
        *,
        without: Sequence[Mask] = (),
        at_least: float | None = None,
        free_cost: int | None = None,
        towards: Array | None = None,
    ) -> Solution | None:
        """The best set under `rows` and `pins`, or None where there is none.

        Parameters
        ----------
        without
            Sets that are not to be found again.
        at_least
            Only sets of this value or more; then `towards` is made as great as it can be instead.
        free_cost
            This bid is taken, and what it may cost at most is made as great as it can be instead.
        """
        width = self.objective.size
        cuts = [not_again(chosen) for chosen in without]
        for _ in range(MOST_REPAIRS):
            found = self._once(rows, pins, cuts, at_least, free_cost, towards, width)
            if found is None:
                return None
            chosen, proven, gap = found
            passed = [] if free_cost is not None else [row for row in rows if row.used(chosen) > row.most]
            short = at_least is not None and self.value(chosen) < at_least - self.slack(at_least)
            if not passed and not short:
                return Solution(chosen, self.value(chosen), proven, gap)
            for row in passed:
                # these bids together are too much, whatever else is taken
                members = chosen & (row.load > 0)
                cuts.append((members.astype(np.float64), float(members.sum()) - 1))
            if short:
                cuts.append(not_again(chosen))
        raise ArithmeticError("the solver passes the limits again and again; the amounts are too unlike in size")

    def _once(
        self,
        rows: Sequence[Row],
        pins: Mapping[int, str],
        cuts: Sequence[tuple[Array, float]],
        at_least: float | None,
        free_cost: int | None,
        towards: Array | None,
        width: int,
    ) -> tuple[Mask, bool, float] | None:
        if self.n == 0:
            return None if cuts else (np.zeros(0, dtype=np.bool_), True, 0.0)
        extra = 1 if free_cost is not None else 0
        lower, upper = np.zeros(width + extra), np.ones(width + extra)
        whole = np.zeros(width + extra)
        whole[: self.n] = 1
        if width > self.n:
            lower[self.n], upper[self.n : width] = -np.inf, np.inf
        for number, pinned in pins.items():
            lower[number] = upper[number] = float(pinned == IN)
        goal = np.zeros(width + extra)
        if free_cost is not None:
            lower[free_cost] = upper[free_cost] = 1.0
            upper[-1], goal[-1] = float(self.bids[free_cost].cost), 1.0
        elif towards is not None:
            goal[: self.n] = towards
        else:
            goal[:width] = self.objective
        goal /= scale_of(goal)
        table, most = [], []
        for row in rows:
            # a limit that all bids together keep binds nowhere
            if int(row.load.sum()) <= row.most:
                continue
            line = np.zeros(width + extra)
            line[: self.n] = row.load
            if free_cost is not None and row.limit in PRICED and self.takes_of(row, free_cost):
                # pence of the bid whose cost is free
                line[free_cost], line[-1] = 0.0, 1.0
            scale = scale_of(row.load)
            table.append(line / scale)
            # amounts are whole: half a penny above the limit lets nothing through, and rounding stops nothing below it
            most.append((row.most + 1 / 2) / scale)
        for line, bound in cuts:
            table.append(np.concatenate([line, np.zeros(width + extra - self.n)]))
            most.append(bound)
        if at_least is not None:
            scale = scale_of(self.objective)
            table.append(np.concatenate([-self.objective, np.zeros(extra)]) / scale)
            most.append((self.slack(at_least) - at_least) / scale)
        constraints = []
        if table:
            constraints.append(LinearConstraint(csr_array(np.array(table)), -np.inf, np.array(most)))
        if self.scenarios is not None:
            matrix = self.scenarios.A
            if extra:
                matrix = hstack([matrix, csr_array((matrix.shape[0], extra))]).tocsr()
            constraints.append(LinearConstraint(matrix, 0, np.inf))
        found = milp(
            -goal,
            integrality=whole,
            bounds=Bounds(lower, upper),
            constraints=constraints,
            options={"mip_rel_gap": 0, "node_limit": MOST_NODES},
        )
        if found.x is None:
            return None
        chosen = found.x[: self.n] > 1 / 2
        gap = 0.0 if found.mip_gap is None else float(found.mip_gap)
        return chosen, found.status == OPTIMAL, gap

    # ---------------------------------------------------------------- questions

    def pins_over(self) -> list[Over]:
        """Limits that the bids pinned in pass by themselves; empty where the pins can be held."""
        held = np.array([self.pins.get(number) == IN for number in range(self.n)], dtype=np.bool_)
        return self.over(held)

    def over(self, chosen: Mask) -> list[Over]:
        """Limits that a set passes."""
        out = []
        for row in self.rows:
            by = row.used(chosen) - row.most
            if by > 0:
                ids = tuple(self.bids[number].id for number in np.flatnonzero(chosen & (row.load > 0)))
                out.append(Over(row.limit, row.of, by, ids))
        return out

    def best_two(self) -> tuple[Solution | None, Solution | None]:
        """The best set and the runner-up: the best set that is not it.

        Of several sets as good as each other, the one whose bids' places in the order of ids add up to least is best.
        """
        best = self.solve(self.rows, self.pins)
        if best is None:
            return None, None
        second = self.solve(self.rows, self.pins, without=[best.chosen])
        if second is None or second.value < best.value - self.slack(best.value) or not best.proven:
            return best, second
        places = -np.arange(1.0, self.n + 1)
        first = self.solve(self.rows, self.pins, at_least=best.value, towards=places)
        if first is None or not first.proven or (first.chosen == best.chosen).all():
            return best, second
        return Solution(first.chosen, first.value, True, best.gap), best

    def best(self) -> Solution | None:
        """The best set."""
        return self.best_two()[0]

    def with_more(self, limit: str, of: str, step: int) -> Solution | None:
        """The best set if every limit of this kind (of this item, for seed) were higher by a step."""
        raised = [
            Row(row.limit, row.of, row.load, row.most + step) if row.limit == limit and of in ("", row.of) else row
            for row in self.rows
        ]
        return self.solve(raised, self.pins)

    def with_pot(self, pot: int) -> Solution | None:
        """The best set with another pot."""
        return self.solve([Row(r.limit, r.of, r.load, pot) if r.limit == POT else r for r in self.rows], self.pins)

    def without_pin(self, number: int) -> Solution | None:
        """The best set if one bid were not pinned."""
        return self.solve(self.rows, {key: pinned for key, pinned in self.pins.items() if key != number})

    def with_bid(self, number: int) -> Solution | None:
        """The best set that holds one more bid."""
        return self.solve(self.rows, {**self.pins, number: IN})

    def best_in_world(self, world: int) -> Solution | None:
        """The best set if it were known that this world comes true: by its outcomes alone, under the same limits."""
        outcomes = self.goal.outcomes[:, [world]]
        goal = Goal(outcomes, outcomes[:, 0], self.goal.worst_share)
        return Chooser(self.bids, self.limits, goal).solve(self.rows, self.pins)

    def highest_cost(self, number: int, value: float) -> int | None:
        """Most pence that a bid may cost for a set with it to be worth `value`; None where it would not at nothing."""
        found = self.solve(self.rows, {**self.pins, number: IN}, at_least=value, free_cost=number)
        if found is None or not found.proven:
            return None
        others = found.chosen.copy()
        others[number] = False
        priced = [row for row in self.rows if row.limit in PRICED and self.takes_of(row, number)]
        return min(self.bids[number].cost, *(row.most - row.used(others) for row in priced))

    def takes_of(self, row: Row, number: int) -> bool:
        """Whether a bid's cost counts against a limit in money."""
        bid = self.bids[number]
        return row.of == {POT: "", GROUP: bid.group, DISTRICT: bid.district}[row.limit]
