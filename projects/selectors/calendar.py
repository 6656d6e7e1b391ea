"""The calendar of a project: what its plan says, and what is booked for it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final
from uuid import UUID

from projects.models import MeadowProject
from projects.rules.access import Actor, demand
from projects.selectors.due import calendar_of
from projects.selectors.green_hay import days_of_project, donor_told
from projects.selectors.kit import bookings_of_project, live, span_of
from projects.selectors.meadows import forecasts_of
from projects.selectors.plugs import plant_names, promises_of_project

_PAGES: Final = {"kit": "kit-bookings", "green_hay": "green-hay"}


@dataclass(frozen=True)
class CalendarLine:
    """Something with a day."""

    on: date
    #: plan, kit, plugs or green_hay
    kind: str
    text: str
    until: date | None = None
    every_year: bool = False
    #: of what is booked
    id: UUID | None = None
    state: str = ""
    #: the same for people
    state_words: str = ""

    @property
    def address(self) -> str:
        """The page of what is booked."""
        return f"/{_PAGES[self.kind]}/{self.id}/" if self.id is not None and self.kind in _PAGES else ""


def calendar_lines(actor: Actor, project: MeadowProject) -> list[CalendarLine]:
    """What has a day in a project, by day; raises NotAllowed for strangers."""
    demand(actor, "project.read_detail", group_id=project.group_id, network_id=project.network_id)
    rows = list(forecasts_of(actor, project))
    latest = max((row.plan.number for row in rows), default=0)
    forecasts = rows if project.baseline_id else [row for row in rows if row.plan.number == latest]
    found = [
        CalendarLine(entry.on, "plan", entry.label, every_year=entry.every_year)
        for entry in calendar_of(project, forecasts)
    ]
    return sorted([*found, *booked_lines(actor, project)], key=lambda line: (line.on, line.kind, line.text))


def booked_lines(actor: Actor, project: MeadowProject) -> list[CalendarLine]:
    """What is booked for a project, by day."""
    kit = [
        CalendarLine(
            row.first_on,
            "kit",
            f"{row.item}, {span_of(row)}",
            row.last_on,
            id=row.public_id,
            state=row.state,
            state_words=row.get_state_display(),
        )
        for row in live(bookings_of_project(actor, project))
    ]
    plugs = [
        CalendarLine(
            row.handed_over_on or row.batch.ready_on or row.created_at.date(),
            "plugs",
            f"{row.count} plugs of {plant_names(row.batch.taxon)[0] or row.batch.taxon}",
            id=row.public_id,
            state=row.state,
            state_words=row.get_state_display(),
        )
        for row in promises_of_project(actor, project)
    ]
    hay = [
        CalendarLine(
            row.cut_on,
            "green_hay",
            f"Green hay of {donor_told(actor, row)}, {row.cut_on:%-d %B %Y}",
            row.spread_on,
            id=row.public_id,
            state=row.state,
            state_words=row.get_state_display(),
        )
        for row in days_of_project(actor, project)
    ]
    return sorted([*kit, *plugs, *hay], key=lambda line: (line.on, line.kind, line.text))
