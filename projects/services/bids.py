"""Bids: written, checked, handed in with a receipt, withdrawn. What was handed in is text that never changes."""

from __future__ import annotations

import hashlib
from datetime import datetime
from typing import Any, Final
from uuid import UUID

import orjson
from django.db import transaction
from django.db.models import F, Q
from django.utils import timezone

from modelling.appraisal import ORCHIDS
from modelling.contracts.appraisal import MOST_PENCE
from modelling.errors import FieldError, RequestRefused
from modelling.selectors import taxon_row
from projects.choices import BidState, RoundState
from projects.contracts.base import given, pence
from projects.contracts.bids import BidChange, BidFields, BidNew, Line, ProofSeen
from projects.errors import RuleBroken, Stale, WrongState, broken
from projects.models import (
    Bid,
    BidAttachment,
    BidLine,
    BidProject,
    BidPromise,
    BidProof,
    BidStage,
    BidSubmission,
    Forecast,
    GrantRound,
    Group,
    MeadowProject,
)
from projects.rules import bids as rules
from projects.rules import rounds as round_rules
from projects.rules.access import Actor, bids_to_read, demand, visible_bids, visible_projects, visible_rounds
from projects.rules.rounds import Phase
from projects.selectors.bids import bid_facts, content_of, ground_facts, line_facts
from projects.selectors.group_record import group_record
from projects.services.audit import record, snapshot
from projects.services.base import found, save_changed, save_new, touched, unchanged_since
from projects.services.meadows import forecast_create

MOST_BIDS: Final = 20
MOST_SUBMISSIONS: Final = 50
MILLI: Final = 1000
_WITH: Final = ("round", "group", "network", "current")
#: fields of a bid that are rows of their own
_ROWS: Final = frozenset({"project_ids", "lines", "stages", "promises", "attachments", "proofs"})

# ------------------------------------------------------------------ writing


def bid_create(*, actor: Actor, asked: BidNew, now: datetime) -> Bid:
    """Begin a bid; a draft is seen by its group and the coordinators only."""
    with transaction.atomic():
        round = found(GrantRound, visible_rounds(actor), asked.round_id, "round", with_=("network", "district"))
        group = found(Group, Q(closed_at__isnull=True, network=round.network_id), asked.group_id, "group", hold=True)
        demand(actor, "bid.create", group_id=group.pk, network_id=group.network_id)
        if round.district_id is not None and group.district_id != round.district_id:
            raise broken(
                "/group_id", "not_eligible", f"Only groups of {round.district} may bid in this round.",
                str(group.public_id), f"a group of {round.district}",
            )  # fmt: skip
        phase = round_rules.phase(round.state, round.opens_at, round.closes_at, now)
        if phase == Phase.DRAFT:
            raise WrongState("This round is not announced yet.")
        if phase not in {Phase.COMING, Phase.OPEN}:
            raise WrongState(f"This round closed on {round_rules.said(round.closes_at)}.")
        if Bid.objects.filter(round=round, group=group).count() >= MOST_BIDS:
            raise broken("", "too_many", f"A group can have {MOST_BIDS} bids in a round.", None, f"at most {MOST_BIDS}")
        bid = Bid(
            network_id=round.network_id, round=round, group=group, title=asked.title, created_at=now, updated_at=now
        )
        _set(bid, {name: getattr(asked, name) for name in BidFields.model_fields})
        save_new(bid)
        _set_rows(actor, bid, asked, _ROWS)
        record(
            actor, now, "bid_create", "bid", bid.public_id, network=bid.network_id, group=group.pk, after=snapshot(bid)
        )
    return bid


def bid_change(*, actor: Actor, public_id: UUID, asked: BidChange, if_version: int | None, now: datetime) -> Bid:
    """Change a bid that is being written; checked before, it is a draft again."""
    with transaction.atomic():
        bid = _held(actor, public_id, "bid.change", if_version)
        if bid.state not in round_rules.WRITABLE:
            raise WrongState(f"This bid is {bid.get_state_display().lower()}; withdraw it first to change it.")
        before = snapshot(bid)
        _set(bid, given(asked))
        bid.state = BidState.DRAFT
        _set_rows(actor, bid, asked, _ROWS & asked.model_fields_set)
        bid.asked_pence = rules.asked_pence(line_facts(bid), vat_recovered=bid.vat_recovered)
        save_changed(bid, now)
        record(
            actor, now, "bid_change", "bid", bid.public_id, network=bid.network_id, group=bid.group_id,
            before=before, after=snapshot(bid),
        )  # fmt: skip
    return bid


def _held(actor: Actor, public_id: UUID, act: str, if_version: int | None) -> Bid:
    bid = found(Bid, visible_bids(actor), public_id, "bid", hold=True, with_=_WITH)
    demand(actor, act, group_id=bid.group_id, network_id=bid.network_id)
    unchanged_since(bid, if_version)
    return bid


