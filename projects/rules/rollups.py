"""What a roll-up says of a return: its figures out of what was sent and judged, and when a return is missed."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any, Final

from modelling.county import CLASS_RULES, FORECAST
from projects.choices import Course, Stage, SwardClass
from projects.contracts.returns import ReturnNew
from projects.rules.meadows import GROWING
from projects.rules.returns import expected

MINUTES_PER_HOUR: Final = 60
PENCE_PER_POUND: Final = 100
MILLI: Final = 1000


def survey_columns(found: Mapping[str, Any] | None) -> dict[str, Any]:
    """Sums of a judged survey, shaped as `SurveyAnswer`; of a return without plants, none.

    Only quadrats of one square metre count kinds: others hold more or fewer of them.
    """
    part = found["sown_part"] if found else None
    counts = part["species_in_each"] if part and part["quadrat_area_m2"] == 1 else []
    rattle = part["rattle_plants_per_m2"]["mean"] if part and part["rattle_plants_per_m2"] else None
    return {
        "quadrats": len(counts),
        "species_sum": sum(counts),
        "species_squares": sum(count * count for count in counts),
        "rattle_milli": None if rattle is None else round(rattle * MILLI),
        "forb_class": (part["forb_cover"]["cover_class"] or "") if part else "",
        "sward_class": _class(found["classes"]) if found else SwardClass.NOT_JUDGED,
    }


def _class(verdicts: Any) -> str:
    verdict = next((one for one in verdicts if one["rule_set"] == CLASS_RULES), None)
    if verdict is None or not verdict["judged"]:
        return SwardClass.NOT_JUDGED
    return verdict["class_key"] or SwardClass.NEITHER


def said_columns(said: ReturnNew) -> dict[str, Any]:
    """What a return says of work, money and people; none where it does not say."""
    return {
        "answered": said.answered,
        "cash_pence": None if said.cash_gbp is None else round(said.cash_gbp * PENCE_PER_POUND),
        "person_minutes": None if said.person_hours is None else round(said.person_hours * MINUTES_PER_HOUR),
        "machine_minutes": None if said.machine_hours is None else round(said.machine_hours * MINUTES_PER_HOUR),
        "heads": said.heads,
        "events": len(said.gatherings),
        "event_heads": sum(event.heads for event in said.gatherings),
    }


def course_of(answered: str, beside: Mapping[str, Any] | None) -> str:
    """Where a meadow stands beside its forecast, by kinds in a square metre, shaped as `ForecastFound`.

    A meadow that is told to have failed is behind, walked or not.
    """
    if answered == "failed":
        return Course.BEHIND
    figures = (beside or {}).get("figures") or []
    figure = next((one for one in figures if one["figure"] == "species_per_quadrat"), None)
    if figure is None:
        return Course.UNKNOWN
    place = next(fan["place"] for fan in figure["fans"] if fan["forecast"] == FORECAST)
    return {"below": Course.BEHIND, "above": Course.AHEAD}.get(place, Course.ON_COURSE)


def still_told_of(stage: str, since: date, sown_on: date | None, year: int) -> bool:
    """Whether a return of a year is looked for: the meadow had a summer then and had not ended before it."""
    return expected(sown_on, year) and (stage in GROWING or since.year > year or stage == Stage.FAILED)
