"""Sharing seed out: wishes, the season's settings, the job that works it out, and accepting: all promises or none."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Final, Protocol
from uuid import UUID, uuid5

import orjson
from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from modelling.arrays import canonical_text, checksum
from modelling.errors import RequestRefused
from modelling.release import RELEASE
from modelling.share_out import read_share_out, share_out
from modelling.share_out_curves import gain_points
from projects.choices import SeedAct, ShareOutState
from projects.contracts.lots import milligrams
from projects.contracts.share_outs import ShareOutChange, ShareOutNew, WishNew
from projects.errors import Stale, WrongState, broken
from projects.models import (
    Job,
    MeadowProject,
    Network,
    SeedLot,
    SeedPromise,
    SeedWish,
    ShareOut,
    ShareOutResult,
)
from projects.rules.access import Actor, demand, visible_inner
from projects.rules.jobs import JobRefused
from projects.selectors.model_inputs import request_of
from projects.selectors.share_outs import plans_of_wishes, question_of, result_answer
from projects.services import ledger
from projects.services.audit import record
from projects.services.base import found, save_changed, save_new, unchanged_since
from projects.services.jobs import job_create

SHARE_OUT: Final = "seed_share_out"
_THING: Final = "sharing of seed"


class Hold(Protocol):
    """What the work asks of its worker's lease."""

    def progress(self, done: int) -> None:
        """Say how much is done."""

    def hand_back_when_time_is_up(self) -> None:
        """Stop here if the slice is over."""


def _of(actor: Actor) -> Q:
    return Q(network__in=actor.networks_as("coordinator"))


# ------------------------------------------------------------------ wishes and settings


def wish_make(*, actor: Actor, asked: WishNew, now: datetime) -> SeedWish:
    """Say that a project hopes for seed in a year; said again, it is changed and keeps its place in the order."""
    with transaction.atomic():
        project = found(MeadowProject, visible_inner(actor), asked.project_id, "project", hold=True, with_=("group",))
        demand(actor, "seed_wish.make", group_id=project.group_id, network_id=project.network_id)
        amounts = {"target_mg": milligrams(asked.target_g), "least_mg": milligrams(asked.least_g), "note": asked.note}
        row = SeedWish.objects.filter(project=project, year=asked.year).first()
        if row is None:
            row = save_new(
                SeedWish(
                    network_id=project.network_id, group_id=project.group_id, project=project, year=asked.year,
                    created_by_id=actor.user_id, created_at=now, updated_at=now, **amounts,
                )
            )  # fmt: skip
        else:
            for name, value in amounts.items():
                setattr(row, name, value)
            row = save_changed(row, now)
        record(
            actor, now, "wish_make", "seed_wish", row.public_id, network=project.network_id, group=project.group_id,
            after={"target_mg": row.target_mg, "least_mg": row.least_mg, "year": row.year},
        )  # fmt: skip
    return row


def share_out_create(*, actor: Actor, asked: ShareOutNew, now: datetime) -> ShareOut:
    """Begin a sharing."""
    with transaction.atomic():
        network = found(Network, Q(pk__in=actor.networks_as("coordinator")), asked.network_id, "network")
        demand(actor, "share_out.write", network_id=network.pk)
        row = save_new(
            ShareOut(
                network=network, year=asked.year, name=asked.name, settings=asked.settings.model_dump(mode="json"),
                created_by_id=actor.user_id, created_at=now, updated_at=now,
            )
        )  # fmt: skip
        record(actor, now, "share_out_create", "share_out", row.public_id, network=network, after={"year": row.year})
    return row


def share_out_change(
    *, actor: Actor, public_id: UUID, asked: ShareOutChange, if_version: int | None, now: datetime
) -> ShareOut:
    """Set harvests, pairings held and rules anew."""
    with transaction.atomic():
        row = _held(actor, public_id, "share_out.write")
        unchanged_since(row, if_version)
        row.settings = asked.settings.model_dump(mode="json")
        row = save_changed(row, now)
        record(
            actor, now, "share_out_change", "share_out", row.public_id, network=row.network_id,
            after={"harvests": len(asked.settings.harvests), "held": len(asked.settings.held)},
        )  # fmt: skip
    return row


