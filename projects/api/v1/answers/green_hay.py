"""Days of green hay."""

from datetime import date
from typing import Any

from projects.api.v1.answers.base import Answer, Named, NounAnswer, named, noun
from projects.models import GreenHayDay
from projects.rules.access import Actor
from projects.selectors.green_hay import donor_told, looked_at

DM2_PER_M2 = 100
MINUTES_PER_HOUR = 60


class ToLookAt(Answer):
    """Something to look at before the day."""

    code: str
    text: str


class GreenHayAnswer(NounAnswer):
    """A strip of a donor meadow, cut one day and spread on a project's ground."""

    donor: str
    """Its name where it may be told."""
    group: Named
    project: Named
    donor_area_m2: float
    receptor_area_m2: float
    ratio: float
    """Receptor area for each of donor area."""
    cut_on: date
    spread_on: date
    hours_to_spread: float
    trailers: int
    people: int
    state: str
    because: str
    note: str
    to_look_at: list[ToLookAt]


def day_answer(actor: Actor, row: GreenHayDay) -> dict[str, Any]:
    found = GreenHayAnswer(
        **noun(row),
        donor=donor_told(actor, row),
        group=named(row.group),
        project=named(row.project),
        donor_area_m2=row.donor_dm2 / DM2_PER_M2,
        receptor_area_m2=row.receptor_dm2 / DM2_PER_M2,
        ratio=float(f"{row.receptor_dm2 / row.donor_dm2:.3g}"),
        cut_on=row.cut_on,
        spread_on=row.spread_on,
        hours_to_spread=row.minutes_to_spread / MINUTES_PER_HOUR,
        trailers=row.trailers,
        people=row.people,
        state=row.state,
        because=row.because,
        note=row.note,
        to_look_at=[ToLookAt(code=code, text=text) for code, text in looked_at(row)],
    )
    return found.model_dump(mode="json")
