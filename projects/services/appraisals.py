"""Bids on one scale, and what the pot could buy: jobs, worked out with no transaction open, and kept for good."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final, Protocol
from uuid import UUID

import orjson
from django.db import transaction

from modelling import appraisal, portfolio
from modelling.arrays import canonical_text, checksum
from modelling.contracts.portfolio import PortfolioQuestion
from modelling.errors import RequestRefused
from modelling.reading import read_as
from modelling.release import RELEASE
from projects.choices import BidState
from projects.contracts.base import pence
from projects.contracts.rounds import ChoiceNew
from projects.errors import WrongState, broken
from projects.models import Award, Bid, BidAppraisal, BidSubmission, Decision, GrantRound, Job, RoundChoice
from projects.rules import rounds as rules
from projects.rules.access import Actor, demand, whole_rounds
from projects.rules.bids import pounds
from projects.rules.jobs import JobRefused
from projects.selectors.appraisals import appraisal_question, exclusive_sets
from projects.selectors.bids import sites_of
from projects.selectors.reviews import raw_means
from projects.selectors.scarce import MG_PER_KG, Needs, needs_of
from projects.services.audit import record
from projects.services.base import found
from projects.services.jobs import job_create

CHOICE: Final = "bid_choice"
APPRAISALS: Final = "bid_appraisals"
#: letters of a key of the model
LONGEST_KEY: Final = 80
_READ: Final = (BidState.SUBMITTED, BidState.DECIDED)


class Hold(Protocol):
    """What the work asks of its worker's lease."""

    def progress(self, done: int) -> None:
        """Say how much is done."""

    def hand_back_when_time_is_up(self) -> None:
        """Stop here if the slice is over."""


# ------------------------------------------------------------------ what the pot could buy


def choice_ask(*, actor: Actor, round_id: UUID, asked: ChoiceNew, now: datetime) -> Job:
    """Ask what the pot of a closed round could buy; answers at once with the job, whose result names the choice.

    Bids that were awarded money are in with what they were awarded; those put off or refused are out.
    """
    with transaction.atomic():
        round = found(GrantRound, whole_rounds(actor), round_id, "round", with_=("network",))
        demand(actor, "round.choose", network_id=round.network_id)
        if rules.phase(round.state, round.opens_at, round.closes_at, now) in {
            rules.Phase.DRAFT, rules.Phase.COMING, rules.Phase.OPEN,
        }:  # fmt: skip
            raise WrongState(f"Bids come until {rules.said(round.closes_at)}; choose after that.")
        question, submissions, shares = _question(round, asked)
        job = job_create(
            kind=CHOICE,
            payload={"round": str(round.public_id), "question": question, "submissions": submissions, "shares": shares},
            actor_label="what the pot could buy",
            actor_id=actor.user_id,
            network=round.network,
            now=now,
        )
        record(
            actor, now, "choice_ask", "round", round.public_id, network=round.network_id,
            after={"bids": len(question["bids"]), "pot_pence": question["limits"]["pot_pence"]},
        )  # fmt: skip
    return job


