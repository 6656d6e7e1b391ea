"""Donor meadows and what was agreed about them."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Final
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from projects.contracts.base import given
from projects.contracts.donors import DM2_PER_M2, AgreementEnd, AgreementNew, DonorChange, DonorNew, Plants
from projects.errors import WrongState, broken
from projects.models import DonorAgreement, DonorMeadow, DonorPlant, Network, Site, Village
from projects.rules.access import Actor, demand, visible_donors, visible_sites
from projects.services.audit import record, snapshot
from projects.services.base import found, save_changed, save_new, unchanged_since
from projects.services.lots import known_plant

#: who somebody is and how they are reached stays out of the audit
_PERSONAL: Final = frozenset({"owner", "owner_contact"})


def donor_create(*, actor: Actor, asked: DonorNew, now: datetime) -> DonorMeadow:
    """Add a donor meadow."""
    with transaction.atomic():
        network = found(Network, Q(), asked.network_id, "network")
        demand(actor, "donor.change", network_id=network.pk)
        site = village = None
        if asked.site_id is not None:
            site = found(Site, visible_sites(actor) & Q(network=network), asked.site_id, "site of the network")
        if asked.village_id is not None:
            village = found(Village, Q(network=network), asked.village_id, "village of the network")
        donor = save_new(
            DonorMeadow(
                network=network,
                site=site,
                village=village,
                area_dm2=round(asked.area_m2 * DM2_PER_M2),
                weeds=list(asked.weeds),
                created_by_id=actor.user_id,
                created_at=now,
                updated_at=now,
                **{name: getattr(asked, name) for name in ("name", "habitat", "note", "owner", "owner_contact")},
            )
        )
        _planted(donor, asked.plants)
        record(actor, now, "donor_create", "donor", donor.public_id, network=network, after=_told(donor))
    return donor


def _planted(donor: DonorMeadow, plants: Plants) -> None:
    for position, plant in enumerate(plants):
        known_plant(plant.taxon, f"/plants/{position}/taxon")
    donor.plants.all().delete()
    DonorPlant.objects.bulk_create(
        DonorPlant(donor=donor, taxon=plant.taxon, cover_percent=plant.cover_percent) for plant in plants
    )


def _told(donor: DonorMeadow) -> dict[str, Any]:
    return {name: value for name, value in snapshot(donor).items() if name not in _PERSONAL}


def donor_change(
    *, actor: Actor, public_id: UUID, asked: DonorChange, if_version: int | None, now: datetime
) -> DonorMeadow:
    """Change what is said of a donor meadow."""
    with transaction.atomic():
        donor = found(DonorMeadow, visible_donors(actor), public_id, "donor meadow", hold=True)
        demand(actor, "donor.change", network_id=donor.network_id)
        unchanged_since(donor, if_version)
        before = _told(donor)
        values = {name: value for name, value in given(asked).items() if value is not None}
        if "area_m2" in values:
            donor.area_dm2 = round(values.pop("area_m2") * DM2_PER_M2)
        plants = values.pop("plants", None)
        if "weeds" in values:
            values["weeds"] = list(values["weeds"])
        for name, value in values.items():
            setattr(donor, name, value)
        save_changed(donor, now)
        if plants is not None:
            _planted(donor, plants)
        record(
            actor, now, "donor_change", "donor", donor.public_id, network=donor.network_id,
            before=before, after=_told(donor),
        )  # fmt: skip
    return donor


def agreement_add(*, actor: Actor, donor_id: UUID, asked: AgreementNew, now: datetime) -> DonorAgreement:
    """Note what was agreed about a donor meadow."""
    with transaction.atomic():
        donor = found(DonorMeadow, visible_donors(actor), donor_id, "donor meadow", hold=True)
        demand(actor, "donor.change", network_id=donor.network_id)
        area = round(asked.area_m2 * DM2_PER_M2)
        if area > donor.area_dm2:
            whole = donor.area_dm2 / DM2_PER_M2
            raise broken(
                "/area_m2", "out_of_range", f"The meadow has {whole:g} m².", asked.area_m2, f"at most {whole:g}"
            )
        row = save_new(
            DonorAgreement(
                donor=donor,
                area_dm2=area,
                methods=list(dict.fromkeys(asked.methods)),
                consents=list(asked.consents),
                cut_by=asked.cut_by or "",
                created_by_id=actor.user_id,
                created_at=now,
                updated_at=now,
                **{
                    name: getattr(asked, name)
                    for name in (
                        "signed_on", "starts_on", "ends_on", "window_opens", "window_closes", "part", "wants_back",
                        "name_told",
                    )
                },
            )
        )  # fmt: skip
        record(
            actor, now, "agreement_add", "agreement", row.public_id, network=donor.network_id,
            after={"donor": str(donor.public_id), "starts_on": str(row.starts_on), "ends_on": str(row.ends_on)},
        )  # fmt: skip
    return row


def agreement_end(
    *, actor: Actor, public_id: UUID, asked: AgreementEnd, if_version: int | None, now: datetime
) -> DonorAgreement:
    """End an agreement before its time."""
    with transaction.atomic():
        seen = Q(donor__in=DonorMeadow.objects.filter(visible_donors(actor)).values("pk"))
        row = found(DonorAgreement, seen, public_id, "agreement", hold=True, with_=("donor",))
        demand(actor, "donor.change", network_id=row.donor.network_id)
        unchanged_since(row, if_version)
        if row.ended_on is not None:
            raise WrongState("This agreement has ended already.")
        row.ended_on = asked.ended_on
        save_changed(row, now)
        record(
            actor, now, "agreement_end", "agreement", row.public_id, network=row.donor.network_id,
            after={"ended_on": str(row.ended_on)},
        )  # fmt: skip
    return row
