"""Quadrats made up for the tests of one survey, and a second, slow way to each figure."""

from itertools import combinations
from math import comb

from modelling.core.outcomes.found import Plant, Sighting, Square
from modelling.core.outcomes.scales import Cover


def plant(name, kind="forb", **more):
    """A settled plant by its scientific name."""
    slug = name.casefold().replace(" ", "_").replace("-", "_")
    return Plant(key=slug, name=name, kind=kind, slug=slug, genus=name.casefold().split()[0], **more)


def genus(name, kind="forb"):
    """A plant written down by its genus alone."""
    key = f"{name.casefold()}_sp"
    return Plant(key=key, name=f"{name} sp.", kind=kind, genus=name.casefold(), is_genus=True)


FORBS = [plant(f"Florus kind{letter}") for letter in "abcdefghijklmnopqrstuvwxyz"]
RYEGRASS = plant("Lolium perenne", "grass")
CLOVER = plant("Trifolium repens")
BENT = plant("Agrostis capillaris", "grass")


def cover(share):
    return Cover(share, share, share)


def square(*plants, area_m2=1.0, part="sown", covers=None, **noted):
    """A quadrat with these plants; `covers` gives each a share of the ground."""
    covers = covers or {}
    sightings = tuple(Sighting(p, cover(covers[p.key]) if p.key in covers else None) for p in plants)
    return Square(label="", part=part, area_m2=area_m2, sightings=sightings, **noted)


def pool_by_hand(quadrats):
    """Estimates of the kinds of a meadow from sets of kinds, each formula as it is printed."""
    n = len(quadrats)
    kinds = set().union(*quadrats) if quadrats else set()
    held = {kind: sum(kind in quadrat for quadrat in quadrats) for kind in kinds}
    one = sum(1 for k in held.values() if k == 1)
    two = sum(1 for k in held.values() if k == 2)
    s = len(kinds)
    out = {"seen": s}
    corrected = s + (n - 1) / n * one * (one - 1) / (2 * (two + 1))
    out["chao2_bias_corrected"] = corrected
    out["chao2"] = s + (n - 1) / n * one**2 / (2 * two) if two else corrected
    # the jackknives by leaving one and two quadrats out in turn (Burnham and Overton 1979)
    without = [len(set().union(*(q for j, q in enumerate(quadrats) if j != i), set())) for i in range(n)]
    out["jackknife_1"] = n * s - (n - 1) * sum(without) / n
    if n > 1:
        pairs = [
            len(set().union(*(q for k, q in enumerate(quadrats) if k not in pair), set()))
            for pair in combinations(range(n), 2)
        ]
        mean_two = sum(pairs) / len(pairs)
        out["jackknife_2"] = (n**2 * s - 2 * (n - 1) ** 2 * sum(without) / n + (n - 2) ** 2 * mean_two) / 2
    out["bootstrap"] = s + sum((1 - k / n) ** n for k in held.values())
    return out


def accumulation_by_hand(quadrats):
    """Kinds in m quadrats, averaged over every way to take m of them."""
    n = len(quadrats)
    return [sum(len(set().union(*taken)) for taken in combinations(quadrats, m)) / comb(n, m) for m in range(1, n + 1)]
