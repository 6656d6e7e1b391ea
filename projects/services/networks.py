"""Networks, their districts and villages, and their groups."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from modelling.selectors import taxon_row
from projects import geography
from projects.choices import GroupRole, NetworkRole
from projects.contracts.base import given
from projects.contracts.networks import (
    DistrictNew,
    GroupChange,
    GroupNew,
    NetworkChange,
    NetworkNew,
    RoleEnd,
    ShieldedTaxonNew,
    VillageNew,
)
from projects.errors import NotFound, broken
from projects.models import (
    District,
    Group,
    Invitation,
    Membership,
    Network,
    NetworkMembership,
    RoundAssessor,
    ShieldedTaxon,
    Village,
)
from projects.rules.access import Actor, demand, visible_inner
from projects.services.audit import record, snapshot
from projects.services.base import found, save_changed, save_new, unchanged_since
from projects.services.places import in_words
from projects.services.rollups import rollups_refresh

KILOMETRE_M = 1000


def network_create(*, actor: Actor, asked: NetworkNew, now: datetime) -> Network:
    """Set up a county's network."""
    demand(actor, "network.create")
    with transaction.atomic():
        row = save_new(
            Network(
                name=asked.name, slug=asked.slug, about=asked.about, licence=asked.licence, created_at=now,
                updated_at=now,
            )
        )  # fmt: skip
        record(actor, now, "network_create", "network", row.public_id, network=row, after=snapshot(row))
    return row


def network_change(
    *, actor: Actor, public_id: UUID, asked: NetworkChange, if_version: int | None, now: datetime
) -> Network:
    """Change what a network says of itself, or its outline."""
    with transaction.atomic():
        row = found(Network, Q(), public_id, "network", hold=True)
        demand(actor, "network.change", network_id=row.pk)
        unchanged_since(row, if_version)
        before = snapshot(row)
        changes = given(asked)
        if "outline" in changes:
            with in_words("/outline"):
                outline = changes.pop("outline")
                row.outline = [geography.read_polygon(outline, largest_m2=None).as_pairs()] if outline else []
        for name, value in changes.items():
            setattr(row, name, value)
        save_changed(row, now)
        record(actor, now, "network_change", "network", row.public_id, network=row, before=before, after=snapshot(row))
    return row


def taxon_shield(*, actor: Actor, network_id: UUID, asked: ShieldedTaxonNew, now: datetime) -> ShieldedTaxon:
    """Have a plant's places told by a coarser square; said again, the square changes."""
    with transaction.atomic():
        network = found(Network, Q(), network_id, "network", hold=True)
        demand(actor, "network.change", network_id=network.pk)
        if taxon_row(asked.taxon) is None:
            text = f"{asked.taxon!r} is not a plant known here."
            raise broken("/taxon", "unknown_plant", text, asked.taxon, "a key of the plant list")
        row = ShieldedTaxon.objects.filter(network=network, taxon=asked.taxon).first()
        if row is None:
            row = ShieldedTaxon(network=network, taxon=asked.taxon, side_m=asked.side_m, created_at=now, updated_at=now)
            save_new(row)
        else:
            row.side_m = asked.side_m
            save_changed(row, now)
        after = {"taxon": row.taxon, "side_m": row.side_m}
        record(actor, now, "taxon_shield", "shielded_taxon", row.public_id, network=network, after=after)
    return row


def taxon_unshield(*, actor: Actor, public_id: UUID, if_version: int | None, now: datetime) -> None:
    """Have a plant's places told as precisely as its sites again."""
    with transaction.atomic():
        row = found(ShieldedTaxon, Q(), public_id, "plant shown coarsely", hold=True)
        demand(actor, "network.change", network_id=row.network_id)
        unchanged_since(row, if_version)
        before = {"taxon": row.taxon, "side_m": row.side_m}
        row.delete()
        record(actor, now, "taxon_unshield", "shielded_taxon", public_id, network=row.network_id, before=before)


