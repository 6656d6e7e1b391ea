"""The life of a meadow project: which stage may follow which, and what each step asks for."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from types import MappingProxyType
from typing import Final

from modelling.contracts import Plan
from projects.choices import Stage

_S = Stage
#: the stage -> those that may follow it
FOLLOWS: Final[Mapping[str, tuple[Stage, ...]]] = MappingProxyType(
    {
        _S.IDEA: (_S.PLANNED, _S.LAPSED, _S.HANDED_OVER),
        _S.PLANNED: (_S.READY, _S.IDEA, _S.LAPSED, _S.HANDED_OVER),
        _S.READY: (_S.PREPARED, _S.SOWN, _S.PLANNED, _S.LAPSED, _S.HANDED_OVER),
        _S.PREPARED: (_S.SOWN, _S.PLANNED, _S.FAILED, _S.LAPSED, _S.HANDED_OVER),
        _S.SOWN: (_S.AFTERCARE, _S.RESOWN, _S.FAILED, _S.LAPSED, _S.HANDED_OVER),
        _S.AFTERCARE: (_S.RESOWN, _S.FAILED, _S.LAPSED, _S.HANDED_OVER),
        _S.RESOWN: (_S.AFTERCARE, _S.FAILED, _S.LAPSED, _S.HANDED_OVER),
        _S.FAILED: (_S.RESOWN, _S.PLANNED, _S.HANDED_OVER),
        _S.LAPSED: (_S.PLANNED, _S.RESOWN, _S.AFTERCARE, _S.HANDED_OVER),
        _S.HANDED_OVER: (),
    }
)
#: stages in which work on the ground is still to come or going on
LIVE: Final = frozenset({_S.IDEA, _S.PLANNED, _S.READY, _S.PREPARED, _S.SOWN, _S.AFTERCARE, _S.RESOWN})
#: stages of a project that has seed in the ground
GROWING: Final = frozenset({_S.SOWN, _S.AFTERCARE, _S.RESOWN})
#: stages before a spade is put in
BEFORE_WORK: Final = frozenset({_S.IDEA, _S.PLANNED, _S.READY})
NEEDS_CAUSE: Final = frozenset({_S.FAILED, _S.LAPSED})
#: a step here starts or goes on with work on the ground, which needs every permission
NEEDS_PERMISSIONS: Final = frozenset({_S.READY, _S.PREPARED, _S.SOWN, _S.RESOWN})
#: how far the day of a plan may be from the day of sowing before the forecast is no longer one of that sowing; a
#: fortnight is common practice for "about when we meant to"
SOWING_DAYS_OUT: Final = 14
#: a project once sown may not go back to before it
ONLY_UNSOWN: Final = frozenset({_S.IDEA, _S.PLANNED, _S.READY, _S.PREPARED, _S.SOWN})


def may_follow(stage: str, following: str, *, sown: bool) -> bool:
    """Say whether a stage may follow another, for a project that has been sown or not."""
    if following in ONLY_UNSOWN and sown:
        return False
    if following in {_S.RESOWN, _S.AFTERCARE} and not sown:
        return False
    return following in FOLLOWS[stage]


def following(stage: str, *, sown: bool) -> list[Stage]:
    """Return the stages that may follow, in the usual order."""
    return [step for step in FOLLOWS[stage] if may_follow(stage, step, sown=sown)]


def planned_sowing(plan: Plan) -> date | None:
    """Return the day on which a plan first sows or plants; None if it leaves that to the service."""
    if plan.steps is None:
        return plan.sow_on
    return min((step.on for step in plan.steps if step.seed or step.plugs), default=None)


def as_sown(plan: Plan, on: date) -> tuple[Plan, str] | None:
    """Return the plan as it was sown and what is different in it; None if its day is that of the sowing or near it.

    Dated steps up to the sowing move with it; what comes after keeps its day.
    """
    planned = planned_sowing(plan)
    if planned is not None and abs((on - planned).days) <= SOWING_DAYS_OUT:
        return None
    if plan.steps is None:
        said = "said no day" if planned is None else f"said {_day(planned)}"
        return plan.model_copy(update={"sow_on": on}), f"Sown on {_day(on)}; the plan before {said}."
    if planned is None:
        # it sows nothing, on any day
        return None
    moved = on - planned
    steps = tuple(
        step.model_copy(update={"on": step.on + moved}) if step.on <= planned else step for step in plan.steps
    )
    return plan.model_copy(update={"steps": steps}), f"Sown on {_day(on)}; the plan before said {_day(planned)}."


def _day(day: date) -> str:
    return f"{day.day} {day:%B %Y}"
