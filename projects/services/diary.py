"""The work diary: a line added once however often it is sent, and struck out instead of deleted."""

from __future__ import annotations

from datetime import date, datetime
from typing import Final
from uuid import UUID, uuid4

from django.db import transaction
from django.utils import timezone

from modelling.selectors import is_machine
from projects.contracts.base import pence
from projects.contracts.meadows import WorkNew, WorkStrike
from projects.errors import WrongState, broken
from projects.models import MeadowProject, WorkEntry
from projects.rules.access import Actor, demand, visible_inner, visible_projects
from projects.services.audit import record, snapshot
from projects.services.base import found, save_changed, save_new, unchanged_since
from projects.services.rollups import rollups_refresh

MINUTES_PER_HOUR: Final = 60
MOST_HOURS_A_HEAD: Final = 24


def work_add(*, actor: Actor, project_id: UUID, asked: WorkNew, now: datetime) -> tuple[WorkEntry, bool]:
    """Add a line to a project's diary; with the same submission id again, give the line there is.

    Returns
    -------
    tuple
        The line, and whether it is new.
    """
    with transaction.atomic():
        project = found(MeadowProject, visible_projects(actor), project_id, "project", hold=True)
        demand(actor, "diary.write", group_id=project.group_id, network_id=project.network_id)
        if asked.submission_id is not None:
            there = WorkEntry.objects.filter(project=project, submission_id=asked.submission_id).first()
            if there is not None:
                return _the_same(there, asked), False
        minutes = _minutes(asked)
        _checked(asked, minutes, timezone.localdate(now))
        row = save_new(
            WorkEntry(
                project=project,
                submission_id=asked.submission_id or uuid4(),
                on=asked.on,
                what=asked.what,
                heads=asked.heads,
                person_minutes=minutes,
                machine=asked.machine,
                machine_minutes=round(asked.machine_hours * MINUTES_PER_HOUR),
                cash_pence=pence(asked.cash_gbp),
                in_kind_pence=pence(asked.in_kind_gbp),
                note=asked.note,
                created_by_id=actor.user_id,
                created_at=now,
                updated_at=now,
            )
        )
        rollups_refresh([project.pk], now)
        record(
            actor, now, "work_add", "work", row.public_id,
            network=project.network_id, group=project.group_id, after=snapshot(row),
        )  # fmt: skip
    return row, True


def _the_same(there: WorkEntry, asked: WorkNew) -> WorkEntry:
    """The line that a submission id made; raises WrongState if it is now sent with something else in it."""
    said: dict[str, object] = {
        "on": asked.on,
        "what": asked.what,
        "heads": asked.heads,
        "person_minutes": _minutes(asked),
        "machine": asked.machine,
        "machine_minutes": round(asked.machine_hours * MINUTES_PER_HOUR),
        "cash_pence": pence(asked.cash_gbp),
        "in_kind_pence": pence(asked.in_kind_gbp),
        "note": asked.note,
    }
    other = sorted(name for name, value in said.items() if getattr(there, name) != value)
    if other:
        raise WrongState(
            "This line was sent before and is in the diary, with something else in "
            f"{', '.join(name.replace('_', ' ') for name in other)}. Strike that line out and add a new one."
        )
    return there


def _minutes(asked: WorkNew) -> int:
    hours = asked.person_hours if asked.hours_each is None else asked.hours_each * asked.heads
    return round(hours * MINUTES_PER_HOUR)


def _checked(asked: WorkNew, minutes: int, today: date) -> None:
    if asked.on > today:
        on = asked.on.isoformat()
        raise broken(
            "/on", "in_future", f"{on} is still to come; the diary is for what was done.", on, "a day up to today"
        )
    if minutes > asked.heads * MOST_HOURS_A_HEAD * MINUTES_PER_HOUR:
        raise broken(
            "/person_hours",
            "out_of_range",
            f"{minutes / MINUTES_PER_HOUR:g} hours of {asked.heads} people make more than a whole day each.",
            asked.person_hours,
            f"at most {asked.heads * MOST_HOURS_A_HEAD} hours",
        )
    if asked.machine and not is_machine(asked.machine):
        raise broken(
            "/machine", "unknown_machine", f"{asked.machine!r} is not a machine known here.", asked.machine,
            "the key of a machine; see the vocabularies",
        )  # fmt: skip
    if not any((minutes, asked.heads, asked.machine, asked.cash_gbp, asked.in_kind_gbp, asked.note)):
        raise broken(
            "", "missing", "Say something of it: people, hours, a machine, money or a note.", None, "any of them"
        )


def work_strike(
    *, actor: Actor, public_id: UUID, asked: WorkStrike, if_version: int | None, now: datetime
) -> WorkEntry:
    """Strike out a wrong line; it stays readable and no longer counts."""
    with transaction.atomic():
        seen = visible_inner(actor, "project__group", "project__network")
        row = found(WorkEntry, seen, public_id, "line of the diary", hold=True, with_=("project",))
        project = row.project
        demand(
            actor, "diary.strike",
            group_id=project.group_id, network_id=project.network_id, owner_id=row.created_by_id,
        )  # fmt: skip
        unchanged_since(row, if_version)
        if row.struck_at is not None:
            raise WrongState("This line is struck out already.")
        before = snapshot(row)
        row.struck_at, row.struck_because = now, asked.because
        save_changed(row, now)
        rollups_refresh([project.pk], now)
        record(
            actor, now, "work_strike", "work", row.public_id,
            network=project.network_id, group=project.group_id, before=before, after=snapshot(row),
        )  # fmt: skip
    return row
