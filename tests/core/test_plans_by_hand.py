"""Whole plans worked out again from the descriptions of the tables, draw by draw, with the same draws."""

from datetime import date

import pytest

from modelling.core.estimate import Estimate, estimate
from modelling.core.parameters import ParameterSet
from modelling.core.plan import Aftercare, Crew, Grazing, Plan, PlugItem, Question, SeedItem, Site, Step
from modelling.core.sampling import draw
from tests.core import oracle_quantities as slow
from tests.core.by_hand import ByHand

DRAWS = 60
SITE_SEED, WORLD_SEED = 11, 5
SOW_ON = date(2026, 9, 20)


def worked_out(parameters: ParameterSet, site: Site, plan: Plan, as_of: date) -> Estimate:
    return estimate(parameters, Question(site, plan, as_of, 1.0, 10, DRAWS, SITE_SEED, WORLD_SEED))


def agrees(found: Estimate, d: int, hours: dict[str, dict[str, float]], cash: dict[str, float]) -> None:
    """Whether hours of every task and cash of every stage are those worked out by hand."""
    tasks = {(done.task.stage, done.task.operation): done.on_site_h for done in found.work.done if done.on_site_h.any()}
    assert tasks.keys() == {(stage, operation) for stage in hours for operation in hours[stage]}
    for (stage, operation), drawn in tasks.items():
        assert drawn[d] == pytest.approx(hours[stage][operation], rel=1e-9), (stage, operation)
    money = found.money
    assert money.setup_cash[d] == pytest.approx(cash["setup"], rel=1e-9)
    assert money.first_year_cash[d] == pytest.approx(cash["first_year"], rel=1e-9)
    assert money.yearly_cash[d] == pytest.approx(cash["yearly"], rel=1e-9)
    life = slow.whole_life(cash["setup"], cash["first_year"], cash["yearly"], 0.035, 10)
    assert money.whole_life_cash[d] == pytest.approx(life, rel=1e-9)


# ------------------------------------------------------------------ a churchyard


@pytest.fixture(scope="module")
def churchyard(parameters: ParameterSet) -> Estimate:
    """180 m2 of rank grass: cut with a hired strimmer, scratched with a borrowed scarifier, sown and planted by hand,
    cut twice in the first summer and once a year later, cuttings carried to a heap."""
    plan = Plan(
        preparation=("prepare_cut_strimmer", "scarify_machine"),
        seed=(SeedItem(kg=0.18, mix="neutral_flowers_with_rattle"), SeedItem(kg=0.045, taxon="rhinanthus_minor")),
        plugs=(PlugItem("primula_veris", 34),),
        sow_on=SOW_ON,
        aftercare=Aftercare(first_year_cuts=2, cut_on=(date(2026, 8, 20),), arisings="removed", disposal="heap"),
        crew=Crew(volunteers=8, hours_per_session=3.0),
        kit_to_hand=("pedestrian_scarifier",),
    )
    site = Site(area_m2=180.0, kind="churchyard", sward="rank_grass")
    return worked_out(parameters, site, plan, date(2026, 5, 1))


def churchyard_hours(plain: ByHand) -> dict[str, dict[str, float]]:
    area = 180.0
    return {
        "setup": {
            "look_and_list": plain.walk("look_and_list"),
            "prepare_cut_strimmer": plain.with_machine("strimmer", "prepare_cut_strimmer", area),
            "rake_arisings_to_heap": plain.by_hand("rake_arisings_to_heap", plain.heap_t(plain.crop_now, area)),
            "scarify_machine": plain.with_machine("pedestrian_scarifier", "scarify_machine", area),
            "sow_hand": plain.by_hand("sow_hand", area),
            "roll_or_tread_hand": plain.by_hand("roll_or_tread_hand", area),
            "plant_plugs_hand": plain.by_hand("plant_plugs_hand", 34),
        },
        "first_year": {
            "first_year_cut_strimmer": 2 * plain.with_machine("strimmer", "first_year_cut_strimmer", area),
            # each of the two cuts brings half of the year's growth to the heap
            "rake_arisings_to_heap": 2
            * plain.by_hand("rake_arisings_to_heap", plain.heap_t(plain.crop_first, area) / 2),
            "pull_weeds_hand": plain.by_hand("pull_weeds_hand", area),
            "summer_walk": plain.walk("summer_walk"),
        },
        "yearly": {
            "yearly_cut_strimmer": plain.with_machine("strimmer", "yearly_cut_strimmer", area),
            "rake_arisings_to_heap": plain.by_hand("rake_arisings_to_heap", plain.heap_t(plain.crop_later, area)),
            "summer_walk": plain.walk("summer_walk"),
            "pull_weeds_hand": plain.by_hand("pull_weeds_hand", area),
        },
    }