def _question(round: GrantRound, asked: ChoiceNew) -> tuple[dict[str, Any], dict[str, str], dict[str, float]]:
    """The model's question about a round, what was handed in last of each bid, and the share of those in part."""
    bids = list(
        Bid.objects.filter(round=round, state__in=_READ).select_related("group__district", "current").order_by("pk")
    )
    if not bids:
        raise WrongState("No bid was handed in.")
    ids = {bid.pk: str(bid.public_id) for bid in bids}
    # what each award still takes from the pot: less what came back, and nothing where it was declined
    awarded = dict(Award.objects.filter(bid__in=bids, committed_pence__gt=0).values_list("bid_id", "committed_pence"))
    pins = _pins(bids, asked, awarded)
    scores = raw_means(bids) if asked.objective == "score" else {}
    if asked.objective == "score" and (missing := [bid for bid in bids if bid.pk not in scores]):
        raise broken(
            "/objective", "missing", f"{len(missing)} of {len(bids)} bids have no scores yet.", "score",
            "scores of every bid, or another objective",
        )  # fmt: skip
    parts = _parts(bids, asked, awarded)
    machine = asked.machine
    needs = needs_of(bids) if asked.seed or asked.machine else {}
    scarce = {row.item for row in asked.seed}
    question = {
        "bids": [
            {
                "id": ids[bid.pk], "cost_pence": (awarded | parts).get(bid.pk, bid.asked_pence),
                "group": str(bid.group.public_id),
                "district": _district(bid),
                "score": scores.get(bid.pk), "pinned": pins.get(bid.pk),
                "seed": [
                    {"item": item, "mg": mg}
                    for item, mg in sorted(needs.get(bid.pk, Needs()).seed_mg.items())
                    if item in scarce
                ],
                "harvester_half_days": needs.get(bid.pk, Needs()).half_days.get(machine.machine, 0) if machine else 0,
            }
            for bid in bids
        ],
        "limits": {
            "pot_pence": round.pot_pence if asked.pot_gbp is None else pence(asked.pot_gbp),
            "per_group_pence": _typed(asked.group_limit_gbp, round.group_limit_pence),
            "per_district_pence": _typed(asked.district_limit_gbp, round.district_limit_pence),
            "seed": [{"item": row.item, "mg": int(row.kg * MG_PER_KG)} for row in asked.seed],
            "harvester_half_days": machine.half_days if machine else None,
            "exclusive": exclusive_sets(sites_of(bids), ids),
        },
        "objective": asked.objective,
    }  # fmt: skip
    read = read_as(PortfolioQuestion, question)
    shares = {ids[bid.pk]: parts[bid.pk] / bid.asked_pence for bid in bids if bid.pk in parts}
    return read.model_dump(mode="json"), _submissions(bids), shares


def _district(bid: Bid) -> str:
    """A bid's district by its name, which sentences and letters use; by its id where the name is too long for a key."""
    district = bid.group.district
    if district is None:
        return "none"
    return district.name if len(district.name) <= LONGEST_KEY else str(district.public_id)


def _typed(gbp: float | None, otherwise: int | None) -> int | None:
    """A limit typed in, or the round's own."""
    return otherwise if gbp is None else pence(gbp)


def _parts(bids: list[Bid], asked: ChoiceNew, awarded: Mapping[int, int]) -> dict[int, int]:
    """Bids to be counted in part: bid -> pence."""
    by_id = {bid.public_id: bid for bid in bids}
    found_ones: dict[int, int] = {}
    for index, part in enumerate(asked.parts):
        bid, amount = by_id.get(part.bid_id), pence(part.amount_gbp)
        if bid is None:
            raise broken(
                f"/parts/{index}/bid_id", "unknown", "No such bid was handed in to this round.", str(part.bid_id),
                "a bid of the round",
            )  # fmt: skip
        if bid.pk in awarded:
            raise broken(
                f"/parts/{index}/bid_id", "contradiction", "Money was awarded to this bid; it counts with that.",
                str(part.bid_id), "a bid without an award",
            )  # fmt: skip
        if amount > bid.asked_pence:
            raise broken(
                f"/parts/{index}/amount_gbp", "out_of_range", f"It asks for {pounds(bid.asked_pence)}.",
                part.amount_gbp, f"at most {bid.asked_pence / 100:.2f}",
            )  # fmt: skip
        found_ones[bid.pk] = amount
    return found_ones


def _pins(bids: list[Bid], asked: ChoiceNew, awarded: Mapping[int, int]) -> dict[int, str]:
    """Bids held in or out: as asked, and as is decided already, in only where money is still bound by it."""
    by_id = {bid.public_id: bid.pk for bid in bids}
    found_ones: dict[int, str] = {}
    for bid_id in Decision.objects.filter(bid__in=bids, state="published").values_list("bid_id", flat=True):
        found_ones[bid_id] = "in" if bid_id in awarded else "out"
    for name, word in (("pins", "in"), ("exclusions", "out")):
        for index, public_id in enumerate(getattr(asked, name)):
            if public_id not in by_id:
                raise broken(
                    f"/{name}/{index}", "unknown", "No such bid was handed in to this round.", str(public_id),
                    "a bid of the round",
                )  # fmt: skip
            if found_ones.get(by_id[public_id], word) != word:
                raise broken(
                    f"/{name}/{index}", "contradiction", "This bid is held both in and out, or decided otherwise.",
                    str(public_id), "one of both",
                )  # fmt: skip
            found_ones[by_id[public_id]] = word
    return found_ones


