"""Read and check the reference tables: comma-separated files in, one immutable `ParameterSet` out.

Two kinds of table. A *number table* has one number per row with its unit and source; a *noun table* has words
(names, classes, instructions). `python -m modelling.core.parameters [FOLDER]` checks a folder.
"""

from __future__ import annotations

import csv
import hashlib
import math
import sys
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from types import MappingProxyType
from typing import Final

from modelling.core.errors import Fault, ParameterError
from modelling.core.units import UNITS

NUMBER_COLUMNS: Final = (
    "subject", "quantity", "low", "mode", "high", "shape", "unit", "valid_from", "source_id", "locator",
    "condition", "confidence", "note",
)  # fmt: skip
PACK_COLUMNS: Final = ("pack_size", "pack_unit", "vat")
RULE_COLUMNS: Final = ("rule_id", "operator", "counts_as", "without")
SOURCE_COLUMNS: Final = ("source_id", "author", "year", "title", "publication", "kind", "licence", "note")

#: number table -> columns beyond the common ones
NUMBER_TABLES: Final[dict[str, tuple[str, ...]]] = {
    "taxon_values": (), "mix_contents": (), "sowing_rates": (), "soil_bands": (), "operation_values": (),
    "machine_values": (), "prices": PACK_COLUMNS, "in_kind_rates": (), "rates": (), "establishment": (),
    "site_values": (), "regimes": (), "planning": (), "british_ellenberg": (), "survey_values": (), "sack_values": (),
    "harvest_values": (),
    "share_out_values": (),
    "cover_scales": ("class_words", "low_end"), "sward_rules": RULE_COLUMNS, "condition_rules": RULE_COLUMNS,
}  # fmt: skip
NOUN_TABLES: Final[dict[str, tuple[str, ...]]] = {
    "taxa": (
        "key", "scientific_name", "english_name", "synonyms", "group", "model_class", "life_form",
        "chill_needed", "role", "price_item", "flowering_months", "ripe_months", "source_id", "confidence",
        "note",
    ),
    "taxon_names": ("name", "kind", "taxon", "source_id", "confidence", "note"),
    "mixes": (
        "key", "label", "kind", "habitat", "suits_wetness", "suits_shade", "price_item", "description",
        "source_id", "confidence", "note",
    ),
    "operations": (
        "key", "label", "stage", "scale", "driver", "machine", "skill", "price_item", "contractor",
        "disturbs_soil", "cuts_sward", "makes_arisings", "instruction", "source_id", "confidence", "note",
    ),
    "machines": (
        "key", "label", "scale", "fuel", "price_item", "vibrates", "source_id", "confidence", "note",
    ),
    "cautions": ("key", "trigger", "label", "text", "nation", "source_id", "confidence", "note"),
    "permissions": (
        "site_kind", "key", "label", "who_gives", "why", "when", "nation", "source_id", "confidence", "note",
    ),
    "site_kinds": (
        "key", "default_sward", "default_last_use", "default_arisings", "default_disposal", "help",
        "source_id", "confidence", "note",
    ),
    "vocabularies": ("vocabulary", "key", "label", "help", "source_id", "confidence", "note"),
    "plant_kinds": ("key", "kind", "source_id", "confidence", "note"),
    "indicator_taxa": (
        "list", "key", "scientific_name", "english_name", "rank", "role", "counts_as", "source_id", "confidence",
        "note",
    ),
    "rule_sets": (
        "key", "label", "version", "kind", "nation", "list", "list_held", "frequency_scale", "source_id",
        "confidence", "note",
    ),
    "rule_classes": ("rule_set", "key", "label", "source_id", "confidence", "note"),
}  # fmt: skip
SOURCE_TABLES: Final = ("sources_biology", "sources_work", "sources_model")

SHAPES: Final = ("fixed", "triangular", "lognormal", "logitnormal", "normal", "band")
CONFIDENCES: Final = ("published", "restated", "fitted", "common practice", "from memory")
SOURCE_KINDS: Final = (
    "standard", "official", "paper", "handbook", "data set", "survey", "practice", "memory",
)  # fmt: skip