def churchyard_cash(plain: ByHand) -> dict[str, float]:
    area = 180.0

    def cut(operation: str) -> float:
        return plain.hire("strimmer", operation, area) + plain.fuel("strimmer", operation, area)

    # most likely prices: 180 g of flowers as two packs of 100 g, 48 pounds (one and four of 20 g would be 50); 45 g of
    # rattle as three packs of 20 g, 21 pounds (one of 100 g would be 24); 34 plugs as three trays of ten and four
    # single ones, 36.70 pounds (four trays would be 42)
    seed = 2 * plain.price("seed_mix_forb_only", "", "0.1") + 3 * plain.price("seed_rattle", "", "0.02")
    plugs = 3 * plain.price("plug", "", "10") + 4 * plain.price("plug", "", "1")
    engines = cut("prepare_cut_strimmer") + plain.fuel("pedestrian_scarifier", "scarify_machine", area)
    return {
        "setup": plain.with_contingency(seed + plugs + plain.sand(area) + engines),
        "first_year": 2 * cut("first_year_cut_strimmer"),
        "yearly": cut("yearly_cut_strimmer"),
    }


def test_a_churchyard(parameters: ParameterSet, churchyard: Estimate) -> None:
    for d in range(DRAWS):
        plain = ByHand(parameters, churchyard, d)
        agrees(churchyard, d, churchyard_hours(plain), churchyard_cash(plain))


def test_what_a_churchyard_is_given_in_kind(parameters: ParameterSet, churchyard: Estimate) -> None:
    # from April 2026 an hour counts 12.71, with skill 150 / 7 (rounded) pounds; the scarifier what a day's hire would
    loan = parameters.number("in_kind_rates", "kit_loan_pedestrian_scarifier", "rate_per_day")
    for d in range(DRAWS):
        plain, money = ByHand(parameters, churchyard, d), churchyard.money
        hours = churchyard_hours(plain)
        day = plain.row("in_kind_rates", "kit_loan_pedestrian_scarifier", "rate_per_day")
        lent = day * plain.grown((plain.as_of - loan.valid_from).days)
        lent *= plain.hire_days("pedestrian_scarifier", "scarify_machine", 180.0)
        assert money.setup_in_kind[d] == pytest.approx(plain.in_kind(hours["setup"], 21.43, 12.71) + lent, rel=1e-9)
        assert money.yearly_in_kind[d] == pytest.approx(plain.in_kind(hours["yearly"], 21.43, 12.71), rel=1e-9)


def test_sessions_of_a_churchyard(parameters: ParameterSet, churchyard: Estimate) -> None:
    for stage in ("setup", "yearly"):
        held = churchyard.work.stage_sessions(stage)
        for d in range(DRAWS):
            plain = ByHand(parameters, churchyard, d)
            hours = sum(churchyard_hours(plain)[stage].values())
            assert held[d] == slow.sessions(hours, 8, 3.0, plain.came)


def test_live_seeds_of_yellow_rattle(parameters: ParameterSet, churchyard: Estimate) -> None:
    share = parameters.value("mix_contents", "neutral_flowers_with_rattle", "rhinanthus_minor")
    grams = draw(parameters.number("taxon_values", "rhinanthus_minor", "thousand_seed_weight"), WORLD_SEED, DRAWS)
    live = draw(parameters.number("taxon_values", "rhinanthus_minor", "germination_share"), WORLD_SEED, DRAWS)
    for d in range(DRAWS):
        mixed = slow.live_seeds_per_m2(0.18, 0, share, 180.0, float(grams[d]), float(live[d]))
        alone = slow.live_seeds_per_m2(0.045, 0, 1, 180.0, float(grams[d]), float(live[d]))
        assert churchyard.live_seeds_per_m2["rhinanthus_minor"][d] == pytest.approx(mixed + alone, rel=1e-9)