def district_create(*, actor: Actor, network_id: UUID, asked: DistrictNew, now: datetime) -> District:
    """Add a district to a network."""
    with transaction.atomic():
        network = found(Network, Q(), network_id, "network", hold=True)
        demand(actor, "district.change", network_id=network.pk)
        row = save_new(District(network=network, name=asked.name, created_at=now, updated_at=now))
        record(actor, now, "district_create", "district", row.public_id, network=network, after=snapshot(row))
    return row


def village_create(*, actor: Actor, network_id: UUID, asked: VillageNew, now: datetime) -> Village:
    """Add a village, by the square of a kilometre it lies in."""
    with transaction.atomic():
        network = found(Network, Q(), network_id, "network", hold=True)
        demand(actor, "village.change", network_id=network.pk)
        with in_words("/grid_reference"):
            square = geography.read_grid_reference(asked.grid_reference)
        if square.side_m > KILOMETRE_M:
            raise broken(
                "/grid_reference",
                "too_coarse",
                f"{square.reference} is a square of {square.side_m / KILOMETRE_M:g} km; a village needs four figures.",
                asked.grid_reference,
                "two letters and four figures",
            )
        square = geography.coarsened(square, KILOMETRE_M)
        district = district_of(network, asked.district_id)
        row = save_new(
            Village(
                network=network,
                district=district,
                name=asked.name,
                easting_m=square.easting_m,
                northing_m=square.northing_m,
                created_at=now,
                updated_at=now,
            )
        )
        record(actor, now, "village_create", "village", row.public_id, network=network, after=snapshot(row))
    return row


def district_of(network: Network, public_id: UUID | None) -> District | None:
    """The district of an id in this network; raises RuleBroken if it has none such."""
    if public_id is None:
        return None
    row = District.objects.filter(network=network, public_id=public_id).first()
    if row is None:
        raise broken(
            "/district_id",
            "unknown",
            f"The network has no district {public_id}.",
            str(public_id),
            "one of its districts",
        )
    return row


def group_create(*, actor: Actor, asked: GroupNew, now: datetime) -> Group:
    """Add a group to a network; somebody is then invited to lead it."""
    with transaction.atomic():
        network = found(Network, Q(), asked.network_id, "network")
        demand(actor, "group.create", network_id=network.pk)
        row = save_new(
            Group(
                network=network,
                district=district_of(network, asked.district_id),
                name=asked.name,
                about=asked.about,
                contact=asked.contact,
                created_at=now,
                updated_at=now,
            )
        )
        record(actor, now, "group_create", "group", row.public_id, network=network, group=row, after=snapshot(row))
    return row


def group_change(*, actor: Actor, public_id: UUID, asked: GroupChange, if_version: int | None, now: datetime) -> Group:
    """Change what a group says of itself."""
    with transaction.atomic():
        row = found(Group, Q(closed_at__isnull=True), public_id, "group", hold=True, with_=("network",))
        demand(actor, "group.change", group_id=row.pk, network_id=row.network_id)
        unchanged_since(row, if_version)
        before = snapshot(row)
        changes = given(asked)
        if "district_id" in changes:
            row.district = district_of(row.network, changes.pop("district_id"))
        for name, value in changes.items():
            setattr(row, name, value)
        save_changed(row, now)
        if row.district_id != before["district_id"]:
            rollups_refresh(row.projects.values_list("pk", flat=True), now)
        record(
            actor, now, "group_change", "group", row.public_id,
            network=row.network_id, group=row, before=before, after=snapshot(row),
        )  # fmt: skip
    return row


def membership_change(*, actor: Actor, public_id: UUID, role: str, if_version: int | None, now: datetime) -> Membership:
    """Make a member a lead or a lead a member; a group keeps at least one lead."""
    with transaction.atomic():
        row = _membership(actor, public_id)
        demand(actor, "membership.change", group_id=row.group_id, network_id=row.group.network_id)
        unchanged_since(row, if_version)
        if row.role == GroupRole.LEAD and role != GroupRole.LEAD:
            _keep_a_lead(row)
            _take_back_invitations(row, now)
        before = snapshot(row)
        row.role = role
        save_changed(row, now)
        record(
            actor, now, "membership_change", "membership", row.public_id,
            network=row.group.network_id, group=row.group, before=before, after=snapshot(row),
        )  # fmt: skip
    return row


