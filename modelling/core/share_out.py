"""Sharing seed out over a county: which lot or harvest goes to which project, and how much, for the greatest sum.

A mixed-integer programme (HiGHS, through SciPy). What is weighed is whole steps of seed and is checked exactly after
each solve; half-days of the harvester are whole too. What a project gains rises with its seed and ever more slowly:
straight lines between points, whose slopes fall. The gap told is measured from the bound that the search proved to
the shares as they will be weighed out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from modelling.core.distributions import Array

Whole = NDArray[np.int64]

STORE: Final = "seed"
HARVEST: Final = "harvest"
DONOR: Final = "donor"
TARGET: Final = "target"
DAYS: Final = "days"

#: branches after which the search gives up and says so; counted rather than timed, so that a slow machine answers alike
MOST_NODES: Final = 20_000
#: largest whole number that a float holds exactly, with all below it (IEEE 754 binary64)
EXACT: Final = 2**53
#: relative difference below which two values are the same: the solver's own rounding
SAME: Final = 1e-6
#: amounts are scaled below this, by powers of two, so that the solver's tolerance is far less than a step
LARGEST: Final = 256
#: part of a step by which the solver may miss a whole one
NEARLY: Final = 1e-2
#: part of a kilometre of carting that one place in the order of ids weighs, when sharings are as good as each other
PLACE: Final = 1e-6
OPTIMAL: Final = 0


@dataclass(frozen=True, slots=True)
class Source:
    """Seed in store, or a harvest that may be made.

    Attributes
    ----------
    most
        Steps of seed there are, or that the harvest may yield.
    donor
        Meadow it comes from, empty if none is to be watched.
    half_days
        Most half-days of the harvester; 0 for seed in store.
    yield_of
        Steps that one half-day brings.
    """

    id: str
    most: int
    donor: str = ""
    half_days: int = 0
    yield_of: int = 0


@dataclass(frozen=True, slots=True)
class Project:
    """Who hopes for seed.

    Attributes
    ----------
    most, least
        Steps that it takes at most, and below which sharing to it makes no sense.
    seed, gain
        Points of what it gains: seed in steps, from 0, rising; gain from 0, rising ever more slowly.
    most_sources
        Most lots that are mixed for it; None is no limit.
    """

    id: str
    most: int
    least: int
    seed: tuple[float, ...]
    gain: tuple[float, ...]
    most_sources: int | None = None


@dataclass(frozen=True, slots=True)
class Pair:
    """A source that may serve a project.

    Attributes
    ----------
    worth
        What a step of this seed is worth in steps of the seed that the project's points were worked out with.
    parcel
        Least steps that are worth weighing out.
    km
        How far it is; of sharings as good as each other the one with less carting is taken.
    pinned
        Steps promised already.
    """

    source: str
    project: str
    worth: float = 1.0
    parcel: int = 0
    km: float = 0.0
    pinned: int = 0


@dataclass(frozen=True, slots=True)
class Stretch:
    """Harvests that lie wholly within some days, by id, and the half-days that there are for them."""

    name: str
    harvests: tuple[str, ...]
    half_days: int


@dataclass(frozen=True, slots=True)
class Season:
    """Everything that is asked. `donors`: steps that may be taken from a meadow, over all its sources."""

    sources: tuple[Source, ...]
    projects: tuple[Project, ...]
    pairs: tuple[Pair, ...]
    donors: Mapping[str, int] = field(default_factory=dict)
    stretches: tuple[Stretch, ...] = ()


@dataclass(frozen=True, slots=True)
class Over:
    """A limit that is passed, by how much: steps, or half-days."""

    limit: str
    of: str
    by: int


@dataclass(frozen=True, slots=True)
class Sharing:
    """Who gets what.

    Attributes
    ----------
    steps
        Of each pair, (pairs,).
    half_days
        Of each source, (sources,).
    gains
        Of each project, (projects,).
    bound
        No sharing is worth more than this.
    proven
        Whether the search ended by itself.
    """

    steps: Whole
    half_days: Whole
    gains: Array
    bound: float
    proven: bool

    @property
    def value(self) -> float:
        """Sum of the gains."""
        return float(self.gains.sum())

    @property
    def gap(self) -> float:
        """The most that a better sharing could add, as a share of this one's value."""
        over = self.bound - self.value
        return 0.0 if over <= SAME * abs(self.bound) else over / max(abs(self.value), SAME)


