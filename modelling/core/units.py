"""The closed list of units that a reference row may use, and the few conversions the core makes."""

from __future__ import annotations

from datetime import date
from typing import Final

#: unit -> how to say it in plain words
UNITS: Final[dict[str, str]] = {
    "share": "share from 0 to 1",
    "count": "number",
    "people": "people",
    "year": "years",
    "month": "months",
    "per_year": "per year",
    "degree": "degrees of slope",
    "g": "grams",
    "kg": "kilograms",
    "t": "tonnes",
    "m": "metres",
    "km": "kilometres",
    "m2": "square metres",
    "m3": "cubic metres",
    "ha": "hectares",
    "L": "litres",
    "h": "hours",
    "day": "days",
    "g/m2": "grams per square metre",
    "kg/ha": "kilograms per hectare",
    "t/ha": "tonnes per hectare",
    "seeds/m2": "seeds per square metre",
    "plants/m2": "plants per square metre",
    "plugs/m2": "plug plants per square metre",
    "species/m2": "species in one square metre",
    "mg/l": "milligrams per litre of soil",
    "pH": "pH",
    "index": "index",
    "km/h": "kilometres per hour",
    "m/s2": "metres per second squared",
    "m2/h": "square metres per hour",
    "m2/person-h": "square metres per person-hour",
    "kg/person-h": "kilograms per person-hour",
    "plugs/person-h": "plug plants per person-hour",
    "t/person-h": "tonnes per person-hour",
    "m/person-h": "metres per person-hour",
    "person-h": "person-hours",
    "person-h/visit": "person-hours per visit",
    "L/h": "litres per hour",
    "L/t": "litres per tonne",
    "m3/t": "cubic metres per tonne",
    "t/m3": "tonnes per cubic metre",
    "GBP": "pounds",
    "GBP/kg": "pounds per kilogram",
    "GBP/h": "pounds per hour",
    "GBP/day": "pounds per day",
    "GBP/ha": "pounds per hectare",
    "GBP/m2": "pounds per square metre",
    "GBP/t": "pounds per tonne",
    "GBP/m": "pounds per metre",
    "GBP/km": "pounds per kilometre",
    "GBP/L": "pounds per litre",
    "GBP/plug": "pounds per plug plant",
    "GBP/visit": "pounds per visit",
    "ratio": "ratio",
    "logit": "log odds",
    "ellenberg_step": "Ellenberg step",
    "dB(A)": "decibels (A)",
}

M2_PER_HA: Final = 10_000.0
G_PER_KG: Final = 1_000.0
SEEDS_PER_WEIGHED_THOUSAND: Final = 1_000.0
G_PER_T: Final = 1_000_000.0
M_PER_KM: Final = 1_000.0
DAYS_PER_WEEK: Final = 7
DAYS_PER_YEAR: Final = 365.25
MONTHS_PER_YEAR: Final = 12
DAYS_IN_FEBRUARY: Final = 28


def ha(area_m2: float) -> float:
    """Hectares in `area_m2` square metres."""
    return area_m2 / M2_PER_HA


def kg_per_ha(rate_g_per_m2: float) -> float:
    """Kilograms per hectare in `rate_g_per_m2` grams per square metre (4 g/m2 is 40 kg/ha)."""
    return rate_g_per_m2 * M2_PER_HA / G_PER_KG


def day_in(year: int, month: int, day: int) -> date:
    """A day of the year in another year; what falls on 29 February is put on the 28th."""
    return date(year, month, min(day, DAYS_IN_FEBRUARY) if month == 2 else day)
