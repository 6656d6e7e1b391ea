"""Many meadows in one figure: estimates that know that the quadrats of one meadow are no independent witnesses.

Sites are the units that were chosen, quadrats are looked at inside them; so every interval rests on the spread between
sites (the ultimate cluster of Hansen, Hurwitz and Madow 1953; Cochran 1977, section 11.2), never on the number of
quadrats. Sums are exact (`math.fsum`), so that the order of rows is nothing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from modelling.core.outcomes.intervals import t_value

#: what is left of a column once the others have explained it, as a share of what it had, below which it is one of them
ALIASED: Final = 1e-9


@dataclass(frozen=True, slots=True)
class SiteSums:
    """What one site brings into one figure: its area in any unit, and n counts with their sum and sum of squares."""

    area: float
    n: int
    total: float
    squares: float

    @property
    def mean(self) -> float:
        """Mean of the site's counts."""
        return self.total / self.n


@dataclass(frozen=True, slots=True)
class Estimated:
    """An estimate with its standard error and t interval; both are None for fewer than two sites."""

    estimate: float
    se: float | None
    low: float | None
    high: float | None
    sites: int


def _around(estimate: float, se: float, df: int, confidence: float, sites: int) -> Estimated:
    half = t_value(confidence, df) * se
    return Estimated(estimate, se, estimate - half, estimate + half, sites)


def site_as_unit(sites: Sequence[SiteSums], confidence: float) -> Estimated | None:
    """Mean of the sites' means, each counting alike, with the spread between them; None without sites."""
    n = len(sites)
    if n == 0:
        return None
    means = [site.mean for site in sites]
    middle = math.fsum(means) / n
    if n == 1:
        return Estimated(middle, None, None, None, 1)
    variance = math.fsum((mean - middle) ** 2 for mean in means) / (n - 1)
    return _around(middle, math.sqrt(variance / n), n - 1, confidence, n)


def area_weighted(sites: Sequence[SiteSums], confidence: float) -> Estimated | None:
    """Mean over the ground, each site by its area; a ratio of two means, its variance linearised (Cochran 1977, 6.4).

    v = n / (n - 1) * sum of (w (m - R))^2, where w is a site's share of the area, m its mean and R the estimate.
    """
    n = len(sites)
    if n == 0:
        return None
    whole = math.fsum(site.area for site in sites)
    ratio = math.fsum(site.area * site.mean for site in sites) / whole
    if n == 1:
        return Estimated(ratio, None, None, None, 1)
    squares = math.fsum((site.area / whole * (site.mean - ratio)) ** 2 for site in sites)
    return _around(ratio, math.sqrt(squares * n / (n - 1)), n - 1, confidence, n)


def within_sd(sites: Sequence[SiteSums]) -> float | None:
    """Standard deviation of counts inside sites, pooled; None where no site has two."""
    df = sum(site.n - 1 for site in sites)
    if not df:
        return None
    left = math.fsum(site.squares - site.total * site.total / site.n for site in sites)
    return math.sqrt(max(left, 0.0) / df)


def between_sd(sites: Sequence[SiteSums]) -> float | None:
    """Standard deviation of the sites' means; None for fewer than two."""
    if len(sites) < 2:
        return None
    means = [site.mean for site in sites]
    middle = math.fsum(means) / len(means)
    return math.sqrt(math.fsum((mean - middle) ** 2 for mean in means) / (len(means) - 1))


def as_failed(mean: float, told: int, missing: int) -> float:
    """The mean of meadows if each missing one held nothing: the least that it can be."""
    return mean * told / (told + missing)


# ------------------------------------------------------------------ comparing ways of making a meadow


@dataclass(frozen=True, slots=True)
class Observation:
    """One summer of one meadow: what was found, by which way it was made, and what else tells meadows apart."""

    site: int
    found: float
    way: str
    age: float
    #: name of what was noted -> its word, such as soil -> 2
    ground: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Level:
    """A way of making a meadow at the ground and age that meadows have on average."""

    way: str
    summers: int
    estimate: Estimated


@dataclass(frozen=True, slots=True)
class Adjusted:
    """Ways on level ground, what was allowed for, and what could not be told apart from a way."""

    levels: tuple[Level, ...]
    allowed_for: tuple[str, ...]
    not_separable: tuple[str, ...]
    summers: int
    sites: int
    columns: int


