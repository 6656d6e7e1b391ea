"""Seed: how much a site needs, how many live seeds that is, and which packs to buy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from modelling.core.distributions import Array, logitnormal, lognormal
from modelling.core.parameters import INERT, Number, ParameterSet
from modelling.core.plan import SeedItem
from modelling.core.sampling import draw, normals
from modelling.core.units import G_PER_KG, SEEDS_PER_WEIGHED_THOUSAND

#: subject of the sowing rates of seed as it is harvested
_HARVESTED: Final = "harvested"


def seeds_per_kg(thousand_seed_weight_g: float) -> float:
    """Seeds in a kilogram from the weight of a thousand (2.56 g per thousand is 390,625 seeds per kg)."""
    return G_PER_KG / thousand_seed_weight_g * SEEDS_PER_WEIGHED_THOUSAND


def pure_live_seed(purity_share: float, germination_share: float, dormant_share: float = 0.0) -> float:
    """Share of a sack's weight that is pure seed able to grow: purity x (germination + dormant)."""
    return purity_share * (germination_share + dormant_share)


def bulk_for_pure_live(pure_live_kg: float, pure_live_share: float) -> float:
    """Kilograms from the sack that hold `pure_live_kg` of live seed."""
    return pure_live_kg / pure_live_share


def live_seeds_per_m2(seed_kg: Array, area_m2: float, thousand_seed_weight_g: Array, live_share: Array) -> Array:
    """Live seeds per m2 from pure seed of one taxon; arrays of shape (draws,) or scalars."""
    grams = seed_kg * G_PER_KG
    return np.asarray(grams / thousand_seed_weight_g * SEEDS_PER_WEIGHED_THOUSAND * live_share / area_m2)


def contents(parameters: ParameterSet, item: SeedItem) -> tuple[dict[str, float], float]:
    """Shares of pure seed by taxon in an item, adding up to 1, and its share of chaff and dirt."""
    if item.taxon is not None:
        return {item.taxon: 1.0}, 0.0
    if item.lot is not None:
        return _lot_contents(parameters, item)
    shares = {}
    inert = 0.0
    for number in parameters.rows("mix_contents"):
        if number.subject != item.mix:
            continue
        if number.quantity == INERT:
            inert = number.middle
        else:
            shares[number.quantity] = number.middle
    return shares, inert


def _lot_contents(parameters: ParameterSet, item: SeedItem) -> tuple[dict[str, float], float]:
    """The same for a lot, by the middle of what is known of it."""
    grams = {
        content.taxon: content.seeds_per_g.middle
        * parameters.number("taxon_values", content.taxon, "thousand_seed_weight").middle
        / SEEDS_PER_WEIGHED_THOUSAND
        for content in item.contents or ()
    }
    whole = sum(grams.values())
    return {taxon: weight / whole for taxon, weight in grams.items()}, max(1 - whole, 0.0)


def lot_live_per_m2(item: SeedItem, area_m2: float, world_seed: int, n: int) -> dict[str, Array]:
    """Live seeds per m2 by taxon from a lot: taxon -> (n,).

    What is not known of a lot is the same wherever it is sown, so its draws go with the world and with the lot.
    """
    out = {}
    for content in item.contents or ():
        rate, alive = content.seeds_per_g, content.alive_share
        z = normals(world_seed, f"lot/{item.lot}/seeds_per_g", n, content.taxon)
        per_g = lognormal(z, rate.low, rate.middle, rate.high)
        z = normals(world_seed, f"lot/{item.lot}/alive", n, content.taxon)
        out[content.taxon] = item.kg * G_PER_KG / area_m2 * per_g * logitnormal(z, alive.low, alive.middle, alive.high)
    return out