def hull(seed: Sequence[float], gain: Sequence[float]) -> tuple[Array, Array]:
    """The least concave line on or above the points: (seed, gain), from (0, 0), never falling."""
    points = sorted({0.0: 0.0, **{float(s): float(g) for s, g in zip(seed, gain, strict=True) if s > 0}}.items())
    kept: list[tuple[float, float]] = []
    for point in points:
        while len(kept) > 1 and _below(kept[-2], kept[-1], point):
            kept.pop()
        kept.append(point)
    xs, ys = (np.array(column, dtype=np.float64) for column in zip(*kept, strict=True))
    # more seed than is of use does no harm: level from the top on
    top = int(ys.argmax())
    return xs[: top + 1], ys[: top + 1]


def _below(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> bool:
    """Whether b lies on or below the line from a to c."""
    return (b[1] - a[1]) * (c[0] - a[0]) <= (c[1] - a[1]) * (b[0] - a[0])


def scale_of(most: float) -> float:
    """Power of two that brings amounts below `LARGEST`."""
    return float(2 ** max(np.ceil(np.log2(most / LARGEST)), 0)) if most > 0 else 1.0


class Sharer:
    """Shares a season's seed out. Everything is put in the order of ids, so that the order it comes in means nothing.

    Attributes
    ----------
    gap
        Relative gap at which the search may stop; 0 proves the best.
    """

    def __init__(self, season: Season, gap: float = 0.0, nodes: int = MOST_NODES) -> None:
        self.sources = tuple(sorted(season.sources, key=lambda source: source.id))
        self.at = {source.id: number for number, source in enumerate(self.sources)}
        self.place = {project.id: number for number, project in enumerate(sorted(season.projects, key=_id))}
        self.pairs = tuple(sorted(season.pairs, key=lambda pair: (pair.project, pair.source)))
        self.source_of = np.array([self.at[pair.source] for pair in self.pairs], dtype=np.int64)
        self.project_of = np.array([self.place[pair.project] for pair in self.pairs], dtype=np.int64)
        self.pinned = np.array([pair.pinned for pair in self.pairs], dtype=np.int64)
        self.projects = tuple(self._held(project) for project in sorted(season.projects, key=_id))
        self.donors = dict(season.donors)
        self.stretches = season.stretches
        self.gap, self.nodes = gap, nodes
        self.curves = [hull(project.seed, project.gain) for project in self.projects]
        self.worth = np.array([pair.worth for pair in self.pairs])

    def _held(self, project: Project) -> Project:
        """A project with its promises held: however little was promised is enough, however much is taken."""
        promised = int(self.pinned[self.project_of == self.place[project.id]].sum())
        return replace(project, least=min(project.least, promised)) if promised else project

    # ---------------------------------------------------------------- exact arithmetic

    def gains(self, steps: Whole) -> Array:
        """What each project gains, (projects,)."""
        seed = np.bincount(self.project_of, weights=steps * self.worth, minlength=len(self.projects))
        return np.array([np.interp(s, xs, ys) for s, (xs, ys) in zip(seed, self.curves, strict=True)])

    def taken(self, steps: Whole) -> Whole:
        """Steps of each source, (sources,)."""
        return _sums(self.source_of, steps, len(self.sources))

    def given(self, steps: Whole) -> Whole:
        """Steps of each project, (projects,)."""
        return _sums(self.project_of, steps, len(self.projects))

    def half_days(self, steps: Whole) -> Whole:
        """Half-days that the harvests need, (sources,)."""
        taken = self.taken(steps)
        rates = [max(source.yield_of, 1) if source.half_days else 0 for source in self.sources]
        return np.array([-(-int(t) // r) if r else 0 for t, r in zip(taken, rates, strict=True)], dtype=np.int64)

    def over(self, steps: Whole) -> list[Over]:
        """Limits that a sharing passes, exactly."""
        out = []
        taken, days = self.taken(steps), self.half_days(steps)
        for number, source in enumerate(self.sources):
            if taken[number] > source.most:
                out.append(Over(STORE, source.id, int(taken[number]) - source.most))
            if days[number] > source.half_days:
                out.append(Over(HARVEST, source.id, int(days[number]) - source.half_days))
        for donor, most in sorted(self.donors.items()):
            used = sum(int(taken[number]) for number, source in enumerate(self.sources) if source.donor == donor)
            if used > most:
                out.append(Over(DONOR, donor, used - most))
        for number, given in enumerate(self.given(steps)):
            if given > self.projects[number].most:
                out.append(Over(TARGET, self.projects[number].id, int(given) - self.projects[number].most))
        for stretch in self.stretches:
            used = sum(int(days[self.at[key]]) for key in stretch.harvests)
            if used > stretch.half_days:
                out.append(Over(DAYS, stretch.name, used - stretch.half_days))
        return out

    def short(self, steps: Whole) -> list[int]:
        """Pairs that get less than a parcel, of projects served: less than their least, or from too many lots."""
        given, used = self.given(steps), self.counted(steps)
        out = []
        for number, taken in enumerate(steps):
            project = self.projects[self.project_of[number]]
            place = self.project_of[number]
            many = project.most_sources is not None and used[place] > max(project.most_sources, self.promises[place])
            if taken and (taken < self.parcel(number) or given[place] < project.least or many):
                out.append(number)
        return out

    def counted(self, steps: Whole) -> Whole:
        """Sources that each project gets seed of, (projects,)."""
        return self.given((steps > 0).astype(np.int64))

    @cached_property
    def promises(self) -> Whole:
        """Promises to each project, (projects,)."""
        return self.counted(self.pinned)

    def parcel(self, number: int) -> int:
        """Least steps of a pair that is used; a promise may be smaller."""
        pair = self.pairs[number]
        most = min(self.sources[self.source_of[number]].most, self.projects[self.project_of[number]].most)
        return pair.pinned or min(pair.parcel, most)

    def pins_over(self) -> list[Over]:
        """Limits that the promises alone pass; empty where they can be kept."""
        return self.over(self.pinned)

    # ---------------------------------------------------------------- the programme

    @cached_property
    def tied(self) -> bool:
        """Whether it must be known which pairs are used at all."""
        return any(pair.parcel for pair in self.pairs) or any(p.most_sources is not None for p in self.projects)

    @cached_property
    def scale(self) -> float:
        """Steps in one unit of the programme."""
        return scale_of(float(max((min(source.most, EXACT) for source in self.sources), default=1)))

    def solve(self, serve: int | None = None, settle: bool = True) -> Sharing | None:
        """The best sharing, or None where the promises cannot be kept.

        Parameters
        ----------
        serve
            This project is served with its least or more, whatever that costs.
        settle
            Whether ties are settled over all sharings, or only over those in which the same are served.
        """
        if self.pins_over():
            return None
        if not self.pairs:
            return None if serve is not None else self._told(np.zeros(0, dtype=np.int64), 0.0, True)
        programme = _Programme(self, serve)
        found = programme.run(programme.goal, self.gap)
        if found.x is None:
            return None
        bound = -float(found.mip_dual_bound) * programme.value_scale
        proven = found.status == OPTIMAL
        x = self._same_again(programme, found.x, settle and proven and self.gap == 0)
        steps = self._whole(x[: len(self.pairs)] * self.scale)
        return self._told(steps, bound, proven)

    def _told(self, steps: Whole, bound: float, proven: bool) -> Sharing:
        passed, short = self.over(steps), self.short(steps)
        if passed or short:
            raise ArithmeticError(f"the shares pass a limit: {passed}, {short}")
        return Sharing(steps, self.half_days(steps), self.gains(steps), bound, proven)

    def _same_again(self, programme: _Programme, x: Array, settle: bool) -> Array:
        """Of sharings as good as this one, that with the least carting and then the first in the order of ids.

        Where it is not settled over all of them, only what is weighed out is moved, not who is served.
        """
        value = float((programme.goal * x).sum())
        km = np.array([pair.km for pair in self.pairs])
        towards = np.zeros(programme.width)
        towards[: len(self.pairs)] = -(km + PLACE * np.arange(1, len(self.pairs) + 1))
        again = programme.run(towards, 0.0, at_least=value - SAME / 2 * abs(value), fixed=None if settle else x)
        return x if again.x is None else np.asarray(again.x)

    def _whole(self, x: Array) -> Whole:
        """Amounts in whole steps, each the next below or above, with every sum within its limits.

        There always are some: sources (within donors) and projects are two nested families of sums over the pairs, and
        the matrix of such sums is totally unimodular.
        """
        near = np.rint(x)
        low = np.where(np.abs(x - near) <= NEARLY, near, np.floor(x))
        high = np.where(np.abs(x - near) <= NEARLY, near, np.ceil(x))
        parcels = np.array([self.parcel(number) for number in range(len(self.pairs))])
        low = np.where(low > 0, np.maximum(low, parcels), low)
        high = np.maximum(high, low)
        low, high = np.where(x > parcels / 2, np.maximum(low, parcels), low), np.maximum(high, self.pinned)
        loose = np.flatnonzero(high > low)
        if loose.size:
            low[loose] = self._rounded(x, low, high, loose)
        return low.astype(np.int64)

    def _rounded(self, x: Array, low: Array, high: Array, loose: NDArray[np.intp]) -> Array:
        """Which of the amounts that fall between two steps are rounded up."""
        whole = low.astype(np.int64)
        taken, given = self.taken(whole), self.given(whole)
        rows, most, least = [], [], []
        days = np.ceil(self.taken_of(x) / np.array([max(s.yield_of, 1) for s in self.sources]) - NEARLY)
        for number, source in enumerate(self.sources):
            room = source.most if not source.half_days else min(source.most, int(days[number]) * source.yield_of)
            rows.append(self.source_of[loose] == number)
            most.append(room - taken[number])
            least.append(-np.inf)
        for donor, allowed in self.donors.items():
            inside = [number for number, source in enumerate(self.sources) if source.donor == donor]
            rows.append(np.isin(self.source_of[loose], inside))
            most.append(allowed - taken[inside].sum())
            least.append(-np.inf)
        for number, project in enumerate(self.projects):
            rows.append(self.project_of[loose] == number)
            most.append(project.most - given[number])
            sought = np.bincount(self.project_of, weights=x, minlength=len(self.projects))[number]
            least.append(project.least - given[number] if sought > NEARLY else -np.inf)
        slopes = self._slopes(x)[loose]
        found = milp(
            -slopes / max(float(np.abs(slopes).max()), SAME),
            integrality=np.ones(loose.size),
            bounds=Bounds(0, 1),
            constraints=LinearConstraint(csr_array(np.array(rows, dtype=np.float64)), np.array(least), np.array(most)),
            options={"mip_rel_gap": 0, "node_limit": self.nodes},
        )
        if found.x is None:
            raise ArithmeticError("the shares cannot be weighed out in whole steps")
        return np.asarray(low[loose] + np.rint(found.x))

    def taken_of(self, x: Array) -> Array:
        """Amounts of each source before they are whole, (sources,)."""
        return np.asarray(np.bincount(self.source_of, weights=x, minlength=len(self.sources)), dtype=np.float64)

    def _slopes(self, x: Array) -> Array:
        """What a step more would bring, by pair."""
        seed = np.bincount(self.project_of, weights=x * self.worth, minlength=len(self.projects))
        slope = np.zeros(len(self.projects))
        for number, (xs, ys) in enumerate(self.curves):
            rises = np.diff(ys) / np.diff(xs) if xs.size > 1 else np.zeros(0)
            place = int(np.searchsorted(xs, seed[number], side="right")) - 1
            slope[number] = rises[place] if 0 <= place < rises.size else 0.0
        return np.asarray(slope[self.project_of] * self.worth)


def _id(project: Project) -> str:
    return project.id


def _sums(of: Whole, steps: Whole, number: int) -> Whole:
    out = np.zeros(number, dtype=np.int64)
    np.add.at(out, of, steps)
    return out


class _Programme:
    """Columns: amount of each pair, whether it is used, half-days, whether a project is served, seed along its line."""

    def __init__(self, sharer: Sharer, serve: int | None) -> None:
        self.of = sharer
        pairs, sources, projects = len(sharer.pairs), len(sharer.sources), len(sharer.projects)
        self.used = pairs
        self.days = self.used + (pairs if sharer.tied else 0)
        self.served = self.days + sources
        self.along = self.served + projects
        self.pieces = [xs.size - 1 for xs, _ in sharer.curves]
        self.width = self.along + sum(self.pieces)
        self.lower, self.upper = np.zeros(self.width), np.ones(self.width)
        self.integrality = np.zeros(self.width)
        self.integrality[self.used : self.along] = 1
        self.entries: list[tuple[int, int, float]] = []
        self.most: list[float] = []
        self.goal: Array = np.zeros(self.width)
        self._amounts()
        self._sources()
        self._projects(serve)
        self._days()
        self.value_scale = scale_of(float(self.goal.max(initial=0.0)))
        self.goal = self.goal / self.value_scale

    def row(self, columns: Iterable[tuple[int, float]], most: float) -> None:
        """Add a limit: the sum over the columns is at most this."""
        number = len(self.most)
        self.entries += [(number, column, value) for column, value in columns]
        self.most.append(most)

    def _amounts(self) -> None:
        of = self.of
        for number, pair in enumerate(of.pairs):
            most = min(of.sources[of.source_of[number]].most, of.projects[of.project_of[number]].most)
            self.upper[number] = max(most, pair.pinned) / of.scale
            self.lower[number] = pair.pinned / of.scale
            served = self.served + int(of.project_of[number])
            if not of.tied:
                self.row([(number, 1.0), (served, -most / of.scale)], 0.0)
                continue
            used, parcel = self.used + number, of.parcel(number)
            self.lower[used] = float(pair.pinned > 0)
            self.upper[used] = float(most > 0 or pair.pinned > 0)
            self.row([(number, 1.0), (used, -max(most, pair.pinned) / of.scale)], 0.0)
            if parcel:
                self.row([(number, -1.0), (used, parcel / of.scale)], 0.0)
            self.row([(used, 1.0), (served, -1.0)], 0.0)

    def _sources(self) -> None:
        of = self.of
        for number, source in enumerate(of.sources):
            own = [(int(pair), 1.0) for pair in np.flatnonzero(of.source_of == number)]
            self.row(own, source.most / of.scale)
            self.upper[self.days + number] = float(source.half_days)
            if source.half_days:
                self.row([*own, (self.days + number, -source.yield_of / of.scale)], 0.0)
        for donor, most in sorted(of.donors.items()):
            inside = [number for number, source in enumerate(of.sources) if source.donor == donor]
            own = [(int(pair), 1.0) for pair in np.flatnonzero(np.isin(of.source_of, inside))]
            self.row(own, most / of.scale)

    def _projects(self, serve: int | None) -> None:
        of, piece = self.of, self.along
        for number, project in enumerate(of.projects):
            own = np.flatnonzero(of.project_of == number)
            served = self.served + number
            self.lower[served] = float(number == serve or bool(of.pinned[own].any()))
            self.upper[served] = float(own.size > 0)
            amounts = [(int(pair), 1.0) for pair in own]
            self.row([*amounts, (served, -project.most / of.scale)], 0.0)
            self.row([(pair, -1.0) for pair, _ in amounts] + [(served, project.least / of.scale)], 0.0)
            if project.most_sources is not None:
                lots = float(max(project.most_sources, of.promises[number]))
                self.row([(self.used + pair, 1.0) for pair, _ in amounts], lots)
            xs, ys = of.curves[number]
            columns = range(piece, piece + self.pieces[number])
            for column, width, rise in zip(columns, np.diff(xs), np.diff(ys), strict=True):
                self.upper[column] = width / of.scale
                self.goal[column] = rise / width * of.scale
            self.row([(c, 1.0) for c in columns] + [(int(pair), -of.worth[pair]) for pair in own], 0.0)
            piece += self.pieces[number]

    def _days(self) -> None:
        for stretch in self.of.stretches:
            self.row([(self.days + self.of.at[key], 1.0) for key in stretch.harvests], float(stretch.half_days))

    def run(self, goal: Array, gap: float, at_least: float | None = None, fixed: Array | None = None) -> Any:
        """Make `goal` as great as it can be; with `fixed`, whole numbers stay as they are there."""
        rows, columns, values = (np.array(part) for part in zip(*self.entries, strict=True))
        most = np.array(self.most)
        if at_least is not None:
            own = np.flatnonzero(self.goal)
            rows = np.concatenate([rows, np.full(own.size, most.size)])
            columns, values = np.concatenate([columns, own]), np.concatenate([values, -self.goal[own]])
            most = np.append(most, -at_least)
        lower, upper = self.lower, self.upper
        if fixed is not None:
            whole = self.integrality == 1
            lower, upper = np.where(whole, np.rint(fixed), lower), np.where(whole, np.rint(fixed), upper)
        matrix = csr_array((values, (rows, columns)), shape=(most.size, self.width))
        most_of_all = scale_of(float(np.abs(goal).max(initial=0.0)))
        found = milp(
            -goal / most_of_all,
            integrality=self.integrality,
            bounds=Bounds(lower, upper),
            constraints=LinearConstraint(matrix, -np.inf, most),
            options={"mip_rel_gap": gap, "node_limit": self.of.nodes},
        )
        if found.mip_dual_bound is not None:
            found.mip_dual_bound *= most_of_all
        return found