def _set(bid: Bid, values: dict[str, Any]) -> None:
    for name, value in values.items():
        if name not in _ROWS:
            setattr(bid, name, value)
    if bid.starts_on is not None and bid.ends_on is not None and bid.ends_on < bid.starts_on:
        raise broken(
            "/ends_on", "contradiction", "It ends before it starts.", bid.ends_on.isoformat(),
            f"{bid.starts_on.isoformat()} or later",
        )  # fmt: skip


def _set_rows(actor: Actor, bid: Bid, asked: BidFields, names: frozenset[str]) -> None:
    """Put the lists in place of those there were."""
    if "project_ids" in names:
        _set_projects(actor, bid, asked.project_ids)
    if "lines" in names:
        bid.lines.all().delete()
        BidLine.objects.bulk_create(_line(bid, number, line) for number, line in enumerate(asked.lines, start=1))
        Bid.objects.filter(pk=bid.pk).update(
            asked_pence=rules.asked_pence(line_facts(bid), vat_recovered=bid.vat_recovered)
        )
        bid.refresh_from_db(fields=["asked_pence"])
    if "stages" in names:
        bid.stages.all().delete()
        BidStage.objects.bulk_create(
            BidStage(
                bid=bid, number=number, name=stage.name, due_on=stage.due_on, amount_pence=pence(stage.amount_gbp),
                evidence=stage.evidence,
            )
            for number, stage in enumerate(asked.stages, start=1)
        )  # fmt: skip
    if "promises" in names:
        _set_promises(bid, asked)
    if "attachments" in names:
        _once("/attachments", "name", [paper.name for paper in asked.attachments])
        bid.attachments.all().delete()
        BidAttachment.objects.bulk_create(
            BidAttachment(bid=bid, name=paper.name, size_bytes=paper.size_bytes, checksum=paper.checksum)
            for paper in asked.attachments
        )
    if "proofs" in names:
        _once("/proofs", "what", [proof.what for proof in asked.proofs])
        # what somebody has seen stays seen as long as the group says it has it
        seen = {proof.what: proof for proof in bid.proofs.all() if proof.seen_on is not None}
        bid.proofs.all().delete()
        for proof in asked.proofs:
            was = seen.get(proof.what) if proof.has_it else None
            BidProof(
                bid=bid, what=proof.what, has_it=proof.has_it, seen_on=was.seen_on if was else None,
                seen_by=was.seen_by if was else None,
            ).save()  # fmt: skip


def _once(pointer: str, key: str, names: list[str]) -> None:
    for index, name in enumerate(names):
        if name in names[:index]:
            raise broken(f"{pointer}/{index}/{key}", "twice", f"{name} stands here twice.", name, "each once")


def _set_projects(actor: Actor, bid: Bid, ids: tuple[UUID, ...]) -> None:
    _once("/project_ids", "", [str(public_id) for public_id in ids])
    rows = MeadowProject.objects.filter(visible_projects(actor), group=bid.group_id, public_id__in=ids)
    known = {row.public_id: row for row in rows}
    for index, public_id in enumerate(ids):
        if public_id not in known:
            raise broken(
                f"/project_ids/{index}", "unknown", "The group has no project with this id.", str(public_id),
                "a project of the group",
            )  # fmt: skip
    bid.projects.all().delete()
    for public_id in ids:
        BidProject(bid=bid, project=known[public_id]).save()


def _set_promises(bid: Bid, asked: BidFields) -> None:
    named = {row.project.public_id: row.project for row in bid.projects.select_related("project")}
    rows = []
    for index, promise in enumerate(asked.promises):
        project = None if promise.project_id is None else named.get(promise.project_id)
        if promise.project_id is not None and project is None:
            raise broken(
                f"/promises/{index}/project_id", "unknown", "The bid is not for this project.",
                str(promise.project_id), "one of project_ids",
            )  # fmt: skip
        if promise.plant and promise.plant != ORCHIDS and taxon_row(promise.plant) is None:
            raise broken(
                f"/promises/{index}/plant", "unknown_plant", f"{promise.plant!r} is not a plant known here.",
                promise.plant, "a key of the plant list, or orchids",
            )  # fmt: skip
        rows.append(
            BidPromise(
                bid=bid, kind=promise.kind, project=project, plant=promise.plant, amount=promise.amount,
                by_year=promise.by_year,
            )
        )  # fmt: skip
    bid.promises.all().delete()
    BidPromise.objects.bulk_create(rows)


