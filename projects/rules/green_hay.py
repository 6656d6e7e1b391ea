"""Green hay: what to look at before a day is fixed. A question, not a refusal; every limit names where it was read."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from projects.choices import Stage

#: hours from cut to collection at most; advisory sheet on restoring mineral workings, undated
LIMIT_H: Final = 24
#: hours within which an upland hay-meadow programme spread what it cut
SOON_H: Final = 1
#: receptor area for each of donor area, low and high; advisory sheet on restoring mineral workings, undated
RATIO: Final = (2.0, 3.0)
#: years in which a donor is left alone after green hay was taken; government farming blog, pilot advice on seed
REST_YEARS: Final = 2
#: months in which donor meadows are ripe, July to September; UK advisory note on seed sourcing, 2003
RIPE: Final = (7, 9)
MINUTES_PER_HOUR: Final = 60
#: days of a year on average
YEAR: Final = timedelta(days=365.25)


@dataclass(frozen=True)
class HayFact:
    """What matters of one day."""

    ratio: float
    minutes_to_spread: int
    cut_on: date
    spread_on: date
    stage: str
    people: int
    trailers: int
    #: the day on which green hay was last taken from the donor
    donor_used_on: date | None = None
    #: whether a running agreement covers the day, the strip and the window
    agreed: bool = True


def to_look_at(day: HayFact) -> list[tuple[str, str]]:
    """What should be looked at, as code and sentence."""
    found: list[tuple[str, str]] = []
    hours = day.minutes_to_spread / MINUTES_PER_HOUR
    if hours > LIMIT_H or (day.spread_on - day.cut_on).days > 1:
        found.append((
            "too_slow",
            f"{hours:g} hours from cut to spread is beyond the {LIMIT_H} hours that published advice allows: it heats, "
            "and seed is shed on the way. Spread it the day it is cut.",
        ))  # fmt: skip
    elif hours > SOON_H:
        found.append((
            "soon",
            f"{hours:g} hours from cut to spread: published advice runs from one hour to a day, so the sooner the "
            "better, and nothing is left in a heap.",
        ))  # fmt: skip
    low, high = RATIO
    if day.ratio > high:
        found.append((
            "thin", f"Each square metre of donor goes over {day.ratio:.2g} m² of receptor; published advice is "
            f"{low:g} to {high:g}. Cut more, or spread on less.",
        ))  # fmt: skip
    elif day.ratio < low:
        found.append((
            "thick", f"Each square metre of donor goes over {day.ratio:.2g} m² of receptor; published advice is "
            f"{low:g} to {high:g}. A thick layer shades seedlings: shake it out and rake off what lies heavy.",
        ))  # fmt: skip
    if day.stage != Stage.PREPARED:
        found.append((
            "not_bare", "The receptor is not noted as prepared. Green hay falls on bare ground, made ready beforehand."
        ))  # fmt: skip
    if day.donor_used_on is not None and day.cut_on - day.donor_used_on < REST_YEARS * YEAR:
        found.append((
            "rest", f"Green hay was taken there on {day.donor_used_on:%-d %B %Y}; published advice leaves a donor "
            f"alone for {REST_YEARS} years.",
        ))  # fmt: skip
    if not day.agreed:
        found.append((
            "not_agreed", "No written agreement with the donor’s owner covers this day and strip. Ask first; green hay "
            "may need a word of its own.",
        ))  # fmt: skip
    if not RIPE[0] <= day.cut_on.month <= RIPE[1]:
        found.append((
            "season", "Donor meadows are ripe from July to September, as a rule; look whether seed is there and loose."
        ))  # fmt: skip
    if not day.trailers or not day.people:
        found.append(("hands", "Nobody has said yet how many trailers and people come."))
    return found
