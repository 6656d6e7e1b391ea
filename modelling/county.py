"""Figures of many meadows for whoever gathers them: words of plans, estimates with their intervals, plain values."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

from modelling.core import county
from modelling.core.brief import p_index_of
from modelling.core.outcomes import intervals
from modelling.selectors import parameters

#: of these rules is the class of a sward
CLASS_RULES: Final = "cs_2021"
#: forecast that meadows are held against: with care as groups usually manage it
FORECAST: Final = "as_usual"
#: what an operation's key begins with -> the way it makes the ground ready, the strongest first
WAYS: Final = (
    ("strip_turf", "stripped"),
    ("spray_off", "sprayed"),
    ("smother", "sheeted"),
    ("rotavate", "turned"),
    ("power_harrow", "turned"),
    ("scarify", "scarified"),
    ("harrow", "scarified"),
    ("graze_hard", "grazed"),
    ("prepare_cut", "cut"),
)
#: where the ways of estimating are from
SOURCES: Final = (
    "Site as unit: mean of the sites’ means with the spread between them, Student’s t (Cochran 1977, Sampling "
    "Techniques, section 11.2: the primary units carry the whole variance of a two-stage sample).",
    "Area-weighted: ratio estimate with its variance linearised, sites as clusters (Cochran 1977, section 6.4).",
    "Adjusted: least squares on way, years since sowing, phosphorus index and sward before, errors robust to clusters "
    "of one site, CR1 with Student’s t of the sites less one (Liang and Zeger 1986; Cameron and Miller 2015).",
    "Shares: Wilson’s interval (1927), each meadow counted once.",
)


def way_of(operations: Iterable[str]) -> str:
    """The strongest way in which operations make ground ready; none where they make none ready."""
    there = list(operations)
    for begins, way in WAYS:
        if any(key.startswith(begins) for key in there):
            return way
    return "none"


def seed_source_of(items: Iterable[str], plugs: bool) -> str:
    """Where seed came from, by the keys of mixes and of single kinds."""
    mixes = parameters().nouns["mixes"]
    found = {
        ("harvested" if mixes[key]["kind"] == "harvested" else "mix") if key in mixes else "kinds" for key in items
    }
    if not found:
        return "plugs" if plugs else "none"
    return found.pop() if len(found) == 1 else "several"


def soil_band(facts: Mapping[str, Any]) -> str:
    """Phosphorus index, 0 to 9, of what was found in a soil; empty where nobody has tested."""
    if "soil_p_index" in facts:
        return str(facts["soil_p_index"])
    if "olsen_p_mg_per_l" in facts:
        return str(int(p_index_of(parameters(), facts["olsen_p_mg_per_l"])))
    return ""


def confidence() -> float:
    """Of every interval of a county's figures, as a share."""
    return parameters().value("survey_values", "interval", "confidence")


def _plain(found: county.Estimated | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {"estimate": found.estimate, "low": found.low, "high": found.high, "sites": found.sites}


def means(sites: Sequence[tuple[float, int, float, float]]) -> dict[str, Any]:
    """Both estimates and both spreads of sites, each told by its area, n, sum and sum of squares."""
    rows, sure = [county.SiteSums(*site) for site in sites], confidence()
    return {
        "area_weighted": _plain(county.area_weighted(rows, sure)),
        "site_as_unit": _plain(county.site_as_unit(rows, sure)),
        "sd_between_sites": county.between_sd(rows),
        "sd_within_sites": county.within_sd(rows),
    }


def as_failed(mean: float, told: int, missing: int) -> float:
    """The mean if each missing meadow held nothing."""
    return county.as_failed(mean, told, missing)


def share(successes: int, n: int) -> dict[str, Any] | None:
    """A share of meadows with Wilson's interval; None for none."""
    found = intervals.wilson(successes, n, confidence())
    return None if found is None else {"share": found.middle, "low": found.low, "high": found.high}


def compared(summers: Iterable[tuple[int, float, str, float, Mapping[str, str]]]) -> dict[str, Any] | None:
    """Ways of making a meadow on level ground; each summer told by site, found, way, age and ground."""
    found = county.adjusted([county.Observation(*summer) for summer in summers], confidence())
    if found is None:
        return None
    return {
        "levels": {level.way: {**(_plain(level.estimate) or {}), "summers": level.summers} for level in found.levels},
        "allowed_for": list(found.allowed_for),
        "not_separable": list(found.not_separable),
        "summers": found.summers,
        "sites": found.sites,
    }
