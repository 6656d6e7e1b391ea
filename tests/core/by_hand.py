"""A plan worked out again from the descriptions of the tables: one draw at a time, in plain numbers.

The draws are those of the estimate; everything done with them is written anew.
"""

import math

from modelling.core.establishment import KEPT
from modelling.core.estimate import Estimate
from modelling.core.parameters import ParameterSet
from modelling.core.sampling import draw
from tests.core import oracle_quantities as slow

TRAINED = (
    "prepare_cut_strimmer", "first_year_cut_strimmer", "yearly_cut_strimmer", "scarify_machine", "strip_turf_machine",
    "summer_walk", "aftermath_graze",
)  # fmt: skip


class ByHand:
    """One draw of one estimate."""

    def __init__(self, parameters: ParameterSet, found: Estimate, d: int) -> None:
        question = found.question
        self.parameters, self.d, self.draws = parameters, d, question.draws
        self.as_of, self.area_m2 = question.as_of, question.site.net_m2
        self.world_seed, self.site_seed = question.world_seed, question.random_seed
        self.pace = self.own("planning", "work", "site_pace") * self.row("planning", "work", "shared_pace")
        self.came = self.own("rates", "volunteers", "attendance_share")
        self.working = self.row("rates", "volunteers", "working_share")
        self.crop_now = float(found.crop_now_g_per_m2[d])
        self.crop_first = float(found.outcome.crop[KEPT, 0, d])
        self.crop_later = float(found.outcome.crop[KEPT, -1, d])

    def row(self, table: str, subject: str, quantity: str) -> float:
        """A number that the sites of a county share."""
        return float(draw(self.parameters.number(table, subject, quantity), self.world_seed, self.draws)[self.d])

    def own(self, table: str, subject: str, quantity: str) -> float:
        """A number of the site alone."""
        return float(draw(self.parameters.number(table, subject, quantity), self.site_seed, self.draws)[self.d])

    def price(self, item: str, quantity: str, pack: str = "") -> float:
        """With VAT, in pounds of the day of the estimate."""
        if pack:
            number = next(row for row in self.parameters.packs[item] if row.extra["pack_size"] == pack)
            then = float(draw(number, self.world_seed, self.draws, item)[self.d])
        else:
            number = self.parameters.number("prices", item, quantity)
            then = self.row("prices", item, quantity)
        vat = {"standard": 0.2, "none": 0.0}[number.extra["vat"]]
        return then * self.grown((self.as_of - number.valid_from).days) * (1 + vat)

    def grown(self, days: int) -> float:
        """Growth of prices since a row was written; a row from the future is taken as it stands."""
        growth = self.row("rates", "price_growth", "per_year")
        return math.exp(math.log(1 + growth) * max(days, 0) / 365.25)

    # ------------------------------------------------------------ hours

    def set_up(self, operation: str) -> float:
        """From 100 m2 up getting ready takes as long as it ever does."""
        return self.row("operation_values", operation, "set_up")

    def engine(self, machine: str, operation: str, area_m2: float) -> float:
        """Hours of a machine for an operation, all its passes."""
        efficiency = self.row("machine_values", machine, "field_efficiency")
        half = self.row("machine_values", machine, "small_plot_area")
        on_plot = efficiency * area_m2 / (area_m2 + half)
        speed, width = (self.row("machine_values", machine, q) for q in ("speed", "working_width"))
        passes = self.row("operation_values", operation, "passes")
        return slow.machine_hours(area_m2, passes, speed, width, on_plot) * self.pace

    def with_machine(self, machine: str, operation: str, area_m2: float) -> float:
        """Person-hours on site: the operator, and raking or carrying behind the machine."""
        operator = self.engine(machine, operation, area_m2) * self.row("machine_values", machine, "operator_factor")
        behind = slow.person_hours(area_m2, self.row("operation_values", operation, "work_rate"), 1) * self.pace
        return (self.set_up(operation) + operator + behind) / self.working

    def by_hand(self, operation: str, amount: float) -> float:
        """Person-hours on site for an amount at a rate."""
        rate = self.row("operation_values", operation, "work_rate")
        return (self.set_up(operation) + slow.person_hours(amount, rate, 1) * self.pace) / self.working

    def visits(self, operation: str, number: float) -> float:
        """Person-hours on site for visits."""
        visit = self.row("operation_values", operation, "work_rate")
        return (self.set_up(operation) + number * visit * self.pace) / self.working

    def walk(self, operation: str) -> float:
        """A survey takes a full visit from 1,000 m2 up, and less on less ground as the square root."""
        return self.visits(operation, min(math.sqrt(self.area_m2 / 1000), 1))

    def dry_t(self, crop_g_per_m2: float, area_m2: float) -> float:
        """Dry tonnes of one cut."""
        return crop_g_per_m2 * area_m2 / 1e6 * self.row("rates", "cuttings", "collected_share")

    def heap_t(self, crop_g_per_m2: float, area_m2: float) -> float:
        """Fresh tonnes of one cut."""
        return self.dry_t(crop_g_per_m2, area_m2) * self.row("rates", "cuttings", "fresh_per_dry_ratio")

    # ------------------------------------------------------------ pounds

    def hire_days(self, machine: str, operation: str, area_m2: float) -> int:
        """Whole days of a machine."""
        work = self.engine(machine, operation, area_m2) + self.set_up(operation)
        return max(math.ceil(work / self.row("rates", "machines", "machine_day_hours")), 1)

    def hire(self, machine: str, operation: str, area_m2: float) -> float:
        """Pounds to hire a machine for an operation."""
        return slow.hire_gbp(self.hire_days(machine, operation, area_m2), self.price(f"hire_{machine}", "day_price"))

    def fuel(self, machine: str, operation: str, area_m2: float) -> float:
        """Pounds for petrol and oil; oil is 15 % of the petrol."""
        litres = self.engine(machine, operation, area_m2) * self.row("machine_values", machine, "fuel_use")
        return litres * 1.15 * self.price("petrol", "price_per_litre")

    def sand(self, area_m2: float) -> float:
        """Pounds for sand to carry the seed."""
        kg = self.row("sowing_rates", "carrier", "sand_per_area") * area_m2 / 1000
        return kg * self.price("sharp_sand", "price_per_kg")

    def contract(self, operation: str) -> float:
        """Pounds for a contractor, who does not come out for less than his least charge."""
        item = f"contract_{operation}"
        by_area = self.price(item, "price_per_ha") * self.area_m2 / 10_000
        return max(by_area, self.price(item, "call_out_minimum"))

    def with_contingency(self, cash: float) -> float:
        """A share on top of the cash to set up."""
        return cash * (1 + self.row("rates", "contingency", "share"))

    def in_kind(self, hours: dict[str, float], skilled: float, unskilled: float) -> float:
        """Pounds that volunteers' hours count for."""
        return sum(h * (skilled if operation in TRAINED else unskilled) for operation, h in hours.items())
