"""Timelines of the species: shares of draws and means by year, gathered over the first draws of a run."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from modelling.core.distributions import Array
from modelling.core.scenario import FORECASTS, Taxon


@dataclass(frozen=True, slots=True)
class Timeline:
    """One taxon through the years; arrays of shape (forecasts, years), zones averaged by area.

    Parameters
    ----------
    taxon
        Its key.
    chance_present
        Share of draws with at least one plant on the site.
    chance_seen_per_m2
        Chance to see it in a quadrat of 1 m2 (of the whole site where that is smaller).
    chance_in_flower_per_m2
        Chance to see it in flower there.
    plants_per_m2
        Mean density.
    """

    taxon: str
    chance_present: Array
    chance_seen_per_m2: Array
    chance_in_flower_per_m2: Array
    plants_per_m2: Array


class TimelineSums:
    """Sums over draws for the taxa of one class; arrays (years, taxa, zones, forecasts)."""

    def __init__(self, taxa: tuple[Taxon, ...], years: int, zone_shares: Array, draws: int) -> None:
        self.taxa, self.zone_shares, self.draws = taxa, zone_shares, draws
        shape = (years, len(taxa), len(zone_shares), len(FORECASTS))
        self.present, self.seen = np.zeros(shape), np.zeros(shape)
        self.flower, self.density = np.zeros(shape), np.zeros(shape)

    def add(self, total: Array, year: int, values: Array) -> None:
        """Add one year of one block, (taxa, zones, forecasts, draws), to one of the sums."""
        total[year] += values.sum(axis=-1)

    def lines(self) -> list[Timeline]:
        """One timeline for each taxon in order of key, once all draws were added; none if there are none to follow."""
        if not self.draws:
            return []
        weights = self.zone_shares[:, None] / self.draws
        means = [
            (weights * total).sum(axis=2).transpose(1, 2, 0)
            for total in (self.present, self.seen, self.flower, self.density)
        ]
        lines = [Timeline(taxon.key, *(mean[i] for mean in means)) for i, taxon in enumerate(self.taxa)]
        return sorted(lines, key=lambda line: line.taxon)
