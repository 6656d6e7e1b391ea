"""One small plan worked out again from the descriptions of the tables, draw by draw, with the same draws.

A churchyard of 180 m2 in rank grass: cut with a hired strimmer, scratched with a borrowed scarifier, sown and planted
by hand, cut twice in the first summer and once a year later, cuttings carried to a heap.
"""

import math
from datetime import date

import pytest

from modelling.core.establishment import KEPT
from modelling.core.estimate import Estimate, estimate
from modelling.core.parameters import ParameterSet
from modelling.core.plan import Aftercare, Crew, Plan, PlugItem, Question, SeedItem, Site
from modelling.core.sampling import draw
from tests.core import oracle_quantities as slow

AREA_M2 = 180.0
AS_OF = date(2026, 5, 1)
DRAWS = 60
SITE_SEED, WORLD_SEED = 11, 5
STRIMMER_CUTS = {"prepare_cut_strimmer": 1, "first_year_cut_strimmer": 2, "yearly_cut_strimmer": 1}


@pytest.fixture(scope="module")
def found(parameters: ParameterSet) -> Estimate:
    plan = Plan(
        preparation=("prepare_cut_strimmer", "scarify_machine"),
        seed=(SeedItem(kg=0.18, mix="neutral_flowers_with_rattle"), SeedItem(kg=0.045, taxon="rhinanthus_minor")),
        plugs=(PlugItem("primula_veris", 34),),
        sow_on=date(2026, 9, 20),
        aftercare=Aftercare(first_year_cuts=2, cut_on=(date(2026, 8, 20),), arisings="removed", disposal="heap"),
        crew=Crew(volunteers=8, hours_per_session=3.0),
        kit_to_hand=("pedestrian_scarifier",),
    )
    site = Site(area_m2=AREA_M2, kind="churchyard", sward="rank_grass")
    return estimate(parameters, Question(site, plan, AS_OF, 1.0, 10, DRAWS, SITE_SEED, WORLD_SEED))