def _held(actor: Actor, public_id: UUID, act: str) -> ShareOut:
    """A sharing that is still open, held until the transaction ends."""
    row = found(ShareOut, _of(actor), public_id, _THING, hold=True)
    demand(actor, act, network_id=row.network_id)
    if row.state != ShareOutState.OPEN:
        raise WrongState(f"{row.name} was accepted already; what it promised stands in the seed store.")
    return row


# ------------------------------------------------------------------ working it out


def share_out_ask(*, actor: Actor, public_id: UUID, now: datetime) -> Job:
    """Ask for the best sharing as things stand; answers at once with the job, whose result names the sharing's."""
    with transaction.atomic():
        row = _held(actor, public_id, "share_out.write")
        question, versions = question_of(row, timezone.localdate(now))
        if not question["projects"]:
            raise WrongState(f"No project with a plan hopes for seed in {row.year}.")
        job = job_create(
            kind=SHARE_OUT,
            payload={"share_out": str(row.public_id), "question": question, "lots": versions},
            actor_label="sharing seed out",
            actor_id=actor.user_id,
            network=row.network,
            now=now,
        )
        record(
            actor, now, "share_out_ask", "share_out", row.public_id, network=row.network_id,
            after={"projects": len(question["projects"]), "lots": len(versions)},
        )  # fmt: skip
    return job


def check_share_out(payload: Any) -> int:
    """Return how much there is to do: each project's gain, and the sharing; raises JobRefused for another payload."""
    if not isinstance(payload, dict) or payload.keys() != {"share_out", "question", "lots"}:
        raise JobRefused("Sharing seed out is a sharing, a question and the lots as they were.")
    try:
        UUID(str(payload["share_out"]))
        return len(payload["question"]["projects"]) + 1
    except (ValueError, KeyError, TypeError) as error:
        raise JobRefused("The question about the seed cannot be read.") from error


def shared(job: Job, lease: Hold) -> dict[str, Any]:
    """Work out what each project gains, then who gets what, and store it.

    Returns
    -------
    dict
        `result`: its public id; `refused`: projects whose plan cannot be forecast, which are left out.
    """
    row = ShareOut.objects.get(public_id=UUID(job.payload["share_out"]))
    today = timezone.localdate(job.created_at)
    points, refused = {}, []
    for done, (wish, plan) in enumerate(plans_of_wishes(row), start=1):
        key = str(wish.project.public_id)
        try:
            points[key] = gain_points(request_of(wish.project, plan, today), today=today)
        except RequestRefused as error:
            refused.append({"project": key, "detail": " ".join(fault.detail for fault in error.errors)})
        lease.progress(done)
    question = dict(job.payload["question"])
    asked_for = {entry["id"] for entry in question["projects"]}
    question["projects"] = [
        entry | {"points": points[entry["id"]]} for entry in question["projects"] if entry["id"] in points
    ]
    question["pins"] = [pin for pin in question["pins"] if pin["project"] in points]
    if not question["projects"]:
        return {"result": None, "refused": refused}
    read = read_share_out(question)
    text = orjson.dumps(read.model_dump(mode="json"), option=orjson.OPT_SORT_KEYS).decode()
    answer = canonical_text(share_out(read))
    made = ShareOutResult(
        share_out=row, release=RELEASE, request=text, inputs_checksum=checksum(text), lots=job.payload["lots"],
        answer=answer, answer_checksum=checksum(answer), created_by_id=job.actor_id, created_at=timezone.now(),
    )  # fmt: skip
    with transaction.atomic():
        ShareOut.objects.select_for_update().get(pk=row.pk)
        made.full_clean(validate_unique=False, validate_constraints=False)
        made.save()
        record(
            Actor(user_id=job.actor_id, via="task"), job.created_at, "share_out_work_out", "share_out", row.public_id,
            network=row.network_id, after={"checksum": made.answer_checksum},
        )  # fmt: skip
    lease.progress(len(asked_for) + 1)
    return {"result": str(made.public_id), "refused": refused}