def adjusted(observations: Sequence[Observation], confidence: float) -> Adjusted | None:
    """Ordinary least squares on way, age and ground; standard errors robust to clusters of one site (CR1).

    V = G / (G - 1) * (n - 1) / (n - k) * B (sum over sites of X_g' e_g e_g' X_g) B with B = (X'X)^-1, and Student's t
    with G - 1 degrees of freedom (Liang and Zeger 1986; Cameron and Miller 2015, section 2). None where there are no
    two ways, or not more sites than columns.
    """
    rows = sorted(observations, key=lambda row: (row.site, row.found, row.way, row.age, sorted(row.ground.items())))
    ways = sorted({row.way for row in rows})
    sites = sorted({row.site for row in rows})
    if len(ways) < 2:
        return None
    names = [("", ""), *(("way", way) for way in ways[1:]), ("age", "")]
    for what in sorted({name for row in rows for name in row.ground}):
        words = sorted({row.ground.get(what, "") for row in rows})
        names += [(what, word) for word in words[1:]]
    design = [[_cell(row, name) for name in names] for row in rows]
    kept, inverse = _inverse(design)
    if any(names[j][0] == "way" and j not in kept for j in range(len(names))) or len(sites) <= len(kept):
        return None
    x = [[row[j] for j in kept] for row in design]
    k, n = len(kept), len(rows)
    moments = [math.fsum(x[i][a] * rows[i].found for i in range(n)) for a in range(k)]
    beta = [math.fsum(inverse[a][b] * moments[b] for b in range(k)) for a in range(k)]
    left = [rows[i].found - math.fsum(x[i][a] * beta[a] for a in range(k)) for i in range(n)]
    scores = [
        [math.fsum(x[i][a] * left[i] for i in range(n) if rows[i].site == site) for a in range(k)] for site in sites
    ]
    factor = len(sites) / (len(sites) - 1) * (n - 1) / (n - k)
    middle = [math.fsum(x[i][a] for i in range(n)) / n for a in range(k)]
    levels = []
    for way in ways:
        at = [
            middle[a] if names[j][0] != "way" else float(names[j][1] == way) for a, j in enumerate(kept)
        ]  # the ground and age of all meadows, this way
        lever = [math.fsum(inverse[a][b] * at[b] for b in range(k)) for a in range(k)]
        variance = factor * math.fsum(math.fsum(score[a] * lever[a] for a in range(k)) ** 2 for score in scores)
        of_way = [row for row in rows if row.way == way]
        estimate = math.fsum(at[a] * beta[a] for a in range(k))
        found = _around(estimate, math.sqrt(variance), len(sites) - 1, confidence, len({row.site for row in of_way}))
        levels.append(Level(way, len(of_way), found))
    allowed = [_named(names[j]) for j in kept if names[j][0] not in {"", "way"}]
    dropped = [_named(names[j]) for j in range(len(names)) if j not in kept]
    return Adjusted(tuple(levels), tuple(allowed), tuple(dropped), n, len(sites), k)


def _named(name: tuple[str, str]) -> str:
    return " ".join(part for part in name if part)


def _cell(row: Observation, name: tuple[str, str]) -> float:
    what, word = name
    if what == "":
        return 1.0
    if what == "way":
        return float(row.way == word)
    if what == "age":
        return row.age
    return float(row.ground.get(what, "") == word)


def _inverse(design: Sequence[Sequence[float]]) -> tuple[list[int], list[list[float]]]:
    """Columns that are no mixture of earlier ones, and the inverse of their cross-products.

    The sweep operator (Goodnight 1979), column by column in their order.
    """
    width = len(design[0])
    cross = [[math.fsum(row[a] * row[b] for row in design) for b in range(width)] for a in range(width)]
    had = [cross[a][a] for a in range(width)]
    kept: list[int] = []
    for j in range(width):
        pivot = cross[j][j]
        if had[j] <= 0 or pivot <= ALIASED * had[j]:
            continue
        kept.append(j)
        swept = [value / pivot for value in cross[j]]
        for a in range(width):
            if a != j:
                column = cross[a][j]
                cross[a] = [value - column * swept[b] for b, value in enumerate(cross[a])]
                cross[a][j] = -column / pivot
        cross[j] = swept
        cross[j][j] = 1 / pivot
    return kept, [[cross[a][b] for b in kept] for a in kept]
