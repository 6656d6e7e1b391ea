"""Sites: registering and changing them, and what is noted about them."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any, Final
from uuid import UUID, uuid4

from django.db import transaction
from django.db.models import ProtectedError, Q, Sum
from django.utils import timezone

from modelling.selectors import permission_words
from projects.choices import PermissionState
from projects.contracts.base import given, pence
from projects.contracts.sites import (
    OtherFundingNew,
    PermissionChange,
    PermissionNew,
    SiteChange,
    SiteFacts,
    SiteNew,
    SoilTestNew,
    Zone,
)
from projects.errors import WrongState, broken
from projects.models import Group, OtherFunding, Permission, Site, SiteZone, SoilTest
from projects.rules.access import Actor, demand, visible_inner, visible_sites
from projects.rules.permissions import called_for
from projects.services import places
from projects.services.audit import record, snapshot
from projects.services.base import found, save_changed, save_new, touched, unchanged_since
from projects.services.networks import district_of
from projects.services.rollups import rollups_refresh

DM2_PER_M2: Final = 100
CM_PER_M: Final = 100
MOST_SITES: Final = 500
MOST_NOTES: Final = 100
_WORDS: Final = ("wetness", "shade", "sward", "last_use")
_AS_THEY_ARE: Final = (
    "access_note", "slope_degrees", "resident_species_per_m2", "standing_crop_g_per_m2", "name", "kind", "publicity",
)  # fmt: skip
_LISTS: Final = ("existing_interest", "resident_species")


def _columns(changes: dict[str, Any]) -> dict[str, Any]:
    """What a request says, as the columns hold it."""
    columns: dict[str, Any] = {name: changes[name] for name in _AS_THEY_ARE if name in changes}
    columns |= {name: changes[name] or "" for name in _WORDS if name in changes}
    columns |= {name: list(changes[name]) for name in _LISTS if name in changes}
    if "area_m2" in changes:
        columns["area_dm2"] = max(1, round(changes["area_m2"] * DM2_PER_M2))
    if "net_area_m2" in changes:
        net = changes["net_area_m2"]
        columns["net_area_dm2"] = None if net is None else max(1, round(net * DM2_PER_M2))
    if "gate_width_m" in changes:
        width = changes["gate_width_m"]
        columns["gate_width_cm"] = None if width is None else max(1, round(width * CM_PER_M))
    if "distance_to_flower_rich_m" in changes:
        distance = changes["distance_to_flower_rich_m"]
        columns["distance_to_flower_rich_m"] = None if distance is None else round(distance)
    return columns


def site_create(*, actor: Actor, asked: SiteNew, now: datetime) -> Site:
    """Register a site, with its place and the permissions its kind calls for."""
    with transaction.atomic():
        group = found(Group, Q(closed_at__isnull=True), asked.group_id, "group", hold=True, with_=("network",))
        demand(actor, "site.create", group_id=group.pk, network_id=group.network_id)
        if Site.objects.filter(group=group).count() >= MOST_SITES:
            raise broken(
                "/group_id", "too_many", f"A group can have {MOST_SITES} sites.", None, f"at most {MOST_SITES}"
            )
        place = places.read(asked.place, group.network)
        facts = SiteFacts.model_fields.keys() | {"name", "kind", "publicity"}
        changes = {name: getattr(asked, name) for name in facts} | {
            "area_m2": places.area_checked(asked.area_m2, place)
        }
        site = Site(
            network=group.network,
            group=group,
            district=district_of(group.network, asked.district_id),
            village=place.village,
            created_at=now,
            updated_at=now,
            **_columns(changes),
        )
        places.show(site, place)
        save_new(site)
        places.put(site, place)
        _set_zones(site, asked.zones)
        _call_for(site, now)
        record(
            actor,
            now,
            "site_create",
            "site",
            site.public_id,
            network=group.network_id,
            group=group,
            after=snapshot(site),
        )
    return site


def site_change(*, actor: Actor, public_id: UUID, asked: SiteChange, if_version: int | None, now: datetime) -> Site:
    """Change what is known of a site, where it lies, or how precisely that may be shown."""
    with transaction.atomic():
        site = _held(actor, public_id, "site.change", if_version)
        before, changes = snapshot(site), given(asked)
        if changes.get("publicity", site.publicity) != site.publicity:
            # showing more of a place is a way of reading it
            demand(actor, "place.read_exact", group_id=site.group_id, network_id=site.network_id)
        place = places.read(asked.place, site.network) if asked.place is not None else None
        if "place" in changes and place is None:
            raise broken("/place", "missing", "A site keeps a place; give the new one.", None, "a place")
        if place is not None and place.outline is not None and "area_m2" not in changes:
            changes["area_m2"] = places.area_checked(None, place)
        elif "area_m2" in changes:
            places.area_checked(changes["area_m2"], place or places.stored(site))
        if "district_id" in changes:
            site.district = district_of(site.network, changes["district_id"])
        for name, value in _columns(changes).items():
            setattr(site, name, value)
        if place is not None:
            site.village = place.village
            places.put(site, place)
        places.show(site, place or places.stored(site))
        save_changed(site, now)
        if "zones" in changes or "area_m2" in changes:
            _set_zones(site, asked.zones if "zones" in changes else None)
        if "kind" in changes:
            _call_for(site, now)
        rollups_refresh(_meadows(site), now)
        after = snapshot(site)
        if place is not None:
            # that it moved is told, where to is not
            before["place"], after["place"] = "as it was", "changed"
        record(
            actor, now, "site_change", "site", site.public_id,
            network=site.network_id, group=site.group_id, before=before, after=after,
        )  # fmt: skip
    return site


def site_remove(*, actor: Actor, public_id: UUID, if_version: int | None, now: datetime) -> None:
    """Delete a site that nothing was built on; one with projects stays, since others may rest on its record."""
    with transaction.atomic():
        site = _held(actor, public_id, "site.remove", if_version)
        before = snapshot(site)
        try:
            site.delete()
        except ProtectedError as error:
            raise WrongState(
                "This site has meadow projects, whose record stays. It can be made private instead."
            ) from error
        record(
            actor, now, "site_remove", "site", public_id, network=site.network_id, group=site.group_id, before=before
        )


def _held(actor: Actor, public_id: UUID, act: str, if_version: int | None) -> Site:
    site = found(Site, visible_sites(actor), public_id, "site", hold=True, with_=("network", "group"))
    demand(actor, act, group_id=site.group_id, network_id=site.network_id)
    unchanged_since(site, if_version)
    return site


def _meadows(site: Site) -> list[int]:
    return list(site.projects.values_list("pk", flat=True))


def _set_zones(site: Site, zones: tuple[Zone, ...] | None) -> None:
    """Replace the zones, or only check those there are; together they may not be larger than the site."""
    if zones is not None:
        site.zones.all().delete()
        for zone in zones:
            save_new(
                SiteZone(
                    site=site,
                    name=zone.name,
                    area_dm2=max(1, round(zone.area_m2 * DM2_PER_M2)),
                    sward=zone.sward or "",
                    note=zone.note,
                )
            )
    total = site.zones.aggregate(total=Sum("area_dm2"))["total"] or 0
    if total > site.area_dm2:
        raise broken(
            "/zones",
            "out_of_range",
            f"The zones add up to {total / DM2_PER_M2:g} m², the site has {site.area_dm2 / DM2_PER_M2:g} m².",
            None,
            "zones no larger than the site",
        )


def _call_for(site: Site, now: datetime) -> None:
    """Add what a new kind calls for; drop what only the old kind called for and nobody has touched."""
    wanted = set(called_for(site.kind))
    untouched = Q(version=1, state=PermissionState.NOT_ASKED, label="")
    site.permissions.filter(untouched).exclude(key__in=wanted).delete()
    there = set(site.permissions.values_list("key", flat=True))
    missing = [key for key in called_for(site.kind) if key not in there]
    Permission.objects.bulk_create(
        # a microsecond apart, so that lists by age keep the table's order
        Permission(site=site, key=key, created_at=now + timedelta(microseconds=place), updated_at=now)
        for place, key in enumerate(missing)
    )


# ------------------------------------------------------------------ permissions


def permission_change(
    *, actor: Actor, public_id: UUID, asked: PermissionChange, if_version: int | None, now: datetime
) -> Permission:
    """Note what has come of a permission."""
    with transaction.atomic():
        seen = visible_inner(actor, "site__group", "site__network")
        row = found(Permission, seen, public_id, "permission", hold=True, with_=("site",))
        demand(actor, "permission.change", group_id=row.site.group_id, network_id=row.site.network_id)
        unchanged_since(row, if_version)
        before = snapshot(row)
        for name, value in given(asked).items():
            setattr(row, name, value)
        _in_the_past(row, now)
        save_changed(row, now)
        touched(row.site, now)
        record(
            actor, now, "permission_change", "permission", row.public_id,
            network=row.site.network_id, group=row.site.group_id, before=before, after=snapshot(row),
        )  # fmt: skip
    return row


def permission_add(*, actor: Actor, site_id: UUID, asked: PermissionNew, now: datetime) -> Permission:
    """Add a permission that the kind of place does not call for by itself."""
    with transaction.atomic():
        site = _held(actor, site_id, "permission.change", None)
        _few(site.permissions.count(), "permissions")
        values = given(asked) | {"label": asked.label}
        row = Permission(site=site, key=f"own_{uuid4().hex[:12]}", created_at=now, updated_at=now, **values)
        _in_the_past(row, now)
        if site.permissions.filter(label__iexact=row.label).exists() or row.label.lower() in {
            (permission_words(key) or {}).get("label", "").lower()
            for key in site.permissions.values_list("key", flat=True)
        }:
            raise broken("/label", "taken", "This permission is on the list already.", row.label, "another name")
        save_new(row)
        touched(site, now)
        record(
            actor, now, "permission_add", "permission", row.public_id,
            network=site.network_id, group=site.group_id, after=snapshot(row),
        )  # fmt: skip
    return row


def _in_the_past(row: Permission, now: datetime) -> None:
    for name in ("asked_on", "answered_on"):
        day = getattr(row, name)
        if day is not None and day > timezone.localdate(now):
            raise broken(
                f"/{name}", "in_future", f"{day.isoformat()} is still to come.", day.isoformat(), "a day up to today"
            )


def _few(count: int, what: str) -> None:
    if count >= MOST_NOTES:
        raise broken("", "too_many", f"A site can have {MOST_NOTES} {what}.", None, f"at most {MOST_NOTES}")


# ------------------------------------------------------------------ soil tests, money from elsewhere


def soil_test_add(*, actor: Actor, site_id: UUID, asked: SoilTestNew, now: datetime) -> SoilTest:
    """Note what was found in the soil; the latest of each measure goes into forecasts."""
    with transaction.atomic():
        site = _held(actor, site_id, "soil_test.change", None)
        _few(site.soil_tests.count(), "soil tests")
        if asked.taken_on > timezone.localdate(now):
            raise broken(
                "/taken_on", "in_future", f"{asked.taken_on.isoformat()} is still to come.",
                asked.taken_on.isoformat(), "a day up to today",
            )  # fmt: skip
        values = asked.model_dump() | {"laboratory": asked.laboratory or ""}
        row = save_new(SoilTest(site=site, created_at=now, updated_at=now, **values))
        touched(site, now)
        rollups_refresh(_meadows(site), now)
        record(
            actor, now, "soil_test_add", "soil_test", row.public_id,
            network=site.network_id, group=site.group_id, after=snapshot(row),
        )  # fmt: skip
    return row


def soil_test_remove(*, actor: Actor, public_id: UUID, now: datetime) -> None:
    """Take away a soil test that was noted by mistake."""
    with transaction.atomic():
        row = found(
            SoilTest,
            visible_inner(actor, "site__group", "site__network"),
            public_id,
            "soil test",
            hold=True,
            with_=("site",),
        )
        site = row.site
        demand(actor, "soil_test.change", group_id=site.group_id, network_id=site.network_id)
        before = snapshot(row)
        row.delete()
        touched(site, now)
        rollups_refresh(_meadows(site), now)
        record(
            actor, now, "soil_test_remove", "soil_test", public_id,
            network=site.network_id, group=site.group_id, before=before,
        )  # fmt: skip


def other_funding_add(*, actor: Actor, site_id: UUID, asked: OtherFundingNew, now: datetime) -> OtherFunding:
    """Note money from elsewhere for the same ground."""
    with transaction.atomic():
        site = _held(actor, site_id, "funding.change", None)
        _few(site.other_funding.count(), "entries of other money")
        row = save_new(
            OtherFunding(
                site=site,
                funder=asked.funder,
                what_for=asked.what_for,
                amount_pence=None if asked.amount_gbp is None else pence(asked.amount_gbp),
                starts_on=asked.starts_on,
                ends_on=asked.ends_on,
                created_at=now,
                updated_at=now,
            )
        )
        touched(site, now)
        record(
            actor, now, "other_funding_add", "other_funding", row.public_id,
            network=site.network_id, group=site.group_id, after=snapshot(row),
        )  # fmt: skip
    return row


def other_funding_remove(*, actor: Actor, public_id: UUID, now: datetime) -> None:
    """Take away an entry that was made by mistake."""
    with transaction.atomic():
        row = found(
            OtherFunding,
            visible_inner(actor, "site__group", "site__network"),
            public_id,
            "entry",
            hold=True,
            with_=("site",),
        )
        site = row.site
        demand(actor, "funding.change", group_id=site.group_id, network_id=site.network_id)
        before = snapshot(row)
        row.delete()
        touched(site, now)
        record(
            actor, now, "other_funding_remove", "other_funding", public_id,
            network=site.network_id, group=site.group_id, before=before,
        )  # fmt: skip
