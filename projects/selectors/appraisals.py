"""Reads for appraising bids and choosing a set of them: rows into the model's own words."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any, Final
from uuid import UUID

import orjson
from django.db.models import QuerySet
from django.utils import timezone

from modelling.arrays import checksum
from modelling.contracts import LAST_DAY
from modelling.contracts.appraisal import MOST_FACTS, AppraisalQuestion
from modelling.models import ModelRun
from modelling.reading import read_as
from modelling.selectors import StoredTextDamaged
from projects.errors import NotFound
from projects.models import Bid, BidAppraisal, BidSubmission, GrantRound, RoundChoice
from projects.rules.access import Actor, whole_round_of
from projects.rules.bids import pounds
from projects.rules.decisions import feedback

#: flags that a group is told of, the first of them
MOST_TOLD: Final = 6
PENCE: Final = 100
PERCENT: Final = 100
M2_PER_HA: Final = 10_000


def latest_appraisals(bids: Iterable[Bid]) -> dict[int, BidAppraisal]:
    """The latest appraisal of each bid as it was handed in last: bid -> appraisal."""
    named = {bid.current_id: bid.pk for bid in bids if bid.current_id is not None}
    rows = BidAppraisal.objects.filter(submission__in=list(named)).order_by("pk")
    return {named[row.submission_id]: row for row in rows}


def appraisal_text(row: BidAppraisal) -> str:
    """The stored text of an appraisal; raises StoredTextDamaged."""
    return _whole(row.answer, row.answer_checksum, f"appraisal {row.public_id}")


def choice_text(row: RoundChoice) -> str:
    """The stored text of a choice of bids; raises StoredTextDamaged."""
    return _whole(row.answer, row.answer_checksum, f"choice of bids {row.public_id}")


def _whole(text: str, stored: str, what: str) -> str:
    if checksum(text) != stored:
        raise StoredTextDamaged(f"The text of {what} no longer has its checksum {stored}. Restore it from a backup.")
    return text


def feedback_for(actor: Actor, bid: Bid, choice_id: UUID | None) -> list[str]:
    """What would have helped a bid, in plain words: of what the pot could buy, and of the bid's own appraisal.

    Raises
    ------
    NotFound
        If a choice is named that is none of the round's, or that the actor may not see.
    """
    choices = RoundChoice.objects.filter(whole_round_of(actor), round=bid.round_id)
    choice = choices.first() if choice_id is None else choices.filter(public_id=choice_id).first()
    if choice_id is not None and choice is None:
        raise NotFound(f"There is no choice of bids {choice_id}, or none that you may see.")
    sentences = [] if choice is None else not_chosen(orjson.loads(choice.answer), str(bid.public_id))
    appraisal = latest_appraisals([bid]).get(bid.pk)
    flags = [] if appraisal is None else orjson.loads(appraisal.answer).get("flags", [])
    answerable = [flag for flag in flags if flag.get("can_answer")]
    told = [str(flag["sentence"]) for flag in (answerable or flags)[:MOST_TOLD]]
    return feedback(pounds(bid.asked_pence), sentences, told)


def appraisal_question(submission: BidSubmission) -> AppraisalQuestion:
    """A bid as it was handed in, as the model appraises it: from its frozen text, its stored runs and its round.

    Raises
    ------
    RequestRefused
        If what was handed in cannot be appraised.
    """
    content = orjson.loads(submission.content)
    bid = Bid.objects.select_related("round").get(pk=submission.bid_id)
    runs = {str(row.public_id): row.request for row in _runs_of(content)}
    starts, ends = date.fromisoformat(content["starts_on"]), date.fromisoformat(content["ends_on"])
    projects = content["projects"]
    question = {
        "as_of": timezone.localdate(submission.created_at).isoformat(),
        "projects": [
            {"key": row["id"], "label": row["name"], "estimate": orjson.loads(runs[row["run_id"]])} for row in projects
        ],
        "lines": [_line(line) for line in content["lines"]],
        "promises": [_promise(promise) for promise in content["promises"]],
        "aftercare_years": content["aftercare_years"],
        "reclaims_vat": content["vat_recovered"],
        "round": _round(bid.round, starts, ends),
        "permissions": [
            part | {"project": row["id"]} for row in projects for part in row["permissions"]
        ][:MOST_FACTS],
        "other_funding": [
            part
            | {
                "project": row["id"], "kind": "other",
                "from_day": part["from_day"] or min(starts.isoformat(), part["until_day"] or ends.isoformat()),
                "until_day": part["until_day"] or max(ends.isoformat(), part["from_day"] or ""),
            }
            for row in projects
            for part in row["other_funding"]
        ][:MOST_FACTS],
        "record": content["record"],
    }  # fmt: skip
    return read_as(AppraisalQuestion, question)


def _runs_of(content: dict[str, Any]) -> QuerySet[ModelRun]:
    named = [UUID(row["run_id"]) for row in content["projects"]]
    return ModelRun.objects.filter(public_id__in=named).only("public_id", "request")


def _line(line: dict[str, Any]) -> dict[str, Any]:
    return {
        "label": line["what"], "category": line["category"], "fund": line["paid_by"], "quantity": line["quantity"],
        "unit": line["unit"], "skill": line["skill"],
        **{f"{name}_pence": round(line[f"{name}_gbp"] * PENCE) for name in ("net", "vat", "gross")},
    }  # fmt: skip


def _promise(promise: dict[str, Any]) -> dict[str, Any]:
    kind, amount, year = promise["kind"], promise["amount"], promise["by_year"]
    match kind:
        case "species_per_m2":
            return {"kind": kind, "project": promise["project_id"], kind: float(amount), "by_year": year}
        case "plant":
            return {"kind": kind, "project": promise["project_id"], "plant": promise["plant"], "by_year": year}
        case "area_m2":
            return {"kind": "hectares", "hectares": amount / M2_PER_HA, "by_year": year}
        case "volunteer_hours":
            return {"kind": kind, "hours": float(amount)}
    return {"kind": kind, "people": amount}


def _round(round: GrantRound, starts: date, ends: date) -> dict[str, Any]:
    """What the round asks, for the time of the bid itself."""
    rates: dict[str, int] = {}
    for rate in round.rates.order_by("from_day"):
        if rate.from_day <= starts and (rate.until_day is None or starts <= rate.until_day):
            rates[rate.skill] = rate.pence_per_hour
    return {
        "money_from": round.starts_earliest_on.isoformat(),
        "earliest_start": round.starts_earliest_on.isoformat(),
        "latest_end": max(ends, round.starts_earliest_on).isoformat(),
        "report_on": [min(ends + timedelta(days=round.report_days), LAST_DAY).isoformat()],
        "least_aftercare_years": round.aftercare_years_least,
        "in_kind_rates": [{"skill": skill, "pence_per_hour": rate} for skill, rate in sorted(rates.items())],
        "most_volunteer_share_of_match": round.volunteer_match_percent / PERCENT,
    }


def not_chosen(answer: dict[str, Any], public_id: str) -> list[str]:
    """What an answer says of a bid that is not in the best set."""
    return [str(row["sentence"]) for row in answer.get("not_chosen", ()) if row["id"] == public_id]


def exclusive_sets(sites: dict[int, set[int]], ids: dict[int, str]) -> list[tuple[str, ...]]:
    """Sets of bids for the same ground, by public id: of each at most one can be funded."""
    by_site: dict[int, list[str]] = defaultdict(list)
    for bid, ground in sites.items():
        for site in ground:
            by_site[site].append(ids[bid])
    found = {tuple(sorted(members)) for members in by_site.values() if len(members) > 1}
    return sorted(found)
