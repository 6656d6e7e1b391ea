"""The work in an answer: hands, machines, cuttings and money."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from modelling import wording
from modelling.answer_parts import P10_P50_P90, Part, money_of, pence_shares, range_of
from modelling.core.cost import FIRST_YEAR, SETUP, YEARLY, Line
from modelling.core.summary import quantiles
from modelling.core.work import Done, Machine

#: vibration is shared out as if it were as strong as this quantile of the draws
CAUTIOUS: Final = 0.8


class Work(Part):
    """Hands, machines, cuttings and money of one estimate."""

    def labour(self) -> dict[str, Any]:
        tasks = []
        for done in self.work.done:
            if not (done.on_site_h > 0).any():
                continue
            words = self.operation(done.task.operation)
            times = f" ({done.task.times} times)" if done.task.times > 1 else ""
            tasks.append(
                {
                    "operation": done.task.operation,
                    "label": words["label"] + times,
                    "stage": done.task.stage,
                    "skill": words["skill"],
                    "on": done.task.on,
                    "person_hours": range_of(done.on_site_h),
                }
            )
        return {
            "tasks": tasks,
            "person_hours_setup": range_of(self.work.stage_hours(SETUP)),
            "person_hours_first_year": range_of(self.work.stage_hours(FIRST_YEAR)),
            "person_hours_yearly": range_of(self.work.stage_hours(YEARLY)),
            "sessions_setup": range_of(self.work.stage_sessions(SETUP)),
            "sessions_yearly": range_of(self.work.stage_sessions(YEARLY)),
            "volunteers": self.plan.volunteers,
            "hours_per_session": self.plan.hours_per_session,
        }

    def machinery(self) -> dict[str, Any]:
        lines = [
            self.machine_line(done, done.machine)
            for done in self.work.done
            if done.machine is not None and (done.machine.hours.any() or done.machine.hire_days.any())
        ]
        return {"lines": lines, "scale": self.plan.scale, "scale_reason": self.plan.scale_reason}

    def machine_line(self, done: Done, used: Machine) -> dict[str, Any]:
        points = used.vibration_points
        share = None
        if points is not None:
            action = self.parameters.value("rates", "hand_arm_vibration", "action_points")
            share = max(int(np.ceil(quantiles(points, (CAUTIOUS,))[0] / action)), 1)
        return {
            "machine": used.machine,
            "label": self.parameters.nouns["machines"][used.machine]["label"],
            "operation": done.task.operation,
            "stage": done.task.stage,
            "to_hand": used.to_hand,
            "contractor": used.contractor,
            "hours": range_of(used.hours),
            "hire_days": range_of(used.hire_days),
            "fuel_litres": range_of(used.fuel_l),
            "vibration_points": None if points is None or used.contractor else range_of(points),
            "share_between_people": None if used.contractor else share,
        }

    def arisings(self) -> dict[str, Any]:
        heaps = self.e.heaps
        where = self.word("disposal", self.plan.care.disposal)
        if self.plan.care.arisings == "left":
            where = self.word("arisings", "left")
        elif heaps.hay_t is not None and heaps.hay_t.any():
            p10, _, p90 = quantiles(heaps.hay_t, P10_P50_P90)
            where += f", {wording.between(p10, p90, 't')} of dry hay a year"
        if heaps.spoil_t is not None and self.work.spoil_away_gbp is not None:
            p10, _, p90 = quantiles(self.work.spoil_away_gbp, P10_P50_P90)
            where += (
                f". The spoil is taken to be banked on the site, where there is room and leave for it; "
                f"carting it away would cost {wording.pounds(p10, p90)} more"
            )
        return {
            "cuttings_t_per_year": range_of(heaps.cuttings_t),
            "cuttings_m3_per_year": range_of(heaps.cuttings_m3),
            "spoil_t": None if heaps.spoil_t is None else range_of(heaps.spoil_t),
            "spoil_m3": None if heaps.spoil_m3 is None else range_of(heaps.spoil_m3),
            "where": where,
        }

    def cost(self) -> dict[str, Any]:
        money, plan = self.e.money, self.plan
        lines: list[dict[str, Any]] = []
        groups: dict[tuple[str, str], list[Line]] = {}
        for line in self.work.lines:
            groups.setdefault((line.stage, line.kind), []).append(line)
        for group in groups.values():
            gross = [float(line.gross_gbp.mean()) for line in group]
            for line, pence in zip(group, pence_shares(gross, sum(gross)), strict=True):
                lines.append(self.cost_line(line, pence))
        budget = plan.budget_gbp
        return {
            "lines": lines,
            "setup_cash": money_of(money.setup_cash),
            "first_year_cash": money_of(money.first_year_cash),
            "yearly_cash": money_of(money.yearly_cash),
            "whole_life_cash": money_of(money.whole_life_cash),
            "setup_in_kind": money_of(money.setup_in_kind),
            "yearly_in_kind": money_of(money.yearly_in_kind),
            "chance_within_budget": None if budget is None else float((money.setup_cash <= budget).mean()),
            "budget_gbp": None if budget is None else round(budget, 2),
            "price_year": self.e.question.as_of.year,
            "discount_rate": self.parameters.value("rates", "green_book", "discount_rate"),
            "whole_life_years": self.years,
            "note": (
                "With VAT, which most groups cannot reclaim. Cash and in kind are kept apart. Only means add up: the "
                "lines' P90 add to more than the total's. Travel, insurance and the charity's own time are not in."
            ),
        }

    def cost_line(self, line: Line, gross_pence: int) -> dict[str, Any]:
        # of a penny or two the rounded net may be more than the gross, which was rounded with its fellows
        net = min(round(float(line.net_gbp.mean()) * 100), gross_pence) if line.vat_share else gross_pence
        p10, p90 = (round(x, 2) for x in quantiles(line.gross_gbp, (0.1, 0.9)))
        return {
            "key": line.key,
            "label": line.label,
            "stage": line.stage,
            "category": line.category,
            "kind": line.kind,
            "mean_net_gbp": net / 100,
            "mean_vat_gbp": (gross_pence - net) / 100,
            "mean_gross_gbp": gross_pence / 100,
            "p10_gross_gbp": p10,
            "p90_gross_gbp": p90,
            "note": line.note,
        }
