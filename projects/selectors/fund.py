"""Reads for whoever gives money: their rounds, the bids before them, the work in hand, and money over all rounds."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final
from uuid import UUID

import orjson
from django.db.models import Prefetch, Q, QuerySet

from modelling.appraisal import within_size_class
from modelling.contracts.appraisal_answers import APPRAISAL_SCHEMA_VERSION
from modelling.selectors import run_answer_text
from projects.choices import AwardState, BidState, LineCategory, NetworkRole, PaidBy, PaymentState
from projects.models import (
    Award,
    Bid,
    BidAppraisal,
    BidLine,
    ChangeRequest,
    GrantRound,
    Group,
    Job,
    Network,
    PaymentRequest,
    Review,
    RoundAssessor,
)
from projects.rules.access import Actor, bids_to_read, demand, whole_rounds
from projects.selectors.appraisals import appraisal_text, latest_appraisals
from projects.selectors.bids import PARTS, bid_to_read
from projects.selectors.decisions import award_list

#: kinds of job about a whole round
CHOICE: Final = "bid_choice"
APPRAISALS: Final = "bid_appraisals"
_READ: Final = (BidState.SUBMITTED, BidState.DECIDED)
PENCE: Final = 100


def rounds_of_staff(actor: Actor) -> list[GrantRound]:
    """Rounds that the actor manages, coordinates the county of, or is appointed to read for; the latest first."""
    if actor.user_id is None:
        return []
    appointed = RoundAssessor.objects.filter(user=actor.user_id, until__isnull=True).values("round")
    assessing = Q(network__in=actor.networks_as(NetworkRole.ASSESSOR), pk__in=appointed) & ~Q(state="draft")
    managing = [*actor.networks_as(NetworkRole.FUND_MANAGER), *actor.networks_as(NetworkRole.COORDINATOR)]
    rows = GrantRound.objects.filter(Q(network__in=managing) | assessing).select_related("network", "district")
    return list(rows.order_by("-closes_at", "-pk"))


def sums_are_shown(actor: Actor, round: GrantRound) -> bool:
    """Whether all bids of a round exist for the actor, so that its sums may be shown."""
    return GrantRound.objects.filter(whole_rounds(actor), pk=round.pk).exists()


def bids_before(actor: Actor, round: GrantRound) -> QuerySet[Bid]:
    """Bids of a round that the actor is to read, by number, each with the actor's own review in `own`."""
    own = Prefetch("reviews", Review.objects.filter(assessor=actor.user_id), to_attr="own")
    rows = Bid.objects.filter(bids_to_read(actor), round=round, state__in=_READ).select_related("group", "round")
    return rows.prefetch_related(own, Prefetch("lines", BidLine.objects.order_by("number"))).order_by("number", "pk")


def bid_whole(actor: Actor, public_id: UUID) -> Bid:
    """One bid with its parts for those who read bids; raises NotFound."""
    bid = bid_to_read(actor, public_id)
    rows = Bid.objects.filter(pk=bid.pk).select_related("round", "group", "network", "current")
    return rows.prefetch_related(*PARTS).get()


def groups_to_be_near(actor: Actor, round: GrantRound) -> QuerySet[Group]:
    """Groups of the county, for declaring an interest; raises NotAllowed."""
    demand(actor, "interest.declare", network_id=round.network_id)
    return Group.objects.filter(network=round.network_id).order_by("name", "pk")


def forecasts_of_bid(actor: Actor, bid: Bid) -> list[tuple[str, dict[str, Any]]]:
    """The stored forecast each project of a bid was handed in with: its name, and the answer; raises NotFound."""
    bid_to_read(actor, bid.public_id)
    content = orjson.loads(bid.current.content) if bid.current is not None else {}
    named = [(row["name"], UUID(row["run_id"])) for row in content.get("projects", [])]
    return [(name, orjson.loads(run_answer_text(run))) for name, run in named]


def handed_in_with(bid: Bid) -> dict[str, Any]:
    """What a bid said of the group's record when it was handed in."""
    content = orjson.loads(bid.current.content) if bid.current is not None else {}
    record: dict[str, Any] = content.get("record", {})
    return record


# ------------------------------------------------------------------ on one scale


def read_appraisal(row: BidAppraisal | None) -> dict[str, Any] | None:
    """An appraisal as pages show it; None where there is none, or one of another shape."""
    if row is None:
        return None
    answer: dict[str, Any] = orjson.loads(appraisal_text(row))
    shaped = answer.get("recipe", {}).get("schema_version") == APPRAISAL_SCHEMA_VERSION
    return answer if shaped else None


def places_in_size_class(actor: Actor, round: GrantRound) -> dict[int, dict[str, Any]]:
    """Where each bid of a round that the actor reads stands by the hectare within its size class: bid -> place."""
    demand(actor, "appraisal.read", network_id=round.network_id)
    bids = list(Bid.objects.filter(bids_to_read(actor), round=round, state__in=_READ))
    read = {pk: read_appraisal(row) for pk, row in latest_appraisals(bids).items()}
    known = {pk: answer for pk, answer in read.items() if answer is not None}
    return dict(zip(known, within_size_class(list(known.values())), strict=True))


# ------------------------------------------------------------------ work in hand


