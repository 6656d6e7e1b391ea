"""The panel's view in words: scores and their spread, and what the pot could buy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Any

from django.utils.safestring import SafeString

from modelling.portfolio import HECTARES, amount
from projects.choices import DecisionKind
from projects.dashboard import charts, words
from projects.dashboard.pages.estimate import axis_pounds
from projects.models import Bid, Job
from projects.rules.bids import pounds
from projects.selectors.appraisals import M2_PER_HA
from projects.selectors.reviews import Panel, PanelRow

Answer = Mapping[str, Any]
PENCE = 100
#: of 100: an assessor nearer to the others than this is not called harsh or mild
SAID_FROM = 1.0
#: hectares below which a frontier is drawn in square metres
LEAST_HA = 0.1


class PanelPage:
    """The scores of a round."""

    def __init__(self, panel: Panel) -> None:
        self.panel = panel

    @property
    def sentence(self) -> str:
        scored = [row for row in self.panel.rows if row.raw_mean is not None]
        if not scored:
            return "Nobody has sent scores yet."
        most = max(row.raw_mean or 0.0 for row in scored)
        best = [row for row in scored if score(row.raw_mean) == score(most)]
        first = f"number {best[0].bid.number}, {best[0].bid.title},"
        if len(best) > 1:
            first = f"numbers {words.listed(row.bid.number for row in best)}"
        return (
            f"{words.opened(words.counted(len(scored)))} of {words.counted(len(self.panel.rows))} "
            f"{words.plural(len(self.panel.rows), 'bid')} {words.plural(len(scored), 'has', 'have')} scores; highest "
            f"{words.plural(len(best), 'stands', 'stand')} {first} with {score(most)} of 100."
        )

    @cached_property
    def chart(self) -> SafeString:
        """Lowest to highest score of each bid, with its mean."""
        rows = [
            charts.Bar(
                f"{row.bid.number}. {row.bid.title}", row.lowest or 0.0, row.raw_mean, row.highest or 0.0,
                score(row.raw_mean),
            )
            for row in self.panel.rows
            if row.raw_mean is not None
        ]  # fmt: skip
        if not rows:
            return SafeString("")
        return charts.bars("scores", "Scores of each bid", rows, axis="Points of 100; the stroke is the mean")

    @property
    def rows(self) -> list[dict[str, Any]]:
        return [self._row(row) for row in self.panel.rows]

    @staticmethod
    def _row(row: PanelRow) -> dict[str, Any]:
        spread = ""
        if row.reviews > 1:
            spread = words.between(score(row.lowest), score(row.highest))
        error = "" if row.standard_error is None else f" ± {words.figure(row.standard_error)}"
        return {
            "bid": row.bid,
            "asked": pounds(row.bid.asked_pence),
            "reviews": row.reviews,
            "mean": score(row.raw_mean),
            "spread": spread or "–",
            "calibrated": "–" if row.calibrated is None else f"{score(row.calibrated)}{error}",
            "above": "" if row.clearly_above is None else f"clearly above number {row.clearly_above.number}",
            "flags": "not appraised" if row.flags is None else words.counted(row.flags),
            "decision": "open" if row.decision is None else str(DecisionKind(row.decision.kind).label).lower(),
        }

    @property
    def habits(self) -> list[str]:
        """How each assessor marks beside the others."""
        found = []
        for user, effect in self.panel.assessors:
            if abs(effect) < SAID_FROM:
                found.append(f"{user} marks like the others.")
            else:
                habit = "milder" if effect > 0 else "harsher"
                found.append(
                    f"{user} marks {habit} than the others, by about {words.figure(abs(effect))} points of 100."
                )
        return found


def score(value: float | None) -> str:
    """A score of 100 to one decimal."""
    return "–" if value is None else f"{value:.1f}".removesuffix(".0")


class JobWords:
    """Work that is done after the answer, and how far it is."""

    def __init__(self, job: Job, label: str) -> None:
        self.job, self.label = job, label

    @property
    def running(self) -> bool:
        return self.job.state in {Job.State.WAITING, Job.State.RUNNING}

    @property
    def failed(self) -> bool:
        return self.job.state == Job.State.FAILED

    @property
    def sentence(self) -> str:
        done, total = self.job.progress_done, self.job.progress_total
        match self.job.state:
            case Job.State.WAITING:
                return f"{self.label} is waiting to be worked out."
            case Job.State.RUNNING:
                return f"{self.label} is being worked out: {done:,} of {total:,} steps done."
            case Job.State.FAILED:
                return f"{self.label} could not be worked out. Nothing was changed; it can be asked for again."
        return f"{self.label} is there."


class ChoicePage:
    """What the pot could buy, told."""

    def __init__(self, answer: Answer, question: Answer, bids: Mapping[str, Bid]) -> None:
        self.answer, self.question, self.bids = answer, question, bids
        self.costs = {row["id"]: row["cost_pence"] for row in question.get("bids", ())}
        self.chances = {row["id"]: row["in_best"] for row in answer.get("chances", ())}

    def named(self, bid_id: str) -> str:
        """A bid by number and title."""
        bid = self.bids.get(bid_id)
        return f"number {bid.number}, {bid.title}" if bid is not None else "a bid that is no longer there"

    def _listed(self, ids: Sequence[str]) -> str:
        return words.listed(self.named(bid) for bid in ids)

    @property
    def sentence(self) -> str:
        return str(self.answer["sentence"])

    @property
    def proof(self) -> str:
        solved = self.answer["solved"]
        if solved is None:
            return ""
        if solved["status"] == "proven_best":
            return f"Proven: no other set is better (gap 0; {solved['solver']})."
        gap = words.figure(solved["gap"] * 100)
        return (
            f"Not proven: the search was ended; a better set could bring up to {gap}{words.NARROW_SPACE}% more "
            f"({solved['solver']})."
        )

    @property
    def unit(self) -> str:
        return str(self.answer["unit"])

    @property
    def rows(self) -> list[dict[str, Any]]:
        """Every bid: in the best set or not, its sum, its chance, and why not."""
        best = set(self.answer["best"]["ids"]) if self.answer["best"] is not None else set()
        why = {row["id"]: row["sentence"] for row in self.answer["not_chosen"]}
        pins = {row["id"]: row for row in self.answer["pins"]}
        rows = [
            {
                "id": bid_id,
                "bid": self.bids.get(bid_id),
                "name": words.opened(self.named(bid_id)),
                "inside": bid_id in best,
                "cost": pounds(cost),
                "chance": words.odds(self.chances[bid_id]) if bid_id in self.chances else "",
                "why": " ".join(filter(None, [self._pin(pins.get(bid_id)), why.get(bid_id, "")]))
                or "Not held in or out.",
            }
            for bid_id, cost in self.costs.items()
        ]
        numbers = {bid_id: bid.number or 0 for bid_id, bid in self.bids.items()}
        return sorted(rows, key=lambda row: (not row["inside"], numbers.get(str(row["id"]), 0)))

    def _pin(self, pin: Answer | None) -> str:
        if pin is None:
            return ""
        held = f"Held {pin['pinned']}"
        if not pin["value_lost"]:
            return f"{held}, which costs nothing."
        return f"{held}, which costs {amount(pin['value_lost'], self.unit)}."

    @property
    def runner_up(self) -> list[str]:
        """What displaced the runner-up."""
        best, second = self.answer["best"], self.answer["runner_up"]
        if best is None or second is None:
            return ["There is no other set within the limits."] if best is not None else []
        gained = [bid for bid in best["ids"] if bid not in second["ids"]]
        lost = [bid for bid in second["ids"] if bid not in best["ids"]]
        gap = best["value"] - second["value"]
        told = (
            f"The next best set costs {pounds(second['cost_pence'])} and brings {amount(second['value'], self.unit)}, "
        )
        told += f"{amount(gap, self.unit)} less." if gap > 0 else "just as much."
        if gained and lost:
            return [told, f"It has {self._listed(lost)} in place of {self._listed(gained)}."]
        if gained:
            return [told, f"It is without {self._listed(gained)}."]
        return [told, f"It has {self._listed(lost)} besides."]

    @property
    def prices(self) -> list[tuple[str, str]]:
        """What one step more of each limit would bring."""
        return [(words.opened(_limit(row["limit"])), self._price(row)) for row in self.answer["prices"]]

    def _price(self, row: Answer) -> str:
        step = _step(row["limit"], row["step"])
        if not row["value_gained"]:
            return f"{step} more would bring nothing."
        text = f"{step} more would bring {amount(row['value_gained'], self.unit)}"
        if row["ids_in"]:
            text += f": {self._listed(row['ids_in'])} would come in"
        if row["ids_out"]:
            text += f", {self._listed(row['ids_out'])} would go out"
        return f"{text}."

    @property
    def infeasible(self) -> list[str]:
        return [
            f"{words.opened(_limit(row['limit']))} is passed by {_step(row['limit'], row['by'])}: "
            f"{self._listed(row['ids'])}."
            for row in self.answer["infeasible"]
        ]

    @property
    def scale(self) -> float:
        """What values are multiplied by to be shown: little ground in square metres."""
        most = max((row["chosen"]["value"] for row in self.answer["frontier"]), default=0.0)
        return M2_PER_HA if self.unit == HECTARES and most < LEAST_HA else 1.0

    @property
    def shown_unit(self) -> str:
        return "species-rich m²" if self.scale == M2_PER_HA else self.unit

    @cached_property
    def chart(self) -> SafeString:
        """The best value at every sum."""
        points = [
            charts.Sum(row["budget_pence"] / PENCE, row["chosen"]["value"] * self.scale, not row["proven"])
            for row in self.answer["frontier"]
        ]
        if not points:
            return SafeString("")
        return charts.frontier(
            "frontier", "The best that each sum could buy", points, y_title=words.opened(self.shown_unit),
            x_title="The sum to give", write=axis_pounds,
        )  # fmt: skip

    @property
    def frontier(self) -> list[tuple[str, str, str, str]]:
        return [
            (
                pounds(row["budget_pence"]),
                words.figure(row["chosen"]["value"] * self.scale, 3),
                words.counted(len(row["chosen"]["ids"])),
                "proven" if row["proven"] else "not proven",
            )
            for row in self.answer["frontier"]
        ]

    @property
    def frontier_finding(self) -> str:
        rows = self.answer["frontier"]
        if len(rows) < 2:
            return ""
        half, whole = rows[len(rows) // 2 - 1], rows[-1]
        if not whole["chosen"]["value"]:
            return "Nothing within this sum brings anything by this measure."
        share = half["chosen"]["value"] / whole["chosen"]["value"]
        return (
            f"{pounds(half['budget_pence'])} would buy {words.figure(share * 100)}{words.NARROW_SPACE}% of what "
            f"{pounds(whole['budget_pence'])} buys."
        )

    @property
    def chance_words(self) -> str:
        tried, telling = self.answer.get("worlds_tried", 0), self.answer.get("worlds_telling", 0)
        if not tried:
            return ""
        barren = tried - telling
        text = (
            f"The chance tells in how many of {words.counted(telling)} futures drawn by the model the bid belongs to "
            "the set that would be best in that future. Where it is neither near certain nor near none, other grounds "
            "may decide."
        )
        if barren:
            text += (
                f" {words.opened(words.counted(barren))} more {words.plural(barren, 'future was', 'futures were')} "
                "tried in which no bid brings any."
            )
        return text


def _limit(key: str) -> str:
    name, _, of = key.partition(":")
    known = {
        "pot": "the pot", "per_group": "the limit by group", "per_district": "the limit by district",
        "harvester": "the lent machine", "exclusive": "one bid for each piece of ground",
    }  # fmt: skip
    if name == "seed":
        return f"the seed {of.replace('_', ' ')}"
    if name == "per_district" and of:
        return f"the limit of {of}"
    return known.get(name, name)


def _step(key: str, step: int) -> str:
    name = key.partition(":")[0]
    if name == "seed":
        return words.weight(step / 1_000_000)
    if name == "harvester":
        return f"{step} {words.plural(step, 'half-day')}"
    return f"{step} {words.plural(step, 'bid')}" if name == "exclusive" else pounds(step)