#: noun table -> columns that must hold one of these words
CLOSED: Final[dict[str, dict[str, tuple[str, ...]]]] = {
    "taxa": {
        "group": ("forb", "legume", "grass", "sedge", "hemiparasite", "annual", "woody", "fern", "moss"),
        # none: never sown, and followed by no part of the model
        "model_class": (
            "reliable", "pioneer", "legume", "annual", "grass", "slow_grass", "slow", "rattle", "none",
        ),
        "chill_needed": ("yes", "no"),
        "role": ("meadow", "weed", "arrival"),
    },
    "taxon_names": {
        "kind": (
            "english", "misspelling", "old scientific", "abbreviation", "aggregate", "hybrid", "not a plant",
        ),
    },
    "mixes": {"kind": ("grass_and_forb", "forb_only", "annuals", "harvested", "grass_only")},
    "operations": {
        "stage": (
            "survey", "preparation", "sowing", "planting", "first_year", "yearly_cut", "grazing", "weeds",
            "arisings",
        ),
        "scale": ("hand", "pedestrian", "tractor", "livestock", "none"),
        "driver": ("area_m2", "seed_kg", "plugs", "visits", "arisings_t", "fence_m"),
        "skill": ("anyone", "shown_once", "trained", "certificate", "contractor"),
        "contractor": ("yes", "no"),
        "disturbs_soil": ("yes", "no"),
        "cuts_sward": ("yes", "no"),
        "makes_arisings": ("yes", "no"),
    },
    "machines": {
        "scale": ("hand", "pedestrian", "tractor"),
        "fuel": ("petrol", "diesel", "electric", "none"),
        "vibrates": ("yes", "no"),
    },
    "plant_kinds": {"kind": ("forb", "grass", "sedge", "rush", "fern", "woody", "moss")},
    "indicator_taxa": {
        "rank": ("species", "genus", "genus_word"),
        "role": ("positive", "negative", "left out", "counted", "question"),
    },
    "rule_sets": {"kind": ("sward", "condition"), "list_held": ("yes", "part", "no")},
}  # fmt: skip
_RULE_WORDS: Final = {
    "operator": ("at_least", "more_than", "at_most", "less_than", "between"),
    # needed: how many of the rules marked any must hold; noted: shown, decides nothing
    "counts_as": ("any", "must", "noted", "needed"),
}
#: number table -> its further columns that must hold one of these words
CLOSED_NUMBERS: Final[dict[str, dict[str, tuple[str, ...]]]] = {
    # whether the low end of a class belongs to it
    "cover_scales": {"low_end": ("from", "above")},
    "sward_rules": _RULE_WORDS,
    "condition_rules": _RULE_WORDS,
}
#: number table -> the noun table (or vocabulary pairs) that its subjects must come from
SUBJECTS: Final[dict[str, str]] = {
    "taxon_values": "taxa",
    "mix_contents": "mixes",
    "operation_values": "operations",
    "machine_values": "machines",
    "site_values": "vocabularies",
    "sward_rules": "rule_classes",
    "condition_rules": "rule_classes",
}
#: noun table -> the columns that make its key, where that is not the column `key`
KEYS: Final[dict[str, tuple[str, ...]]] = {
    "permissions": ("site_kind", "key"),
    "vocabularies": ("vocabulary", "key"),
    "taxon_names": ("name", "taxon"),
    "indicator_taxa": ("list", "key"),
    "rule_classes": ("rule_set", "key"),
}
NO_PLANT: Final = "not a plant"
INERT: Final = "inert_share"
VAT_CLASSES: Final = ("standard", "reduced", "zero", "none")
MIX_SUM_TOLERANCE: Final = 0.001


