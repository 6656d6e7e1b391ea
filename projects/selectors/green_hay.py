"""Reads of days of green hay."""

from __future__ import annotations

from datetime import date
from uuid import UUID

from django.db.models import Q, QuerySet

from projects.choices import GreenHayState
from projects.errors import NotFound
from projects.models import DonorAgreement, DonorMeadow, GreenHayDay, MeadowProject, Network
from projects.rules.access import Actor, demand, group_in, may, visible_donors, visible_inner
from projects.rules.green_hay import HayFact, to_look_at

A_DONOR = "a donor meadow"


def day_list(actor: Actor) -> QuerySet[GreenHayDay]:
    """Days for the actor's groups and the networks they coordinate."""
    return GreenHayDay.objects.filter(visible_inner(actor)).select_related("donor", "group", "project", "network")


def days_of(actor: Actor, network: Network) -> QuerySet[GreenHayDay]:
    """Days of a network that the actor may read of; raises NotAllowed for strangers."""
    demand(actor, "green_hay.read", group_id=group_in(actor, network.pk), network_id=network.pk)
    return day_list(actor).filter(network=network)


def day_get(actor: Actor, public_id: UUID) -> GreenHayDay:
    """One day; raises NotFound."""
    row = day_list(actor).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no day of green hay {public_id}, or none that you may see.")
    return row


def days_of_project(actor: Actor, project: MeadowProject) -> list[GreenHayDay]:
    """Days for a project; raises NotAllowed for strangers."""
    demand(actor, "project.read_detail", group_id=project.group_id, network_id=project.network_id)
    return list(day_list(actor).filter(project=project).exclude(state=GreenHayState.CALLED_OFF).order_by("cut_on"))


def agreement_on(donor: DonorMeadow, on: date, area_dm2: int) -> DonorAgreement | None:
    """The agreement that covers a day and a strip, if there is one."""
    rows = donor.agreements.filter(starts_on__lte=on, ends_on__gte=on, area_dm2__gte=area_dm2)
    rows = rows.filter(Q(ended_on__isnull=True) | Q(ended_on__gt=on))
    day = f"{on:%m-%d}"
    return rows.filter(window_opens__lte=day, window_closes__gte=day).order_by("-starts_on").first()


def donor_told(actor: Actor, row: GreenHayDay) -> str:
    """A donor's name for coordinators, and for a group where its owner agreed that it may be known."""
    if may(actor, "green_hay.plan", network_id=row.network_id):
        return row.donor.name
    named = DonorMeadow.objects.filter(visible_donors(actor), pk=row.donor_id).exists()
    return row.donor.name if named else A_DONOR


def looked_at(row: GreenHayDay) -> list[tuple[str, str]]:
    """What should be looked at before a day, as code and sentence."""
    before = GreenHayDay.objects.filter(donor=row.donor_id, state=GreenHayState.DONE, cut_on__lt=row.cut_on)
    last = before.exclude(pk=row.pk).order_by("-cut_on").values_list("cut_on", flat=True).first()
    return to_look_at(
        HayFact(
            ratio=row.receptor_dm2 / row.donor_dm2,
            minutes_to_spread=row.minutes_to_spread,
            cut_on=row.cut_on,
            spread_on=row.spread_on,
            stage=row.project.stage,
            people=row.people,
            trailers=row.trailers,
            donor_used_on=last,
            agreed=agreement_on(row.donor, row.cut_on, row.donor_dm2) is not None,
        )
    )


def donors_to_cut(actor: Actor, network: Network) -> QuerySet[DonorMeadow]:
    """Donors of a network, for planning; none for others than coordinators."""
    if not may(actor, "green_hay.plan", network_id=network.pk):
        return DonorMeadow.objects.none()
    return DonorMeadow.objects.filter(network=network).order_by("name", "pk")
