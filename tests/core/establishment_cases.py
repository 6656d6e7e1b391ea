"""Grounds, taxa and zones for the tests of the establishment core; nothing here is a fact about a real site."""

import numpy as np

from modelling.core.establishment import Care, Ground, Planting, Preparation, Sowing, Taxon, Zone
from modelling.core.sampling import normals, uniforms

RATTLE = Taxon("rhinanthus_minor", "rattle", True, 1, 5, 6, 7, 4)
#: one or two of each class, with tolerances from narrow to unknown
TAXA = (
    RATTLE,
    Taxon("easy_forb", "reliable", False, 2, 5, 6, 7, 4),
    Taxon("late_flowering_forb", "reliable", False, 3, 4, 7, 8, 2, 1.5),
    Taxon("ox_eye", "pioneer", False, 2, 4, None, 7, 3),
    Taxon("clover", "legume", False, 2, 5, 6, 7, 6),
    Taxon("corn_flower", "annual", False, 1, None, None, 7, None),
    Taxon("fine_grass", "grass", False, 2, 5, 6, 7, 4),
    Taxon("quaking_grass", "slow_grass", False, 3, None, 7, 8, 3),
    Taxon("cowslip", "slow", True, 4, 4, 8, 7, 3),
    Taxon("scabious", "slow", False, 3, 7, None, 7, 2),
)
KEYS = tuple(taxon.key for taxon in TAXA)


def of_class(*names):
    return tuple(taxon for taxon in TAXA if taxon.model_class in names)


def each(seeds, taxa=TAXA):
    """So many live seeds (or plugs) per m2 of each."""
    return {taxon.key: float(seeds) for taxon in taxa}


def ground(n, **changed):
    """A middling site whose facts differ a little from draw to draw; `changed` ones are the same in every draw."""

    def about(middle, name, spread=0.2):
        return middle * np.exp(spread * normals(7, name, n))

    arrays = {
        "crop_g_per_m2": about(430, "crop"),
        "p_index": about(1.6, "p"),
        "wetness_f": about(5.5, "wetness"),
        "reaction_r": about(6, "reaction"),
        "light_l": about(7, "light", 0.1),
        "quality": 0.8 * normals(7, "quality", n),
        "residents_broadleaf": about(3.1, "broadleaf"),
        "residents_grass": about(3.5, "grass"),
        "bare_share": 0.1 * uniforms(7, "bare", n),
        "distance_m": about(400, "distance"),
    }
    whole = {"area_m2": 5000.0, "tall": False, "on_arable": False}
    for name, value in changed.items():
        if name in whole:
            whole[name] = value
        else:
            arrays[name] = np.full(n, float(value))
    return Ground(**whole, **arrays)


def work(n, year=1, *, bare=0.5, lowered=0.0, kept=0.8, opens=True):
    """Preparation with the same shares in every draw."""
    return Preparation(year, np.full(n, bare), np.full(n, lowered), np.full(n, kept), opens)


def one_zone(n, seeds=30.0, taxa=TAXA, **preparation):
    """The whole site prepared and sown in one go."""
    return (Zone(1.0, (work(n, **preparation),), (Sowing(1, each(seeds, taxa)),)),)


def scenario(n, **changed):
    """Arguments of `establish` besides the parameters: a hay meadow, prepared and sown."""
    usual = {
        "ground": ground(n),
        "taxa": TAXA,
        "zones": one_zone(n),
        "care": Care("hay", 2),
        "years": 10,
        "random_seed": 11,
        "world_seed": 5,
        "first_summer": 2027,
        "quadrat_area_m2": 1.0,
    }
    return usual | changed


def two_zones(n):
    """A stripped and sown strip, and the rest over-sown later and planted."""
    stripped = Zone(0.3, (work(n, bare=0.95, lowered=0.5, kept=0.4),), (Sowing(1, each(40)),))
    planting = Planting(3, {"cowslip": 0.5, "scabious": 0.2})
    later = Sowing(2, each(15, of_class("rattle", "reliable", "grass")))
    rest = Zone(0.7, (work(n, 2, bare=0.3),), (later,), (planting,))
    return (stripped, rest)


def plugs_only(n):
    return (Zone(1.0, (), (), (Planting(1, {"cowslip": 1.0, "easy_forb": 0.5}), Planting(2, {"cowslip": 0.25}))),)


def late_sowing(n, late=True):
    """Sown in spring (or autumn) and mown from spring on; rattle added the next autumn."""
    late = Sowing(1, each(30), late=late, mown_early=True)
    return (Zone(1.0, (work(n),), (late, Sowing(2, each(60, (RATTLE,))))),)


def opened_later(n):
    """Scratched but not opened in the first year, opened in the third, sown in both."""
    works = (work(n, bare=0.2, opens=False), work(n, 3))
    return (Zone(1.0, works, (Sowing(1, each(20)), Sowing(3, each(20)))),)


#: name -> arguments for n draws
CASES = {
    "hay meadow": scenario,
    "rattle with a refuge": lambda n: scenario(n, care=Care("early_cut", 2, 0.1)),
    "rattle without": lambda n: scenario(n, care=Care("early_cut", 2)),
    "late sowing": lambda n: scenario(n, zones=late_sowing(n), care=Care("hay", 8)),
    "plugs": lambda n: scenario(
        n, zones=plugs_only(n), taxa=of_class("slow", "reliable"), ground=ground(n, area_m2=60.0)
    ),
    "two zones": lambda n: scenario(n, zones=two_zones(n), care=Care("hay_aftermath", 4, 0.05)),
    "two zones on a small site": lambda n: scenario(n, zones=two_zones(n), ground=ground(n, area_m2=8.0)),
    "smaller than a quadrat": lambda n: scenario(n, ground=ground(n, area_m2=0.6), quadrat_area_m2=4.0),
    "former arable": lambda n: scenario(
        n, ground=ground(n, on_arable=True, bare_share=0.9, distance_m=20), zones=one_zone(n, 5.0), quadrat_area_m2=4.0
    ),
    "turf stripped on rich ground": lambda n: scenario(
        n, ground=ground(n, p_index=3.2, crop_g_per_m2=700), zones=one_zone(n, bare=1.0, lowered=0.6, kept=0.2)
    ),
    "sheep in summer": lambda n: scenario(n, care=Care("summer_sheep", 0)),
    "cuttings left": lambda n: scenario(n, care=Care("cut_left", 2), quadrat_area_m2=0.25),
    "cut early and left": lambda n: scenario(n, care=Care("early_cut", 2, 0.1, arisings_left=True)),
    "mown from spring": lambda n: scenario(n, zones=late_sowing(n, late=False), care=Care("hay", 3)),
    "tall and uncut": lambda n: scenario(
        n, ground=ground(n, tall=True, bare_share=0.003), zones=(Zone(1.0, (), (Sowing(1, each(100)),)),),
        care=Care("uncut", 0),
    ),
    "tall, opened in the third year": lambda n: scenario(
        n, ground=ground(n, tall=True, bare_share=0.003), zones=opened_later(n), care=Care("uncut", 0), years=6
    ),
    "nothing sown": lambda n: scenario(n, taxa=(), zones=(Zone(1.0),), years=4),
}  # fmt: skip
