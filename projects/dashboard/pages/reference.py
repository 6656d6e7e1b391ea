"""Rows of the reference tables as a reader wants them: what, how much, how sure, from where."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from projects.dashboard.pages.estimate import CONFIDENCE
from projects.dashboard.words import figure

_RESTS_ON = ("source_id", "source", "locator", "confidence", "note")
_VALUE = ("label", "low", "mode", "high", "shape", "unit", "unit_in_words")
_SHAPES = {
    "triangular": "{low} to {high}, most likely {mode}",
    "band": "{low} to {high}, taken as {mode}",
    "lognormal": "{mode}; 8 in 10 between {low} and {high}",
    "logitnormal": "{mode}; 8 in 10 between {low} and {high}",
    "normal": "{mode}; 8 in 10 between {low} and {high}",
}


@dataclass(frozen=True)
class Entry:
    """One row: what it is about, its value in words, the other columns, and what it rests on."""

    about: str
    value: str
    details: list[tuple[str, str]]
    source: Mapping[str, Any]
    source_id: str
    locator: str
    confidence: str
    confidence_words: str
    note: str

    def holds(self, asked: str) -> bool:
        """Say whether every word asked for stands somewhere in the row."""
        told = (word for pair in self.details for word in pair)
        parts = (self.about, self.value, *told, self.source_id, self.locator, self.confidence, self.note)
        text = " ".join(parts).lower()
        return all(word in text for word in asked.lower().split())


def entries(table: Mapping[str, Any], sources: Mapping[str, Mapping[str, Any]]) -> list[Entry]:
    """Return a table's rows, in its own order."""
    read = _number if table["kind"] == "numbers" else _noun
    return [read(row, sources) for row in table["rows"]]


def _number(row: Mapping[str, Any], sources: Mapping[str, Mapping[str, Any]]) -> Entry:
    skipped = {"subject", "quantity", *_VALUE, *_RESTS_ON}
    return _entry(row, sources, f"{row['label']}: {plain(row['quantity'])}", _value(row), skipped)


def _noun(row: Mapping[str, Any], sources: Mapping[str, Mapping[str, Any]]) -> Entry:
    key = next(iter(row))
    if row.get("scientific_name"):
        about, named = f"{row['english_name']} ({row['scientific_name']})", {"english_name", "scientific_name"}
    else:
        about, named = str(row.get("label") or plain(row[key])), {"label"}
    return _entry(row, sources, about, "", {*named, *_RESTS_ON})


def _entry(
    row: Mapping[str, Any], sources: Mapping[str, Mapping[str, Any]], about: str, value: str, skipped: set[str]
) -> Entry:
    confidence = row["confidence"]
    details = [
        (plain(name), _told(str(found)))
        for name, found in row.items()
        if name not in skipped and found not in (None, "")
    ]
    return Entry(
        about=about,
        value=value,
        details=details,
        source=sources[row["source_id"]],
        source_id=row["source_id"],
        locator=row.get("locator") or "",
        confidence=confidence,
        confidence_words=CONFIDENCE.get(confidence, confidence),
        note=row["note"] or "",
    )


def _value(row: Mapping[str, Any]) -> str:
    low, mode, high = (None if row[name] is None else figure(float(row[name]), 6) for name in ("low", "mode", "high"))
    if low and mode and high:
        text = _SHAPES[row["shape"]].format(low=low, mode=mode, high=high)
    elif mode:
        text = mode
    elif low and high:
        text = f"{low} to {high}"
    else:
        text = f"{low} or more" if low else f"up to {high}"
    return f"{text} ({row['unit_in_words']})"


def _told(value: str) -> str:
    """Return a value as words: keys without their underscores, lists with commas."""
    return value if " " in value else plain(value).replace(";", ", ")


def plain(key: str) -> str:
    """Return a key as words."""
    return key.replace("_", " ")
