"""A blend of seed for a site: targets by the site, what may go in, and the best of it in plain values and sentences."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from modelling import wording
from modelling.contracts.blends import BLEND_SCHEMA_VERSION, BlendQuestion
from modelling.core import blend as core
from modelling.core.plan import LotContent, SeedItem, Spread
from modelling.core.seed import live_by_taxon, packs_of, price_item
from modelling.core.units import G_PER_KG
from modelling.errors import FieldError, RequestRefused, pointer_of
from modelling.reading import read_as
from modelling.release import RELEASE
from modelling.selectors import parameters, reference_checksum, taxon_row

TABLE: Final = "harvest_values"
RATTLE, FORBS, GRASS = "rattle", "forbs", "grass"
RATTLE_TAXON: Final = "rhinanthus_minor"
_SEED: Final = 1
_DRAWS: Final = 2000
_GRASSES: Final = frozenset({"grass", "sedge", "rush"})
#: grass by the sward it grows in; what is not said is ordinary
_VIGOUR: Final = {
    "bare_or_arable": "weak", "short_turf": "weak", "flower_rich": "weak", "rank_grass": "strong",
    "improved_grass": "strong",
}  # fmt: skip


def read_blend(data: object) -> BlendQuestion:
    """Read and check what a blend is asked for; raises RequestRefused with every fault."""
    asked = read_as(BlendQuestion, data)
    faults = list(_unknown(asked))
    if faults:
        raise RequestRefused(faults)
    return asked


def _unknown(asked: BlendQuestion) -> Iterator[FieldError]:
    nouns = parameters().nouns
    for position, key in enumerate(asked.mixes):
        if key not in nouns["mixes"]:
            text = f"{key!r} is not a mix known here. The list is at /api/v1/vocabularies/."
            yield FieldError(pointer_of(("mixes", position)), "unknown_mix", text, key, "a key of the list of mixes")
    named: list[tuple[tuple[str | int, ...], str]] = [(("top_ups", n), key) for n, key in enumerate(asked.top_ups)]
    named += [(("taxa", n, "taxon"), target.taxon) for n, target in enumerate(asked.taxa)]
    for path, key in named:
        row = taxon_row(key)
        if row is None or row["role"] != "meadow":
            text = f"{key!r} is not a plant that is sown here. The list is at /api/v1/vocabularies/."
            yield FieldError(pointer_of(path), "unknown_plant", text, key, "a key of a plant for sowing")


def blend(asked: BlendQuestion) -> dict[str, Any]:
    """The best blend: plain values, shaped as `BlendAnswer`."""
    items = _items(asked)
    targets, assumed, notes = _targets(asked)
    kinds = {target.id for target in targets} - {RATTLE, FORBS, GRASS}
    outside: set[str] = set()
    sources = [_source(asked, item, grams, price, kinds, outside) for item, grams, price in items]
    found = core.blend(sources, targets, asked.area_m2, spare_scarce=asked.goal == "scarce")
    missed = {one.target: one for one in found.missed}
    whole = sum(found.grams.values())
    return {
        "schema_version": BLEND_SCHEMA_VERSION,
        "release": RELEASE,
        "reference_checksum": reference_checksum(),
        "feasible": not missed,
        "proven": found.proven,
        "sentences": [*_sentences(asked, found, whole), *notes],
        "items": [
            {
                "mix": item.mix,
                "taxon": item.taxon,
                "lot": item.lot,
                "kg": found.grams[key] / G_PER_KG,
                "share_percent": found.grams[key] / whole * 100,
                "packs": [{"grams": size, "count": n} for size, n in sorted(found.packs.get(key, {}).items())],
            }
            for (item, _, _), source in zip(items, sources, strict=True)
            if (key := source.id) in found.grams
        ],
        "seed": [
            {name: value for name, value in (("mix", item.mix), ("taxon", item.taxon), ("lot", item.lot)) if value}
            | {"kg": found.grams[source.id] / G_PER_KG}
            for (item, _, _), source in zip(items, sources, strict=True)
            if source.id in found.grams
        ],
        "cost_gbp": found.cost,
        "reached": [
            {
                "target": target.id,
                "least": target.least,
                "most": target.most,
                "assumed": target.id in assumed,
                "live_per_m2": found.live_per_m2[target.id],
                "missed_by": missed[target.id].by if target.id in missed else 0.0,
            }
            for target in targets
        ],
        "left_out": sorted(outside),
    }


def targets_of(asked: BlendQuestion) -> tuple[dict[str, float], list[str]]:
    """What is aimed at, live seeds per m2 by the names of `BlendWanted`, and what is to be said of it."""
    targets, _, notes = _targets(asked)
    names = {RATTLE: "rattle_live_per_m2", FORBS: "forbs_live_per_m2", GRASS: "grass_most_live_per_m2"}
    return {names[t.id]: t.least if t.least is not None else t.most or 0.0 for t in targets if t.id in names}, notes


def _items(asked: BlendQuestion) -> list[tuple[SeedItem, int | None, float]]:
    """What may go in: an item of a gram, the grams there are, and the price of a gram of what is there."""
    gram = 1 / G_PER_KG
    found: list[tuple[SeedItem, int | None, float]] = []
    for lot in asked.lots:
        contents = tuple(
            LotContent(c.taxon, Spread(**c.seeds_per_g.model_dump()), Spread(**c.alive_share.model_dump()))
            for c in lot.contents
        )
        item = SeedItem(kg=gram, lot=lot.lot, contents=contents)
        found.append((item, int(lot.kg * G_PER_KG), lot.gbp_per_kg / G_PER_KG))
    found += [(SeedItem(kg=gram, mix=key), None, 0.0) for key in dict.fromkeys(asked.mixes)]
    found += [(SeedItem(kg=gram, taxon=key), None, 0.0) for key in dict.fromkeys(asked.top_ups)]
    return found


def _source(
    asked: BlendQuestion, item: SeedItem, grams: int | None, price: float, kinds: set[str], outside: set[str]
) -> core.Source:
    known = parameters()
    live: dict[str, float] = {}
    for taxon, draws in live_by_taxon(known, [item], 1.0, _SEED, _DRAWS).items():
        mean = float(draws.mean())
        if not _suits(asked, taxon):
            outside.add(taxon)
            if known.nouns["taxa"][taxon]["group"] not in _GRASSES:
                continue
        for target in [_group(taxon), *([taxon] if taxon in kinds else [])]:
            live[target] = live.get(target, 0.0) + mean
    packs: tuple[core.Pack, ...] = ()
    if grams is None:
        sold = packs_of(known, price_item(known, item))
        packs = tuple(core.Pack(max(round(pack.size * G_PER_KG), 1), pack.price.middle) for pack in sold)
    # a gram of a small lot is dearer than one of a large
    scarce = 0.0 if not grams else 1 / grams
    return core.Source(f"{'lot' if item.lot else 'mix' if item.mix else 'taxon'}/{item.key}", live, grams, price, packs,
                       scarce)  # fmt: skip


def _group(taxon: str) -> str:
    if taxon == RATTLE_TAXON:
        return RATTLE
    return GRASS if parameters().nouns["taxa"][taxon]["group"] in _GRASSES else FORBS


def _suits(asked: BlendQuestion, taxon: str) -> bool:
    """Whether a kind's ground is near enough to the site's, where that is known."""
    known = parameters()
    reach = known.value("establishment", "site", "tolerance_width") + known.value(
        "planning", "appraisal", "misfit_steps"
    )
    for said, word, letter in ((asked.wetness, "wetness", "f"), (asked.shade, "shade", "l")):
        if said is None:
            continue
        site = known.value("site_values", f"{word}:{said}", f"ellenberg_{letter}")
        row = known.find("taxon_values", taxon, f"ellenberg_{letter}")
        if row is None:
            continue
        gap = row.middle - site
        # a plant of the shade bears light better than the other way round
        if (abs(gap) if letter == "f" else gap) > reach:
            return False
    return True


def _targets(asked: BlendQuestion) -> tuple[list[core.Target], set[str], list[str]]:
    """Targets, which of them are taken from the tables, and what is to be said of them."""
    known, assumed, notes = parameters(), set(), []
    rattle = asked.rattle_live_per_m2
    most = known.value(TABLE, "target", "rattle_up_to_p_index")
    if rattle is None:
        assumed.add(RATTLE)
        vigour = _VIGOUR.get(asked.sward or "", "usual")
        rattle = known.value(TABLE, "target", f"rattle_{vigour}_grass")
        if asked.soil_p_index is not None and asked.soil_p_index > most:
            rattle = 0.0
            notes.append(
                f"No yellow rattle is aimed at: at a phosphorus index of {asked.soil_p_index} the grass is too strong "
                "for it. Not yet: lower the fertility first."
            )
    forbs, grass = asked.forbs_live_per_m2, asked.grass_most_live_per_m2
    if forbs is None:
        assumed.add(FORBS)
        forbs = known.value(TABLE, "target", "forbs")
    if grass is None:
        assumed.add(GRASS)
        grass = known.value(TABLE, "target", "grass_most")
    targets = [core.Target(RATTLE, rattle), core.Target(FORBS, forbs), core.Target(GRASS, None, grass)]
    targets += [core.Target(target.taxon, target.live_per_m2) for target in asked.taxa]
    return targets, assumed, notes


def _sentences(asked: BlendQuestion, found: core.Blend, whole: int) -> list[str]:
    if not whole:
        told = ["Nothing of what may go in helps towards the targets."]
    else:
        kg, rate = whole / G_PER_KG, wording.figure(whole / asked.area_m2)
        money = wording.pounds(found.cost, found.cost) if found.cost else "no money"
        told = [f"{wording.weight(kg, kg)} for {asked.area_m2:g} m², {rate} g a square metre, for {money}."]
    for one in found.missed:
        name = {RATTLE: "yellow rattle", FORBS: "other flowers", GRASS: "grass"}.get(one.target)
        name = name or (taxon_row(one.target) or {}).get("english_name", one.target)
        way = "more than the most that was allowed" if one.target == GRASS else "short of what was aimed at"
        told.append(
            f"No blend of these meets the target for {name}: the nearest reaches {wording.figure(one.reached)} live "
            f"seeds a square metre, {wording.figure(one.by)} {way}."
        )
    if not found.proven:
        told.append("The search gave up before it was sure: a better blend may exist.")
    return told
