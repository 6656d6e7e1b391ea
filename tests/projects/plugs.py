"""Plug plants and green hay of Saltmere, for tests."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from modelling.reading import read_as
from projects.contracts.green_hay import GreenHayEnd, GreenHayNew
from projects.contracts.plugs import PlugBatchNew, PlugNoted, PlugPromiseMove, PlugPromiseNew
from projects.models import DonorAgreement, DonorMeadow, GreenHayDay, PlugBatch, PlugPromise
from projects.services import green_hay, plugs
from tests.projects.county import NOW, County

YEWS, GARDEN, VERGE = "Under the yews", "Behind the house", "Verge of the sea road"


def batch(county: County, now: datetime = NOW, **more: Any) -> PlugBatch:
    """Devil's-bit scabious, two hundred sown in the spring."""
    said = {
        "taxon": "succisa_pratensis", "sown_on": "2026-03-20", "sown_count": 200, "seed_from": "Gathered at Mill Holm",
        "ready_on": "2026-09-15",
    }  # fmt: skip
    asked = read_as(PlugBatchNew, said | more)
    actor = county.as_(county.coordinator)
    return plugs.batch_create(actor=actor, network_id=county.network.public_id, asked=asked, now=now)


def note(county: County, row: PlugBatch, what: str, count: int, who: str = "coordinator", now: datetime = NOW) -> Any:
    """Plants potted on, or lost."""
    asked = read_as(PlugNoted, {"what": what, "count": count, "on": NOW.date().isoformat()})
    return plugs.batch_note(actor=county.as_(getattr(county, who)), batch_id=row.public_id, asked=asked, now=now)


def promise(
    county: County, row: PlugBatch, count: int, project: str = YEWS, who: str = "coordinator", now: datetime = NOW
) -> PlugPromise:
    """Plants for a project."""
    asked = read_as(PlugPromiseNew, {"project_id": str(county.projects[project].public_id), "count": count})
    return plugs.plugs_promise(actor=county.as_(getattr(county, who)), batch_id=row.public_id, asked=asked, now=now)


def move(county: County, row: PlugPromise, to: str, who: str = "coordinator", now: datetime = NOW) -> PlugPromise:
    """Hand over, or take back."""
    return plugs.promise_move(
        actor=county.as_(getattr(county, who)), public_id=row.public_id, asked=read_as(PlugPromiseMove, {"to": to}),
        if_version=None, now=now,
    )  # fmt: skip


def donor(county: County, name: str = "Mill Holm", area_m2: int = 5_000, *, told: bool = False) -> DonorMeadow:
    """A donor meadow, cut in July and August by a running agreement."""
    times = {"created_at": NOW, "updated_at": NOW}
    row = DonorMeadow.objects.create(
        network=county.network, name=name, habitat="damp", area_dm2=area_m2 * 100, **times
    )  # fmt: skip
    DonorAgreement.objects.create(
        donor=row, signed_on="2026-01-10", starts_on="2026-02-01", ends_on="2030-01-31", window_opens="07-10",
        window_closes="09-30", area_dm2=area_m2 * 50, name_told=told, **times,
    )  # fmt: skip
    return row


def hay(county: County, row: DonorMeadow, who: str = "coordinator", now: datetime = NOW, **more: Any) -> GreenHayDay:
    """Forty square metres onto a hundred, on a day of September."""
    said = {
        "donor_id": str(row.public_id), "project_id": str(county.projects[YEWS].public_id), "donor_area_m2": 40.0,
        "receptor_area_m2": 100.0, "cut_on": "2026-09-05", "hours_to_spread": 3.0, "trailers": 1, "people": 6,
    }  # fmt: skip
    asked = read_as(GreenHayNew, said | more)
    return green_hay.day_plan(
        actor=county.as_(getattr(county, who)), network_id=county.network.public_id, asked=asked, now=now
    )


def end(county: County, row: GreenHayDay, to: str, who: str = "lead", now: datetime = NOW, **more: Any) -> GreenHayDay:
    """Done, or called off."""
    return green_hay.day_end(
        actor=county.as_(getattr(county, who)), public_id=row.public_id, asked=read_as(GreenHayEnd, {"to": to, **more}),
        if_version=None, now=now,
    )  # fmt: skip