def latest_job(actor: Actor, round: GrantRound, kind: str) -> Job | None:
    """The job of a kind that was last asked for about a round, for those who may see its sums."""
    if not sums_are_shown(actor, round):
        return None
    rows = Job.objects.filter(kind=kind, network=round.network_id, payload__round=str(round.public_id))
    return rows.defer("payload").order_by("-created_at", "-pk").first()


# ------------------------------------------------------------------ money


@dataclass(frozen=True)
class Waiting:
    """What waits for the fund manager in a round."""

    payments: list[PaymentRequest]
    changes: list[ChangeRequest]
    reports: list[Award]
    awards: list[Award]


def waiting_in_round(actor: Actor, round: GrantRound) -> Waiting:
    """Payments and changes to settle, reports to look at, and all awards of bids that the actor is to read."""
    demand(actor, "award.read", network_id=round.network_id)
    readable = Bid.objects.filter(bids_to_read(actor), round=round).values("pk")
    awards = list(award_list(actor).filter(round=round, bid__in=readable).order_by("bid__number", "pk"))
    payments = [row for award in awards for row in award.payments.all() if row.state == PaymentState.ASKED]
    changes = [row for award in awards for row in award.changes.all() if row.state == "asked"]
    reports = [award for award in awards if award.reported_at is not None and award.state == AwardState.ACCEPTED]
    return Waiting(payments, changes, reports, awards)


@dataclass
class MoneyLine:
    """Money of one kind of line over all rounds of a funder, in pence."""

    label: str
    awarded_pence: int = 0
    #: mean of the model for the same kind of line; None where it has no figure for any of the bids
    modelled_pence: int | None = None
    paid_pence: int = 0


@dataclass
class FunderMoney:
    """Where a funder's money is."""

    funder: str
    #: rounds whose sums the actor may see, and how many others there are
    rounds: list[GrantRound] = field(default_factory=list)
    left_out: int = 0
    lines: list[MoneyLine] = field(default_factory=list)
    paid_pence: int = 0
    returned_pence: int = 0
    #: awarded, and neither paid nor free again
    outstanding_pence: int = 0


def funders_of(actor: Actor, network: Network) -> list[str]:
    """Names of the funders with rounds in a network; raises NotAllowed."""
    demand(actor, "money.read", network_id=network.pk)
    rows = GrantRound.objects.filter(network=network).exclude(state="draft").order_by("funder")
    return list(dict.fromkeys(rows.values_list("funder", flat=True)))


def money_of_funder(actor: Actor, network: Network, funder: str) -> FunderMoney:
    """What a funder's rounds awarded, what the model has for it, and what was paid, by kind of line.

    Payments are made by stage: each is divided over the lines the round pays for, by what they ask for.
    """
    demand(actor, "money.read", network_id=network.pk)
    every = GrantRound.objects.filter(network=network, funder=funder).exclude(state="draft")
    rounds = list(every.filter(whole_rounds(actor)).order_by("opens_at", "pk"))
    found = FunderMoney(funder, rounds, every.count() - len(rounds))
    awards = list(
        Award.objects.filter(round__in=rounds)
        .exclude(state__in=[AwardState.DECLINED])
        .select_related("bid")
        .prefetch_related(Prefetch("bid__lines", BidLine.objects.order_by("number")))
        .order_by("pk")
    )
    lines: dict[str, MoneyLine] = {category.value: MoneyLine(str(category.label)) for category in LineCategory}
    modelled = _modelled([award.bid for award in awards])
    for award in awards:
        kept = award.paid_pence - award.returned_pence
        found.paid_pence += award.paid_pence
        found.returned_pence += award.returned_pence
        found.outstanding_pence += award.committed_pence - kept
        asked = _asked_by_category(award.bid)
        for category, amount in divided(award.committed_pence, asked).items():
            lines[category].awarded_pence += amount
        for category, amount in divided(kept, asked).items():
            lines[category].paid_pence += amount
        for category, amount in modelled.get(award.bid_id, {}).items():
            if category in asked:
                lines[category].modelled_pence = (lines[category].modelled_pence or 0) + amount
    found.lines = [line for line in lines.values() if line.awarded_pence or line.paid_pence]
    return found


def _asked_by_category(bid: Bid) -> dict[str, int]:
    asked: dict[str, int] = defaultdict(int)
    for line in bid.lines.all():
        if line.paid_by == PaidBy.GRANT:
            asked[line.category] += line.net_pence if bid.vat_recovered else line.gross_pence
    return {category: pence for category, pence in asked.items() if pence}


def _modelled(bids: Iterable[Bid]) -> dict[int, dict[str, int]]:
    """Mean cash with VAT that the model has for the work of each bid: bid -> kind of line -> pence."""
    out: dict[int, dict[str, int]] = {}
    for pk, row in latest_appraisals(bids).items():
        answer = read_appraisal(row)
        if answer is not None:
            out[pk] = {
                line["category"]: round(line["modelled_gross"]["mean_gbp"] * PENCE)
                for line in answer["cost"]["lines"]
                if line["kind"] == "cash"
            }
    return out


def divided(total: int, weights: Mapping[str, int]) -> dict[str, int]:
    """A sum of whole pence by weights, the largest remainders rounded up, so that the parts add up to it."""
    whole = sum(weights.values())
    if not whole:
        return {}
    parts = {key: total * weight // whole for key, weight in weights.items()}
    rests: Sequence[str] = sorted(weights, key=lambda key: (-(total * weights[key] % whole), key))
    for key in rests[: total - sum(parts.values())]:
        parts[key] += 1
    return parts