class ByHand:
    """The plan for one draw, in plain numbers."""

    def __init__(self, parameters: ParameterSet, found: Estimate, d: int) -> None:
        self.parameters, self.d = parameters, d
        own = float(draw(parameters.number("planning", "work", "site_pace"), SITE_SEED, DRAWS)[d])
        self.pace = own * self.row("planning", "work", "shared_pace")
        self.came = float(draw(parameters.number("rates", "volunteers", "attendance_share"), SITE_SEED, DRAWS)[d])
        self.working = self.row("rates", "volunteers", "working_share")
        self.crop_now = float(found.crop_now_g_per_m2[d])
        self.crop_later = float(found.outcome.crop[KEPT, -1, d])

    def row(self, table: str, subject: str, quantity: str) -> float:
        return float(draw(self.parameters.number(table, subject, quantity), WORLD_SEED, DRAWS)[self.d])

    def price(self, item: str, quantity: str, pack: str = "") -> float:
        """With VAT, in pounds of the day of the estimate."""
        if pack:
            rows = [row for row in self.parameters.packs[item] if row.extra["pack_size"] == pack]
            number = rows[0]
            then = float(draw(number, WORLD_SEED, DRAWS, item)[self.d])
        else:
            number = self.parameters.number("prices", item, quantity)
            then = self.row("prices", item, quantity)
        days = (AS_OF - number.valid_from).days
        growth = self.row("rates", "price_growth", "per_year")
        vat = {"standard": 0.2, "none": 0.0}[number.extra["vat"]]
        return then * math.exp(math.log(1 + growth) * days / 365.25) * (1 + vat)

    # ------------------------------------------------------------ hours

    def set_up(self, operation: str) -> float:
        """At 180 m2 getting ready takes as long as it ever does."""
        return self.row("operation_values", operation, "set_up")

    def on_site(self, work: float) -> float:
        return work / self.working

    def engine(self, machine: str, operation: str) -> float:
        efficiency = self.row("machine_values", machine, "field_efficiency")
        half = self.row("machine_values", machine, "small_plot_area")
        on_plot = efficiency * AREA_M2 / (AREA_M2 + half)
        speed, width = (self.row("machine_values", machine, q) for q in ("speed", "working_width"))
        passes = self.row("operation_values", operation, "passes")
        return slow.machine_hours(AREA_M2, passes, speed, width, on_plot) * self.pace

    def with_machine(self, machine: str, operation: str) -> float:
        operator = self.engine(machine, operation) * self.row("machine_values", machine, "operator_factor")
        rake = slow.person_hours(AREA_M2, self.row("operation_values", operation, "work_rate"), 1) * self.pace
        return self.on_site(self.set_up(operation) + operator + rake)

    def by_hand(self, operation: str, amount: float) -> float:
        rate = self.row("operation_values", operation, "work_rate")
        return self.on_site(self.set_up(operation) + slow.person_hours(amount, rate, 1) * self.pace)

    def walk(self, operation: str) -> float:
        whole_visit_m2 = 1000
        share = math.sqrt(AREA_M2 / whole_visit_m2)
        visit = self.row("operation_values", operation, "work_rate")
        return self.on_site(self.set_up(operation) + share * visit * self.pace)

    def heap_t(self, crop_g_per_m2: float) -> float:
        dry_t = crop_g_per_m2 * AREA_M2 / 1e6 * self.row("rates", "cuttings", "collected_share")
        return dry_t * self.row("rates", "cuttings", "fresh_per_dry_ratio")

    def hours(self) -> dict[str, dict[str, float]]:
        """Person-hours by stage and operation."""
        return {
            "setup": {
                "look_and_list": self.walk("look_and_list"),
                "prepare_cut_strimmer": self.with_machine("strimmer", "prepare_cut_strimmer"),
                "rake_arisings_to_heap": self.by_hand("rake_arisings_to_heap", self.heap_t(self.crop_now)),
                "scarify_machine": self.with_machine("pedestrian_scarifier", "scarify_machine"),
                "sow_hand": self.by_hand("sow_hand", AREA_M2),
                "roll_or_tread_hand": self.by_hand("roll_or_tread_hand", AREA_M2),
                "plant_plugs_hand": self.by_hand("plant_plugs_hand", 34),
            },
            "first_year": {
                "first_year_cut_strimmer": 2 * self.with_machine("strimmer", "first_year_cut_strimmer"),
                "pull_weeds_hand": self.by_hand("pull_weeds_hand", AREA_M2),
                "summer_walk": self.walk("summer_walk"),
            },
            "yearly": {
                "yearly_cut_strimmer": self.with_machine("strimmer", "yearly_cut_strimmer"),
                "rake_arisings_to_heap": self.by_hand("rake_arisings_to_heap", self.heap_t(self.crop_later)),
                "summer_walk": self.walk("summer_walk"),
                "pull_weeds_hand": self.by_hand("pull_weeds_hand", AREA_M2),
            },
        }

    # ------------------------------------------------------------ pounds

    def hire_days(self, machine: str, operation: str) -> int:
        work = self.engine(machine, operation) + self.set_up(operation)
        return max(math.ceil(work / self.row("rates", "machines", "machine_day_hours")), 1)

    def hire(self, operation: str) -> float:
        return slow.hire_gbp(self.hire_days("strimmer", operation), self.price("hire_strimmer", "day_price"))

    def fuel(self, machine: str, operation: str) -> float:
        litres = self.engine(machine, operation) * self.row("machine_values", machine, "fuel_use")
        with_oil = 1.15
        return litres * with_oil * self.price("petrol", "price_per_litre")

    def setup_cash(self) -> float:
        # most likely prices: 180 g of flowers as two packs of 100 g, 48 pounds (one and four of 20 g would be 50);
        # 45 g of rattle as three packs of 20 g, 21 pounds (one of 100 g would be 24); 34 plugs as three trays of ten
        # and four single ones, 36.70 pounds (four trays would be 42)
        seed = 2 * self.price("seed_mix_forb_only", "", "0.1")
        seed += 3 * self.price("seed_rattle", "", "0.02")
        plugs = 3 * self.price("plug", "", "10") + 4 * self.price("plug", "", "1")
        sand_kg = self.row("sowing_rates", "carrier", "sand_per_area") * AREA_M2 / 1000
        sand = sand_kg * self.price("sharp_sand", "price_per_kg")
        engines = self.hire("prepare_cut_strimmer") + self.fuel("strimmer", "prepare_cut_strimmer")
        engines += self.fuel("pedestrian_scarifier", "scarify_machine")
        return (seed + plugs + sand + engines) * (1 + self.row("rates", "contingency", "share"))

    def cutting(self, operation: str) -> float:
        return STRIMMER_CUTS[operation] * (self.hire(operation) + self.fuel("strimmer", operation))

    def in_kind(self, stage: str) -> float:
        trained = {*STRIMMER_CUTS, "scarify_machine", "summer_walk"}
        skilled, unskilled = (
            self.row("in_kind_rates", who, "rate_per_hour") for who in ("volunteer_skilled", "volunteer_unskilled")
        )
        hours = self.hours()[stage]
        return sum(h * (skilled if operation in trained else unskilled) for operation, h in hours.items())

    def loan(self) -> float:
        number = self.parameters.number("in_kind_rates", "kit_loan_pedestrian_scarifier", "rate_per_day")
        growth = self.row("rates", "price_growth", "per_year")
        years = (AS_OF - number.valid_from).days / 365.25
        day = self.row("in_kind_rates", "kit_loan_pedestrian_scarifier", "rate_per_day") * (1 + growth) ** years
        return day * self.hire_days("pedestrian_scarifier", "scarify_machine")