def test_the_cuttings_of_a_later_year(parameters: ParameterSet, churchyard: Estimate) -> None:
    heaps = churchyard.heaps
    for d in range(DRAWS):
        plain = ByHand(parameters, churchyard, d)
        tonnes = plain.heap_t(plain.crop_later, 180.0)
        assert heaps.cuttings_t[d] == pytest.approx(tonnes, rel=1e-9)
        assert heaps.cuttings_m3[d] == pytest.approx(tonnes * plain.row("rates", "cuttings", "loose_volume"))
    assert heaps.spoil_t is None


# ------------------------------------------------------------------ a verge


@pytest.fixture(scope="module")
def verge(parameters: ParameterSet) -> Estimate:
    """600 m2: soil tested, turf stripped and taken away, sown; two cuts a year, a fifth left, cuttings to the tip."""
    steps = (
        Step(date(2026, 6, 1), operation="soil_test"),
        Step(date(2026, 9, 6), operation="strip_turf_machine"),
        Step(SOW_ON, seed=(SeedItem(kg=2.0, mix="neutral_meadow"),)),
    )
    care = Aftercare(first_year_cuts=1, cut_month=(6, 9), arisings="removed", disposal="green_waste", refuge_share=0.2)
    plan = Plan(steps=steps, aftercare=care, crew=Crew(10, 3.0))
    return worked_out(parameters, Site(area_m2=600.0, kind="verge"), plan, date(2026, 5, 1))


def verge_spoil_t(plain: ByHand) -> float:
    return 600.0 * plain.row("rates", "turf_spoil", "depth") * plain.row("rates", "turf_spoil", "density")


def test_a_verge(parameters: ParameterSet, verge: Estimate) -> None:
    mown = 600.0 * 0.8
    for d in range(DRAWS):
        plain = ByHand(parameters, verge, d)
        spoil_t, each_cut_t = verge_spoil_t(plain), plain.heap_t(plain.crop_later, mown) / 2
        first_cut_t = plain.heap_t(plain.crop_first, 600.0)
        hours = {
            "setup": {
                "look_and_list": plain.walk("look_and_list"),
                "soil_test": plain.visits("soil_test", 1),
                "strip_turf_machine": plain.with_machine("turf_cutter", "strip_turf_machine", 600.0),
                "spoil_off_site": plain.by_hand("spoil_off_site", spoil_t),
                "sow_hand": plain.by_hand("sow_hand", 600.0),
                "roll_or_tread_hand": plain.by_hand("roll_or_tread_hand", 600.0),
            },
            "first_year": {
                "first_year_cut_strimmer": plain.with_machine("strimmer", "first_year_cut_strimmer", 600.0),
                "arisings_green_waste_site": plain.by_hand("arisings_green_waste_site", first_cut_t),
                "pull_weeds_hand": plain.by_hand("pull_weeds_hand", 600.0),
                "summer_walk": plain.walk("summer_walk"),
            },
            "yearly": {
                "yearly_cut_strimmer": 2 * plain.with_machine("strimmer", "yearly_cut_strimmer", mown),
                "arisings_green_waste_site": 2 * plain.by_hand("arisings_green_waste_site", each_cut_t),
                "summer_walk": plain.walk("summer_walk"),
                "pull_weeds_hand": plain.by_hand("pull_weeds_hand", 600.0),
            },
        }
        strip = ("turf_cutter", "strip_turf_machine", 600.0)
        first, later = ("strimmer", "first_year_cut_strimmer", 600.0), ("strimmer", "yearly_cut_strimmer", mown)
        # the trailer for a day each time: its own work is not timed
        trailer, gate = (
            slow.hire_gbp(1, plain.price("hire_trailer", "day_price")),
            plain.price("green_waste_gate", "price_per_t"),
        )
        tip, first_tip = (trailer + tonnes * gate for tonnes in (each_cut_t, first_cut_t))
        setup = plain.price("soil_test", "", "1") + plain.hire(*strip) + plain.fuel(*strip) + plain.sand(600.0)
        setup += spoil_t * plain.price("spoil_disposal", "price_per_t")
        setup += 2 * plain.price("seed_mix_grass_and_forb", "", "1")
        cash = {
            "setup": plain.with_contingency(setup),
            "first_year": plain.hire(*first) + plain.fuel(*first) + first_tip,
            "yearly": 2 * (plain.hire(*later) + plain.fuel(*later) + tip),
        }
        agrees(verge, d, hours, cash)


