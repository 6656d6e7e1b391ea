"""Reads of the modelling app: reference tables, vocabularies, the model card."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from modelling.core.parameters import INERT, NOUN_TABLES, NUMBER_TABLES, Number, ParameterSet, load
from modelling.core.units import UNITS

REFERENCE: Final = Path(__file__).parent / "reference"
MODEL_CARD: Final = Path(__file__).parent / "MODEL_CARD.md"
TITLES: Final = {
    "taxon_values": "Plants: weights, germination, tolerances",
    "mix_contents": "What is in each mix",
    "sowing_rates": "Sowing rates",
    "soil_bands": "Soil index bands",
    "operation_values": "Work rates and effects of each operation",
    "machine_values": "Machines: width, speed, fuel, vibration",
    "prices": "Prices",
    "in_kind_rates": "Rates for time and kit in kind",
    "rates": "VAT, discounting, hire periods, vibration, volunteers",
    "establishment": "Establishment: what decides whether seed becomes a plant and stays",
    "site_values": "What is taken for a site where nothing better is known",
    "regimes": "Yearly care: its effects",
    "planning": "Rules of thumb for plans",
    "taxa": "Plants",
    "mixes": "Seed mixes",
    "operations": "Operations",
    "machines": "Machines",
    "cautions": "Cautions",
    "permissions": "Permissions by kind of place",
    "site_kinds": "Kinds of place: what is taken where nothing is said",
    "vocabularies": "Words that a request may use",
}
_VOCABULARIES: Final = (
    "kind", "wetness", "shade", "sward", "last_use", "arisings", "grazing", "disposal", "existing_interest",
)  # fmt: skip


@lru_cache(maxsize=1)
def parameters() -> ParameterSet:
    """The reference tables, read once per process."""
    return load(REFERENCE)


def reference_checksum() -> str:
    """SHA-256 of the reference tables in use."""
    return parameters().checksum


def model_card() -> str:
    """The model card, Markdown."""
    return MODEL_CARD.read_text(encoding="utf-8")


def vocabularies() -> dict[str, list[dict[str, str]]]:
    """Every key that a request may use, with a plain label."""
    nouns = parameters().nouns
    out: dict[str, list[dict[str, str]]] = {name: [] for name in _VOCABULARIES}
    for row in nouns["vocabularies"].values():
        if row["vocabulary"] in out:
            out[row["vocabulary"]].append({"key": row["key"], "label": row["label"], "help": row["help"]})
    out["operations"] = [
        {
            "key": key,
            "label": row["label"],
            "help": row["instruction"],
            "stage": row["stage"],
            "scale": row["scale"],
            "skill": row["skill"],
        }
        for key, row in nouns["operations"].items()
    ]
    out["mixes"] = [
        {"key": key, "label": row["label"], "help": row["description"], "kind": row["kind"]}
        for key, row in nouns["mixes"].items()
    ]
    out["taxa"] = [
        {
            "key": key,
            "label": row["english_name"],
            "help": row["scientific_name"],
            "group": row["group"],
            "sowable": "yes" if row["role"] == "meadow" else "no",
        }
        for key, row in nouns["taxa"].items()
    ]
    out["machines"] = [
        {"key": key, "label": row["label"], "help": "", "scale": row["scale"]} for key, row in nouns["machines"].items()
    ]
    return out


def reference_table(name: str) -> dict[str, Any] | None:
    """One table with its rows, or None where there is no such table."""
    found = parameters()
    if name in NUMBER_TABLES:
        numbers = list(found.rows(name))
        if name == "prices":
            numbers += [pack for packs in found.packs.values() for pack in packs]
        rows = [_number_row(number) for number in numbers]
        return {"table": name, "title": TITLES[name], "kind": "numbers", "rows": rows}
    if name in NOUN_TABLES:
        rows = [{**row, "source": source_words(row["source_id"])} for row in found.nouns[name].values()]
        return {"table": name, "title": TITLES[name], "kind": "words", "rows": rows}
    return None


def reference_tables() -> list[dict[str, Any]]:
    """Every table with its rows."""
    return [table for name in TITLES if (table := reference_table(name)) is not None]


def table_names() -> list[dict[str, Any]]:
    """Every table without its rows."""
    return [
        {"table": t["table"], "title": t["title"], "kind": t["kind"], "row_count": len(t["rows"])}
        for t in reference_tables()
    ]


def _number_row(number: Number) -> dict[str, Any]:
    row: dict[str, Any] = {
        "subject": number.subject,
        "label": subject_words(number.table, number.subject),
        "quantity": number.quantity,
        "low": number.low,
        "mode": number.mode,
        "high": number.high,
        "shape": number.shape,
        "unit": number.unit,
        "unit_in_words": UNITS[number.unit],
        "valid_from": number.valid_from.isoformat(),
        "source_id": number.source_id,
        "source": source_words(number.source_id),
        "locator": number.locator,
        "condition": number.condition,
        "confidence": number.confidence,
        "note": number.note,
    }
    return row | dict(number.extra)


def subject_words(table: str, subject: str) -> str:
    """A subject in words where it is the key of a noun."""
    nouns = parameters().nouns
    for name in ("taxa", "mixes", "operations", "machines", "vocabularies"):
        row = nouns[name].get(subject)
        if row is not None:
            return row.get("label") or f"{row['english_name']} ({row['scientific_name']})"
    del table
    return subject.replace("_", " ")


def source_words(source_id: str) -> str:
    """A source as a short citation."""
    row = parameters().sources[source_id]
    parts = [row["author"], row["year"], row["title"], row["publication"]]
    return ". ".join(part for part in parts if part)


def sources() -> list[dict[str, str]]:
    """Every source, as in the tables."""
    return [dict(row) for row in parameters().sources.values()]


def taxa_of_mix(mix: str) -> list[str]:
    """Keys of the taxa in a mix."""
    return [n.quantity for n in parameters().rows("mix_contents") if n.subject == mix and n.quantity != INERT]