def check_choice(payload: Any) -> int:
    """Return how much there is to do: each bid's appraisal, and the choice; raises JobRefused for another payload."""
    if not isinstance(payload, dict) or payload.keys() - {"shares"} != {"round", "question", "submissions"}:
        raise JobRefused("A choice of bids is a round, a question, and what was handed in.")
    try:
        question = read_as(PortfolioQuestion, payload["question"])
        UUID(str(payload["round"]))
    except (RequestRefused, ValueError) as error:
        raise JobRefused("The question about the bids cannot be read.") from error
    if set(payload["submissions"]) != {bid.id for bid in question.bids}:
        raise JobRefused("What was handed in does not fit the question.")
    return len(question.bids) + 1


def choice(job: Job, lease: Hold) -> dict[str, Any]:
    """Appraise the bids that are not yet, work out what the pot could buy, and store it; asked again, the stored one.

    Returns
    -------
    dict
        `choice`: its public id; `refused`: bids that cannot be appraised, which count as bringing nothing.
    """
    round = GrantRound.objects.get(public_id=UUID(job.payload["round"]))
    appraised, refused = _appraise_all(job, lease, job.payload["submissions"])
    checksums = {bid: row.answer_checksum for bid, row in appraised.items()}
    shares: dict[str, float] = job.payload.get("shares", {})
    asked = {"question": job.payload["question"], "appraisals": checksums, "shares": shares}
    text = orjson.dumps(asked, option=orjson.OPT_SORT_KEYS).decode()
    recipe: dict[str, Any] = {"round": round, "inputs_checksum": checksum(text), "release": RELEASE}
    there = RoundChoice.objects.filter(**recipe).first()
    if there is None:
        question = read_as(PortfolioQuestion, job.payload["question"])
        draws = {bid: orjson.loads(row.answer)["worlds"]["rich_ha_as_usual"] for bid, row in appraised.items()}
        worlds = max(map(len, draws.values()), default=1)
        draws |= {row["bid"]: [0.0] * worlds for row in refused}
        draws |= {bid: [share * draw for draw in draws[bid]] for bid, share in shares.items()}
        answer = canonical_text(portfolio.choose(question, {} if question.objective == "score" else draws))
        there = _kept(job, RoundChoice(
            request=text, answer=answer, answer_checksum=checksum(answer), created_by_id=job.actor_id,
            created_at=job.created_at, **recipe,
        ))  # fmt: skip
    lease.progress(len(job.payload["submissions"]) + 1)
    return {"choice": str(there.public_id), "refused": refused}


def _kept(job: Job, row: RoundChoice) -> RoundChoice:
    """The row, added with its entry in the audit; or the one a rival worker added since we looked."""
    with transaction.atomic():
        GrantRound.objects.select_for_update().get(pk=row.round_id)
        there = RoundChoice.objects.filter(
            round=row.round_id, inputs_checksum=row.inputs_checksum, release=row.release
        ).first()
        if there is not None:
            return there
        row.full_clean(validate_unique=False, validate_constraints=False)
        row.save()
        record(
            Actor(user_id=job.actor_id, via="task"), job.created_at, "choice_make", "round", row.round.public_id,
            network=row.round.network_id, after={"checksum": row.answer_checksum},
        )  # fmt: skip
    return row


# ------------------------------------------------------------------ one bid on one scale


