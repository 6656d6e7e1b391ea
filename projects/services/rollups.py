"""Roll-ups are written by the act that changes what they rest on, in its own transaction; here is the writing.

Every write first holds the rows of the sites concerned, in the order of their keys, and only then reads: of two acts
on one meadow the later one sees what the earlier one did.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Final
from uuid import UUID

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from projects.choices import Publicity
from projects.errors import WrongState, broken
from projects.models import MeadowProject, Network, OutcomeReturn, PrivateYear, ReturnRollup, Site
from projects.rules.access import Actor, demand
from projects.rules.rollups import still_told_of
from projects.selectors.rollups import (
    NO_DIARY,
    agreed_returns,
    columns_of,
    diaries_of,
    grounds_of,
    projects_with_grounds,
)
from projects.services.audit import record
from projects.services.base import found, save_new

#: to how many private sites are rounded, and below how many nothing is said
ROUNDED_TO: Final = 5
LEAST_TOLD: Final = 8
_BATCH: Final = 500
_ANY: Final = Q()


def rollup_put(outcome: OutcomeReturn, now: datetime) -> bool:
    """Write the roll-up of an agreed return inside the caller's transaction; whether anything changed."""
    _hold([outcome.project_id])
    return _put(outcome, now)


def _put(outcome: OutcomeReturn, now: datetime) -> bool:
    columns = columns_of(outcome)
    row = ReturnRollup.objects.filter(outcome=outcome).first()
    if row is None:
        ReturnRollup.objects.create(outcome=outcome, updated_at=now, **columns)
        return True
    if all(getattr(row, name) == value for name, value in columns.items()):
        return False
    for name, value in columns.items():
        setattr(row, name, value)
    row.updated_at = now
    row.save()
    return True


def rollups_refresh(projects: Iterable[int], now: datetime) -> int:
    """Bring what tells meadows apart, and their diaries, up to date in the roll-ups of these projects.

    Inside the caller's transaction; what was counted stays. Returns how many changed.
    """
    keys = sorted(ReturnRollup.objects.filter(project__in=list(projects)).values_list("project", flat=True).distinct())
    if not keys:
        # a return agreed at this moment waits for the site, or is waited for: hold it all the same
        _hold(projects)
        return 0
    _hold(keys)
    grounds, diaries = grounds_of(projects_with_grounds(keys)), diaries_of(keys)
    changed, names = [], ["updated_at"]
    for row in ReturnRollup.objects.filter(project__in=keys).order_by("pk"):
        columns = grounds[row.project_id] | dict(diaries.get((row.project_id, row.year), NO_DIARY))
        if any(getattr(row, name) != value for name, value in columns.items()):
            for name, value in columns.items():
                setattr(row, name, value)
            row.updated_at = now
            changed.append(row)
            names = ["updated_at", *(name.removesuffix("_id") for name in columns)]
    ReturnRollup.objects.bulk_update(changed, names, batch_size=_BATCH)
    return len(changed)


def _hold(projects: Iterable[int]) -> None:
    sites = MeadowProject.objects.filter(pk__in=list(projects)).values("site")
    list(Site.objects.select_for_update().filter(pk__in=sites).order_by("pk").values_list("pk", flat=True))


def rollups_rebuild(*, now: datetime) -> tuple[int, int]:
    """Make all roll-ups again from what they stand for; how many there are, and how many were wrong or missing.

    One return at a time, each in a transaction of its own, so that others may go on meanwhile.
    """
    wrong, keys = 0, list(agreed_returns().values_list("pk", flat=True))
    for key in keys:
        with transaction.atomic():
            outcome = OutcomeReturn.objects.select_for_update(of=("self",)).select_related("agreed").get(pk=key)
            wrong += rollup_put(outcome, now)
    left, _ = ReturnRollup.objects.filter(outcome__agreed__isnull=True).delete()
    return len(keys), wrong + left


# ------------------------------------------------------------------ private sites


def private_year_freeze(*, actor: Actor, network_id: UUID, year: int, now: datetime) -> PrivateYear:
    """Say for good how many private sites had a meadow in a year, rounded; told from today on, and never again.

    Once a year and network: a second number could be held against the first, and tell of one garden.
    """
    today = timezone.localdate(now)
    with transaction.atomic():
        network = found(Network, _ANY, network_id, "network", hold=True)
        demand(actor, "aggregate.freeze", network_id=network.pk)
        if year >= today.year:
            raise broken("/year", "in_future", f"{year} is not over yet.", year, f"up to {today.year - 1}")
        if PrivateYear.objects.filter(network=network, year=year).exists():
            raise WrongState(f"What is told of private sites in {year} was fixed before; it stays.")
        gardens = MeadowProject.objects.filter(network=network, site__publicity=Publicity.PRIVATE)
        counted = {
            site
            for site, stage, since, sown_on in gardens.values_list("site", "stage", "stage_since", "sown_on")
            if still_told_of(stage, since, sown_on, year)
        }
        row = save_new(
            PrivateYear(
                network=network, year=year, meadows_rounded=rounded(len(counted)), released_on=today,
                created_by_id=actor.user_id, created_at=now,
            )
        )  # fmt: skip
        record(
            actor, now, "private_year_freeze", "network", network.public_id, network=network,
            after={"year": year, "meadows_rounded": row.meadows_rounded},
        )  # fmt: skip
    return row


def rounded(count: int) -> int | None:
    """To the nearest five; nothing below eight."""
    if count < LEAST_TOLD:
        return None
    return (count + ROUNDED_TO // 2) // ROUNDED_TO * ROUNDED_TO