def membership_end(*, actor: Actor, public_id: UUID, now: datetime) -> Membership:
    """End a membership: one's own, or somebody else's by a lead; a group keeps at least one lead."""
    with transaction.atomic():
        row = _membership(actor, public_id)
        if row.user_id != actor.user_id:
            demand(actor, "membership.change", group_id=row.group_id, network_id=row.group.network_id)
        else:
            demand(actor, "membership.leave", owner_id=row.user_id)
        if row.role == GroupRole.LEAD:
            _keep_a_lead(row)
            _take_back_invitations(row, now)
        before = snapshot(row)
        row.until = now
        save_changed(row, now)
        record(
            actor, now, "membership_end", "membership", row.public_id,
            network=row.group.network_id, group=row.group, before=before, after=snapshot(row),
        )  # fmt: skip
    return row


def _membership(actor: Actor, public_id: UUID) -> Membership:
    """A running membership, with its group held so that two acts cannot each take away one of two leads."""
    seen = visible_inner(actor, "group", "group__network") & Q(until__isnull=True)
    row = found(Membership, seen, public_id, "membership", with_=("group",))
    Group.objects.select_for_update().get(pk=row.group_id)
    return found(Membership, seen, public_id, "membership", hold=True, with_=("group",))


def role_end(*, actor: Actor, network_id: UUID, asked: RoleEnd, now: datetime) -> NetworkMembership:
    """End what somebody is in a network; it keeps at least one coordinator, and rounds lose the assessor."""
    with transaction.atomic():
        network = found(Network, Q(), network_id, "network", hold=True)
        held = NetworkMembership.objects.select_for_update().filter(
            network=network, user__public_id=asked.person_id, role=asked.role, until__isnull=True
        )
        own = actor.user_id is not None and held.filter(user=actor.user_id).exists()
        if not own:
            demand(actor, "network.appoint", network_id=network.pk)
        row = held.first()
        if row is None:
            raise NotFound(f"Nobody of this id is {asked.role.replace('_', ' ')} of {network.name}.")
        if asked.role == NetworkRole.COORDINATOR:
            _keep_a_coordinator(row)
            taken = Invitation.objects.filter(network=network, group__isnull=True, invited_by=row.user_id)
            taken.filter(accepted_at__isnull=True, withdrawn_at__isnull=True).update(withdrawn_at=now, email="")
        if asked.role == NetworkRole.ASSESSOR:
            appointed = RoundAssessor.objects.filter(round__network=network, user=row.user_id, until__isnull=True)
            appointed.update(until=now)
        before = snapshot(row)
        row.until = now
        row.save(update_fields=["until"])
        record(
            actor, now, "role_end", "network", network.public_id, network=network, before=before, after=snapshot(row)
        )
    return row


def _keep_a_coordinator(row: NetworkMembership) -> None:
    others = NetworkMembership.objects.filter(network=row.network_id, role=row.role, until__isnull=True)
    if not others.exclude(pk=row.pk).exists():
        raise broken(
            "/role", "last_coordinator", "This is the network’s only coordinator. Invite another first.", row.role,
            "another coordinator beforehand",
        )  # fmt: skip


def _take_back_invitations(row: Membership, now: datetime) -> None:
    """Withdraw what somebody who no longer leads has sent out, or they could ask themselves back in."""
    there = Invitation.objects.filter(group=row.group_id, invited_by=row.user_id)
    there.filter(accepted_at__isnull=True, withdrawn_at__isnull=True).update(withdrawn_at=now, email="")


def _keep_a_lead(row: Membership) -> None:
    others = Membership.objects.filter(group=row.group_id, role=GroupRole.LEAD, until__isnull=True).exclude(pk=row.pk)
    if not others.exists():
        raise broken(
            "/role",
            "last_lead",
            "This is the group’s only lead. Make somebody else a lead first.",
            row.role,
            "another lead beforehand",
        )