def test_spoil_and_cuttings_of_a_verge(parameters: ParameterSet, verge: Estimate) -> None:
    heaps = verge.heaps
    assert heaps.spoil_t is not None
    assert heaps.spoil_m3 is not None
    for d in range(DRAWS):
        plain = ByHand(parameters, verge, d)
        assert heaps.spoil_t[d] == pytest.approx(verge_spoil_t(plain))
        loose = plain.row("rates", "turf_spoil", "bulking_ratio")
        assert heaps.spoil_m3[d] == pytest.approx(600.0 * plain.row("rates", "turf_spoil", "depth") * loose)
        assert heaps.cuttings_t[d] == pytest.approx(plain.heap_t(plain.crop_later, 480.0))
    assert verge.work.spoil_away_gbp is None


def test_a_small_or_farmed_piece_keeps_its_spoil_and_says_what_carting_would_cost(parameters: ParameterSet) -> None:
    plan = Plan(preparation=("strip_turf_hand",), sow_on=SOW_ON)
    for site in (Site(300.0, kind="verge"), Site(900.0, kind="field")):
        found = worked_out(parameters, site, plan, date(2026, 5, 1))
        operations = [done.task.operation for done in found.work.done]
        assert "spoil_heap_on_site" in operations
        assert "spoil_off_site" not in operations
        assert "spoil_disposal" not in [line.key for line in found.work.lines]
        for d in range(0, DRAWS, 7):
            plain = ByHand(parameters, found, d)
            tonnes = plain.area_m2 * plain.row("rates", "turf_spoil", "depth")
            tonnes *= plain.row("rates", "turf_spoil", "density")
            away = tonnes * plain.price("spoil_disposal", "price_per_t")
            assert found.work.spoil_away_gbp[d] == pytest.approx(away)


def test_an_excavator_loads_its_own_spoil(parameters: ParameterSet) -> None:
    plan = Plan(preparation=("strip_turf_excavator",), sow_on=SOW_ON)
    found = worked_out(parameters, Site(900.0, kind="verge"), plan, date(2026, 5, 1))
    assert not {"spoil_off_site", "spoil_heap_on_site"} & {done.task.operation for done in found.work.done}
    away = next(line for line in found.work.lines if line.key == "spoil_disposal")
    for d in range(0, DRAWS, 7):
        plain = ByHand(parameters, found, d)
        tonnes = 900.0 * plain.row("rates", "topsoil_spoil", "depth") * plain.row("rates", "topsoil_spoil", "density")
        assert away.gross_gbp[d] == pytest.approx(tonnes * plain.price("spoil_disposal", "price_per_t"))


# ------------------------------------------------------------------ a field


@pytest.fixture(scope="module")
def field(parameters: ParameterSet) -> Estimate:
    """2.5 ha by contractors, before the wage rise of April 2026; sheep on the aftermath behind a bought fence."""
    care = Aftercare(
        first_year_cuts=2,
        cut_on=(date(2026, 8, 20),),
        arisings="removed",
        disposal="farmer",
        aftermath_grazing=Grazing("sheep", fence=False),
    )
    plan = Plan(
        preparation=("prepare_cut_tractor", "harrow_tractor"),
        seed=(SeedItem(kg=25.0, mix="neutral_flowers_with_rattle"),),
        sow_on=SOW_ON,
        aftercare=care,
        crew=Crew(6, 3.0),
    )
    return worked_out(parameters, Site(area_m2=25_000.0, kind="field"), plan, date(2026, 2, 1))


def field_hours(plain: ByHand) -> dict[str, dict[str, float]]:
    """A contractor's own hours are in the price, and his collector tips what is no hay on a heap."""
    around = 4 * 25_000.0**0.5
    graze = plain.row("operation_values", "aftermath_graze", "passes")
    hay_t = plain.dry_t(plain.crop_later, 25_000.0)
    return {
        "setup": {
            "look_and_list": plain.walk("look_and_list"),
        },
        "first_year": {
            "pull_weeds_hand": plain.by_hand("pull_weeds_hand", 25_000.0),
            "summer_walk": plain.walk("summer_walk"),
        },
        "yearly": {
            "arisings_to_farmer_hay": plain.by_hand("arisings_to_farmer_hay", hay_t),
            "summer_walk": plain.walk("summer_walk"),
            "pull_weeds_hand": plain.by_hand("pull_weeds_hand", 25_000.0),
            "aftermath_graze": plain.visits("aftermath_graze", graze),
            "fence_temporary": plain.by_hand("fence_temporary", around),
        },
    }


