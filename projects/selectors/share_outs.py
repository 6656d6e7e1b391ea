"""Reads of sharings, and a sharing's rows in the model's own words."""

from __future__ import annotations

from datetime import date
from typing import Any
from uuid import UUID

import orjson
from django.db.models import Prefetch, QuerySet, Sum

from modelling.arrays import checksum
from modelling.selectors import StoredTextDamaged
from projects.choices import SeedState
from projects.contracts.base import read_as
from projects.contracts.lots import milligrams
from projects.contracts.share_outs import PlannedHarvest, Settings
from projects.errors import NotFound
from projects.models import (
    DonorMeadow,
    Group,
    Job,
    MeadowProject,
    PlanVersion,
    SeedLot,
    SeedWish,
    ShareOut,
    ShareOutResult,
)
from projects.rules.access import Actor, visible_inner
from projects.rules.share_outs import suits
from projects.selectors.donors import running
from projects.selectors.model_inputs import soil
from projects.selectors.places import shown_square

KM = 1000


def share_outs_of(actor: Actor) -> QuerySet[ShareOut]:
    """Sharings of the networks that the actor coordinates, the latest first."""
    return ShareOut.objects.filter(network__in=actor.networks_as("coordinator")).select_related("network", "accepted")


def share_out_get(actor: Actor, public_id: UUID) -> ShareOut:
    """One sharing; raises NotFound."""
    row = share_outs_of(actor).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no sharing of seed {public_id}, or none that you may see.")
    return row


def wishes_of(actor: Actor) -> QuerySet[SeedWish]:
    """Wishes of the actor's groups and networks, in the order they were made."""
    return SeedWish.objects.filter(visible_inner(actor)).select_related("group", "project__site", "network")


def latest_result(share_out: ShareOut) -> ShareOutResult | None:
    """What was worked out last."""
    return share_out.results.order_by("-pk").first()


def result_answer(row: ShareOutResult) -> dict[str, Any]:
    """The stored answer; raises StoredTextDamaged."""
    if checksum(row.answer) != row.answer_checksum:
        text = f"The text of sharing {row.public_id} no longer has its checksum {row.answer_checksum}."
        raise StoredTextDamaged(f"{text} Restore it from a backup.")
    found: dict[str, Any] = orjson.loads(row.answer)
    return found


def told_to_group(actor: Actor, group: Group) -> list[tuple[ShareOut, SeedWish, dict[str, Any]]]:
    """What each accepted sharing says of the group's own wishes: what it gets, or why not and what would change it.

    Nothing of another group's: who else gets seed, or who would lose some, is left out.
    """
    out = []
    wishes = list(wishes_of(actor).filter(group=group))
    rows = ShareOut.objects.filter(network=group.network_id, state="accepted").select_related("accepted")
    for share_out in rows:
        if share_out.accepted is None:
            continue
        answer = result_answer(share_out.accepted)
        named = {entry["id"]: entry for entry in [*answer["projects"], *answer["without"]]}
        for wish in wishes:
            entry = named.get(str(wish.project.public_id))
            if entry is not None and wish.year == share_out.year:
                out.append((share_out, wish, entry))
    return out


# ------------------------------------------------------------------ into the model's words


def question_of(share_out: ShareOut, today: date) -> tuple[dict[str, Any], dict[str, int]]:
    """The model's question without what the projects gain, and the version of each lot."""
    asked = read_as(Settings, share_out.settings)
    lots = _lots(share_out)
    donors = {
        row.public_id: row
        for row in DonorMeadow.objects.filter(
            network=share_out.network_id, public_id__in=[harvest.donor_id for harvest in asked.harvests]
        ).select_related("site", "village")
    }
    harvests = [(donors[one.donor_id], one) for one in asked.harvests if one.donor_id in donors]
    wishes = [wish for wish in _wishes(share_out) if wish.project.plans_now]  # type: ignore[attr-defined]
    known = {str(lot.public_id) for lot in lots} | {str(donor.public_id) for donor, _ in harvests}
    hopeful = {str(wish.project.public_id) for wish in wishes}
    question = {
        "year": share_out.year,
        "objective": asked.objective,
        "reach_km": asked.reach_km,
        "lots": [_lot(lot) for lot in lots],
        "donors": [_donor(donor, one, share_out.year, today) for donor, one in harvests],
        "harvests": [_harvest(donor, one) for donor, one in harvests],
        "projects": [_hopeful(wish) for wish in wishes],
        "pins": [
            {
                "source": str(held.source_id), "project": str(held.project_id), "how": held.how,
                "mg": None if held.grams is None else milligrams(held.grams),
            }
            for held in asked.held
            if str(held.source_id) in known and str(held.project_id) in hopeful
        ],
        "machine": {
            "machines": asked.machines, "away": [day.isoformat() for day in asked.away], "chance": asked.chance,
        },
    }  # fmt: skip
    return question, {str(lot.public_id): lot.version for lot in lots}


def _lots(share_out: ShareOut) -> list[SeedLot]:
    """Dry lots that are not on hold and not all promised."""
    rows = SeedLot.objects.filter(network=share_out.network_id, state=SeedState.DRY, held_at__isnull=True)
    free = [row for row in rows.select_related("harvest__donor__site", "harvest__donor__village") if row_free(row) > 0]
    return sorted(free, key=lambda row: str(row.public_id))


def row_free(row: SeedLot) -> int:
    """Milligrams of a lot that nobody was promised."""
    return row.balance_mg - row.promised_mg


