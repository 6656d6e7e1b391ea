"""What the pot could buy: the best set of bids, what each limit costs, and why a bid is not in it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from modelling import wording
from modelling.contracts import portfolio as contract
from modelling.core import portfolio as core
from modelling.core.distributions import Array
from modelling.core.units import M2_PER_HA
from modelling.errors import FieldError, RequestRefused

SOLVER: Final = "HiGHS through scipy.optimize.milp"
CAUTIOUS: Final = "cautious"
SCORE: Final = "score"
HECTARES: Final = "species-rich hectares"
POINTS: Final = "points"
_MG_PER_G: Final = 1000
#: hectares below which ground is told in square metres
_LEAST_HA: Final = 0.1
_DIGITS: Final = 9


def choose(question: contract.PortfolioQuestion, outcomes: Mapping[str, ArrayLike]) -> dict[str, Any]:
    """Choose the best set of bids: plain values, shaped as `contracts.portfolio.PortfolioAnswer`.

    Parameters
    ----------
    question
        Bids, limits, pins, and what is to be best.
    outcomes
        Draws of each bid's outcome in species-rich hectares by id, all of one length: draw d is the same world for
        every bid. Not needed for the objective `score`.

    Raises
    ------
    RequestRefused
        If draws are missing or not of one length.
    """
    return _Choice(question, _draws_of(question, outcomes)).answer()


def _draws_of(question: contract.PortfolioQuestion, outcomes: Mapping[str, ArrayLike]) -> Array:
    """Draws in the order of the bids, (bids, worlds)."""
    if question.objective == SCORE and not outcomes:
        return np.zeros((len(question.bids), 0))
    faults = []
    found: list[Array] = []
    for number, bid in enumerate(question.bids):
        draws = np.asarray(outcomes.get(bid.id, ()), dtype=np.float64)
        if draws.ndim != 1 or draws.size == 0 or not np.isfinite(draws).all() or (draws < 0).any():
            text = f"Draws of the outcome of {bid.id} are missing, or are not finite numbers from 0 up."
            faults.append(FieldError(f"/bids/{number}", "draws_missing", text, bid.id, "draws of every bid"))
        found.append(draws)
    lengths = {draws.size for draws in found}
    if not faults and len(lengths) > 1:
        text = f"The bids have draws of different lengths ({', '.join(map(str, sorted(lengths)))})."
        faults.append(FieldError("/bids", "draws_unlike", text, None, "draws of the same worlds for every bid"))
    if faults:
        raise RequestRefused(faults)
    return np.stack(found) if found else np.zeros((0, 1))


class _Choice:
    """One choice with everything that is told about it."""

    def __init__(self, question: contract.PortfolioQuestion, draws: Array) -> None:
        self.question = question
        scores = np.array([bid.score or 0.0 for bid in question.bids])
        values = scores if question.objective == SCORE else draws.mean(axis=1)
        cautious = question.objective == CAUTIOUS
        limits = question.limits
        self.chooser = core.Chooser(
            [
                core.Bid(
                    id=bid.id,
                    cost=bid.cost_pence,
                    group=bid.group,
                    district=bid.district,
                    seed={need.item: need.mg for need in bid.seed},
                    half_days=bid.harvester_half_days,
                    pinned=bid.pinned or "",
                )
                for bid in question.bids
            ],
            core.Limits(
                pot=limits.pot_pence,
                per_group=limits.per_group_pence,
                per_district=limits.per_district_pence,
                seed={need.item: need.mg for need in limits.seed},
                half_days=limits.harvester_half_days,
                exclusive=limits.exclusive,
            ),
            core.Goal(draws, values, question.cautious_share, cautious),
        )
        self.unit = POINTS if question.objective == SCORE else HECTARES

    def answer(self) -> dict[str, Any]:
        over = self.chooser.pins_over()
        best, second = (None, None) if over else self.chooser.best_two()
        out: dict[str, Any] = {
            "sentence": self.sentence(best, over),
            "objective": self.question.objective,
            "unit": self.unit,
            "feasible": not over,
            "infeasible": [self.excess(entry) for entry in over],
            "solved": None,
            "best": None,
            "runner_up": None,
            "prices": [],
            "frontier": [],
            "pins": [],
            "not_chosen": [],
            "chances": [],
            "worlds_tried": 0,
            "worlds_telling": 0,
        }
        if best is not None:
            out |= {
                "solved": {
                    "status": "proven_best" if best.proven else "not_proven",
                    "gap": best.gap,
                    "solver": SOLVER,
                },
                "best": self.set_of(best),
                "runner_up": None if second is None else self.set_of(second),
                "prices": self.prices(best),
                "frontier": self.frontier(best),
                "pins": self.pins(best),
                "not_chosen": self.not_chosen(best),
                **self.chances(),
            }
        return contract.PortfolioAnswer.model_validate(out).model_dump(mode="python")

    # ---------------------------------------------------------------- parts

    def ids(self, chosen: core.Mask) -> list[str]:
        return [self.chooser.bids[number].id for number in np.flatnonzero(chosen)]

    def cost(self, chosen: core.Mask) -> int:
        return sum(self.chooser.bids[number].cost for number in np.flatnonzero(chosen))

    def value(self, found: core.Solution) -> float:
        """Value of a set in the unit of the objective; the chooser's own is rounded to whole units."""
        goal = self.chooser.goal
        return goal.worst_mean(found.chosen) if goal.cautious else float(goal.values[found.chosen].sum())

    def more(self, found: core.Solution, than: core.Solution) -> float:
        """By how much one set is worth more than another; 0 where rounding alone tells them apart."""
        return 0.0 if found.value <= than.value else max(round(self.value(found) - self.value(than), _DIGITS), 0.0)

    def set_of(self, found: core.Solution) -> dict[str, Any]:
        goal, chosen = self.chooser.goal, found.chosen
        return {
            "ids": self.ids(chosen),
            "cost_pence": self.cost(chosen),
            "value": round(self.value(found), _DIGITS),
            "expected_outcome": round(goal.expected(chosen), _DIGITS),
            "worst_mean_outcome": round(goal.worst_mean(chosen), _DIGITS),
        }

    def excess(self, over: core.Over) -> dict[str, Any]:
        named = over.limit if not over.of else f"{over.limit}:{over.of}"
        return {"limit": named, "by": over.by, "ids": list(over.ids)}

    def prices(self, best: core.Solution) -> list[dict[str, Any]]:
        """What a step more of each limit would bring; the rules by group and by district are each one limit."""
        steps = self.question.relaxed_by
        step_of = {
            core.POT: steps.pot_pence,
            core.GROUP: steps.per_group_pence,
            core.DISTRICT: steps.per_district_pence,
            core.SEED: steps.seed_mg,
            core.HARVESTER: steps.harvester_half_days,
        }
        used: dict[tuple[str, str], tuple[int, int]] = {}
        for row in self.chooser.rows:
            if row.limit in step_of:
                key = (row.limit, row.of if row.limit == core.SEED else "")
                used[key] = (max(row.used(best.chosen), used.get(key, (0, 0))[0]), row.most)
        out = []
        for (limit, of), (taken, most) in used.items():
            step = step_of[limit]
            raised = self.chooser.with_more(limit, of, step)
            after = best if raised is None or raised.value <= best.value else raised
            out.append(
                {
                    "limit": limit if not of else f"{limit}:{of}",
                    "step": step,
                    "used": taken,
                    "most": most,
                    "value_gained": self.more(after, best),
                    "ids_in": self.ids(after.chosen & ~best.chosen),
                    "ids_out": self.ids(best.chosen & ~after.chosen),
                }
            )
        return out

    def frontier(self, best: core.Solution) -> list[dict[str, Any]]:
        """The best set at budgets up to the pot; budgets in which the pins cannot be held are left out."""
        pot, steps = self.question.limits.pot_pence, self.question.frontier_steps
        out = []
        for budget in sorted({pot * step // steps for step in range(1, steps + 1)} if steps else ()):
            found = best if budget == pot else self.chooser.with_pot(budget)
            if found is not None:
                out.append({"budget_pence": budget, "chosen": self.set_of(found), "proven": found.proven})
        return out

    def pins(self, best: core.Solution) -> list[dict[str, Any]]:
        out = []
        for number, pinned in self.chooser.pins.items():
            loose = self.chooser.without_pin(number)
            after = best if loose is None or loose.value <= best.value else loose
            out.append(
                {
                    "id": self.chooser.bids[number].id,
                    "pinned": pinned,
                    "value_lost": self.more(after, best),
                    "ids_without": self.ids(after.chosen),
                }
            )
        return out

    def chances(self) -> dict[str, Any]:
        """In what share of the worlds that tell each bid is in the world's own best set; one given up is left out."""
        worlds = min(self.question.worlds_tried, self.chooser.goal.outcomes.shape[1])
        tried = [found for found in map(self.chooser.best_in_world, range(worlds)) if found is not None]
        if not tried or self.question.objective == SCORE:
            return {"chances": [], "worlds_tried": 0, "worlds_telling": 0}
        # where nothing brings anything, no set is better than another
        telling = [found.chosen for found in tried if found.value > 0]
        shares = np.mean(telling, axis=0) if telling else np.zeros(self.chooser.n)
        rows = [
            {"id": bid.id, "in_best": round(float(share), _DIGITS)}
            for bid, share in zip(self.chooser.bids, shares, strict=True)
        ]
        return {"chances": rows, "worlds_tried": len(tried), "worlds_telling": len(telling)}

    def not_chosen(self, best: core.Solution) -> list[dict[str, Any]]:
        left = [int(number) for number in np.flatnonzero(~best.chosen)]
        values, bids = self.chooser.goal.values, self.chooser.bids
        free = [number for number in left if number not in self.chooser.pins]
        nearest = sorted(free, key=lambda number: (-values[number] / max(bids[number].cost, 1), number))
        explained = set(nearest[: self.question.explained]) if best.proven else set()
        return [self.left_out(number, best, number in explained) for number in left]

    def left_out(self, number: int, best: core.Solution, explained: bool) -> dict[str, Any]:
        added = best.chosen.copy()
        added[number] = True
        over, bid = self.chooser.over(added), self.chooser.bids[number]
        gain = cheaper = None
        if explained:
            taken = self.chooser.with_bid(number)
            if taken is not None and taken.proven:
                gain = self.more(best, taken)
            highest = self.chooser.highest_cost(number, best.value)
            cheaper = None if highest is None else bid.cost - highest
        pinned = self.chooser.pins.get(number) == core.OUT
        return {
            "id": bid.id,
            "pinned_out": pinned,
            "would_exceed": [self.excess(entry) for entry in over],
            "value_to_gain": gain,
            "pence_cheaper": cheaper,
            "sentence": self.why(bid, pinned, over, gain, cheaper),
        }

    # ---------------------------------------------------------------- words

    def sentence(self, best: core.Solution | None, over: list[core.Over]) -> str:
        pot = wording.pence(self.question.limits.pot_pence)
        if over:
            return f"The bids held in cannot all be funded: {wording.joined([_passed(entry) for entry in over])}."
        if best is None:
            return "The search was given up before it found a set."
        count, every = int(best.chosen.sum()), self.chooser.n
        goal = self.chooser.goal
        brings = amount(self.value(best), self.unit)
        if goal.cautious:
            share = wording.figure(100 * goal.worst_share)
            brings = f"{amount(self.value(best), self.unit)} on average in the worst {share} % of worlds"
        elif self.unit == HECTARES:
            brings += " to be expected"
        proof = "No other set brings more." if best.proven else "It is not proven that no other set brings more."
        spent = wording.pence(self.cost(best.chosen))
        return f"{spent} of the {pot} funds {count:,} of {every:,} bids and brings {brings}. {proof}"

    def why(self, bid: core.Bid, pinned: bool, over: list[core.Over], gain: float | None, cheaper: int | None) -> str:
        if pinned:
            return "Held out by hand."
        if not over:
            return "It adds nothing to what the best set brings."
        text = f"With it, {wording.joined([_passed(entry) for entry in over])}."
        ways = []
        if cheaper:
            ways.append(f"{wording.pence(cheaper)} cheaper")
        if gain:
            ways.append(f"better by {amount(gain, self.unit)}")
        if cheaper == 0 or gain == 0:
            return f"{text} A set with it would be as good; ties go by id."
        if ways:
            text += f" It would be as good to take it if it were {' or '.join(ways)}."
        return text


def amount(value: float, unit: str) -> str:
    """A value in the unit of the objective; little ground is told in square metres."""
    if unit == HECTARES and 0 < value < _LEAST_HA:
        return f"{wording.figure(value * M2_PER_HA, 3)} species-rich m²"
    return f"{wording.figure(value, 3)} {unit}"


def _passed(over: core.Over) -> str:
    """One limit passed, in words."""
    money = wording.pence(over.by)
    return {
        core.POT: f"the pot is short by {money}",
        core.GROUP: f"the limit of one group is passed by {money}",
        core.DISTRICT: f"the limit of {over.of} is passed by {money}",
        core.SEED: f"{over.of} is short by {wording.figure(over.by / _MG_PER_G, 3)} g",
        core.HARVESTER: f"the lent machine is short by {wording.count(over.by)} half-day{'' if over.by == 1 else 's'}",
        core.EXCLUSIVE: "bids that exclude each other come together",
    }[over.limit]