@dataclass(frozen=True, slots=True)
class Number:
    """One number of the reference data with its unit, source and how far to trust it.

    `low`, `mode`, `high` mean, by `shape`: triangular the bounds and the most likely value; lognormal,
    logitnormal, normal the 10 %, 50 % and 90 % points; fixed only `mode`; band the class limits.
    """

    table: str
    subject: str
    quantity: str
    low: float | None
    mode: float | None
    high: float | None
    shape: str
    unit: str
    valid_from: date
    source_id: str
    locator: str
    condition: str
    confidence: str
    note: str
    extra: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def middle(self) -> float:
        """The most likely value; for a band the middle of it, or its open end."""
        if self.mode is not None:
            return self.mode
        ends = [end for end in (self.low, self.high) if end is not None]
        return sum(ends) / len(ends)


@dataclass(frozen=True, slots=True)
class ParameterSet:
    """All reference tables of one folder, read-only, with the SHA-256 of their bytes."""

    checksum: str
    numbers: Mapping[tuple[str, str, str], Number] = field(repr=False)
    packs: Mapping[str, tuple[Number, ...]] = field(repr=False)
    nouns: Mapping[str, Mapping[str, Mapping[str, str]]] = field(repr=False)
    sources: Mapping[str, Mapping[str, str]] = field(repr=False)
    _tables: Mapping[str, tuple[Number, ...]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        tables: dict[str, list[Number]] = {}
        for (table, _, _), number in self.numbers.items():
            tables.setdefault(table, []).append(number)
        object.__setattr__(self, "_tables", {table: tuple(rows) for table, rows in tables.items()})

    def number(self, table: str, subject: str, quantity: str) -> Number:
        """The row of `table` for `subject` and `quantity`; KeyError names what is missing."""
        return self.numbers[table, subject, quantity]

    def find(self, table: str, subject: str, quantity: str) -> Number | None:
        """As `number`, or None where the table has no such row."""
        return self.numbers.get((table, subject, quantity))

    def value(self, table: str, subject: str, quantity: str) -> float:
        """The most likely value of a row, in the row's unit."""
        return self.numbers[table, subject, quantity].middle

    def rows(self, table: str) -> Iterator[Number]:
        """Every number of one table, in file order."""
        return iter(self._tables.get(table, ()))

    def subjects(self, table: str, quantity: str) -> Iterator[str]:
        """Subjects of `table` that have a row for `quantity`, in file order."""
        return (s for t, s, q in self.numbers if t == table and q == quantity)


def _float(text: str) -> float | None:
    return float(text) if text.strip() else None


class _Reader:
    """Reads one folder and gathers every fault instead of stopping at the first."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.faults: list[Fault] = []
        self.digest = hashlib.sha256()
        self.used_sources: set[str] = set()
        self.numbers: dict[tuple[str, str, str], Number] = {}
        self.packs: dict[str, list[Number]] = {}
        self.nouns: dict[str, dict[str, dict[str, str]]] = {}
        self.sources: dict[str, dict[str, str]] = {}
        #: where a key, or the first row of a subject, stands: (table, key) -> line
        self.lines: dict[tuple[str, str], int] = {}

    def fault(self, file: str, line: int, kind: str, message: str) -> None:
        self.faults.append(Fault(f"{file}.csv", line, kind, message))

    def table(self, name: str, columns: tuple[str, ...]) -> Iterable[tuple[int, dict[str, str]]]:
        path = self.folder / f"{name}.csv"
        if not path.is_file():
            self.fault(name, 0, "missing_file", f"the table {name}.csv is not in the folder")
            return
        raw = path.read_bytes().replace(b"\r\n", b"\n")
        self.digest.update(name.encode() + b"\0" + raw + b"\0")
        try:
            text = raw.decode("utf-8")
        except UnicodeDecodeError as error:
            line = raw.count(b"\n", 0, error.start) + 1
            self.fault(name, line, "not_utf8", f"byte {error.start} is not UTF-8 text; save the file as UTF-8")
            return
        rows = csv.reader(text.splitlines())
        header = tuple(next(rows, []))
        if header != columns:
            self.fault(name, 1, "wrong_header", f"columns are {', '.join(header)}; expected {', '.join(columns)}")
            return
        for row in rows:
            if len(row) != len(columns):
                self.fault(name, rows.line_num, "wrong_width", f"{len(row)} cells; the header has {len(columns)}")
                continue
            yield rows.line_num, dict(zip(columns, (cell.strip() for cell in row), strict=True))

    def read(self) -> None:
        for name in SOURCE_TABLES:
            self.read_sources(name)
        for name, columns in NOUN_TABLES.items():
            self.read_nouns(name, columns)
        for name, extra in NUMBER_TABLES.items():
            self.read_numbers(name, NUMBER_COLUMNS + extra, extra == PACK_COLUMNS)
        self.check_names()
        self.check_rules()
        self.check_mixes()
        self.check_prices()
        for source_id, row in self.sources.items():
            if source_id not in self.used_sources:
                line = self.lines[row["table"], source_id]
                text = f"no row uses the source {source_id}; delete it or cite it"
                self.fault(row["table"], line, "orphan_source", text)

    def read_sources(self, name: str) -> None:
        for line, row in self.table(name, SOURCE_COLUMNS):
            source_id = row["source_id"]
            if source_id in self.sources:
                self.fault(name, line, "duplicate_key", f"the source {source_id} is listed twice")
            if row["kind"] not in SOURCE_KINDS:
                self.fault(name, line, "unknown_word", f"kind {row['kind']!r}; allowed: {', '.join(SOURCE_KINDS)}")
            self.sources[source_id] = {**row, "table": name}
            self.lines[name, source_id] = line

    def check_source(self, name: str, line: int, row: dict[str, str]) -> None:
        source_id = row["source_id"]
        if not source_id:
            self.fault(name, line, "missing_source", "no source; name a row of a sources table")
        elif source_id not in self.sources:
            self.fault(name, line, "unknown_source", f"the source {source_id} is in no sources table")
        self.used_sources.add(source_id)
        if row["confidence"] not in CONFIDENCES:
            self.fault(
                name,
                line,
                "unknown_confidence",
                f"confidence {row['confidence']!r}; allowed: {', '.join(CONFIDENCES)}",
            )

    def read_nouns(self, name: str, columns: tuple[str, ...]) -> None:
        table = self.nouns.setdefault(name, {})
        for line, row in self.table(name, columns):
            key = ":".join(row[column] for column in KEYS.get(name, ("key",)))
            if key in table:
                self.fault(name, line, "duplicate_key", f"{key} is listed twice")
            for column, allowed in CLOSED.get(name, {}).items():
                if row[column] not in allowed:
                    self.fault(name, line, "unknown_word", f"{column} {row[column]!r}; allowed: {', '.join(allowed)}")
            self.check_source(name, line, row)
            table[key] = row
            self.lines[name, key] = line

    def read_numbers(self, name: str, columns: tuple[str, ...], has_packs: bool) -> None:
        seen: set[tuple[str, str, str]] = set()
        for line, row in self.table(name, columns):
            label = f"{row['subject']}, {row['quantity']}"
            self.lines.setdefault((name, row["subject"]), line)
            self.lines[name, label] = line
            key = (row["subject"], row["quantity"], row.get("pack_size", ""))
            if key in seen:
                self.fault(name, line, "duplicate_key", f"{label} is listed twice")
            seen.add(key)
            known = SUBJECTS.get(name)
            if known and row["subject"] not in self.nouns[known]:
                self.fault(name, line, "unknown_subject", f"{row['subject']!r} is not a key of {known}.csv")
            for column, allowed in CLOSED_NUMBERS.get(name, {}).items():
                if row[column] not in allowed:
                    text = f"{label}: {column} {row[column]!r}; allowed: {', '.join(allowed)}"
                    self.fault(name, line, "unknown_word", text)
            self.check_source(name, line, row)
            number = self.parse(name, line, label, row, columns)
            if number is None or (has_packs and not self.check_pack(name, line, label, row)):
                continue
            if has_packs and row["pack_size"]:
                self.packs.setdefault(number.subject, []).append(number)
            else:
                self.numbers[name, number.subject, number.quantity] = number

    def parse(self, name: str, line: int, label: str, row: dict[str, str], columns: tuple[str, ...]) -> Number | None:
        before = len(self.faults)
        if not row["unit"]:
            self.fault(name, line, "missing_unit", f"{label} has no unit")
        elif row["unit"] not in UNITS:
            self.fault(name, line, "unknown_unit", f"{label}: unit {row['unit']!r} is not in the closed list")
        if row["shape"] not in SHAPES:
            self.fault(
                name,
                line,
                "unknown_shape",
                f"{label}: shape {row['shape']!r}; allowed: {', '.join(SHAPES)}",
            )
        try:
            low, mode, high = (_float(row[column]) for column in ("low", "mode", "high"))
            finite = all(x is None or math.isfinite(x) for x in (low, mode, high))
        except ValueError:
            finite = False
            low = mode = high = None
        if not finite:
            read = [row[c] for c in ("low", "mode", "high")]
            self.fault(name, line, "not_a_number", f"{label}: read {read}; plain decimal numbers are expected")
        valid_from = date.min
        try:
            valid_from = date.fromisoformat(row["valid_from"])
        except ValueError:
            self.fault(name, line, "bad_date", f"{label}: valid_from {row['valid_from']!r}; expected YYYY-MM-DD")
        if len(self.faults) > before:
            return None
        self.check_order(name, line, label, row, low, mode, high)
        if len(self.faults) > before:
            return None
        extra = {c: row[c] for c in columns[len(NUMBER_COLUMNS) :]}
        words = {c: row[c] for c in NUMBER_COLUMNS if c not in ("low", "mode", "high", "valid_from")}
        return Number(
            table=name,
            low=low,
            mode=mode,
            high=high,
            valid_from=valid_from,
            extra=MappingProxyType(extra),
            **words,
        )

    def check_order(
        self,
        name: str,
        line: int,
        label: str,
        row: dict[str, str],
        low: float | None,
        mode: float | None,
        high: float | None,
    ) -> None:
        shape = row["shape"]
        needed = {"fixed": (mode,), "band": ()}.get(shape, (low, mode, high))
        if any(x is None for x in needed) or (shape == "band" and low is None and high is None):
            self.fault(name, line, "missing_value", f"{label}: shape {shape} needs more of low, mode, high")
            return
        given = [x for x in (low, mode, high) if x is not None]
        if given != sorted(given):
            self.fault(name, line, "wrong_order", f"{label}: low {low}, mode {mode}, high {high} do not rise")
        elif shape in {"lognormal", "logitnormal"} and given[0] <= 0:
            self.fault(name, line, "wrong_order", f"{label}: shape {shape} needs numbers above 0")
        elif shape == "logitnormal" and given[-1] >= 1:
            self.fault(name, line, "wrong_order", f"{label}: shape {shape} needs numbers below 1")
        elif row["unit"] == "share" and (given[0] < 0 or given[-1] > 1):
            self.fault(name, line, "share_out_of_range", f"{label}: a share lies between 0 and 1, read {given}")

    def check_pack(self, name: str, line: int, label: str, row: dict[str, str]) -> bool:
        """Whether the extra columns of a price can be used: size of the pack, class of VAT."""
        before = len(self.faults)
        try:
            fine = not row["pack_size"] or 0 < float(row["pack_size"]) < math.inf
        except ValueError:
            fine = False
        if not fine:
            text = f"{label}: pack_size {row['pack_size']!r}; a number above 0 is expected, or nothing"
            self.fault(name, line, "not_a_number", text)
        if row["vat"] not in VAT_CLASSES:
            text = f"{label}: vat {row['vat']!r}; allowed: {', '.join(VAT_CLASSES)}"
            self.fault(name, line, "unknown_word", text)
        return len(self.faults) == before

    def check_names(self) -> None:
        """Another name must be of a plant in the table, and a word for no plant of none."""
        for key, row in self.nouns["taxon_names"].items():
            if (row["kind"] == NO_PLANT) == bool(row["taxon"]) or row["taxon"] not in {"", *self.nouns["taxa"]}:
                text = (
                    f"{row['name']}, {row['kind']}: {row['taxon']!r} is not a key of taxa.csv that it could stand for"
                )
                self.fault("taxon_names", self.lines["taxon_names", key], "unknown_subject", text)

    def check_rules(self) -> None:
        """A class belongs to a set, and what a rule leaves out is a list of plants."""
        sets, lists = self.nouns["rule_sets"], {row["list"] for row in self.nouns["indicator_taxa"].values()}
        for key, row in self.nouns["rule_classes"].items():
            if row["rule_set"] not in sets:
                text = f"{key}: {row['rule_set']!r} is not a key of rule_sets.csv"
                self.fault("rule_classes", self.lines["rule_classes", key], "unknown_subject", text)
        for (table, subject, quantity), number in self.numbers.items():
            if number.extra.get("without") and number.extra["without"] not in lists:
                text = f"{subject}, {quantity}: {number.extra['without']!r} is no list of indicator_taxa.csv"
                self.fault(table, self.lines[table, f"{subject}, {quantity}"], "unknown_subject", text)

    def check_mixes(self) -> None:
        totals: dict[str, float] = {}
        for (table, mix, taxon), number in self.numbers.items():
            if table != "mix_contents" or taxon == INERT:
                continue
            if taxon not in self.nouns["taxa"]:
                line = self.lines[table, f"{mix}, {taxon}"]
                self.fault(table, line, "unknown_subject", f"{mix}: {taxon!r} is not a key of taxa.csv")
            totals[mix] = totals.get(mix, 0.0) + number.middle
        for mix in self.nouns["mixes"]:
            total = totals.get(mix, 0.0)
            if abs(total - 1) > MIX_SUM_TOLERANCE:
                text = f"shares of {mix} add up to {total:.4f}; they must add up to 1"
                self.fault("mixes", self.lines["mixes", mix], "mix_sum", f"in mix_contents.csv the {text}")

    def check_prices(self) -> None:
        """What is sold in packs must have packs, what is charged otherwise a price of some kind, machines a row."""
        priced = {*self.packs, *(subject for table, subject, _ in self.numbers if table == "prices")}
        for table, known in (("taxa", self.packs), ("mixes", self.packs), ("operations", priced), ("machines", priced)):
            for key, row in self.nouns[table].items():
                if row["price_item"] and row["price_item"] not in known:
                    text = f"{key}: prices.csv has no {row['price_item']!r} to charge"
                    self.fault(table, self.lines[table, key], "unknown_price", text)
        for key, row in self.nouns["operations"].items():
            if row["machine"] and row["machine"] not in self.nouns["machines"]:
                text = f"{key}: {row['machine']!r} is not a key of machines.csv"
                self.fault("operations", self.lines["operations", key], "unknown_subject", text)


def read_folder(folder: Path) -> tuple[ParameterSet, tuple[Fault, ...]]:
    """Read the tables in `folder`; the set holds what could be read, the tuple every fault found."""
    reader = _Reader(folder)
    reader.read()
    parameters = ParameterSet(
        checksum=reader.digest.hexdigest(),
        numbers=MappingProxyType(reader.numbers),
        packs=MappingProxyType({k: tuple(v) for k, v in reader.packs.items()}),
        nouns=MappingProxyType(reader.nouns),
        sources=MappingProxyType(reader.sources),
    )
    return parameters, tuple(reader.faults)


def load(folder: Path) -> ParameterSet:
    """Read and check the tables in `folder`.

    Raises
    ------
    ParameterError
        If anything is wrong; it carries every fault.
    """
    parameters, faults = read_folder(folder)
    if faults:
        raise ParameterError(faults)
    return parameters


def main(arguments: list[str]) -> int:
    """Check a folder and print every fault; exit status 1 if there is one."""
    folder = Path(arguments[0]) if arguments else Path(__file__).parent.parent / "reference"
    parameters, faults = read_folder(folder)
    for found in faults:
        sys.stdout.write(f"{found}\n")
    count = len(parameters.numbers) + sum(len(packs) for packs in parameters.packs.values())
    sources = len(parameters.sources)
    sys.stdout.write(f"{count} numbers, {sources} sources, {len(faults)} faults, checksum {parameters.checksum}\n")
    return 1 if faults else 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
