"""From a full plan to tasks: hands, machines and money for each, as draws of shape (draws,)."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date
from typing import Final

import numpy as np

from modelling.core import labour, machinery
from modelling.core.brief import STRIPPING
from modelling.core.cost import CASH, FIRST_YEAR, IN_KIND, SETUP, YEARLY, Line, grown
from modelling.core.distributions import Array
from modelling.core.parameters import Number, ParameterSet
from modelling.core.plan import FullPlan, SeedItem, Step
from modelling.core.planner import LOOK, SURVEY
from modelling.core.sampling import draw
from modelling.core.seed import cheapest_packs, packs_of, price_item
from modelling.core.units import DAYS_PER_YEAR, G_PER_KG, G_PER_T, M2_PER_HA, day_in

DISPOSAL: Final = {
    "heap": "rake_arisings_to_heap",
    "green_waste": "arisings_green_waste_site",
    "farmer": "arisings_to_farmer_hay",
}
HEAP: Final = "heap"
FARMER: Final = "farmer"
EXCAVATOR: Final = "strip_turf_excavator"
WEEDING: Final = "pull_weeds_hand"
GRAZE: Final = "aftermath_graze"
FENCE: Final = "fence_temporary"
SOW_BY_HAND: Final = "sow_hand"
WATER: Final = "water_plugs"
FIELD: Final = "field"
TRAINED: Final = ("trained", "certificate")


@dataclass(frozen=True, slots=True)
class Task:
    """One operation on a day: how much of it (m2, kg, plants, t, m or visits) and how often in its stage."""

    operation: str
    stage: str
    on: date
    amount: Array
    times: int = 1


@dataclass(frozen=True, slots=True)
class Machine:
    """One machine in one task, all its times together; vibration points of one working day, for all hands."""

    machine: str
    to_hand: bool
    contractor: bool
    hours: Array
    hire_days: Array
    fuel_l: Array
    vibration_points: Array | None


@dataclass(frozen=True, slots=True)
class Done:
    """A task worked out. `on_site_h`: volunteers' person-hours with breaks, all times together."""

    task: Task
    on_site_h: Array
    machine: Machine | None


@dataclass(frozen=True, slots=True)
class Heaps:
    """Cuttings in a year (fresh t and loose m3), spoil (t, m3; None where nothing is stripped) and hay (t)."""

    cuttings_t: Array
    cuttings_m3: Array
    spoil_t: Array | None
    spoil_m3: Array | None
    hay_t: Array | None


@dataclass(frozen=True, slots=True)
class Bought:
    """Packs bought of one item: pack size -> count, and pounds before VAT."""

    item: str
    packs: dict[float, int]
    net_gbp: Array
    vat_share: float


