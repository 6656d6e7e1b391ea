"""Grant rounds: written, announced, read by assessors, brought before the panel."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Final
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from projects.choices import NetworkRole, RoundState
from projects.contracts.base import given, pence
from projects.contracts.rounds import Appointment, InterestNew, RoundChange, RoundFields, RoundMove, RoundNew
from projects.errors import WrongState, broken
from projects.models import (
    Criterion,
    District,
    GrantRound,
    Group,
    InKindRate,
    Interest,
    Network,
    NetworkMembership,
    RoundAssessor,
    User,
)
from projects.rules import rounds as rules
from projects.rules.access import Actor, demand, visible_rounds
from projects.services.audit import record, snapshot
from projects.services.base import found, person, save_changed, save_new, touched, unchanged_since

MOST_ROUNDS: Final = 200
MOST_ASSESSORS: Final = 50
_PENCE: Final = {
    "pot_gbp": "pot_pence",
    "group_limit_gbp": "group_limit_pence",
    "district_limit_gbp": "district_limit_pence",
}
_LISTS: Final = frozenset({"must_show", "categories"})
_ROWS: Final = frozenset({"rates", "criteria"})
_MAY_BE_NONE: Final = frozenset({"group_limit_gbp", "district_limit_gbp", "district_id"})


def round_create(*, actor: Actor, asked: RoundNew, now: datetime) -> GrantRound:
    """Begin to write a round."""
    with transaction.atomic():
        network = found(Network, Q(), asked.network_id, "network", hold=True)
        demand(actor, "round.create", network_id=network.pk)
        if GrantRound.objects.filter(network=network).count() >= MOST_ROUNDS:
            raise broken("", "too_many", f"A network can have {MOST_ROUNDS} rounds.", None, f"at most {MOST_ROUNDS}")
        row = GrantRound(network=network, created_at=now, updated_at=now)
        values = {name: getattr(asked, name) for name in type(asked).model_fields if name != "network_id"}
        _set(row, values)
        _check_times(row)
        save_new(row)
        _set_rows(row, asked, {"rates", "criteria"})
        record(actor, now, "round_create", "round", row.public_id, network=network.pk, after=snapshot(row))
    return row


def round_change(
    *, actor: Actor, public_id: UUID, asked: RoundChange, if_version: int | None, now: datetime
) -> GrantRound:
    """Change a round; once it is announced, only what takes nothing from those who are writing bids.

    Settled, it is not changed any more.
    """
    with transaction.atomic():
        row = _held(actor, public_id, "round.change", if_version)
        if row.state == RoundState.SETTLED:
            raise WrongState("The round is settled; it stays as those who bid for it and were answered knew it.")
        values = given(asked)
        for name, value in values.items():
            if name in rules.CHANGEABLE or row.state == RoundState.DRAFT:
                if value is None and name not in _MAY_BE_NONE:
                    raise broken(f"/{name}", "missing", f"{name} is needed.", None, "a value")
                continue
            allowed = ", ".join(sorted(rules.CHANGEABLE))
            raise WrongState(f"The round is announced: only {allowed} can still be changed; read: {name}.")
        before = snapshot(row)
        closes = row.closes_at
        _set(row, values)
        if row.state != RoundState.DRAFT and row.closes_at < closes:
            raise broken(
                "/closes_at", "out_of_range",
                f"Groups were told that it closes on {rules.said(closes)}; it can only close later.",
                row.closes_at.isoformat(), f"{closes.isoformat()} or later",
            )  # fmt: skip
        if row.state != RoundState.DRAFT and row.closes_at > closes <= now:
            raise WrongState(f"The round closed on {rules.said(closes)}; it is not opened again.")
        if row.pot_pence < row.committed_pence:
            raise broken(
                "/pot_gbp", "out_of_range",
                f"{row.committed_pence / 100:,.2f} pounds are committed already; the pot cannot be smaller.",
                row.pot_pence / 100, f"at least {row.committed_pence / 100:.2f}",
            )  # fmt: skip
        _check_times(row)
        save_changed(row, now)
        _set_rows(row, asked, _ROWS & asked.model_fields_set)
        record(
            actor, now, "round_change", "round", row.public_id, network=row.network_id,
            before=before, after=snapshot(row),
        )  # fmt: skip
    return row


def _set(row: GrantRound, values: dict[str, Any]) -> None:
    for name, value in values.items():
        if name in _PENCE:
            setattr(row, _PENCE[name], None if value is None else pence(value))
        elif name == "district_id":
            row.district = None if value is None else _district(row, value)
        elif name in _LISTS:
            setattr(row, name, list(dict.fromkeys(value)))
        elif name not in _ROWS:
            setattr(row, name, value)


def _district(row: GrantRound, public_id: UUID) -> District:
    return found(District, Q(network=row.network), public_id, "district")


def _check_times(row: GrantRound) -> None:
    if row.closes_at <= row.opens_at:
        raise broken(
            "/closes_at", "contradiction", "It closes before it opens.", row.closes_at.isoformat(), "after opens_at"
        )
    if row.starts_earliest_on < row.opens_at.date():
        raise broken(
            "/starts_earliest_on", "contradiction",
            "Work cannot start before the round opens: money is not given for what is done already.",
            row.starts_earliest_on.isoformat(), f"{row.opens_at.date().isoformat()} or later",
        )  # fmt: skip


def _set_rows(row: GrantRound, asked: RoundFields, names: set[str] | frozenset[str]) -> None:
    if "rates" in names:
        row.rates.all().delete()
        for index, rate in enumerate(asked.rates):
            if rate.until_day is not None and rate.until_day < rate.from_day:
                raise broken(
                    f"/rates/{index}/until_day", "contradiction", "It ends before it begins.",
                    rate.until_day.isoformat(), f"{rate.from_day.isoformat()} or later",
                )  # fmt: skip
            save_new(
                InKindRate(
                    round=row, skill=rate.skill, pence_per_hour=pence(rate.gbp_per_hour), from_day=rate.from_day,
                    until_day=rate.until_day,
                )
            )  # fmt: skip
    if "criteria" in names:
        row.criteria.all().delete()
        for position, criterion in enumerate(asked.criteria, start=1):
            save_new(
                Criterion(
                    round=row, position=position, name=criterion.name, about=criterion.about,
                    weight=criterion.weight, most=criterion.most,
                )
            )  # fmt: skip


def _held(actor: Actor, public_id: UUID, act: str, if_version: int | None) -> GrantRound:
    row = found(GrantRound, visible_rounds(actor), public_id, "round", hold=True)
    demand(actor, act, network_id=row.network_id)
    unchanged_since(row, if_version)
    return row


def round_move(*, actor: Actor, public_id: UUID, asked: RoundMove, if_version: int | None, now: datetime) -> GrantRound:
    """Announce a round, open its panel, or settle it."""
    with transaction.atomic():
        row = _held(actor, public_id, "round.panel", if_version)
        if asked.to not in rules.FOLLOWS[RoundState(row.state)]:
            raise WrongState(
                f"The round is {row.get_state_display().lower()}; "
                f"it cannot be {RoundState(asked.to).label.lower()} now."
            )
        if asked.to == RoundState.ANNOUNCED:
            if not row.criteria.exists():
                raise broken("/criteria", "missing", "Say what bids will be scored on.", None, "at least one criterion")
            if row.closes_at <= now:
                raise broken(
                    "/closes_at", "in_past", f"It would have closed on {rules.said(row.closes_at)} already.",
                    row.closes_at.isoformat(), "a moment still to come",
                )  # fmt: skip
        elif asked.to == RoundState.PANEL and now < row.closes_at:
            raise WrongState(f"The round is open until {rules.said(row.closes_at)}; the panel meets after that.")
        before = snapshot(row)
        row.state = asked.to
        save_changed(row, now)
        record(
            actor, now, f"round_{asked.to}", "round", row.public_id, network=row.network_id,
            before=before, after=snapshot(row),
        )  # fmt: skip
    return row


def assessor_appoint(*, actor: Actor, round_id: UUID, asked: Appointment, now: datetime) -> GrantRound:
    """Appoint somebody to read the bids of a round, or let them go; asked again, nothing changes."""
    with transaction.atomic():
        row = _held(actor, round_id, "round.appoint", None)
        able = NetworkMembership.objects.filter(
            network=row.network_id, user__public_id=asked.user_id, role=NetworkRole.ASSESSOR, until__isnull=True
        )
        user = User.objects.filter(public_id=asked.user_id).first()
        there = row.assessors.filter(user__public_id=asked.user_id, until__isnull=True).first()
        if user is None or (there is None and not able.exists()):
            raise broken(
                "/user_id", "unknown", "There is no assessor of this network with this id.", str(asked.user_id),
                "somebody who is an assessor of the network",
            )  # fmt: skip
        if asked.appointed == (there is not None):
            return row
        if there is None:
            if row.assessors.filter(until__isnull=True).count() >= MOST_ASSESSORS:
                raise broken(
                    "", "too_many", f"A round can have {MOST_ASSESSORS} assessors.", None, f"at most {MOST_ASSESSORS}"
                )
            save_new(RoundAssessor(round=row, user=user, since=now))
        else:
            there.until = now
            there.save(update_fields=["until"])
        touched(row, now)
        record(
            actor, now, "assessor_appoint", "round", row.public_id, network=row.network_id,
            after={"assessor_id": user.pk, "appointed": asked.appointed},
        )  # fmt: skip
    return row


def interest_declare(*, actor: Actor, round_id: UUID, asked: InterestNew, now: datetime) -> Interest:
    """Declare an interest in a group: its bids in the round do not exist for the actor from now on; it stays."""
    with transaction.atomic():
        row = found(GrantRound, visible_rounds(actor), round_id, "round")
        demand(actor, "interest.declare", network_id=row.network_id)
        group = found(Group, Q(network=row.network_id), asked.group_id, "group")
        user = User.objects.get(pk=person(actor))
        there = Interest.objects.filter(round=row, user=user, group=group).first()
        if there is not None:
            return there
        interest = save_new(Interest(round=row, user=user, group=group, reason=asked.reason, created_at=now))
        record(
            actor, now, "interest_declare", "round", row.public_id, network=row.network_id,
            after={"group": str(group.public_id)},
        )  # fmt: skip
    return interest
