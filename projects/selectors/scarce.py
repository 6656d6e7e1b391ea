"""What bids draw of seed and machines that do not reach for everybody, by the forecasts handed in with them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from math import ceil
from typing import Any, Final
from uuid import UUID

import orjson

from modelling.selectors import run_answer_texts
from projects.models import Bid

MG_PER_KG: Final = 1_000_000
#: stage of the work in which machines are lent
SETUP: Final = "setup"


@dataclass
class Needs:
    """Milligrams of seed by the item's key, and half-days by the machine's key."""

    seed_mg: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    half_days: dict[str, int] = field(default_factory=lambda: defaultdict(int))


def needs_of(bids: Iterable[Bid]) -> dict[int, Needs]:
    """What each bid would draw, all its projects together: bid -> needs."""
    found: dict[int, Needs] = {}
    for pk, answers in _forecasts(bids).items():
        found[pk] = Needs()
        for answer in answers:
            _add(found[pk], answer)
    return found


def labels_of(bids: Iterable[Bid]) -> tuple[dict[str, str], dict[str, str]]:
    """Seed items and machines that bids name, by key, for choosing among them: key -> label."""
    seed: dict[str, str] = {}
    machines: dict[str, str] = {}
    for answers in _forecasts(bids).values():
        for answer in answers:
            seed |= {item["key"]: item["label"] for item in answer["seed"]["items"]}
            machines |= {line["machine"]: line["label"] for line in answer["machinery"]["lines"]}
    return seed, machines


def _forecasts(bids: Iterable[Bid]) -> dict[int, list[dict[str, Any]]]:
    """The stored forecasts that each bid was handed in with, one query for all: bid -> answers."""
    runs: dict[int, list[UUID]] = {}
    for bid in bids:
        content = orjson.loads(bid.current.content) if bid.current is not None else {}
        runs[bid.pk] = [UUID(row["run_id"]) for row in content.get("projects", [])]
    texts = run_answer_texts({run for named in runs.values() for run in named})
    return {pk: [orjson.loads(texts[run]) for run in named if run in texts] for pk, named in runs.items()}


def _add(needs: Needs, answer: Mapping[str, Any]) -> None:
    for item in answer["seed"]["items"]:
        needs.seed_mg[item["key"]] += round(item["kg"] * MG_PER_KG)
    hours: dict[str, float] = defaultdict(float)
    for line in answer["machinery"]["lines"]:
        if line["stage"] == SETUP:
            hours[line["machine"]] += line["hours"]["mean"]
    session = answer["labour"]["hours_per_session"]
    for machine, taken in hours.items():
        needs.half_days[machine] += ceil(taken / session)