@dataclass
class Workbook:
    """Works out every task of a plan. One per estimate; `random_seed` is the site's, `world_seed` the county's."""

    parameters: ParameterSet
    plan: FullPlan
    as_of: date
    n: int
    random_seed: int
    world_seed: int
    lines: list[Line] = field(default_factory=list)
    done: list[Done] = field(default_factory=list)
    bought: list[Bought] = field(default_factory=list)
    inputs: dict[str, Array] = field(default_factory=dict)
    #: what taking the spoil away would cost with VAT, where it is banked on the site
    spoil_away_gbp: Array | None = None

    def __post_init__(self) -> None:
        shared = self.row("planning", "work", "shared_pace")
        own = draw(self.parameters.number("planning", "work", "site_pace"), self.random_seed, self.n)
        self.pace = shared * own
        self.attendance = draw(
            self.parameters.number("rates", "volunteers", "attendance_share"), self.random_seed, self.n
        )
        self.working = self.row("rates", "volunteers", "working_share")
        self.growth = self.row("rates", "price_growth", "per_year")
        self.inputs = {
            "work_rates/shared": shared,
            "work_rates/site": own,
            "volunteers/attendance": self.attendance,
        }

    # ---------------------------------------------------------------- draws of reference rows

    def row(self, table: str, subject: str, quantity: str) -> Array:
        """World draws of a row: (draws,)."""
        return draw(self.parameters.number(table, subject, quantity), self.world_seed, self.n)

    def optional(self, table: str, subject: str, quantity: str, default: float) -> Array:
        """As `row`, or the default where the table has none."""
        found = self.parameters.find(table, subject, quantity)
        return np.full(self.n, default) if found is None else draw(found, self.world_seed, self.n)

    def price(self, number: Number, key: str = "") -> Array:
        """A price brought to the year of the estimate, before VAT: (draws,)."""
        years = max((self.as_of - number.valid_from).days / DAYS_PER_YEAR, 0.0)
        return grown(draw(number, self.world_seed, self.n, key), self.growth, years)

    def vat(self, number: Number) -> float:
        """VAT share of a price row."""
        return self.parameters.value("rates", "vat", number.extra.get("vat") or "none")

    # ---------------------------------------------------------------- tasks

    def add(self, task: Task) -> None:
        """Work out one task and write its cost lines."""
        row = self.parameters.nouns["operations"][task.operation]
        machine = row["machine"]
        to_hand = bool(machine) and machine in self.plan.kit_to_hand
        contractor = row["contractor"] == "yes" and not to_hand
        used = self.machine(task, to_hand, contractor) if machine else None
        if contractor:
            hours = np.zeros(self.n)
            self.contract(task)
        else:
            hours = self.hours(task, used)
            self.materials(task)
            self.volunteers(task, hours)
        self.done.append(Done(task, hours, used))

    def hours(self, task: Task, used: Machine | None) -> Array:
        """Volunteers' person-hours on site for a task, all its times."""
        key = task.operation
        ready = min(self.plan.net_m2 / self.parameters.value("planning", "work", "full_set_up_area"), 1.0)
        work = self.optional("operation_values", key, "set_up", 0.0) * ready
        passes = self.optional("operation_values", key, "passes", 1.0)
        rate = self.parameters.find("operation_values", key, "work_rate")
        if used is not None and (used.hours > 0).any():
            factor = self.optional("machine_values", used.machine, "operator_factor", 1.0)
            helpers = self.optional("operation_values", key, "helpers", 0.0)
            work = work + labour.hours_with_machine(used.hours / task.times, factor, helpers)
            passes = np.ones(self.n)
        if rate is not None:
            rates = draw(rate, self.world_seed, self.n)
            if rate.unit == "person-h/visit":
                work = work + task.amount * passes * rates * self.pace
            else:
                work = work + labour.hours_at_rate(task.amount, rates, passes) * self.pace
        return labour.clock_hours(work, self.working) * task.times

    def machine(self, task: Task, to_hand: bool, contractor: bool) -> Machine | None:
        """Machine hours, hire, fuel and vibration of a task; None where the machine only helps hand work."""
        key = self.parameters.nouns["operations"][task.operation]["machine"]
        words = self.parameters.nouns["machines"][key]
        width = self.parameters.find("machine_values", key, "working_width")
        if width is None:
            return self.tool(task, key, to_hand)
        half = self.parameters.value("machine_values", key, "small_plot_area")
        area = float(task.amount.mean())
        efficiency = machinery.small_plot_efficiency(self.row("machine_values", key, "field_efficiency"), area, half)
        capacity = machinery.field_capacity_ha_per_h(
            self.row("machine_values", key, "speed"), draw(width, self.world_seed, self.n), efficiency
        )
        passes = self.optional("operation_values", task.operation, "passes", 1.0)
        once = machinery.machine_hours(area, passes, capacity) * self.pace
        fuel = once * self.optional("machine_values", key, "fuel_use", 0.0) * task.times
        days = self.hire(task, key, once, to_hand or contractor)
        points = None
        vibration = self.parameters.find("machine_values", key, "vibration")
        if words["vibrates"] == "yes" and vibration is not None:
            worked = np.maximum(np.ceil(once / self.row("rates", "machines", "machine_day_hours")), 1)
            points = machinery.vibration_points(draw(vibration, self.world_seed, self.n), once / worked)
        if not contractor and (fuel > 0).any():
            self.fuel(task, words["fuel"], fuel)
        return Machine(key, to_hand, contractor, once * task.times, days, fuel, points)

    def tool(self, task: Task, key: str, to_hand: bool) -> Machine:
        """A tool without a working width of its own: hired by the day if it is hired out, no hours of its own."""
        none = np.zeros(self.n)
        hire = self.parameters.nouns["machines"][key]["price_item"]
        hired = bool(hire) and not to_hand
        days = self.hire(task, key, none, not hired)
        return Machine(key, to_hand, False, none, days, none, None)

    def hire(self, task: Task, machine: str, hours: Array, free: bool) -> Array:
        """Days paid for, whole, and their cost line; kit to hand is shown in kind where a lending rate is known."""
        day = self.row("rates", "machines", "machine_day_hours")
        setup = self.optional("operation_values", task.operation, "set_up", 0.0)
        days = np.maximum(np.ceil((hours + setup) / day), 1.0)
        words = self.parameters.nouns["machines"][machine]
        price = self.parameters.find("prices", words["price_item"], "day_price")
        if not free and price is not None:
            charge = machinery.hire_charge(days, self.price(price), machinery.hire_rule(self.parameters))
            self.line(f"hire_{machine}", f"Hire: {words['label'].lower()}", task, "hire", CASH, charge, self.vat(price))
            return days * task.times
        if machine in self.plan.kit_to_hand:
            loan = self.parameters.find("in_kind_rates", f"kit_loan_{machine}", "rate_per_day")
            if loan is not None:
                lent = days * self.price(loan)
                self.line(f"loan_{machine}", f"Loan: {words['label'].lower()}", task, "kit", IN_KIND, lent, 0.0)
        return np.zeros(self.n)

    def fuel(self, task: Task, kind: str, litres: Array) -> None:
        price = self.parameters.find("prices", kind, "price_per_litre")
        if price is None:
            return
        oil = 1 + self.parameters.value("rates", "machines", "lubricant_share")
        self.line(
            f"fuel_{kind}", f"{kind.capitalize()} and oil", task, "fuel", CASH,
            litres * self.price(price) * oil / task.times, self.vat(price),
        )  # fmt: skip

    def contract(self, task: Task) -> None:
        """A contractor's charge: by the hectare with a least charge for coming out."""
        words = self.parameters.nouns["operations"][task.operation]
        item = words["price_item"]
        rate = self.parameters.number("prices", item, "price_per_ha")
        least = self.parameters.number("prices", item, "call_out_minimum")
        charge = np.maximum(self.price(rate) * task.amount / M2_PER_HA, self.price(least))
        self.line(
            task.operation, f"Contractor: {words['label'].lower()}", task, "contractor", CASH, charge, self.vat(rate)
        )

    def materials(self, task: Task) -> None:
        """Sheeting, fencing, sand, gate fees, a laboratory's charge."""
        words = self.parameters.nouns["operations"][task.operation]
        item = words["price_item"]
        if task.operation == SOW_BY_HAND:
            sand = self.parameters.number("prices", "sharp_sand", "price_per_kg")
            kg = self.row("sowing_rates", "carrier", "sand_per_area") * task.amount / G_PER_KG
            self.line(
                "sharp_sand",
                "Dry sand to carry the seed",
                task,
                "materials",
                CASH,
                kg * self.price(sand),
                self.vat(sand),
            )
        if not item:
            return
        # a fence is bought once and put up every year
        charged = replace(task, stage=SETUP) if task.operation == FENCE else task
        for quantity, amount in (
            ("price_per_m2", task.amount * self.optional("rates", item, "overlap_ratio", 1.0)),
            ("price_per_m", task.amount),
            ("price_per_t", task.amount),
        ):
            price = self.parameters.find("prices", item, quantity)
            if price is not None and price.middle:
                category = "disposal" if quantity == "price_per_t" else "materials"
                self.line(item, words["label"], charged, category, CASH, amount * self.price(price), self.vat(price))
        if item in self.parameters.packs and price_is_each(self.parameters, item):
            number = self.parameters.packs[item][0]
            self.line(item, words["label"], task, "survey", CASH, self.price(number, item), self.vat(number))

    def volunteers(self, task: Task, hours: Array) -> None:
        """Volunteers' time in kind, at the rate for its skill."""
        skill = self.parameters.nouns["operations"][task.operation]["skill"]
        subject = "volunteer_skilled" if skill in TRAINED else "volunteer_unskilled"
        number = self.parameters.number("in_kind_rates", subject, "rate_per_hour")
        if number.valid_from > self.as_of:
            earlier = self.parameters.find("in_kind_rates", "national_living_wage_2025", "rate_per_hour")
            number = earlier or number
        label = "Volunteers trained for a machine or survey" if skill in TRAINED else "Volunteers"
        self.line(
            subject, label, task, "volunteers", IN_KIND,
            hours * draw(number, self.world_seed, self.n) / task.times, 0.0,
        )  # fmt: skip

    def line(self, key: str, label: str, task: Task, category: str, kind: str, net_once: Array, vat: float) -> None:
        """Add a cost line for all times of the task; lines of one key, stage and kind are merged."""
        net = net_once * task.times
        for index, old in enumerate(self.lines):
            if (old.key, old.stage, old.kind) == (key, task.stage, kind):
                self.lines[index] = Line(key, label, task.stage, category, kind, old.net_gbp + net, vat, old.note)
                return
        self.lines.append(Line(key, label, task.stage, category, kind, net, vat))

    # ---------------------------------------------------------------- buying

    def buy(self, item: str, key: str, label: str, amount: float, on: Step, category: str) -> None:
        """Whole packs of seed or plugs."""
        packs = packs_of(self.parameters, item)
        chosen = cheapest_packs(amount, packs)
        net = np.zeros(self.n)
        vat = 0.0
        for pack in packs:
            count = chosen.get(pack.size, 0)
            if count:
                net = net + count * self.price(pack.price, item)
                vat = self.vat(pack.price)
        self.bought.append(Bought(key, chosen, net, vat))
        task = Task(SOW_BY_HAND, SETUP, on.on, np.zeros(self.n))
        self.line(key, label, task, category, CASH, net, vat)

    def buy_all(self) -> None:
        """Seed and plugs of every step, like items of one step bought together."""
        for step in self.plan.steps:
            for item in step.seed or ():
                if item.lot is not None:
                    # the network's own seed comes in sacks that are there already
                    self.bought.append(Bought(item.key, {}, np.zeros(self.n), 0.0))
                    continue
                self.buy(price_item(self.parameters, item), item.key, self.label(item), item.kg, step, "seed")
            for plug in step.plugs or ():
                name = self.parameters.nouns["taxa"][plug.taxon]["english_name"]
                self.buy("plug", f"plugs_{plug.taxon}", f"Plugs: {name}", plug.count, step, "plugs")

    def label(self, item: SeedItem) -> str:
        if item.mix is not None:
            return self.parameters.nouns["mixes"][item.mix]["label"]
        if item.lot is not None:
            return "Seed of the network’s own lot"
        return f"{self.parameters.nouns['taxa'][str(item.taxon)]['english_name'].capitalize()} seed"

    # ---------------------------------------------------------------- the whole plan

    def dry_t(self, crop_g_per_m2: Array, area_m2: float) -> Array:
        """Dry tonnes that one cut of a standing crop brings off: (draws,)."""
        return crop_g_per_m2 * area_m2 / G_PER_T * self.row("rates", "cuttings", "collected_share")

    def fresh_t(self, dry_t: Array) -> Array:
        """The same as it lies when cut green."""
        return dry_t * self.row("rates", "cuttings", "fresh_per_dry_ratio")

    def spoil(self, operation: str, area_m2: float) -> tuple[Array, Array]:
        """Tonnes and loose cubic metres of stripped turf or soil: (draws,) each."""
        subject = "topsoil_spoil" if operation == EXCAVATOR else "turf_spoil"
        solid = area_m2 * self.row("rates", subject, "depth")
        return (
            solid * self.row("rates", subject, "density"),
            solid * self.row("rates", subject, "bulking_ratio"),
        )

    def run(self, crop_now: Array, crop_first: Array, crop_later: Array) -> Heaps:
        """Every task of the plan; standing crops in g/m2 now, in the first and in a later year, shape (draws,)."""
        plan, care = self.plan, self.plan.care
        full = np.full(self.n, plan.net_m2)
        walk = np.full(self.n, self.walk())
        first_day = min((step.on for step in plan.steps), default=self.as_of)
        if plan.steps:
            self.add(Task(LOOK, SETUP, min(first_day, self.as_of), walk))
        self.buy_all()
        spoil_t = spoil_m3 = None
        for step in plan.steps:
            if step.operation is None:
                continue
            words = self.parameters.nouns["operations"][step.operation]
            amount = self.amount(words["driver"], step, full)
            self.add(Task(step.operation, SETUP, step.on, amount))
            area = plan.net_m2 * step.area_share
            if step.operation in STRIPPING:
                tonnes, volume = self.spoil(step.operation, area)
                spoil_t = tonnes if spoil_t is None else spoil_t + tonnes
                spoil_m3 = volume if spoil_m3 is None else spoil_m3 + volume
                self.haul_spoil(step, tonnes, area)
            elif words["cuts_sward"] == "yes" and words["makes_arisings"] == "yes":
                self.dispose(SETUP, step.on, self.dry_t(crop_now, area), 1)
        self.first_year(full, crop_first)
        self.yearly_cuts(YEARLY, plan.first_summer + 1, crop_later)
        self.yearly(full)
        share = 1.0 if care.arisings == "removed" and care.cuts else 0.0
        dry = self.dry_t(crop_later, plan.net_m2 * (1 - care.refuge_share)) * share
        tonnes = self.fresh_t(dry)
        volume = tonnes * self.row("rates", "cuttings", "loose_volume")
        hay = dry * self.row("rates", "cuttings", "hay_per_dry_ratio") if care.disposal == FARMER else None
        return Heaps(tonnes, volume, spoil_t, spoil_m3, hay)

    def yearly_cuts(self, stage: str, year: int, crop: Array) -> None:
        """The cuts of one year and where their cuttings go."""
        care, times = self.plan.care, len(self.plan.care.cuts)
        if care.cut_operation is None or not times:
            return
        area = self.plan.net_m2 * (1 - care.refuge_share)
        on = day_in(year, *care.cuts[-1])
        self.add(Task(care.cut_operation, stage, on, np.full(self.n, area), times))
        if care.arisings == "removed":
            self.dispose(stage, on, self.dry_t(crop, area) / times, times, hay=True)

    def walk(self) -> float:
        """Share of a full survey visit that the site takes."""
        return float(
            min(np.sqrt(self.plan.net_m2 / self.parameters.value("planning", "survey", "full_walk_area")), 1.0)
        )

    def amount(self, driver: str, step: Step, full: Array) -> Array:
        """Driver units of a step's operation: (draws,)."""
        area = full * step.area_share
        if driver == "plugs":
            that_day = [s for s in self.plan.steps if s.plugs and s.on == step.on]
            there = [s for s in that_day if (s.zone, s.area_share) == (step.zone, step.area_share)]
            return np.full(self.n, float(sum(p.count for s in there or that_day for p in s.plugs or ())))
        if driver == "seed_kg":
            return np.full(self.n, sum(i.kg for s in self.plan.steps if s.on == step.on for i in s.seed or ()))
        if driver == "fence_m":
            return 2 * 2 * np.sqrt(area)
        if driver == "visits":
            return np.ones(self.n)
        return area

    def haul_spoil(self, step: Step, tonnes: Array, area_m2: float) -> None:
        """Turf or spoil to a bank on the site; from a larger piece of ground that is no field, away."""
        words = self.parameters.nouns["operations"]["spoil_off_site"]
        price = self.parameters.number("prices", words["price_item"], "price_per_t")
        away = tonnes * self.price(price)
        small = area_m2 <= self.parameters.value("planning", "spoil", "off_site_from")
        if small or self.plan.kind == FIELD:
            self.spoil_away_gbp = away * (1 + self.vat(price))
            if step.operation != EXCAVATOR:
                self.add(Task("spoil_heap_on_site", SETUP, step.on, tonnes))
            return
        task = Task("spoil_off_site", SETUP, step.on, tonnes)
        if step.operation == EXCAVATOR:
            self.line(words["price_item"], words["label"], task, "disposal", CASH, away, self.vat(price))
        else:
            self.add(task)

    def dispose(self, stage: str, on: date, dry_t_once: Array, times: int, hay: bool = False) -> None:
        """Cuttings to where they go; nowhere costs nothing here, and is a caution.

        A farmer takes hay, which is weighed dry, and nothing else: other cuttings are heaped. A contractor's
        collector tips them on the heap itself.
        """
        to = self.plan.care.disposal
        if to == FARMER and not hay:
            to = HEAP
        operation = DISPOSAL.get(to)
        tipped = to == HEAP and self.plan.scale == "tractor"
        if operation is not None and not tipped:
            self.add(Task(operation, stage, on, dry_t_once if to == FARMER else self.fresh_t(dry_t_once), times))

    def first_year(self, full: Array, crop: Array) -> None:
        """First-year cuts, their cuttings and weeding, and the first survey; unsown ground has its yearly cut."""
        plan, care = self.plan, self.plan.care
        sown = any(step.seed or step.plugs for step in plan.steps)
        summer = date(plan.first_summer, int(self.parameters.value("planning", "survey", "walk_month")), 1)
        if not any(step.seed for step in plan.steps):
            self.yearly_cuts(FIRST_YEAR, plan.first_summer, crop)
        elif care.first_year_operation is not None and care.first_year_cuts:
            times = care.first_year_cuts
            self.add(Task(care.first_year_operation, FIRST_YEAR, summer, full, times))
            # a tractor tops the young growth and leaves it
            topped = self.parameters.nouns["operations"][care.first_year_operation]["contractor"] == "yes"
            if care.arisings == "removed" and not topped:
                self.dispose(FIRST_YEAR, summer, self.dry_t(crop, plan.net_m2) / times, times)
        if sown:
            self.add(Task(WEEDING, FIRST_YEAR, summer, full))
        self.add(Task(SURVEY, FIRST_YEAR, summer, np.full(self.n, self.walk())))

    def yearly(self, full: Array) -> None:
        """The yearly survey, weeding and grazing."""
        plan, care = self.plan, self.plan.care
        month = int(self.parameters.value("planning", "survey", "walk_month"))
        day = date(plan.first_summer + 1, month, int(self.parameters.value("planning", "survey", "walk_day")))
        self.add(Task(SURVEY, YEARLY, day, np.full(self.n, self.walk())))
        if plan.steps:
            self.add(Task(WEEDING, YEARLY, day, full))
        if care.grazing.by != "none":
            on = date(plan.first_summer + 1, care.grazing.from_month, 1)
            if not care.grazing.grazier:
                self.add(Task(GRAZE, YEARLY, on, np.ones(self.n)))
            if care.grazing.fence is False:
                self.add(Task(FENCE, YEARLY, on, 2 * 2 * np.sqrt(full)))

    def contingency(self) -> None:
        """A share of the cash to set up, for what nobody foresaw."""
        share = self.row("rates", "contingency", "share")
        base = np.zeros(self.n)
        for line in self.lines:
            if line.stage == SETUP and line.kind == CASH:
                base = base + line.gross_gbp
        if (base > 0).any():
            label = "Contingency"
            self.lines.append(Line("contingency", label, SETUP, "contingency", CASH, share * base, 0.0))

    def stage_hours(self, stage: str) -> Array:
        """Volunteers' person-hours on site of one stage: (draws,)."""
        out = np.zeros(self.n)
        for done in self.done:
            if done.task.stage == stage:
                out += done.on_site_h
        return out

    def stage_sessions(self, stage: str) -> Array:
        """Whole sessions of the crew for one stage: (draws,)."""
        return labour.sessions(
            self.stage_hours(stage), self.plan.volunteers, self.plan.hours_per_session, self.attendance
        )


def price_is_each(parameters: ParameterSet, item: str) -> bool:
    """Whether an item is sold singly, as a laboratory's test is."""
    packs = parameters.packs[item]
    return len(packs) == 1 and packs[0].extra["pack_unit"] == "each"
