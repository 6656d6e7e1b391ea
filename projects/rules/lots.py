"""Words and sums of lots of seed."""

from __future__ import annotations

from datetime import date
from typing import Final

MG_PER_G: Final = 1000
MG_PER_KG: Final = 1_000_000
_DAYS_PER_YEAR: Final = 365.25


def weight(amount_mg: int) -> str:
    """Return a weight as people read it: 18.4 kg, 250 g, 0.5 g."""
    if amount_mg >= MG_PER_KG:
        return f"{amount_mg / MG_PER_KG:.3f}".rstrip("0").rstrip(".") + " kg"
    return f"{amount_mg / MG_PER_G:.3f}".rstrip("0").rstrip(".") + " g"


def years_in_store(harvested_on: date | None, today: date) -> float:
    """Return the age of seed in years; 0 where nobody knows."""
    return 0.0 if harvested_on is None else max((today - harvested_on).days / _DAYS_PER_YEAR, 0.0)


def oldest(days: list[date | None]) -> date | None:
    """Return the day of the oldest part of a blend; None where that of a part is not known."""
    known = [day for day in days if day is not None]
    return min(known) if len(known) == len(days) and known else None


def together(texts: list[str], longest: int = 300) -> str:
    """Return the provenance of a blend: each of its parts' once."""
    return "; ".join(dict.fromkeys(text for text in texts if text))[:longest]