def _line(bid: Bid, number: int, line: Line) -> BidLine:
    """A line, reconciled: net is quantity times price to the penny, gross is net and VAT."""
    where = f"/lines/{number - 1}"
    quantity, price, vat = round(line.quantity * MILLI), pence(line.unit_price_gbp), pence(line.vat_gbp)
    if quantity < 1:
        raise broken(
            f"{where}/quantity", "out_of_range", "A quantity has three decimals.", line.quantity, "0.001 or more"
        )
    # half a penny is rounded up, as a till does
    net = (quantity * price + MILLI // 2) // MILLI
    if net + vat > MOST_PENCE:
        most = f"at most {MOST_PENCE // 100}"
        raise broken(f"{where}/unit_price_gbp", "out_of_range", "No line costs so much.", line.unit_price_gbp, most)
    if line.net_gbp is not None and pence(line.net_gbp) != net:
        raise broken(
            f"{where}/net_gbp", "not_reconciled",
            f"{line.quantity:g} at {line.unit_price_gbp:.2f} pounds make {net / 100:.2f}; read {line.net_gbp:.2f}.",
            line.net_gbp, f"{net / 100:.2f}",
        )  # fmt: skip
    if line.gross_gbp is not None and pence(line.gross_gbp) != net + vat:
        raise broken(
            f"{where}/gross_gbp", "not_reconciled",
            f"{net / 100:.2f} pounds and {vat / 100:.2f} VAT make {(net + vat) / 100:.2f}; read {line.gross_gbp:.2f}.",
            line.gross_gbp, f"{(net + vat) / 100:.2f}",
        )  # fmt: skip
    return BidLine(
        bid=bid, number=number, what=line.what, category=line.category, paid_by=line.paid_by, source=line.source,
        skill=line.skill or "", quantity_milli=quantity, unit=line.unit, unit_price_pence=price, net_pence=net,
        vat_pence=vat, gross_pence=net + vat,
    )  # fmt: skip


# ------------------------------------------------------------------ checked, withdrawn, seen


def bid_move(*, actor: Actor, public_id: UUID, to: str, if_version: int | None, now: datetime) -> Bid:
    """Note that a bid was looked over by its group, take it up again, or withdraw it. Nothing of it is lost."""
    act = "bid.withdraw" if to == BidState.WITHDRAWN else "bid.change"
    with transaction.atomic():
        bid = _held(actor, public_id, act, if_version)
        _may_follow(bid, to)
        if to == BidState.CHECKED:
            _demand_whole(bid, now)
        before = snapshot(bid)
        bid.state = to
        save_changed(bid, now)
        record(
            actor, now, f"bid_{to}", "bid", bid.public_id, network=bid.network_id, group=bid.group_id,
            before=before, after=snapshot(bid),
        )  # fmt: skip
    return bid


def _may_follow(bid: Bid, to: str) -> None:
    if to not in round_rules.BID_FOLLOWS[BidState(bid.state)]:
        raise WrongState(
            f"This bid is {bid.get_state_display().lower()}; it cannot be {BidState(to).label.lower()} now."
        )


def _demand_whole(bid: Bid, now: datetime) -> None:
    """Raise RuleBroken with all that keeps a bid from being handed in."""
    checks = rules.checklist(bid_facts(bid, timezone.localdate(now)))
    faults = [FieldError(check.pointer, check.code, check.text) for check in checks if check.blocks]
    if faults:
        raise RuleBroken("The bid cannot be handed in like this.", faults)


def proof_seen(*, actor: Actor, public_id: UUID, asked: ProofSeen, now: datetime) -> Bid:
    """Note the day on which somebody saw what a group said it can show."""
    with transaction.atomic():
        bid = found(Bid, bids_to_read(actor), public_id, "bid", hold=True, with_=_WITH)
        demand(actor, "bid.note_seen", network_id=bid.network_id)
        if asked.seen_on > timezone.localdate(now):
            raise broken(
                "/seen_on", "in_future", "This day is still to come.", asked.seen_on.isoformat(), "a day up to today"
            )
        proof = bid.proofs.filter(what=asked.what, has_it=True).first()
        if proof is None:
            raise broken(
                "/what", "not_said", "The group does not say that it has this.", asked.what, "one it says it has"
            )
        proof.seen_on, proof.seen_by_id = asked.seen_on, actor.user_id
        proof.save(update_fields=["seen_on", "seen_by"])
        touched(bid, now)
        record(
            actor, now, "proof_seen", "bid", bid.public_id, network=bid.network_id, group=bid.group_id,
            after={"what": asked.what, "seen_on": asked.seen_on.isoformat()},
        )  # fmt: skip
    return bid


# ------------------------------------------------------------------ handing in


def bid_submit(*, actor: Actor, public_id: UUID, if_version: int | None, now: datetime) -> BidSubmission:
    """Hand a bid in: its forecasts are stored, its text is frozen with a checksum, and that is the receipt.

    `now` is when the act arrived: working out forecasts takes a while, and nobody is late for that.

    Raises
    ------
    WrongState
        If the round is not open, with its times; the draft stays as it is.
    RuleBroken
        With everything that keeps it from being handed in.
    """
    bid = found(Bid, visible_bids(actor), public_id, "bid", with_=_WITH)
    demand(actor, "bid.submit", group_id=bid.group_id, network_id=bid.network_id)
    unchanged_since(bid, if_version)
    seen = bid.version
    _demand_open(bid.round, now)
    _may_follow(bid, BidState.SUBMITTED)
    _demand_whole(bid, now)
    forecasts = _forecasts(actor, bid, now)
    with transaction.atomic():
        round = GrantRound.objects.select_for_update().get(pk=bid.round_id)
        bid = _held(actor, public_id, "bid.submit", if_version)
        if bid.version != seen:
            raise Stale("Somebody changed the bid while it was being handed in; look at it again.")
        bid.round = round
        _demand_open(round, now)
        _may_follow(bid, BidState.SUBMITTED)
        _demand_whole(bid, now)
        if bid.number is None:
            GrantRound.objects.filter(pk=round.pk).update(bids_numbered=F("bids_numbered") + 1)
            bid.number = round.bids_numbered + 1
        submission = _freeze(actor, bid, forecasts, now)
        bid.current, bid.state = submission, BidState.SUBMITTED
        save_changed(bid, now)
        record(
            actor, now, "bid_submit", "bid", bid.public_id, network=bid.network_id, group=bid.group_id,
            after={"number": bid.number, "submission": submission.number, "checksum": submission.checksum},
        )  # fmt: skip
    return submission


def _demand_open(round: GrantRound, now: datetime) -> None:
    match round_rules.phase(round.state, round.opens_at, round.closes_at, now):
        case Phase.OPEN:
            return
        case Phase.DRAFT | Phase.COMING:
            raise WrongState(f"This round opens on {round_rules.said(round.opens_at)}. Your draft is kept.")
        case _:
            raise WrongState(
                f"This round closed on {round_rules.said(round.closes_at)}; your bid came on {round_rules.said(now)}. "
                "Your draft is kept."
            )


def _forecasts(actor: Actor, bid: Bid, now: datetime) -> dict[int, Forecast]:
    """Forecast of each project by its key, worked out and stored if need be; no transaction is open."""
    found_ones: dict[int, Forecast] = {}
    for index, row in enumerate(bid.projects.select_related("project")):
        try:
            found_ones[row.project_id] = forecast_create(actor=actor, project_id=row.project.public_id, now=now)
        except RequestRefused as error:
            raise broken(
                f"/project_ids/{index}", "plan_refused",
                f"{row.project}: {' '.join(fault.detail for fault in error.errors)}",
                str(row.project.public_id), "a plan that can be carried out",
            ) from error  # fmt: skip
    return found_ones


def _freeze(actor: Actor, bid: Bid, forecasts: dict[int, Forecast], now: datetime) -> BidSubmission:
    number = bid.submissions.count() + 1
    if number > MOST_SUBMISSIONS:
        raise broken("", "too_many", f"A bid is handed in at most {MOST_SUBMISSIONS} times.", None, "fewer")
    projects = []
    for row in bid.projects.select_related("project__site"):
        forecast = forecasts.get(row.project_id)
        latest = row.project.plans.order_by("-number").first()
        if forecast is None or latest is None or forecast.plan_id != latest.pk:
            raise Stale("A plan was changed while the bid was being handed in; look at it again.")
        row.plan, row.forecast = latest, forecast
        row.save(update_fields=["plan", "forecast"])
        projects.append(
            {
                "id": str(row.project.public_id), "name": row.project.name, "plan_number": latest.number,
                "plan": orjson.loads(latest.plan), "forecast_id": str(forecast.public_id),
                "run_id": str(forecast.run.public_id), "run_checksum": forecast.run.answer_checksum,
                **ground_facts(row.project.site),
            }
        )  # fmt: skip
    content = {
        "schema_version": 1,
        "bid_id": str(bid.public_id),
        "number": bid.number,
        "round_id": str(bid.round.public_id),
        "group_id": str(bid.group.public_id),
        "group": bid.group.name,
        "asked_gbp": bid.asked_pence / 100,
        "projects": projects,
        "record": group_record(bid.group_id, timezone.localdate(now)),
        **content_of(bid),
    }
    text = orjson.dumps(content, option=orjson.OPT_SORT_KEYS).decode()
    submission = BidSubmission(
        bid=bid, number=number, content=text, checksum=hashlib.sha256(text.encode()).hexdigest(),
        created_by_id=actor.user_id, created_at=now,
    )  # fmt: skip
    submission.full_clean(validate_unique=False, validate_constraints=False)
    submission.save()
    return submission


def may_be_decided(round: GrantRound) -> bool:
    """Whether bids of a round are before its panel, or were."""
    return round.state in {RoundState.PANEL, RoundState.SETTLED}
