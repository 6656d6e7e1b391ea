"""Reads of grant rounds, who reads the bids, and what the pot could buy."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django.db.models import Q, QuerySet, Sum

from projects.choices import NetworkRole, RoundState
from projects.errors import NotFound
from projects.models import (
    Award,
    GrantRound,
    Interest,
    NetworkMembership,
    RoundAssessor,
    RoundChoice,
    User,
)
from projects.rules.access import Actor, demand, visible_rounds, whole_round_of, whole_rounds


def round_list(actor: Actor) -> QuerySet[GrantRound]:
    """Rounds the actor may see."""
    rows = GrantRound.objects.filter(visible_rounds(actor)).select_related("network", "district")
    return rows.prefetch_related("criteria", "rates")


def round_get(actor: Actor, public_id: UUID) -> GrantRound:
    """One round; raises NotFound."""
    row = round_list(actor).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no round {public_id}, or none that you may see.")
    return row


def is_assessor(actor: Actor, round: GrantRound) -> bool:
    """Whether the actor is appointed to read the bids of a round."""
    return RoundAssessor.objects.filter(round=round, user=actor.user_id, until__isnull=True).exists()


def assessors_of(actor: Actor, round: GrantRound) -> list[tuple[User, bool]]:
    """People who are or could be appointed to a round, and whether they are; raises NotAllowed."""
    demand(actor, "round.staff", network_id=round.network_id)
    appointed = set(round.assessors.filter(until__isnull=True).values_list("user_id", flat=True))
    able = NetworkMembership.objects.filter(network=round.network_id, role="assessor", until__isnull=True)
    people = User.objects.filter(pk__in=appointed | set(able.values_list("user_id", flat=True))).order_by("name", "pk")
    return [(person, person.pk in appointed) for person in people]


def interests_of(actor: Actor, round: GrantRound) -> QuerySet[Interest]:
    """Interests declared in a round: all of them for the fund manager, one's own for others; raises NotAllowed."""
    demand(actor, "interest.read", network_id=round.network_id)
    rows = Interest.objects.filter(round=round).select_related("user", "group").order_by("pk")
    if "fund_manager" in actor.networks.get(round.network_id, ()):
        return rows
    return rows.filter(user=actor.user_id)


@dataclass(frozen=True)
class Money:
    """Where the money of a round is, in pence."""

    pot_pence: int
    committed_pence: int
    free_pence: int
    paid_pence: int
    returned_pence: int
    #: of the round's rows; the same as committed_pence unless something is broken
    committed_by_rows_pence: int


def round_money(actor: Actor, public_id: UUID) -> Money:
    """Where the money of a round is; raises NotFound, also for those from whom one of its bids is hidden."""
    row = GrantRound.objects.filter(whole_rounds(actor), public_id=public_id).first()
    if row is None:
        raise NotFound(f"There are no sums of a round {public_id}, or none that you may see.")
    demand(actor, "money.read", network_id=row.network_id)
    return money_of(row)


def money_of(row: GrantRound) -> Money:
    """Where the money of a round is, by its running total and by its rows."""
    names = ("committed_pence", "paid_pence", "returned_pence")
    sums = Award.objects.filter(round=row).aggregate(**{name: Sum(name) for name in names})
    return Money(
        row.pot_pence, row.committed_pence, row.pot_pence - row.committed_pence, sums["paid_pence"] or 0,
        sums["returned_pence"] or 0, sums["committed_pence"] or 0,
    )  # fmt: skip


def pots_that_do_not_add_up() -> list[UUID]:
    """Rounds whose running total differs from the sum over their awards; empty unless something is broken."""
    rows = GrantRound.objects.annotate(by_rows=Sum("awards__committed_pence")).order_by("pk")
    return [row.public_id for row in rows if row.committed_pence != (row.by_rows or 0)]


def choice_list(actor: Actor) -> QuerySet[RoundChoice]:
    """What pots could buy, for those from whom no bid of the round is hidden; without the long texts.

    Assessors find it once the panel is open: it may rest on scores that they are not to know before.
    """
    scoring = set(actor.networks_as(NetworkRole.ASSESSOR)) - set(actor.networks_as(NetworkRole.FUND_MANAGER))
    blind = Q(round__network__in=scoring) & ~Q(round__state__in=[RoundState.PANEL, RoundState.SETTLED])
    rows = RoundChoice.objects.filter(whole_round_of(actor) & ~blind)
    return rows.defer("request", "answer").select_related("round")


def choices_of(actor: Actor, round: GrantRound) -> QuerySet[RoundChoice]:
    """What the pot of a round could buy, the latest first; raises NotAllowed."""
    demand(actor, "choice.read", network_id=round.network_id)
    return choice_list(actor).filter(round=round)


def choice_get(actor: Actor, public_id: UUID) -> RoundChoice:
    """One choice of bids; raises NotFound."""
    row = choice_list(actor).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no choice of bids {public_id}, or none that you may see.")
    return row
