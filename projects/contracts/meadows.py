"""Requests about meadow projects, their plans, forecasts and diaries."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from modelling.contracts import Plan
from projects.contracts.base import Day, Hours, Identifier, LongNote, Name, Note, Phrase, Pounds, Strict, refused

Stage = Literal[
    "idea", "planned", "ready", "prepared", "sown", "aftercare", "failed", "lapsed", "handed_over", "resown"
]
Cause = Literal[
    "weather", "weeds", "grass", "seed", "cut_missed", "people", "ground_lost", "money", "permission", "damage",
    "other", "unknown",
]  # fmt: skip
Work = Literal[
    "cut", "rake", "prepare", "sow", "plant", "weed", "graze", "seed", "survey", "purchase", "meeting", "other"
]


class ProjectNew(Strict):
    """A meadow to be made on a site."""

    site_id: Identifier
    name: Name
    plan: Plan | None = None
    """As in an estimate; left out, the service plans."""


class ProjectChange(Strict):
    """What is to be changed of a project."""

    name: Name = ""


class PlanNew(Strict):
    """The next version of a project's plan."""

    plan: Plan
    note: Note = ""
    """What is different, and why."""


class StageNew(Strict):
    """A step in the life of a project."""

    to: Stage
    on: Day
    """Day from which it holds."""
    cause: Cause | None = None
    """For a project that did not take or lapsed; nobody is blamed."""
    handed_to: Annotated[Name, Field(max_length=120)] | None = None
    """For a project that is handed over: who looks after it now, a group or an office."""
    note: LongNote = ""
    forecast_id: Identifier | None = None
    """For sowing: the forecast to be held against; left out, the latest of the plan."""


class WorkNew(Strict):
    """One line of the work diary. Volunteers are counted, never named."""

    on: Day
    what: Work
    heads: Annotated[int, Field(ge=0, le=10_000)] = 0
    person_hours: Hours = 0.0
    """Of all heads together."""
    hours_each: Annotated[float, Field(ge=0, le=24)] | None = None
    """Instead of person_hours, where everybody stayed as long."""
    machine: Annotated[str, Field(max_length=60)] = ""
    """Key of a machine; see the vocabularies."""
    machine_hours: Hours = 0.0
    cash_gbp: Pounds = 0.0
    """Spent, with VAT."""
    in_kind_gbp: Pounds = 0.0
    """Worth of what was given: kit, material, a contractor's time. Volunteers' hours are valued apart."""
    note: LongNote = ""
    submission_id: Identifier | None = None
    """Made by the sender, so that sending the same line again changes nothing."""

    @model_validator(mode="after")
    def _together(self) -> WorkNew:
        if self.hours_each is not None and self.person_hours:
            raise refused("contradiction", "Give person_hours or hours_each, not both.", "one of the two")
        if (self.hours_each or self.person_hours) and not self.heads:
            raise refused("contradiction", "Hours need people: say how many came.", "heads of at least 1")
        if self.machine_hours and not self.machine:
            raise refused("contradiction", "Say which machine ran.", "the key of a machine")
        return self


class WorkStrike(Strict):
    """Strike out a wrong line of the diary; it stays readable."""

    because: Phrase
