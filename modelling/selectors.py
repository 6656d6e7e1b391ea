"""Reads of the modelling app: reference tables, vocabularies, the model card, stored runs."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path
from typing import Any, Final
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from modelling import models
from modelling.arrays import checksum, unpacked
from modelling.core.parameters import INERT, NOUN_TABLES, NUMBER_TABLES, SOURCE_TABLES, Number, ParameterSet, load
from modelling.core.units import UNITS
from modelling.release import RELEASE

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
    "cover_scales": "Scales of cover and of frequency",
    "sward_rules": "Published rules for classing a sward",
    "condition_rules": "Published targets for condition",
    "british_ellenberg": "British Ellenberg values for nitrogen",
    "survey_values": "What is taken when a survey is judged",
    "sack_values": "What is taken when seed in a sack is counted",
    "harvest_values": "What is taken when seed is harvested from a meadow",
    "share_out_values": "What is taken when seed is shared out over a county",
    "taxa": "Plants",
    "taxon_names": "Other names of plants",
    "mixes": "Seed mixes",
    "operations": "Operations",
    "machines": "Machines",
    "cautions": "Cautions",
    "permissions": "Permissions by kind of place",
    "site_kinds": "Kinds of place: what is taken where nothing is said",
    "vocabularies": "Words that a request may use",
    "plant_kinds": "Genera: grass, sedge, rush, flower, wood, fern or moss",
    "indicator_taxa": "Lists of plants that rules name",
    "rule_sets": "Published sets of rules, with their versions",
    "rule_classes": "Classes of each set of rules, the best first",
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


def reference_content() -> bytes:
    """The reference tables as they stand on disk: the bytes that their checksum is of."""
    names = (*SOURCE_TABLES, *NOUN_TABLES, *NUMBER_TABLES)
    tables = ((name, (REFERENCE / f"{name}.csv").read_bytes().replace(b"\r\n", b"\n")) for name in names)
    return b"".join(name.encode() + b"\0" + raw + b"\0" for name, raw in tables)


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


# ------------------------------------------------------------------ stored runs


class StoredTextDamaged(Exception):
    """A stored answer is not the text that was stored."""


def run_get(public_id: UUID) -> models.ModelRun:
    """One stored run without its answer and draws; raises ModelRun.DoesNotExist."""
    found: models.ModelRun = (
        models.ModelRun.objects.select_related("reference")
        .defer("answer", "kept_draws", "reference__content")
        .get(public_id=public_id)
    )
    return found


def run_answer_text(public_id: UUID) -> str:
    """The answer of a stored run, as it was stored: canonical JSON.

    Raises
    ------
    ModelRun.DoesNotExist
        If there is no such run.
    StoredTextDamaged
        If the text no longer has the checksum it was stored with.
    """
    text, stored = models.ModelRun.objects.values_list("answer", "answer_checksum").get(public_id=public_id)
    return _whole(public_id, text, stored)


def run_answer_texts(public_ids: Iterable[UUID]) -> dict[UUID, str]:
    """The answers of those of these runs that are stored, each as `run_answer_text` has it; one query.

    Raises
    ------
    StoredTextDamaged
        If a text no longer has the checksum it was stored with.
    """
    rows = models.ModelRun.objects.filter(public_id__in=list(public_ids))
    found = rows.values_list("public_id", "answer", "answer_checksum")
    return {public_id: _whole(public_id, text, stored) for public_id, text, stored in found}


def _whole(public_id: UUID, text: str, stored: str) -> str:
    if checksum(text) != stored:
        raise StoredTextDamaged(
            f"The answer of run {public_id} has the checksum {checksum(text)}; it was stored with {stored}. Restore "
            "the row from a backup."
        )
    return str(text)


def run_draws(public_id: UUID) -> dict[str, NDArray[np.float32]]:
    """Kept draws of a stored run by name, shape (500,) each; draw d is the same world in every run."""
    return unpacked(models.ModelRun.objects.values_list("kept_draws", flat=True).get(public_id=public_id))


def runs_of(inputs_checksums: Iterable[str]) -> dict[str, UUID]:
    """Estimates stored by this release with these reference tables: inputs checksum -> public id."""
    found = models.ModelRun.objects.filter(
        kind=models.ModelRun.Kind.ESTIMATE,
        inputs_checksum__in=list(inputs_checksums),
        release=RELEASE,
        reference__checksum=reference_checksum(),
    )
    return dict(found.values_list("inputs_checksum", "public_id"))


def permissions_of_kind(kind: str) -> list[dict[str, str]]:
    """What to have in writing for a kind of place, its own permissions first, then those for any place."""
    rows = [dict(row) for row in parameters().nouns["permissions"].values() if row["site_kind"] in {kind, "any"}]
    return sorted(rows, key=lambda row: row["site_kind"] == "any")


def permission_words(key: str) -> dict[str, str] | None:
    """The table's row on one permission, or None where it has none."""
    # the table's rows go by kind of site and key
    row = next((row for row in parameters().nouns["permissions"].values() if row["key"] == key), None)
    return dict(row) if row else None


def is_machine(key: str) -> bool:
    """Whether the tables know a machine of this key."""
    return key in parameters().nouns["machines"]


def scale_codes(scale: str) -> list[str]:
    """The codes of a cover or frequency scale, such as those of Domin; empty for percent and presence."""
    return [code for table, subject, code in parameters().numbers if table == "cover_scales" and subject == scale]


def taxon_row(key: str) -> dict[str, str] | None:
    """The table's row on one plant, or None where it has none."""
    row = parameters().nouns["taxa"].get(key)
    return dict(row) if row else None


def cautions() -> list[dict[str, str]]:
    """The table of cautions, which defer to local rules and licensed practice."""
    return [dict(row) for row in parameters().nouns["cautions"].values()]
