"""What is in a lot of seed, kind by kind, as distributions: counted, declared, or guessed from where it was taken.

A count decides for the kinds that were counted. The rest of the pure seed is shared out by the supplier's label, else
by what grows on the donor meadow times what the way of harvesting takes of it; both are wide, and what they lack in
knowledge goes into every estimate that sows the lot.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np

from modelling.contracts.requests import MOST_SEED_ITEMS
from modelling.contracts.sacks import SackQuestion
from modelling.core import seed_counts
from modelling.core.distributions import Array, lognormal
from modelling.core.parameters import ParameterSet
from modelling.core.sampling import draw, normals, uniforms
from modelling.core.units import SEEDS_PER_WEIGHED_THOUSAND
from modelling.sacks import TABLE as SACKS
from modelling.sacks import alive_draws, read_sack
from modelling.selectors import parameters, taxon_row

TABLE: Final = "harvest_values"
#: the same lot always gives the same figures
_SEED: Final = 1
_DRAWS: Final = 2000
#: points that a `contracts.Spread` tells
_TAILS: Final = (0.1, 0.5, 0.9)
#: a share alive is held this far from none and from all, where log odds have an end
_EDGE: Final = 0.001
Basis = Literal["counted", "declared", "donor"]


@dataclass(frozen=True, slots=True)
class Content:
    """One kind in a lot: filled seeds a gram and the share of them alive, each by its 10, 50 and 90 % points."""

    taxon: str
    basis: Basis
    seeds_per_g: tuple[float, float, float]
    alive: tuple[float, float, float]

    def as_dict(self) -> dict[str, Any]:
        """As plain values, by the names of `contracts.LotContent`."""
        points = ("low", "middle", "high")
        return {
            "taxon": self.taxon,
            "basis": self.basis,
            "seeds_per_g": dict(zip(points, self.seeds_per_g, strict=True)),
            "alive_share": dict(zip(points, self.alive, strict=True)),
        }


@dataclass(frozen=True, slots=True)
class LotContents:
    """What is in a lot."""

    kinds: tuple[Content, ...]

    def for_request(self) -> list[dict[str, Any]]:
        """As a seed item of a plan names it: the commonest, without weeds and what is never sown."""
        sown = [kind for kind in self.kinds if (taxon_row(kind.taxon) or {}).get("role") == "meadow"]
        told = sorted(sown, key=lambda kind: (-kind.seeds_per_g[1], kind.taxon))[:MOST_SEED_ITEMS]
        return [{name: value for name, value in kind.as_dict().items() if name != "basis"} for kind in told]


def test_days() -> int:
    """Days for which a germination test is as good as made now."""
    return round(parameters().value(TABLE, "germination", "test_holds"))


def contents_of(
    *,
    samples: Sequence[Mapping[str, Any]] | None,
    declared: Mapping[str, float],
    cover: Mapping[str, float],
    method: str,
    years_in_store: float,
    tests: Sequence[Mapping[str, Any]],
) -> LotContents:
    """What is in a lot that came in by itself.

    Parameters
    ----------
    samples
        Sub-samples as `SackQuestion` reads them; None where nothing was counted.
    declared
        Percent of the weight by kind, as the supplier says.
    cover
        Percent of the ground by kind, of the donor meadow.
    method
        How it was harvested; empty where nobody knows.
    years_in_store, tests
        Age, and germination tests made now.
    """
    known = parameters()
    counted: dict[str, Array] = {}
    if samples:
        asked = read_sack({"samples": list(samples)})
        kinds = dict.fromkeys(taxon for sample in asked.samples for taxon in sample.counts)
        counted = {taxon: _counted(asked, taxon) for taxon in kinds}
    by_weight, basis = _rest(known, declared, cover, method)
    left = _pure(known, method) if basis == "donor" else np.ones(_DRAWS)
    for taxon, rate in counted.items():
        left = left - rate * _seed_g(known, taxon)
    whole = sum(share for taxon, share in by_weight.items())
    found: dict[str, tuple[Basis, Array]] = {
        taxon: ("counted", rate) for taxon, rate in counted.items() if _seen(samples or (), taxon)
    }
    for taxon, share in by_weight.items():
        if taxon not in counted:
            part = share if basis == "declared" else np.maximum(left, 0.0) * share / whole
            found[taxon] = (basis, part / _seed_g(known, taxon))
    return _told(found, {taxon: _alive(known, taxon, years_in_store, tests) for taxon in found})


def _seen(samples: Sequence[Mapping[str, Any]], taxon: str) -> bool:
    return any(sample["counts"].get(taxon) for sample in samples)


def _counted(asked: SackQuestion, taxon: str) -> Array:
    """Seeds a gram of a kind that was counted: (draws,)."""
    counts = np.array([sample.counts[taxon] for sample in asked.samples], dtype=np.float64)
    grams = np.array([sample.grams for sample in asked.samples], dtype=np.float64)
    u = uniforms(_SEED, "sack/rate", _DRAWS, taxon)
    if len(counts) == 1:
        return seed_counts.well_mixed(int(counts.sum()), float(grams.sum()), u)
    scale = parameters().value(SACKS, "limits", "clumping_prior_scale")
    return seed_counts.clumped(counts, grams, scale).quantile(u)


def _rest(
    known: ParameterSet, declared: Mapping[str, float], cover: Mapping[str, float], method: str
) -> tuple[dict[str, Array], Basis]:
    """Shares by weight of what was not counted: of all there is where declared, else relative to each other."""
    if declared:
        found = known.number(TABLE, "label", "share_found")
        return {
            taxon: percent / 100 * draw(found, _SEED, _DRAWS, taxon) for taxon, percent in declared.items()
        }, "declared"  # fmt: skip
    per_cover = known.number(TABLE, "cover", "seed_for_cover")
    takes = known.find(TABLE, method, "efficiency") or known.number(TABLE, "brush", "efficiency")
    return {
        taxon: percent * draw(per_cover, _SEED, _DRAWS, taxon) * draw(takes, _SEED, _DRAWS, taxon)
        for taxon, percent in cover.items()
        if (taxon_row(taxon) or {}).get("role") == "meadow"
    }, "donor"


def _pure(known: ParameterSet, method: str) -> Array:
    number = known.find(TABLE, method, "pure_seed") or known.number(TABLE, "blend", "pure_seed")
    return draw(number, _SEED, _DRAWS)


def _seed_g(known: ParameterSet, taxon: str) -> Array:
    """Grams of one seed: (draws,); of a kind whose weight is not known, that of a middling seed."""
    row = known.find("taxon_values", taxon, "thousand_seed_weight")
    if row is None:
        return np.full(_DRAWS, 1 / SEEDS_PER_WEIGHED_THOUSAND)
    return draw(row, _SEED, _DRAWS) / SEEDS_PER_WEIGHED_THOUSAND


def _alive(known: ParameterSet, taxon: str, years: float, tests: Iterable[Mapping[str, Any]]) -> Array:
    test = next((test for test in tests if test["taxon"] == taxon), None)
    pair = None if test is None else (test["germinated"], test["tested"])
    found = alive_draws(known, taxon, years, pair, _DRAWS)
    return uniforms(_SEED, "lot/alive_unknown", _DRAWS, taxon) if found is None else found


def _told(found: Mapping[str, tuple[Basis, Array]], alive: Mapping[str, Array]) -> LotContents:
    kinds = []
    for taxon, (basis, rate) in found.items():
        low, middle, high = (float(value) for value in np.quantile(rate, _TAILS))
        if high <= 0 or middle <= 0:
            continue
        share = [float(value) for value in np.clip(np.quantile(alive[taxon], _TAILS), _EDGE, 1 - _EDGE)]
        low = max(low, middle * _EDGE)
        kinds.append(Content(taxon, basis, (low, middle, high), (share[0], share[1], share[2])))
    return LotContents(tuple(kinds))


def merged(parts: Sequence[tuple[LotContents, int]]) -> LotContents:
    """What is in a blend: its parts by weight, each known as well as it is known.

    Parameters
    ----------
    parts
        What each part holds, and what it weighs in any one unit.
    """
    whole = sum(amount for _, amount in parts)
    rates: dict[str, Array] = {}
    live: dict[str, Array] = {}
    basis: dict[str, set[Basis]] = {}
    for number, (contents, amount) in enumerate(parts):
        for kind in contents.kinds:
            z = normals(_SEED, f"lot/part/{number}", _DRAWS, kind.taxon)
            rate = lognormal(z, *kind.seeds_per_g) * (amount / whole)
            alive = np.interp(uniforms(_SEED, f"lot/live/{number}", _DRAWS, kind.taxon), _TAILS, kind.alive)
            rates[kind.taxon] = rates.get(kind.taxon, 0.0) + rate
            live[kind.taxon] = live.get(kind.taxon, 0.0) + rate * alive
            basis.setdefault(kind.taxon, set()).add(kind.basis)
    # the weakest of its parts' grounds
    order: tuple[Basis, ...] = ("donor", "declared", "counted")
    grounds = {taxon: next(word for word in order if word in said) for taxon, said in basis.items()}
    return _told(
        {taxon: (grounds[taxon], rate) for taxon, rate in rates.items()},
        {taxon: live[taxon] / rates[taxon] for taxon in rates},
    )
