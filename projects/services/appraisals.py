"""Bids on one scale, and what the pot could buy: jobs, worked out with no transaction open, and kept for good."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Final, Protocol
from uuid import UUID

import numpy as np
import orjson
from django.db import transaction

from modelling import portfolio
from modelling.answer_parts import THRESHOLDS
from modelling.arrays import canonical_text, checksum
from modelling.contracts.portfolio import PortfolioQuestion
from modelling.errors import RequestRefused
from modelling.reading import read_as
from modelling.release import RELEASE
from modelling.selectors import run_draws
from projects.choices import BidState
from projects.contracts.base import pence
from projects.contracts.rounds import ChoiceNew
from projects.errors import WrongState, broken
from projects.models import Award, Bid, BidProject, Decision, GrantRound, Job, RoundChoice
from projects.rules import rounds as rules
from projects.rules.access import Actor, demand, whole_rounds
from projects.rules.jobs import JobRefused
from projects.selectors.appraisals import exclusive_sets
from projects.selectors.bids import sites_of
from projects.selectors.reviews import raw_means
from projects.services.audit import record
from projects.services.base import found
from projects.services.decisions import LIVE
from projects.services.jobs import job_create

CHOICE: Final = "bid_choice"
#: kinds in a square metre from which ground counts as species-rich
RICH_FROM: Final = THRESHOLDS[-1]
_DM2_PER_HA: Final = 1_000_000
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
        question, runs = _question(round, asked)
        job = job_create(
            kind=CHOICE,
            payload={"round": str(round.public_id), "question": question, "runs": runs},
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


def _question(round: GrantRound, asked: ChoiceNew) -> tuple[dict[str, Any], dict[str, list[Any]]]:
    """The model's question about a round, and the stored runs of each bid with the hectares they are for."""
    bids = list(Bid.objects.filter(round=round, state__in=_READ).select_related("group__district").order_by("pk"))
    if not bids:
        raise WrongState("No bid was handed in.")
    ids = {bid.pk: str(bid.public_id) for bid in bids}
    pins = _pins(bids, asked)
    scores = raw_means(bids) if asked.objective == "score" else {}
    if asked.objective == "score" and (missing := [bid for bid in bids if bid.pk not in scores]):
        raise broken(
            "/objective", "missing", f"{len(missing)} of {len(bids)} bids have no scores yet.", "score",
            "scores of every bid, or another objective",
        )  # fmt: skip
    awarded = dict(Award.objects.filter(bid__in=bids, state__in=LIVE).values_list("bid_id", "amount_pence"))
    question = {
        "bids": [
            {
                "id": ids[bid.pk], "cost_pence": awarded.get(bid.pk, bid.asked_pence),
                "group": str(bid.group.public_id),
                "district": str(bid.group.district.public_id) if bid.group.district else "none",
                "score": scores.get(bid.pk), "pinned": pins.get(bid.pk),
            }
            for bid in bids
        ],
        "limits": {
            "pot_pence": round.pot_pence if asked.pot_gbp is None else pence(asked.pot_gbp),
            "per_group_pence": round.group_limit_pence,
            "per_district_pence": round.district_limit_pence,
            "exclusive": exclusive_sets(sites_of(bids), ids),
        },
        "objective": asked.objective,
    }  # fmt: skip
    read = read_as(PortfolioQuestion, question)
    return read.model_dump(mode="json"), _runs(bids, ids)


def _pins(bids: list[Bid], asked: ChoiceNew) -> dict[int, str]:
    """Bids held in or out: as asked, and as is decided already."""
    by_id = {bid.public_id: bid.pk for bid in bids}
    found_ones: dict[int, str] = {}
    for bid_id, kind in Decision.objects.filter(bid__in=bids, state="published").values_list("bid_id", "kind"):
        found_ones[bid_id] = "out" if kind in {"deferred", "refused"} else "in"
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


def _runs(bids: list[Bid], ids: dict[int, str]) -> dict[str, list[Any]]:
    rows = BidProject.objects.filter(bid__in=bids).select_related("project__site", "forecast__run").order_by("pk")
    runs: dict[str, list[Any]] = {public_id: [] for public_id in ids.values()}
    for row in rows.defer("forecast__run__answer", "forecast__run__kept_draws", "forecast__run__request"):
        site = row.project.site
        if row.forecast is not None:
            hectares = (site.net_area_dm2 or site.area_dm2) / _DM2_PER_HA
            runs[ids[row.bid_id]].append([str(row.forecast.run.public_id), hectares])
    return runs


def check_choice(payload: Any) -> int:
    """Return 1, the choice to be made; raises JobRefused for a payload that is none."""
    if not isinstance(payload, dict) or payload.keys() != {"round", "question", "runs"}:
        raise JobRefused("A choice of bids is a round, a question, and the runs of its bids.")
    try:
        read_as(PortfolioQuestion, payload["question"])
        UUID(str(payload["round"]))
    except (RequestRefused, ValueError) as error:
        raise JobRefused("The question about the bids cannot be read.") from error
    return 1


def choice(job: Job, lease: Hold) -> dict[str, Any]:
    """Work out and store what the pot could buy; asked again, the stored one.

    Returns
    -------
    dict
        `choice`: its public id.
    """
    round = GrantRound.objects.get(public_id=UUID(job.payload["round"]))
    text = orjson.dumps(
        {"question": job.payload["question"], "runs": job.payload["runs"]}, option=orjson.OPT_SORT_KEYS
    ).decode()
    recipe = {"round": round, "inputs_checksum": checksum(text), "release": RELEASE}
    there = RoundChoice.objects.filter(**recipe).first()
    if there is None:
        question = read_as(PortfolioQuestion, job.payload["question"])
        draws = {} if question.objective == "score" else {k: _draws(v) for k, v in job.payload["runs"].items()}
        answer = canonical_text(portfolio.choose(question, draws))
        there = _kept(job, RoundChoice(
            request=text, answer=answer, answer_checksum=checksum(answer), created_by_id=job.actor_id,
            created_at=job.created_at, **recipe,
        ))  # fmt: skip
    lease.progress(1)
    return {"choice": str(there.public_id)}


def _draws(runs: list[Any]) -> np.ndarray:
    """Species-rich hectares of a bid as groups usually manage, by world: (500,)."""
    rich = [
        np.where(run_draws(UUID(public_id))["species_per_m2_as_usual"] >= RICH_FROM, hectares, 0.0)
        for public_id, hectares in runs
    ]
    return np.sum(rich, axis=0)


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
