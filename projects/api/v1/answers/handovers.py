"""Handovers."""

from datetime import date
from typing import Any

from projects.api.v1.answers.base import Answer, Named, NounAnswer, named, named_if_any, noun
from projects.models import Handover


class HandoverDateAnswer(Answer):
    """Something to look after."""

    on: date | None
    what: str


class HandoverAnswer(NounAnswer):
    """What somebody who led wrote down for whoever comes next."""

    group: Named
    project: Named | None
    """None where it is about the group as a whole."""
    written_on: date
    by_role: str
    """What its author was on that day: lead, member or coordinator."""
    things: str
    way_in: str
    promised: str
    dates: list[HandoverDateAnswer]
    fixed_spots: str
    went_wrong: str


def handover_answer(row: Handover) -> dict[str, Any]:
    found = HandoverAnswer(
        **noun(row),
        group=named(row.group),
        project=named_if_any(row.project),
        written_on=row.written_on,
        by_role=row.by_role,
        things=row.things,
        way_in=row.way_in,
        promised=row.promised,
        dates=[HandoverDateAnswer(**entry) for entry in row.dates],
        fixed_spots=row.fixed_spots,
        went_wrong=row.went_wrong,
    )
    return found.model_dump(mode="json")