def test_hours_of_every_task(parameters: ParameterSet, found: Estimate) -> None:
    tasks = {(done.task.stage, done.task.operation): done.on_site_h for done in found.work.done}
    for d in range(DRAWS):
        plain = ByHand(parameters, found, d).hours()
        assert tasks.keys() == {(stage, operation) for stage in plain for operation in plain[stage]}
        for (stage, operation), hours in tasks.items():
            assert hours[d] == pytest.approx(plain[stage][operation], rel=1e-9), (stage, operation)


def test_sessions(parameters: ParameterSet, found: Estimate) -> None:
    for stage in ("setup", "yearly"):
        held = found.work.stage_sessions(stage)
        for d in range(DRAWS):
            plain = ByHand(parameters, found, d)
            assert held[d] == slow.sessions(sum(plain.hours()[stage].values()), 8, 3.0, plain.came)


def test_cash_and_what_is_given_in_kind(parameters: ParameterSet, found: Estimate) -> None:
    money = found.money
    for d in range(DRAWS):
        plain = ByHand(parameters, found, d)
        setup, first = plain.setup_cash(), plain.cutting("first_year_cut_strimmer")
        yearly = plain.cutting("yearly_cut_strimmer")
        assert money.setup_cash[d] == pytest.approx(setup, rel=1e-9)
        assert money.first_year_cash[d] == pytest.approx(first, rel=1e-9)
        assert money.yearly_cash[d] == pytest.approx(yearly, rel=1e-9)
        assert money.whole_life_cash[d] == pytest.approx(slow.whole_life(setup, first, yearly, 0.035, 10), rel=1e-9)
        assert money.setup_in_kind[d] == pytest.approx(plain.in_kind("setup") + plain.loan(), rel=1e-9)
        assert money.yearly_in_kind[d] == pytest.approx(plain.in_kind("yearly"), rel=1e-9)


def test_live_seeds_of_yellow_rattle(parameters: ParameterSet, found: Estimate) -> None:
    share = parameters.value("mix_contents", "neutral_flowers_with_rattle", "rhinanthus_minor")
    grams = draw(parameters.number("taxon_values", "rhinanthus_minor", "thousand_seed_weight"), WORLD_SEED, DRAWS)
    live = draw(parameters.number("taxon_values", "rhinanthus_minor", "germination_share"), WORLD_SEED, DRAWS)
    for d in range(DRAWS):
        mixed = slow.live_seeds_per_m2(0.18, 0, share, AREA_M2, float(grams[d]), float(live[d]))
        alone = slow.live_seeds_per_m2(0.045, 0, 1, AREA_M2, float(grams[d]), float(live[d]))
        assert found.live_seeds_per_m2["rhinanthus_minor"][d] == pytest.approx(mixed + alone, rel=1e-9)


def test_the_cuttings_of_a_later_year(parameters: ParameterSet, found: Estimate) -> None:
    for d in range(DRAWS):
        plain = ByHand(parameters, found, d)
        tonnes = plain.heap_t(plain.crop_later)
        assert found.heaps.cuttings_t[d] == pytest.approx(tonnes, rel=1e-9)
        assert found.heaps.cuttings_m3[d] == pytest.approx(tonnes * plain.row("rates", "cuttings", "loose_volume"))
    assert found.heaps.spoil_t is None
