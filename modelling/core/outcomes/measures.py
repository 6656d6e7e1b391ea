"""What rules ask of a sward, measured on the quadrats: a value with the ends of what is known, or what is missing."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from modelling.core.distributions import Array
from modelling.core.outcomes import lists, scales
from modelling.core.outcomes.found import FORB, GRASS, RUSH, SEDGE, UNKNOWN, Plant, Stand
from modelling.core.outcomes.intervals import COUNT_SD, mean_interval
from modelling.core.parameters import Number, ParameterSet

WILDFLOWERS: Final = frozenset({FORB, SEDGE})
NO_GRASS: Final = frozenset({FORB, SEDGE, RUSH, "fern", "woody"})
RYEGRASS_CLOVER: Final = "ryegrass_clover"
_NO_QUADRATS: Final = "quadrats"


@dataclass(frozen=True, slots=True)
class Measured:
    """A value and the ends of what it may be; or None and what is missing.

    `at_least` marks a count that can only be too low, as from a list that is held in part.
    """

    value: float | None
    low: float | None = None
    high: float | None = None
    missing: str = ""
    at_least: bool = False


def exactly(value: float) -> Measured:
    """A value without a range."""
    return Measured(value, value, value)


def lacking(what: str) -> Measured:
    """Nothing measured, and what is missing."""
    return Measured(None, missing=what)


class Measures:
    """Measures the quadrats of one part of a meadow.

    Parameters
    ----------
    parameters
        Reference tables.
    stand
        The quadrats.
    known
        What is known beside the quadrats: scrub_cover, extent_lost, fritillary_extent, soil_p_index.
    """

    def __init__(self, parameters: ParameterSet, stand: Stand, known: Mapping[str, float]) -> None:
        self.parameters, self.stand, self.known = parameters, stand, known
        self.confidence = parameters.value("survey_values", "interval", "confidence")
        self.usual_area = parameters.value("survey_values", "quadrats", "area")
        self.named: dict[str, Callable[[Mapping[str, str], Number], Measured]] = {
            "species_per_m2": lambda _set, _rule: self.species_per_m2(),
            "wildflower_cover": lambda _set, rule: self.wildflower_cover(rule.extra["without"]),
            "herb_share_of_sward": lambda _set, rule: self.herb_share(rule.extra["without"]),
            "ryegrass_clover_cover": lambda _set, _rule: self.cover_of_list(
                RYEGRASS_CLOVER, "cover of rye-grass and white clover"
            ),
            "abundant_native_grasses": lambda _set, rule: self.abundant_grasses(rule.extra["without"]),
            "indicators_present": lambda rules, _rule: self.indicators(rules, 0),
            "indicators_frequent": lambda rules, _rule: self.indicators(rules, "frequent"),
            "indicators_occasional": lambda rules, rule: self.further_indicators(rules, rule),
            "points_with_indicators": lambda _set, _rule: lacking("the scheme's own list of plants"),
            "negatives_frequent": lambda rules, rule: self.negatives(rules, rule.extra["without"]),
            "negatives_cover": lambda _set, rule: self.cover_of_list(rule.extra["without"], "cover of weeds"),
            "litter_cover": lambda _set, _rule: self.mean_of((s.litter for s in stand.squares), "cover of litter"),
            "bare_ground": lambda _set, _rule: self.mean_of((s.bare_ground for s in stand.squares), "bare ground"),
            "sward_height": lambda _set, _rule: self.mean_of(
                (s.sward_height_m for s in stand.squares), "height of the sward"
            ),
            "scrub_cover": lambda _set, _rule: self.beside("scrub_cover", "cover of scrub"),
            "extent_lost": lambda _set, _rule: self.beside("extent_lost", "whether ground was lost"),
            "fritillary_extent": lambda _set, _rule: self.beside("fritillary_extent", "extent of fritillaries"),
            "soil_p_index": lambda _set, _rule: self.beside("soil_p_index", "a soil test of phosphorus"),
        }

    def of(self, rule_set: Mapping[str, str], rule: Number) -> Measured:
        """What a rule of a set asks for."""
        return self.named[rule.quantity](rule_set, rule)

    # ------------------------------------------------------------------ counts

    def species_per_m2(self) -> Measured:
        """Mean kinds in a square metre, with its interval; only from quadrats of one square metre."""
        if self.stand.n == 0:
            return lacking(_NO_QUADRATS)
        if self.stand.area_m2 != self.usual_area:
            return lacking(f"quadrats of {self.usual_area:g} m²")
        found = mean_interval(self.stand.counts.astype(np.float64), self.confidence, least_sd=COUNT_SD)
        return Measured(found.mean, found.low, found.high)

    def share_of_stops(self, columns: list[int]) -> float:
        """Share of quadrats that hold any of these kinds."""
        return float(self.stand.present[:, columns].any(axis=1).mean())

    def columns(self, wanted: Callable[[Plant], bool]) -> list[int]:
        """Columns of the kinds that are wanted."""
        return [j for j, plant in enumerate(self.stand.plants) if wanted(plant)]

    def by_entry(self, name: str) -> dict[str, list[int]]:
        """Entries of a list that were found -> columns of the kinds that count as them."""
        rows = lists.entries(self.parameters, name)
        out: dict[str, list[int]] = {}
        for j, plant in enumerate(self.stand.plants):
            entry = lists.entry_of(plant, rows)
            if entry:
                out.setdefault(entry, []).append(j)
        return out

    def indicators(self, rule_set: Mapping[str, str], reaching: str | int) -> Measured:
        """Entries of the set's list that were met, or met often enough for a class of frequency."""
        if rule_set["list_held"] == "no":
            return lacking("the scheme's own list of plants")
        if self.stand.n == 0:
            return lacking(_NO_QUADRATS)
        found = list(self.by_entry(rule_set["list"]).values())
        if isinstance(reaching, str):
            scale = rule_set["frequency_scale"]
            found = [
                columns
                for columns in found
                if scales.at_least(self.parameters, scale, reaching, self.share_of_stops(columns))
            ]
        count = float(len(found))
        return Measured(count, count, count, at_least=rule_set["list_held"] == "part")

    def further_indicators(self, rule_set: Mapping[str, str], rule: Number) -> Measured:
        """Occasional entries beside the frequent ones asked for; a frequent one left over counts as occasional."""
        occasional = self.indicators(rule_set, "occasional")
        frequent = self.indicators(rule_set, "frequent")
        if occasional.value is None or frequent.value is None:
            return occasional
        asked = self.parameters.find(rule.table, rule.subject, "indicators_frequent")
        used = min(frequent.value, asked.middle) if asked else 0.0
        count = occasional.value - used
        return Measured(count, count, count, at_least=occasional.at_least)

    def negatives(self, rule_set: Mapping[str, str], name: str) -> Measured:
        """Entries of a list of unwanted plants that are more than occasional."""
        if self.stand.n == 0:
            return lacking(_NO_QUADRATS)
        scale = rule_set["frequency_scale"]
        found = [
            columns
            for columns in self.by_entry(name).values()
            if scales.at_least(self.parameters, scale, "frequent", self.share_of_stops(columns))
        ]
        return exactly(float(len(found)))

    def abundant_grasses(self, without: str) -> Measured:
        """Grasses, named to the species and not on a list, that are at least abundant by stops."""
        if self.stand.n == 0:
            return lacking(_NO_QUADRATS)
        rows = lists.entries(self.parameters, without)
        columns = self.columns(lambda p: p.kind == GRASS and bool(p.slug) and not lists.entry_of(p, rows))
        shares = self.stand.present[:, columns].mean(axis=0)
        abundant = [s for s in shares if scales.at_least(self.parameters, "dafor_frequency", "a", float(s))]
        return exactly(float(len(abundant)))

    # ------------------------------------------------------------------ covers

    def wildflower_cover(self, without: str) -> Measured:
        """Cover of flowers and sedges: judged as a whole in every quadrat, else the sum of the kinds."""
        rows = lists.entries(self.parameters, without)
        wanted = self.columns(lambda p: p.kind in WILDFLOWERS and not lists.entry_of(p, rows))
        others = self.columns(lambda p: p.kind == RUSH or bool(lists.entry_of(p, rows)))
        return self.judged_cover(others) or self.summed_cover(wanted, "cover of wildflowers")

    def judged_cover(self, others: list[int]) -> Measured | None:
        """Cover judged as a whole, less that of plants which the rule leaves out; None if not judged everywhere."""
        judged = [square.forb_cover for square in self.stand.squares]
        if not judged or any(value is None for value in judged):
            return None
        whole = np.array([float(value) for value in judged if value is not None])
        left_out = self.stand.middle[:, others]
        if np.isnan(left_out).any():
            # in the cover judged, and nobody knows how much of it
            high = float(whole.mean())
            return Measured(high, 0.0, high)
        low, middle, high = (
            float(np.maximum(whole - covers[:, others].sum(axis=1), 0).mean())
            for covers in (self.stand.high, self.stand.middle, self.stand.low)
        )
        return Measured(middle, low, high)

    def summed_cover(self, columns: list[int], what: str) -> Measured:
        """Mean over quadrats of the covers of these kinds together, at most the whole ground."""
        if self.stand.n == 0:
            return lacking(_NO_QUADRATS)
        if np.isnan(self.stand.middle[:, columns]).any():
            return lacking(what)
        low, middle, high = (
            np.minimum(covers[:, columns].sum(axis=1), 1)
            for covers in (self.stand.low, self.stand.middle, self.stand.high)
        )
        # a plant of which nobody knows what it is may be one of these
        strange = self.columns(lambda p: p.kind == UNKNOWN)
        more = np.nan_to_num(self.stand.high[:, strange], nan=1.0).sum(axis=1)
        return Measured(float(middle.mean()), float(low.mean()), float(np.minimum(high + more, 1).mean()))

    def cover_of_list(self, name: str, what: str) -> Measured:
        """Cover of the plants of a list together."""
        columns = sorted(j for found in self.by_entry(name).values() for j in found)
        return self.summed_cover(columns, what)

    def herb_share(self, without: str) -> Measured:
        """Share of the plant cover that is no grass."""
        rows = lists.entries(self.parameters, without)
        wanted = self.columns(lambda p: p.kind in NO_GRASS and not lists.entry_of(p, rows))
        if self.stand.has_covers():
            ends = (self.stand.low, self.stand.middle, self.stand.high)
            rest = [j for j in range(len(self.stand.plants)) if j not in wanted]
            low = _share(ends[0][:, wanted], ends[2][:, rest])
            high = _share(ends[2][:, wanted], ends[0][:, rest])
            return Measured(_share(ends[1][:, wanted], ends[1][:, rest]), low, high)
        others = self.columns(lambda p: bool(lists.entry_of(p, rows)))
        return self.judged_cover(others) or lacking("cover of every plant")

    # ------------------------------------------------------------------ what else was noted

    def mean_of(self, values: Iterable[float | None], what: str) -> Measured:
        """Mean over the quadrats in which it was noted."""
        noted = np.array([value for value in values if value is not None])
        return exactly(float(np.sort(noted).mean())) if len(noted) else lacking(what)

    def beside(self, key: str, what: str) -> Measured:
        """Something known beside the quadrats."""
        return exactly(self.known[key]) if key in self.known else lacking(what)


def _share(part: Array, rest: Array) -> float:
    whole = float(part.sum() + rest.sum())
    return float(part.sum()) / whole if whole > 0 else 0.0
