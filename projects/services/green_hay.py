"""Green hay: a day planned with donor and receptor, done or called off."""

from __future__ import annotations

from datetime import datetime
from typing import Final
from uuid import UUID

from django.db import transaction
from django.db.models import Q, Sum
from django.utils import timezone

from projects.choices import GreenHayState
from projects.contracts.green_hay import GreenHayEnd, GreenHayNew
from projects.errors import WrongState, broken
from projects.models import DonorMeadow, GreenHayDay, MeadowProject, Network
from projects.rules.access import Actor, demand, visible_in_network, visible_inner
from projects.services.audit import record, snapshot
from projects.services.base import found, save_changed, save_new, unchanged_since

DM2_PER_M2: Final = 100
MINUTES_PER_HOUR: Final = 60


def day_plan(*, actor: Actor, network_id: UUID, asked: GreenHayNew, now: datetime) -> GreenHayDay:
    """Plan a day; no more of a donor is cut in a year than there is of it."""
    with transaction.atomic():
        network = found(Network, Q(), network_id, "network")
        demand(actor, "green_hay.plan", network_id=network.pk)
        # held, so that two strips of one meadow come one after the other
        donor = (
            DonorMeadow.objects.select_for_update(of=("self",))
            .filter(visible_in_network(actor), network=network, public_id=asked.donor_id)
            .first()
        )
        if donor is None:
            text = f"The network has no donor meadow {asked.donor_id}."
            raise broken("/donor_id", "unknown", text, str(asked.donor_id), "one of its donor meadows")
        project = (
            MeadowProject.objects.filter(visible_inner(actor), network=network, public_id=asked.project_id)
            .select_related("site")
            .first()
        )
        if project is None:
            text = f"The network has no project {asked.project_id}."
            raise broken("/project_id", "unknown", text, str(asked.project_id), "one of its projects")
        _possible(asked, donor, project, now)
        row = save_new(
            GreenHayDay(
                network=network, donor=donor, group_id=project.group_id, project=project,
                donor_dm2=round(asked.donor_area_m2 * DM2_PER_M2),
                receptor_dm2=round(asked.receptor_area_m2 * DM2_PER_M2),
                cut_on=asked.cut_on, spread_on=asked.spread_on or asked.cut_on,
                minutes_to_spread=max(1, round(asked.hours_to_spread * MINUTES_PER_HOUR)), trailers=asked.trailers,
                people=asked.people, note=asked.note, created_by_id=actor.user_id, created_at=now, updated_at=now,
            )
        )  # fmt: skip
        record(
            actor, now, "green_hay_plan", "green_hay", row.public_id,
            network=network, group=row.group_id, after=snapshot(row),
        )  # fmt: skip
    return row


def _possible(asked: GreenHayNew, donor: DonorMeadow, project: MeadowProject, now: datetime) -> None:
    cut, spread = asked.cut_on.isoformat(), (asked.spread_on or asked.cut_on).isoformat()
    if asked.cut_on < timezone.localdate(now):
        raise broken("/cut_on", "in_past", f"{cut} has gone by.", cut, "today or later")
    if spread < cut:
        raise broken("/spread_on", "out_of_range", f"It would be spread on {spread}, before it is cut.", spread, cut)
    live = GreenHayDay.objects.filter(donor=donor, cut_on__year=asked.cut_on.year)
    cut_dm2 = live.exclude(state=GreenHayState.CALLED_OFF).aggregate(sum=Sum("donor_dm2"))["sum"] or 0
    left = (donor.area_dm2 - cut_dm2) / DM2_PER_M2
    if round(asked.donor_area_m2 * DM2_PER_M2) > donor.area_dm2 - cut_dm2:
        text = (
            f"{donor.name} has {donor.area_dm2 / DM2_PER_M2:g} m², of which {cut_dm2 / DM2_PER_M2:g} m² are cut for "
            f"green hay in {asked.cut_on.year} already; {asked.donor_area_m2:g} m² more cannot be."
        )
        raise broken("/donor_area_m2", "out_of_range", text, asked.donor_area_m2, f"at most {max(left, 0):g} m²")
    whole = project.site.area_dm2 / DM2_PER_M2
    if asked.receptor_area_m2 > whole:
        text = f"{project} lies on {whole:g} m²; {asked.receptor_area_m2:g} m² is more."
        raise broken("/receptor_area_m2", "out_of_range", text, asked.receptor_area_m2, f"at most {whole:g} m²")


def day_end(*, actor: Actor, public_id: UUID, asked: GreenHayEnd, if_version: int | None, now: datetime) -> GreenHayDay:
    """Note that a day is done, or that it is called off."""
    with transaction.atomic():
        row = found(GreenHayDay, visible_inner(actor), public_id, "day of green hay", hold=True, with_=("project",))
        demand(actor, "green_hay.end", group_id=row.group_id, network_id=row.network_id)
        unchanged_since(row, if_version)
        if row.state != GreenHayState.PLANNED:
            raise WrongState(f"This day is {row.get_state_display().lower()} already.")
        if asked.to == GreenHayState.DONE and row.cut_on > timezone.localdate(now):
            raise WrongState(f"It is cut on {row.cut_on:%-d %B %Y}, which is still to come.")
        before = snapshot(row)
        row.state, row.because = asked.to, asked.because
        if asked.hours_to_spread is not None:
            row.minutes_to_spread = max(1, round(asked.hours_to_spread * MINUTES_PER_HOUR))
        save_changed(row, now)
        record(
            actor, now, f"green_hay_{asked.to}", "green_hay", row.public_id,
            network=row.network_id, group=row.group_id, before=before, after=snapshot(row),
        )  # fmt: skip
    return row
