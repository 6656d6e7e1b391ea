"""From records as they were written to kinds of plant that the core can count."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final

from modelling import names
from modelling.contracts import outcomes as contract
from modelling.core.outcomes import scales
from modelling.core.outcomes.found import FORB, GRASS, MOSS, RUSH, SEDGE, UNKNOWN, Plant, Sighting, Square
from modelling.selectors import parameters

#: groups of the table of plants -> kinds that rules speak of
_KINDS: Final = {
    "forb": FORB, "legume": FORB, "hemiparasite": FORB, "annual": FORB, "grass": GRASS, "sedge": SEDGE,
    "woody": "woody", "fern": "fern", "moss": MOSS,
}  # fmt: skip
_NO_PLANT: Final = "not a plant"
_GENUS_MARKS: Final = frozenset({"sp", "spp", "agg"})
_WORD: Final = re.compile(r"[a-z]+(?:-[a-z]+)*")
CM_PER_M: Final = 100


@dataclass
class Notes:
    """What was met on the way that an answer must tell: each thing once, in the order met."""

    not_settled: dict[str, None] = field(default_factory=dict)
    mosses: dict[str, None] = field(default_factory=dict)
    no_plants: dict[str, None] = field(default_factory=dict)
    unread: list[dict[str, str]] = field(default_factory=list)


def words_of(taxon: str) -> str:
    """A key of the table of plants in words."""
    row = parameters().nouns["taxa"].get(taxon)
    return f"{row['english_name']} ({row['scientific_name']})" if row else taxon.replace("_", " ")


@lru_cache(maxsize=4096)
def plant_of(taxon: str | None, written: str) -> Plant | None:
    """The kind of plant of a record; None where what was written is no plant.

    A name that is not settled counts by what was written, and is told apart. Where the tables know it to the
    letter it is the same kind as the settled one, so that nothing counts twice.
    """
    if taxon in parameters().nouns["taxa"] and taxon is not None:
        return _of_table(taxon, settled=True)
    found = names.match(written)
    if found.rank == _NO_PLANT:
        return None
    if found.status in names.SETTLED and found.taxon is not None:
        return _of_table(found.taxon, settled=False)
    return _as_written(written)


def _of_table(taxon: str, *, settled: bool) -> Plant:
    row = parameters().nouns["taxa"][taxon]
    latin = row["scientific_name"].casefold().replace("×", "").split()
    several = row["life_form"] == "several"
    genus = latin[0]
    kind = _KINDS[row["group"]]
    by_genus = _kind_of_genus(genus)
    if kind == SEDGE and by_genus == RUSH:
        # the table of plants keeps rushes with the sedges; the rules do not
        kind = RUSH
    return Plant(
        key=taxon,
        name=words_of(taxon),
        settled=settled,
        kind=kind,
        slug="" if several else _slug(latin),
        genus=genus,
        may_be=names.members(taxon),
        is_genus=several and len(latin) == 2 and latin[1].rstrip(".") in _GENUS_MARKS,
    )


def _slug(latin: list[str]) -> str:
    return "_".join(word.replace("-", "_") for word in latin[:2])


def _kind_of_genus(genus: str) -> str:
    row = parameters().nouns["plant_kinds"].get(genus)
    return row["kind"] if row else UNKNOWN


def _as_written(written: str) -> Plant:
    text = " ".join(written.casefold().split())
    words = _WORD.findall(text)
    known = bool(words) and _kind_of_genus(words[0]) != UNKNOWN
    genus_alone = known and all(word in _GENUS_MARKS for word in words[1:])
    return Plant(
        key=f"?{text}",
        name=" ".join(written.split()),
        settled=False,
        kind=_kind_of_genus(words[0]) if known else UNKNOWN,
        slug=_slug(words) if known and not genus_alone else "",
        genus=words[0] if known else "",
        is_genus=genus_alone,
    )


def sightings_of(records: Iterable[contract.Record], label: str, notes: Notes) -> tuple[Sighting, ...]:
    """The records of one quadrat, or of the whole site, as the core takes them."""
    out = []
    for record in records:
        plant = plant_of(record.taxon, record.name)
        if plant is None:
            notes.no_plants[record.name] = None
            continue
        if not plant.settled:
            notes.not_settled[record.name] = None
        if not plant.vascular:
            notes.mosses[plant.name] = None
        try:
            cover = scales.cover_of(parameters(), record.scale, record.value)
        except ValueError as error:
            cover = None
            notes.unread.append(
                {
                    "quadrat": label,
                    "name": record.name,
                    "scale": record.scale,
                    "value": record.value,
                    "why": f"{error}; the plant is taken as present, without a cover",
                }
            )
        out.append(Sighting(plant, cover))
    return tuple(out)


def squares_of(survey: contract.Survey, notes: Notes) -> tuple[Square, ...]:
    """The quadrats of a survey as the core takes them."""

    def share(percent: float | None) -> float | None:
        return None if percent is None else scales.share_from_percent(percent)

    return tuple(
        Square(
            label=quadrat.label,
            part=quadrat.part,
            area_m2=quadrat.area_m2,
            sightings=sightings_of(quadrat.records, quadrat.label, notes),
            bare_ground=share(quadrat.bare_ground_percent),
            litter=share(quadrat.litter_percent),
            forb_cover=share(quadrat.forb_cover_percent),
            sward_height_m=None if quadrat.sward_height_cm is None else quadrat.sward_height_cm / CM_PER_M,
            rattle_plants=quadrat.rattle_plants,
        )
        for quadrat in survey.quadrats
    )
