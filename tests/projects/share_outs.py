"""Sharing seed out for tests, in the invented county."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from projects.contracts.base import read_as
from projects.contracts.donors import AgreementNew, DonorNew
from projects.contracts.share_outs import ShareOutNew, WishNew
from projects.models import DonorMeadow, Job, SeedWish, ShareOut, ShareOutResult
from projects.rules.access import Actor
from projects.selectors.share_outs import latest_result
from projects.services import donors, share_outs
from projects.services.jobs import jobs_run_due
from tests.projects.county import NOW, County
from tests.projects.jobs import Clock

YARD, PADDOCK, VERGE = "Under the yews", "Paddock to hay", "Verge of the sea road"
YEAR = 2027


def wish(county: County, project: str, target_g: float, least_g: float = 100.0, **more: Any) -> SeedWish:
    """A project hopes for seed."""
    said = {"project_id": str(county.projects[project].public_id), "year": YEAR, "target_g": target_g} | {
        "least_g": least_g, **more,
    }  # fmt: skip
    return share_outs.wish_make(actor=county.as_(county.coordinator), asked=read_as(WishNew, said), now=NOW)


def sharing(county: County, **settings: Any) -> ShareOut:
    """A sharing of the year."""
    said = {"network_id": str(county.network.public_id), "year": YEAR, "name": "July", "settings": settings}
    return share_outs.share_out_create(actor=county.as_(county.coordinator), asked=read_as(ShareOutNew, said), now=NOW)


def worked_out(county: County, row: ShareOut, actor: Actor | None = None) -> ShareOutResult:
    """What the job makes of it."""
    job = share_outs.share_out_ask(actor=actor or county.as_(county.coordinator), public_id=row.public_id, now=NOW)
    jobs_run_due(clock=Clock(NOW + timedelta(minutes=1)))
    done = Job.objects.get(pk=job.pk)
    assert done.state == "done", done.last_error
    found = latest_result(row)
    assert found is not None
    assert str(found.public_id) == done.result["result"]
    return found


def accept(county: County, row: ShareOut, result: ShareOutResult, actor: Actor | None = None) -> ShareOut:
    """Say yes to it."""
    return share_outs.share_out_accept(
        actor=actor or county.as_(county.coordinator), public_id=row.public_id, result_id=result.public_id, now=NOW
    )


def meadow(
    county: County, name: str = "Long meadow", area_m2: float = 30_000, agreed_m2: float = 10_000
) -> DonorMeadow:
    """A donor meadow near Gullhaven, a part of which may be harvested in each July."""
    coordinator = county.as_(county.coordinator)
    said = {
        "network_id": str(county.network.public_id), "name": name, "habitat": "dry", "area_m2": area_m2,
        "village_id": str(county.villages["Gullhaven"].public_id),
    }  # fmt: skip
    row = donors.donor_create(actor=coordinator, asked=read_as(DonorNew, said), now=NOW)
    agreed = {
        "signed_on": "2026-08-01", "starts_on": "2026-08-01", "ends_on": "2030-12-31", "window_opens": "07-01",
        "window_closes": "08-15", "area_m2": agreed_m2, "methods": ["brush"],
    }  # fmt: skip
    donors.agreement_add(actor=coordinator, donor_id=row.public_id, asked=read_as(AgreementNew, agreed), now=NOW)
    return row
