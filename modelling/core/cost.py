"""Money: lines with VAT, totals over draws, whole-life cost in real terms."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from modelling.core.distributions import Array

CASH = "cash"
IN_KIND = "in_kind"
SETUP = "setup"
FIRST_YEAR = "first_year"
YEARLY = "yearly"


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the cost: pounds before VAT for each draw, shape (draws,).

    `stage`: setup (up to sowing), first_year (the first growing season), yearly (each later year).
    `kind`: cash or in_kind; the two are never added.
    """

    key: str
    label: str
    stage: str
    category: str
    kind: str
    net_gbp: Array
    vat_share: float = 0.0
    note: str = ""

    @property
    def gross_gbp(self) -> Array:
        """With VAT, which most groups cannot reclaim."""
        return np.asarray(self.net_gbp * (1 + self.vat_share))


def total(lines: tuple[Line, ...], stage: str, kind: str, n: int) -> Array:
    """Gross pounds of all lines of a stage and kind: (draws,)."""
    out = np.zeros(n)
    for line in lines:
        if line.stage == stage and line.kind == kind:
            out += line.gross_gbp
    return out


def discount_factor(rate: float, year: int) -> float:
    """What a pound in `year` years is worth now: 1 / (1 + rate)^year (HM Treasury Green Book)."""
    return float(1 / (1 + rate) ** year)


def whole_life(setup: Array, first_year: Array, yearly: Array, rate: float, years: int) -> Array:
    """Discounted pounds: set-up now, the first year's care in year 1, yearly care in years 2 to `years`."""
    later = sum(discount_factor(rate, year) for year in range(2, years + 1))
    return np.asarray(setup + first_year * discount_factor(rate, 1) + yearly * later)


def grown(price_gbp: Array, yearly_growth: Array, years: float) -> Array:
    """A price brought from its own year to the year of the estimate."""
    return np.asarray(price_gbp * (1 + yearly_growth) ** years)