def live_by_taxon(
    parameters: ParameterSet, items: Sequence[SeedItem], area_m2: float, world_seed: int, n: int
) -> dict[str, Array]:
    """Live seeds per m2 by taxon from all items spread over `area_m2`: taxon -> (draws,)."""
    kg: dict[str, float] = {}
    out: dict[str, Array] = {}
    for item in items:
        if item.lot is not None:
            for taxon, seeds in lot_live_per_m2(item, area_m2, world_seed, n).items():
                out[taxon] = out.get(taxon, 0.0) + seeds
            continue
        shares, inert = contents(parameters, item)
        for taxon, share in shares.items():
            kg[taxon] = kg.get(taxon, 0.0) + item.kg * (1 - inert) * share
    for taxon, mass in kg.items():
        weight = draw(parameters.number("taxon_values", taxon, "thousand_seed_weight"), world_seed, n)
        live = draw(parameters.number("taxon_values", taxon, "germination_share"), world_seed, n)
        out[taxon] = out.get(taxon, 0.0) + live_seeds_per_m2(np.full(n, mass), area_m2, weight, live)
    return out


@dataclass(frozen=True, slots=True)
class Pack:
    """A pack size with its price as low, most likely and high, before VAT."""

    size: float
    price: Number


def packs_of(parameters: ParameterSet, price_item: str) -> tuple[Pack, ...]:
    """Pack sizes sold of a price item, largest first (kg, or plants for plugs)."""
    packs = (Pack(float(number.extra["pack_size"]), number) for number in parameters.packs[price_item])
    return tuple(sorted(packs, key=lambda pack: -pack.size))


def cheapest_packs(needed: float, packs: Sequence[Pack]) -> dict[float, int]:
    """Whole packs that hold at least `needed`, at least cost at the most likely prices: size -> count.

    `packs` run from the largest. At each size the search takes as many as fit, or one fewer, and goes on to the
    smaller sizes, or finishes with one more; that finds the optimum wherever each pack holds a whole number of the
    next smaller and is cheaper by weight, and for every price list of the reference tables (a test compares them).
    """
    best: tuple[float, dict[float, int]] = (np.inf, {})

    def search(index: int, left: float, cost: float, taken: dict[float, int]) -> None:
        nonlocal best
        if left <= _SLACK * needed:
            if cost < best[0]:
                best = (cost, taken)
            return
        if index == len(packs) or cost >= best[0]:
            return
        pack = packs[index]
        price = pack.price.middle
        fit = int(np.floor(left / pack.size + _SLACK))
        more = {**taken, pack.size: fit + 1}
        search(index, min(left - (fit + 1) * pack.size, 0.0), cost + (fit + 1) * price, more)
        for count in {fit, max(fit - 1, 0)}:
            with_these = {**taken, pack.size: count} if count else taken
            search(index + 1, left - count * pack.size, cost + count * price, with_these)

    search(0, needed, 0.0, {})
    return best[1]


#: relative slack against rounding when packs are counted
_SLACK = float(np.sqrt(np.finfo(np.float64).eps))


def price_item(parameters: ParameterSet, item: SeedItem) -> str:
    """Price item of a mix or taxon."""
    table, key = ("mixes", item.mix) if item.mix is not None else ("taxa", item.taxon)
    return parameters.nouns[table][str(key)]["price_item"]


def usual_rate(parameters: ParameterSet, item: SeedItem, on_bare_ground: bool) -> Number:
    """The usual sowing rate, g/m2, for an item on bare ground or into a sward.

    A mix that is only meant for bare ground has no rate for a sward; its rate on bare ground is then returned.
    """
    if item.lot is not None:
        subject = _HARVESTED
    elif item.mix is not None:
        subject = parameters.nouns["mixes"][item.mix]["kind"]
    else:
        subject = str(item.taxon)
        if parameters.find("sowing_rates", subject, "on_bare_ground") is None:
            subject = "single_taxon"
    quantity = "on_bare_ground" if on_bare_ground else "into_sward"
    found = parameters.find("sowing_rates", subject, quantity)
    return found if found is not None else parameters.number("sowing_rates", subject, "on_bare_ground")


def kg_for(rate_g_per_m2: float, area_m2: float) -> float:
    """Kilograms for a rate in g/m2 on an area in m2."""
    return rate_g_per_m2 * area_m2 / G_PER_KG


def names(parameters: ParameterSet, taxon: str) -> Mapping[str, str]:
    """The taxon's row of words."""
    return parameters.nouns["taxa"][taxon]