def test_a_field(parameters: ParameterSet, field: Estimate) -> None:
    for d in range(DRAWS):
        plain = ByHand(parameters, field, d)
        works = ("prepare_cut_tractor", "harrow_tractor", "sow_tractor_broadcast", "roll_tractor")
        # 25 kg as two packs of 10 kg and five of 1 kg, 3,575 pounds (three of 10 kg would be 4,200)
        seed = 2 * plain.price("seed_mix_forb_only", "", "10") + 5 * plain.price("seed_mix_forb_only", "", "1")
        fence = 4 * 25_000.0**0.5 * plain.price("temporary_fence", "price_per_m")
        cash = {
            # the fence is bought once
            "setup": plain.with_contingency(seed + fence + sum(plain.contract(work) for work in works)),
            "first_year": 2 * plain.contract("first_year_cut_tractor"),
            "yearly": plain.contract("yearly_cut_tractor_bale"),
        }
        agrees(field, d, field_hours(plain), cash)


def test_what_a_field_is_given_in_kind_before_the_wage_rise(parameters: ParameterSet, field: Estimate) -> None:
    # national living wage, 21 and over: 12.21 until March 2026
    for d in range(DRAWS):
        plain = ByHand(parameters, field, d)
        hours = field_hours(plain)
        assert field.money.setup_in_kind[d] == pytest.approx(plain.in_kind(hours["setup"], 21.43, 12.21), rel=1e-9)
        assert field.money.yearly_in_kind[d] == pytest.approx(plain.in_kind(hours["yearly"], 21.43, 12.21), rel=1e-9)


def test_a_contractor_does_not_come_for_less_than_his_least_charge(parameters: ParameterSet) -> None:
    plan = Plan(preparation=("harrow_tractor",), sow_on=SOW_ON)
    found = worked_out(parameters, Site(2100.0, kind="field"), plan, date(2026, 5, 1))
    charge = next(line for line in found.work.lines if line.key == "harrow_tractor")
    for d in range(DRAWS):
        least = ByHand(parameters, found, d).price("contract_harrow_tractor", "call_out_minimum")
        assert charge.gross_gbp[d] == pytest.approx(least)


# ------------------------------------------------------------------ odd jobs


def amounts(found: Estimate, operation: str) -> list[float]:
    return [float(done.task.amount.mean()) for done in found.work.done if done.task.operation == operation]