# ------------------------------------------------------------------ accepting


def share_out_accept(*, actor: Actor, public_id: UUID, result_id: UUID, now: datetime) -> ShareOut:
    """Promise the seed in store as a result shares it out: every promise, or none.

    What harvests still to be made are to bring is not promised: there is no seed yet. It stands in the result.

    Raises
    ------
    Stale
        If the result is not the latest, or a lot that it shares changed since; says which.
    """
    with transaction.atomic():
        row = _held(actor, public_id, "share_out.accept")
        result = row.results.order_by("-pk").first()
        if result is None or result.public_id != result_id:
            raise Stale("It was worked out anew in the meantime. Look at the latest, then accept that.")
        answer = result_answer(result)
        if not answer["feasible"]:
            raise WrongState("What is held by hand cannot be kept, so there is nothing to accept.")
        shares = [share for share in answer["shares"] if share["source"] in result.lots]
        lots = _lots_as_seen(row, result, {share["source"] for share in shares})
        projects = {
            str(project.public_id): project
            for project in MeadowProject.objects.filter(
                network=row.network_id, public_id__in=[UUID(share["project"]) for share in shares]
            ).select_related("group")
        }
        deed = ledger.deed(actor, now, None, f"Shared out: {row.name}"[:300])
        for share in shares:
            _promise(deed, row, result, lots[share["source"]], projects, share)
        row.state, row.accepted, row.accepted_at = ShareOutState.ACCEPTED, result, now
        row = save_changed(row, now)
        record(
            actor, now, "share_out_accept", "share_out", row.public_id, network=row.network_id,
            after={"result": str(result.public_id), "promises": len(shares)},
        )  # fmt: skip
    return row


def _lots_as_seen(row: ShareOut, result: ShareOutResult, named: set[str]) -> dict[str, SeedLot]:
    """The lots that are shared, held, each as it was when the sharing was worked out."""
    keys = list(SeedLot.objects.filter(network=row.network_id, public_id__in=[UUID(key) for key in named]))
    held = {str(lot.public_id): lot for lot in ledger.held(keys).values()}
    changed = sorted(
        lot.name for key, lot in held.items() if lot.version != result.lots[key] or lot.held_at is not None
    )
    if changed or named - held.keys():
        names = ", ".join(changed) or "A lot"
        raise Stale(f"{names} changed since this was worked out. Work it out again, then accept.")
    return held


def _promise(
    deed: ledger.Deed, row: ShareOut, result: ShareOutResult, lot: SeedLot, projects: dict[str, MeadowProject],
    share: dict[str, Any],
) -> None:  # fmt: skip
    project, amount = projects.get(share["project"]), int(share["mg"])
    if project is None:
        raise Stale("A project that was to get seed is gone. Work it out again, then accept.")
    if project.group.closed_at is not None:
        raise broken("", "closed", f"{project.group} has closed since. Work it out again, then accept.")
    ledger.enough(lot, amount)
    promise = save_new(
        SeedPromise(
            network_id=row.network_id, lot=lot, group=project.group, project=project,
            submission_id=uuid5(result.public_id, f"{share['source']}/{share['project']}"),
            note=f"Shared out: {row.name}"[:300], promised_mg=amount, created_by_id=deed.actor.user_id,
            created_at=deed.now, updated_at=deed.now,
        )
    )  # fmt: skip
    ledger.write(deed, lot, SeedAct.PROMISED, amount, promised=amount, promise=promise)
    record(
        deed.actor, deed.now, "promise_make", "promise", promise.public_id, network=row.network_id,
        group=project.group_id, after={"amount_mg": amount, "promised_mg": amount, "handed_mg": 0},
    )  # fmt: skip