def _wishes(share_out: ShareOut) -> list[SeedWish]:
    plans = Prefetch("project__plans", PlanVersion.objects.order_by("-number"), to_attr="plans_now")
    rows = SeedWish.objects.filter(network=share_out.network_id, year=share_out.year)
    related = rows.select_related("project__site", "project__network", "group")
    return list(related.prefetch_related(plans, "project__site__soil_tests").order_by("created_at", "public_id"))


def plans_of_wishes(share_out: ShareOut) -> list[tuple[SeedWish, PlanVersion]]:
    """Each wish with its project's latest plan."""
    return [
        (wish, wish.project.plans_now[0])  # type: ignore[attr-defined]
        for wish in _wishes(share_out)
        if wish.project.plans_now  # type: ignore[attr-defined]
    ]


def _lot(row: SeedLot) -> dict[str, Any]:
    donor = row.harvest.donor if row.harvest is not None else None
    return {
        "id": str(row.public_id), "label": row.name, "mg": row_free(row),
        "habitat": None if donor is None else donor.habitat, "place": None if donor is None else _place_of(donor),
    }  # fmt: skip


def _place_of(donor: DonorMeadow) -> dict[str, int] | None:
    """The middle of the square that may be told: of its site, else of its village."""
    if donor.site is not None:
        return _middle(donor.site)
    if donor.village is None:
        return None
    return {"east_m": donor.village.easting_m + KM // 2, "north_m": donor.village.northing_m + KM // 2}


def _middle(site: Any) -> dict[str, int] | None:
    square = shown_square(site)
    if square is None:
        return None
    return {"east_m": square.easting_m + square.side_m // 2, "north_m": square.northing_m + square.side_m // 2}


def _donor(donor: DonorMeadow, asked: PlannedHarvest, year: int, today: date) -> dict[str, Any]:
    """What may be taken of a meadow: as agreed for the season; nothing without an agreement that runs then."""
    agreement = running(donor, asked.first_day)
    share = 0.0 if agreement is None else min(agreement.area_dm2 / donor.area_dm2, 1.0)
    years = [on.year for on in donor.harvests.values_list("on", flat=True)]
    taken = SeedLot.objects.filter(harvest__donor=donor, harvest__on__year=year).aggregate(mg=Sum("made_mg"))["mg"]
    return {
        "id": str(donor.public_id), "label": donor.name,
        "whole_mg": milligrams(asked.whole_g) if share else 0, "allowed_share": share or None, "taken_mg": taken or 0,
        "last_harvest_year": max((one for one in years if one < year), default=None),
        # what was agreed as a part of the meadow rests by turns; a whole one rests as is usual
        "rest_years": 0 if 0 < share < 1 else None,
    }  # fmt: skip


def _harvest(donor: DonorMeadow, asked: PlannedHarvest) -> dict[str, Any]:
    return {
        "id": str(donor.public_id), "label": donor.name, "donor": str(donor.public_id),
        "first_day": asked.first_day.isoformat(), "last_day": asked.last_day.isoformat(),
        "mg_per_half_day": milligrams(asked.half_day_g), "most_half_days": asked.most_half_days,
        "habitat": donor.habitat, "place": _place_of(donor),
    }  # fmt: skip


def _hopeful(wish: SeedWish) -> dict[str, Any]:
    site = wish.project.site
    return {
        "id": str(wish.project.public_id), "label": wish.project.name, "group": str(wish.group.public_id),
        "most_mg": wish.target_mg, "least_mg": wish.least_mg,
        "suits": suits(site.wetness, soil(site).get("soil_ph")), "place": _middle(site),
    }  # fmt: skip


# ------------------------------------------------------------------ for the pages


def wishes_for(share_out: ShareOut) -> list[SeedWish]:
    """Wishes of a sharing's year, in the order they were made."""
    return _wishes(share_out)


def sources_of(share_out: ShareOut) -> list[tuple[str, str]]:
    """Lots and meadows of a sharing: id and name."""
    named = [one["donor_id"] for one in share_out.settings.get("harvests", ())]
    donors = [(key, name) for key, name in donors_of(share_out) if key in named]
    return [(str(lot.public_id), lot.name) for lot in _lots(share_out)] + donors


def donors_of(share_out: ShareOut) -> list[tuple[str, str]]:
    """Donor meadows of the network: id and name."""
    rows = DonorMeadow.objects.filter(network=share_out.network_id).values_list("public_id", "name")
    return [(str(key), name) for key, name in rows]


def names_of(share_out: ShareOut) -> dict[str, str]:
    """Names by id of every lot, meadow and project that a sharing can speak of."""
    lots = SeedLot.objects.filter(network=share_out.network_id).values_list("public_id", "name")
    projects = SeedWish.objects.filter(network=share_out.network_id, year=share_out.year)
    named = projects.values_list("project__public_id", "project__name")
    return dict(donors_of(share_out)) | {str(key): name for key, name in [*lots, *named]}


def being_worked_out(share_out: ShareOut) -> bool:
    """Whether a job about it has not ended."""
    jobs = Job.objects.filter(kind="seed_share_out", network=share_out.network_id)
    return jobs.filter(
        payload__share_out=str(share_out.public_id), state__in=[Job.State.WAITING, Job.State.RUNNING]
    ).exists()


def projects_that_may_hope(actor: Actor, group: Group) -> list[tuple[str, str]]:
    """The group's projects: id and name."""
    rows = MeadowProject.objects.filter(visible_inner(actor), group=group).order_by("name")
    return [(str(row.public_id), row.name) for row in rows]