def test_days_of_hire_count_getting_ready(parameters: ParameterSet) -> None:
    plan = Plan(preparation=("strip_turf_machine",), sow_on=SOW_ON)
    found = worked_out(parameters, Site(1900.0, kind="green"), plan, date(2026, 5, 1))
    (cutter,) = (done.machine for done in found.work.done if done.machine and done.machine.machine == "turf_cutter")
    ready_matters = 0
    for d in range(DRAWS):
        plain = ByHand(parameters, found, d)
        days = plain.hire_days("turf_cutter", "strip_turf_machine", 1900.0)
        assert cutter.hire_days[d] == days
        engine = plain.engine("turf_cutter", "strip_turf_machine", 1900.0)
        ready_matters += days != -(-engine // plain.row("rates", "machines", "machine_day_hours"))
    assert ready_matters > 0


def test_sheet_is_bought_with_its_overlap(parameters: ParameterSet) -> None:
    plan = Plan(preparation=("smother_sheet",), sow_on=SOW_ON)
    found = worked_out(parameters, Site(150.0, kind="school"), plan, date(2026, 4, 1))
    sheet = next(line for line in found.work.lines if line.key == "black_sheet")
    for d in range(0, DRAWS, 7):
        plain = ByHand(parameters, found, d)
        bought_m2 = 150.0 * plain.row("rates", "black_sheet", "overlap_ratio")
        assert sheet.gross_gbp[d] == pytest.approx(bought_m2 * plain.price("black_sheet", "price_per_m2"))


def test_what_stock_eat_need_not_be_carried(parameters: ParameterSet) -> None:
    def carried(preparation: str) -> list[str]:
        plan = Plan(preparation=(preparation,), sow_on=SOW_ON, aftercare=Aftercare(disposal="heap"))
        found = worked_out(parameters, Site(400.0, kind="orchard"), plan, date(2026, 5, 1))
        return [done.task.operation for done in found.work.done if done.task.stage == "setup"]

    assert "rake_arisings_to_heap" in carried("prepare_cut_strimmer")
    assert "rake_arisings_to_heap" not in carried("graze_hard")


def test_cuttings_left_lying_make_no_heap_and_no_work(parameters: ParameterSet) -> None:
    care = Aftercare(arisings="left", disposal="heap")
    found = worked_out(parameters, Site(400.0, kind="orchard"), Plan(aftercare=care), date(2026, 5, 1))
    assert found.heaps.cuttings_t.max() == found.heaps.cuttings_m3.max() == 0
    assert not [d for d in found.work.done if (d.task.operation, d.task.stage) == ("rake_arisings_to_heap", "yearly")]


def test_each_planting_is_of_its_own_plugs(parameters: ParameterSet) -> None:
    def plugs(count: int, zone: str | None, on: date = SOW_ON) -> Step:
        share = 1.0 if zone is None else 0.5
        return Step(on, plugs=(PlugItem("primula_veris", count),), area_share=share, zone=zone)

    steps = (plugs(100, "bank"), plugs(40, "hollow"), plugs(7, None, date(2026, 10, 1)))
    found = worked_out(parameters, Site(400.0), Plan(steps=steps), date(2026, 5, 1))
    assert sorted(amounts(found, "plant_plugs_hand")) == [7, 40, 100]


def test_one_planting_named_for_the_whole_day_is_of_all_its_plugs(parameters: ParameterSet) -> None:
    def plugs(count: int, zone: str) -> Step:
        return Step(SOW_ON, plugs=(PlugItem("primula_veris", count),), area_share=0.5, zone=zone)

    steps = (plugs(100, "bank"), plugs(40, "hollow"), Step(SOW_ON, operation="plant_plugs_hand"))
    found = worked_out(parameters, Site(400.0), Plan(steps=steps), date(2026, 5, 1))
    assert amounts(found, "plant_plugs_hand") == [140]


def test_a_fence_among_the_steps_goes_round_its_ground(parameters: ParameterSet) -> None:
    fence = Step(date(2026, 9, 1), operation="fence_temporary", area_share=0.25, zone="corner")
    found = worked_out(parameters, Site(1600.0), Plan(steps=(fence,)), date(2026, 5, 1))
    assert amounts(found, "fence_temporary") == [pytest.approx(4 * 20)]


def test_later_years_are_dated_after_the_first_summer(churchyard: Estimate) -> None:
    on = {(done.task.stage, done.task.operation): done.task.on for done in churchyard.work.done}
    assert on["first_year", "summer_walk"].year == 2027
    assert on["yearly", "summer_walk"] == date(2028, 6, 20)
    assert on["yearly", "yearly_cut_strimmer"] == date(2028, 8, 20)


def test_unsown_ground_has_its_hay_cut_in_the_first_summer_too(parameters: ParameterSet) -> None:
    plan = Plan(seed=(), preparation=(), aftercare=Aftercare(cut_month=(8,)))
    found = worked_out(parameters, Site(600.0, kind="churchyard"), plan, date(2026, 5, 1))
    by_stage = {
        stage: [done.task.operation for done in found.work.done if done.task.stage == stage]
        for stage in ("first_year", "yearly")
    }
    for operations in by_stage.values():
        assert operations[:2] == ["yearly_cut_strimmer", "rake_arisings_to_heap"]
    assert found.money.first_year_cash.mean() == pytest.approx(found.money.yearly_cash.mean())


def test_a_farmer_gets_the_hay_and_not_the_first_cuttings(parameters: ParameterSet) -> None:
    care = Aftercare(disposal="farmer")
    found = worked_out(parameters, Site(1500.0, kind="field", gate_width_m=1.5), Plan(aftercare=care), SOW_ON)
    went = {(done.task.stage, done.task.operation) for done in found.work.done}
    assert {("setup", "rake_arisings_to_heap"), ("first_year", "rake_arisings_to_heap")} <= went
    assert ("yearly", "arisings_to_farmer_hay") in went
    assert not went & {("setup", "arisings_to_farmer_hay"), ("first_year", "arisings_to_farmer_hay")}
    for d in range(0, DRAWS, 7):
        plain = ByHand(parameters, found, d)
        hay = plain.dry_t(plain.crop_later, 1500.0) * plain.row("rates", "cuttings", "hay_per_dry_ratio")
        assert found.heaps.hay_t[d] == pytest.approx(hay)