def appraisals_ask(*, actor: Actor, round_id: UUID, now: datetime) -> Job:
    """Ask for an appraisal of every bid of a round as it was handed in; answers at once with the job."""
    with transaction.atomic():
        round = found(GrantRound, whole_rounds(actor), round_id, "round", with_=("network",))
        demand(actor, "appraisal.make", network_id=round.network_id)
        bids = list(Bid.objects.filter(round=round, state__in=_READ).select_related("current").order_by("pk"))
        if not bids:
            raise WrongState("No bid was handed in.")
        job = job_create(
            kind=APPRAISALS,
            payload={"round": str(round.public_id), "submissions": _submissions(bids)},
            actor_label="an appraisal of all bids",
            actor_id=actor.user_id,
            network=round.network,
            now=now,
        )
        record(
            actor, now, "appraisals_ask", "round", round.public_id, network=round.network_id, after={"bids": len(bids)}
        )
    return job


def _submissions(bids: list[Bid]) -> dict[str, str]:
    """What was handed in last, by the bid's public id."""
    return {str(bid.public_id): str(bid.current.public_id) for bid in bids if bid.current is not None}


def check_appraisals(payload: Any) -> int:
    """Return how many bids a payload names; raises JobRefused if it names none."""
    named = payload.get("submissions") if isinstance(payload, dict) else None
    if not isinstance(named, dict) or not named:
        raise JobRefused("Appraisals are of bids as they were handed in, by id.")
    try:
        for public_id in (*named, *named.values()):
            UUID(public_id)
    except (ValueError, TypeError, AttributeError) as error:
        raise JobRefused("Appraisals are of bids as they were handed in, by id.") from error
    return len(named)


def appraisals(job: Job, lease: Hold) -> dict[str, Any]:
    """Appraise each bid of the payload as it was handed in, skipping those done.

    Returns
    -------
    dict
        `made`: how many bids have their appraisal; `refused`: bid and reason of those that cannot have one.
    """
    made, refused = _appraise_all(job, lease, job.payload["submissions"])
    return {"made": len(made), "refused": refused}


def _appraise_all(
    job: Job, lease: Hold, submissions: dict[str, str]
) -> tuple[dict[str, BidAppraisal], list[dict[str, str]]]:
    """The appraisal of each bid by this release, worked out where it is not stored, and those that cannot have one."""
    newest = BidAppraisal.objects.order_by("-pk").values_list("pk", flat=True).first() or 0
    rows: dict[str, BidAppraisal] = {}
    refused: list[dict[str, str]] = []
    for done, (bid_id, public_id) in enumerate(sorted(submissions.items()), start=1):
        try:
            rows[bid_id] = _appraisal(job, BidSubmission.objects.get(public_id=UUID(public_id)))
        except RequestRefused as error:
            refused.append({"bid": bid_id, "detail": " ".join(fault.detail for fault in error.errors)})
        lease.progress(done)
        if bid_id in rows and rows[bid_id].pk > newest and done < len(submissions):
            # only after something new, so that each slice gets further than the last
            lease.hand_back_when_time_is_up()
    return rows, refused


def _appraisal(job: Job, submission: BidSubmission) -> BidAppraisal:
    question = appraisal_question(submission)
    recipe = {"submission": submission, "inputs_checksum": appraisal.question_checksum(question), "release": RELEASE}
    there = BidAppraisal.objects.filter(**recipe).first()
    if there is not None:
        return there
    answer = canonical_text(appraisal.appraise(question))
    row = BidAppraisal(
        request=canonical_text(question.model_dump(mode="json", exclude_none=True, exclude_defaults=True)),
        answer=answer, answer_checksum=checksum(answer), created_at=job.created_at, **recipe,
    )  # fmt: skip
    with transaction.atomic():
        bid = Bid.objects.select_for_update(of=("self",)).get(pk=submission.bid_id)
        there = BidAppraisal.objects.filter(**recipe).first()
        if there is not None:
            return there
        row.full_clean(validate_unique=False, validate_constraints=False)
        row.save()
        record(
            Actor(user_id=job.actor_id, via="task"), job.created_at, "bid_appraise", "bid", bid.public_id,
            network=bid.network_id, after={"submission": submission.number, "checksum": row.answer_checksum},
        )  # fmt: skip
    return row
