"""Change one thing, and the model must move the way the published trials did: the establishment core alone.

Each test names the study it is judged by. Margins are wide where the study is small or its summary is vague.
"""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from modelling.core.establishment import KEPT, USUAL, Establishment, Planting, Preparation, Sowing, Zone
from modelling.core.establishment import Care as YearlyCare
from modelling.core.parameters import load
from modelling.trials import RATTLE_TAXON, REFERENCE, Bench, mix, sow

DRAWS = 1000
FORBS = mix("d", reliable=14, pioneer=1, legume=2, slow=2)
GRASSES = mix("d", grass=6)
MEADOW = (*FORBS, *GRASSES)
SOWING = sow(forbs=(FORBS, 30), grasses=(GRASSES, 100))
SPECK_M2 = 1e-6


@pytest.fixture(scope="module")
def bench() -> Bench:
    return Bench(load(REFERENCE), DRAWS)


def sown(result: Establishment, year: int, forecast: int = KEPT) -> float:
    """Middle number of sown species seen per quadrat."""
    return float(np.median(result.sown_species[forecast, year - 1]))


def rattle(result: Establishment, year: int, forecast: int = KEPT) -> float:
    """Mean plants of yellow rattle per m2."""
    return float(result.rattle[forecast, year - 1].mean())


def plants_per_seed(bench: Bench, *, tall: bool = False, bare: float = 0.05, regime: str = "hay") -> float:
    """Seedlings per seed before competition, eight easy forbs on a middling site."""
    ground = bench.ground(crop=0, bare=bare, tall=tall, quality=bench.full(0))
    taxa = mix("e", reliable=8)
    result = bench.run(ground, taxa, (sow(all=(taxa, 1)),), regime=regime, years=1, quadrat=SPECK_M2)
    return float(np.mean(result.sown_species[KEPT, 0])) / SPECK_M2 / len(taxa)


def test_cutting_tall_grass_to_the_ground_lets_many_times_more_seed_come_up(bench: Bench) -> None:
    # Hutchings and Booth 1996: 0.1 to 1.8 % in tall vegetation, 7 to 45 % where cut to the ground
    tall = plants_per_seed(bench, tall=True, bare=0.003, regime="uncut")
    cut = plants_per_seed(bench, bare=0.3)
    assert 8 < cut / tall < 100


def test_killing_a_short_sward_helps_a_little(bench: Bench) -> None:
    # Hofmann and Isselstein 2004, Applied Vegetation Science: 1.7 times, from 1.0 to 3.2
    assert 1.2 < plants_per_seed(bench, bare=0.8) / plants_per_seed(bench, bare=0.05) < 2.2


def test_stripping_brings_up_no_more_seedlings_than_harrowing(bench: Bench) -> None:
    # Hofmann and Isselstein 2004: complete removal of the sward no better than harrowing
    assert 1.0 <= plants_per_seed(bench, bare=1.0) / plants_per_seed(bench, bare=0.5) < 1.2


def broadleaved(bench: Bench, operation: str, p_index: float) -> np.ndarray:
    ground = bench.ground(p_index=3, grasses_counted=False)
    ground = replace(ground, p_index=bench.full(p_index))
    works = (bench.work(operation),) if operation else ()
    sowings = (sow(forbs=(FORBS, 20)),) if operation else ()
    return bench.run(ground, FORBS, sowings, works=works, quadrat=12).species[KEPT].mean(axis=0)


def test_stripped_turf_on_rich_soil_carries_more_broadleaved_species(bench: Bench) -> None:
    # Hopkins and others 1999: 16 against 7 undisturbed and unsown; 19.5 against 14 cultivated and sown
    stripped, tilled = broadleaved(bench, "strip_turf_machine", 2), broadleaved(bench, "rotavate_tractor", 3)
    control = broadleaved(bench, "", 3)
    assert np.median(stripped / control) > 1.5
    assert np.median(stripped / tilled) > 1.03


def test_the_second_half_of_the_ground_bared_gains_less_than_the_first(bench: Bench) -> None:
    # Hofmann and Isselstein 2004: no gain from harrowed to fully removed
    def year(bare: float) -> float:
        return sown(bench.run(bench.ground(crop=450), MEADOW, (SOWING,), works=(bench.bared(bare),)), 2)

    nothing, half, whole = year(0.02), year(0.5), year(1.0)
    assert half - nothing > whole - half > 0
    # prepared in August and sown in November: some of it has closed again
    assert nothing < year(0.34) < half


def test_forty_times_the_seed_is_one_and_a_half_times_the_species(bench: Bench) -> None:
    # Stevenson, Bullock and Ward 1995: 20 to 33 chalk species per 2 m2 from 0.1 to 4 g/m2
    taxa = mix("c", reliable=26, pioneer=6, legume=4, slow=7, slow_grass=4)
    ground = bench.ground(crop=250, bare=1.0, arable=True)

    def year(seeds: float) -> float:
        return sown(bench.run(ground, taxa, (sow(all=(taxa, seeds)),), years=1, quadrat=2), 1)

    assert 1.3 < year(96) / year(2.4) < 2.5


def test_twice_the_seed_is_one_to_three_species_more(bench: Bench) -> None:
    # Stevenson, Bullock and Ward 1995: about 3.5 species per 2 m2 for each factor e
    def year(seeds: float) -> float:
        sowing = sow(all=(MEADOW, seeds))
        return sown(bench.run(bench.ground(crop=450), MEADOW, (sowing,), works=(bench.bared(0.5),)), 2)

    assert 0.7 < year(60) - year(30) < 3.2


def rattle_alone(bench: Bench, seeds: float, crop: float = 400, years: int = 10, **options: object) -> Establishment:
    late = bool(options.pop("late", False))
    mown_early = bool(options.pop("mown_early", False))
    sowing = Sowing(1, {RATTLE_TAXON.key: seeds}, late, mown_early)
    return bench.run(
        bench.ground(crop=crop), (RATTLE_TAXON,), (sowing,), works=(bench.bared(0.5),), years=years, **options
    )


def test_more_rattle_seed_is_a_better_start_and_the_gap_closes(bench: Bench) -> None:
    # Pywell and others 2004: 0.1 kg/ha established less than 0.5 to 2.5 kg/ha, level after four years (there the
    # plots also seeded each other, which one site by itself cannot do)
    thin, thick = rattle_alone(bench, 2.7), rattle_alone(bench, 69)
    start, end = rattle(thin, 1) / rattle(thick, 1), rattle(thin, 8) / rattle(thick, 8)
    assert start < 0.1
    assert end > 4 * start


def test_rattle_sown_in_spring_fails(bench: Bench) -> None:
    # Fenner and Spellerberg 1988: none from a March sowing; ter Borg 2005: two to six months of cold needed
    assert rattle(rattle_alone(bench, 100, late=True), 1) < 0.01 * rattle(rattle_alone(bench, 100), 1)


def test_thick_rattle_takes_about_a_third_of_the_crop(bench: Bench) -> None:
    # Hellstrom, Bullock and Pywell 2011: 32 % (27 to 37); Ameloot, Verheyen and Hermy 2005: 26 % in all
    thick = rattle_alone(bench, 1000, crop=350)
    there = thick.rattle[KEPT, 2] > 20
    without = bench.run(bench.ground(crop=350), (), works=(bench.bared(0.5),), years=3)
    loss = 1 - thick.crop[KEPT, 2, there] / without.crop[KEPT, 2, there]
    assert 0.2 < np.median(loss) < 0.42


def test_rattle_in_a_grassy_short_sward_brings_forbs_up_to_threefold(bench: Bench) -> None:
    # Pywell and others 2004: introduced forbs 1.4 to 1.8 per m2 without, 4.2 to 5.8 with rattle
    def forbs(seeds: float) -> np.ndarray:
        first = Sowing(1, {RATTLE_TAXON.key: seeds})
        result = bench.run(
            bench.ground(crop=450, bare=0.06),
            (*FORBS, RATTLE_TAXON),
            (first, sow(3, forbs=(FORBS, 40))),
            years=4,
        )
        own = result.rattle[KEPT] / (1 + result.rattle[KEPT])
        return (result.sown_species[KEPT] - own)[2:].mean(axis=0)

    assert 1.15 < forbs(2000).mean() / forbs(0).mean() < 3.2


def test_rattle_adds_nothing_much_on_top_of_power_harrowing(bench: Bench) -> None:
    # Pywell and others 2007: 9.1 to 16.0 with, 11.0 to 16.2 without rattle, no difference in any year
    def total(seeds: float) -> float:
        sowing = Sowing(1, {**SOWING.live_seeds_per_m2, RATTLE_TAXON.key: seeds})
        ground = bench.ground(crop=550, p_index=2)
        works = (bench.work("power_harrow_tractor"),)
        result = bench.run(ground, (*MEADOW, RATTLE_TAXON), (sowing,), works=works, years=4)
        return float(result.species[KEPT].mean())

    assert 0.9 < total(66) / total(0) < 1.16


def test_rattle_is_held_less_the_richer_the_crop(bench: Bench) -> None:
    # Mudrak and others 2014: no lasting population above 500 g/m2; Westbury and others 2006: 0 of 4 improved
    # swards kept it
    held = [rattle_alone(bench, 100, crop).rattle_held[KEPT, 9].mean() for crop in (300, 450, 600, 750)]
    assert all(poorer > richer + 0.03 for poorer, richer in itertools.pairwise(held))
    assert held[0] > 0.75
    assert held[3] < 0.2


def test_one_early_cut_all_but_ends_rattle_and_a_refuge_saves_it(bench: Bench) -> None:
    # Strykstra, Bekker and Verweij 1996: seed rarely lives over a year in the soil
    left_to_shed = rattle_alone(bench, 100)
    cut_early = rattle_alone(bench, 100, regime="early_cut")
    refuge = rattle_alone(bench, 100, regime="early_cut", refuge=0.1)
    assert rattle(cut_early, 2) < 0.1 * rattle(left_to_shed, 2)
    assert cut_early.rattle_held[KEPT, 4].mean() < 0.1
    assert refuge.rattle_held[KEPT, 4].mean() > 0.6


def test_rattle_builds_up_peaks_and_falls_back(bench: Bench) -> None:
    # Acta Botanica Neerlandica 1985, 34:5-22 (four years of Rhinanthus angustifolius): build-up, abundance, decline
    result = rattle_alone(bench, 100, 450).rattle[KEPT]
    density = np.median(result[:, result[0] > 0], axis=-1)
    peak = int(density.argmax()) + 1
    assert 2 <= peak <= 6
    assert density[peak - 1] > 1.2 * density[0]
    assert density[9] < 0.85 * density[peak - 1]


def test_cuttings_left_lying_cost_species(bench: Bench) -> None:
    # Warren, Christal and Wilson 2002: 3.4 with the August cut taken off, 2.3 with it left, year 6
    taxa = mix("w", reliable=7, legume=1, slow=2, grass=4)
    ground = bench.ground(crop=500, bare=1.0, arable=True)
    sowing = sow(all=(taxa, 40))
    off, left = (sown(bench.run(ground, taxa, (sowing,), regime=key, years=6), 6) for key in ("hay", "cut_left"))
    assert 1.2 < off / left < 3.5


def test_first_year_mowing_helps_perennials_and_takes_rattle_sown_with_them(bench: Bench) -> None:
    # Hofmann and Isselstein 2005: 4.3 times the plants of 5 of 7 forbs, weekly against nine-weekly
    taxa = mix("m", reliable=7)

    def plants(cuts: float) -> float:
        result = bench.run(bench.ground(crop=550), taxa, (sow(all=(taxa, 1)),), years=1, quadrat=SPECK_M2, cuts=cuts)
        return float(np.median(result.sown_species[KEPT, 0]))

    assert 1.8 < plants(26) / plants(3) < 6
    late = rattle(rattle_alone(bench, 100, cuts=4), 2)
    # sown rattle is gone the year after, but for a plant or two where the mower came only now and then
    assert rattle(rattle_alone(bench, 100, cuts=4, mown_early=True), 2) == 0
    assert 0 < rattle(rattle_alone(bench, 100, cuts=3, mown_early=True), 2) < 0.02 * late


def test_annuals_mown_in_their_first_summer_do_not_seed(bench: Bench) -> None:
    annuals = mix("n", annual=3)
    ground = bench.ground(crop=300, bare=1.0)

    def second_year(mown_early: bool) -> float:
        sowing = Sowing(1, {t.key: 60.0 for t in annuals}, mown_early=mown_early)
        return sown(bench.run(ground, annuals, (sowing,), cuts=4), 2)

    assert second_year(mown_early=True) < second_year(mown_early=False)


def test_grazing_the_aftermath_lets_more_seedlings_live(bench: Bench) -> None:
    # Silvertown and others 1992: 9 % against 2 % of sown seed alive at 14 months. The model has no winter grazing
    # of its own, only its lower crop and opener turf, so it moves the right way and not far enough
    taxa = mix("g", reliable=5)
    ground = bench.ground(crop=450)
    grazed, not_grazed = (
        np.mean(bench.run(ground, taxa, (sow(all=(taxa, 1)),), regime=key, quadrat=SPECK_M2).sown_species[KEPT, 1])
        for key in ("hay_aftermath", "hay")
    )
    assert grazed / not_grazed > 1.15


def test_rich_soil_lowers_the_chance_of_nine_and_of_fifteen_species(bench: Bench) -> None:
    # Natural England Technical Information Note 50: go ahead at P index 0 or 1, at 2 only by exception
    def chances(p_index: float) -> tuple[float, float]:
        ground = bench.ground(p_index=p_index)
        fifth = bench.run(ground, MEADOW, (SOWING,), works=(bench.bared(0.5),), years=5).species_1m2[KEPT, 4]
        return float((fifth >= 9).mean()), float((fifth >= 15).mean())

    (nine_poor, fifteen_poor), (nine_rich, fifteen_rich) = chances(1), chances(3)
    assert nine_rich < nine_poor - 0.08
    assert fifteen_rich < 0.6 * fifteen_poor


def test_sown_ground_has_more_of_the_list_than_unsown(bench: Bench) -> None:
    # Warren, Christal and Wilson 2002: 4.9 sown, 1.8 unsown per m2 in year 6
    taxa = mix("u", reliable=7, legume=1, slow=2, grass=4)
    ground = bench.ground(crop=500, bare=1.0, arable=True)
    with_seed = sown(bench.run(ground, taxa, (sow(all=(taxa, 40)),), years=6), 6)
    without = sown(bench.run(ground, taxa, years=6), 6)
    assert 0.3 < without < 3
    assert with_seed > 1.5 * without


def test_good_mowing_without_seed_gains_slowly_and_nothing_at_all_loses(bench: Bench) -> None:
    # Costley 2015: ten herbs in eleven years over a whole field beside rich land: hardly seen in one m2
    ground = replace(bench.ground(crop=450), distance_m=bench.full(50))
    mown = bench.run(ground, (), years=10).species[KEPT]
    uncut = bench.run(ground, (), years=10, regime="uncut").species[KEPT]
    yearly_gain = (np.median(mown[9]) - np.median(mown[0])) / 9
    assert 0 < yearly_gain < 0.3
    assert np.median(uncut[9]) <= np.median(uncut[0])


def test_plugs_beat_seed_for_slow_species_and_not_for_easy_ones(bench: Bench) -> None:
    # Wallin, Svensson and Lonn 2009: after two seasons two plugs a subplot held 81 to 100 %, fifty seeds 33 to 45 %;
    # Fenner and Spellerberg 1988: ox-eye daisy, selfheal and lady's bedstraw better from seed
    subplot_m2 = 0.18 * 0.18
    ground = bench.ground(crop=200, bare=0.1)

    def held(model_class: str) -> tuple[float, float]:
        taxa = mix("p", **{model_class: 4})
        planting = Planting(1, {t.key: 2 / subplot_m2 for t in taxa})
        plugs = bench.run(ground, taxa, plantings=(planting,), quadrat=subplot_m2)
        seed = bench.run(ground, taxa, (sow(all=(taxa, 50 / subplot_m2)),), quadrat=subplot_m2)
        return float(plugs.sown_species[KEPT, 1].mean()), float(seed.sown_species[KEPT, 1].mean())

    slow_plugs, slow_seed = held("slow")
    easy_plugs, easy_seed = held("reliable")
    assert slow_plugs > 1.2 * slow_seed
    assert easy_plugs < 1.2 * easy_seed


def test_cornfield_annuals_colour_one_summer_and_are_no_nurse(bench: Bench) -> None:
    # trade notes (common practice): few in year 2, odd plants in year 3; Pywell and others 2002: no benefit of a nurse
    annuals = mix("a", annual=4)
    ground = bench.ground(crop=400, bare=0.9)
    sowing = sow(all=(annuals, 25))
    seen = bench.run(ground, annuals, (sowing,), years=4, quadrat=SPECK_M2).sown_species[KEPT].mean(axis=-1)
    assert seen[1] < 0.35 * seen[0]
    assert seen[2] < 0.15 * seen[0]
    together = Sowing(1, {**SOWING.live_seeds_per_m2, **sowing.live_seeds_per_m2})
    alone = bench.run(ground, MEADOW, (SOWING,), years=5).sown_species[KEPT, 4]
    nursed = bench.run(ground, (*MEADOW, *annuals), (together,), years=5).sown_species[KEPT, 4]
    assert nursed.mean() - alone.mean() < 0.3


def test_a_larger_site_has_the_same_species_in_a_square_metre(bench: Bench) -> None:
    def fifth(area: float) -> float:
        ground = bench.ground(crop=450, area=area)
        result = bench.run(ground, MEADOW, (SOWING,), works=(bench.bared(0.5),), years=5)
        return float(np.median(result.species[KEPT, 4]))

    assert fifth(2000) == pytest.approx(fifth(1000), rel=0.02)


def test_two_halves_treated_alike_are_the_whole(bench: Bench) -> None:
    ground = bench.ground(crop=450)
    prepared = Preparation(1, bench.full(0.5), bench.full(0), bench.full(0.9), opens_tall_sward=True)

    def split(*shares: float) -> Establishment:
        zones = tuple(Zone(share, (prepared,), (SOWING,)) for share in shares)
        care = YearlyCare("hay", 2)
        return bench.run_zones(ground, MEADOW, zones, site=1, care=care, years=5, quadrat=1.0)

    whole, halves = split(1.0), split(0.5, 0.5)
    assert np.allclose(halves.sown_species, whole.sown_species, rtol=1e-9)


def test_an_unsown_strip_gains_from_its_sown_neighbour(bench: Bench) -> None:
    # Smith, Feber and Macdonald 1999: 0.1 to 0.9 sown forbs per 0.5 m2 in closed turf beside a sown strip
    ground = bench.ground(crop=450)
    sown_strip = Zone(0.5, (bench.bared(1.0),), (SOWING,))
    care = YearlyCare("spring_autumn", 2)
    options = {"site": 1, "care": care, "years": 5, "quadrat": 0.5}
    both = bench.run_zones(ground, MEADOW, (sown_strip, Zone(0.5)), **options)
    alone = bench.run_zones(ground, MEADOW, (replace(sown_strip, area_share=1.0),), **options)
    turf = 2 * both.sown_species[KEPT, 4] - alone.sown_species[KEPT, 4]
    assert 0.02 * alone.sown_species[KEPT, 4].mean() < np.mean(turf) < 0.5 * alone.sown_species[KEPT, 4].mean()


def test_care_as_usual_is_worse_than_kept_and_worst_for_rattle(bench: Bench) -> None:
    sowing = Sowing(1, {**SOWING.live_seeds_per_m2, RATTLE_TAXON.key: 60.0})
    taxa = (*MEADOW, RATTLE_TAXON)
    result = bench.run(bench.ground(crop=450), taxa, (sowing,), works=(bench.bared(0.5),), years=10)
    kept, usual = result.sown_species[KEPT, 9], result.sown_species[USUAL, 9]
    assert np.median(usual) < np.median(kept)
    assert np.quantile(usual, 0.1) < np.quantile(kept, 0.1)
    species_lost = 1 - np.median(usual) / np.median(kept)
    rattle_lost = 1 - np.median(result.rattle[USUAL, 9]) / np.median(result.rattle[KEPT, 9])
    assert rattle_lost > species_lost + 0.1


def test_a_larger_quadrat_holds_more_and_the_thresholds_stay_at_one_square_metre(bench: Bench) -> None:
    ground = bench.ground(crop=450)
    counts, thresholds = [], []
    for quadrat in (0.25, 1.0, 4.0):
        result = bench.run(ground, MEADOW, (SOWING,), works=(bench.bared(0.5),), years=5, quadrat=quadrat)
        counts.append(float(np.median(result.species[KEPT, 4])))
        thresholds.append(float((result.species_1m2[KEPT, 4] >= 9).mean()))
    assert counts[0] * 1.2 < counts[1]
    assert counts[1] * 1.2 < counts[2]
    assert thresholds[0] == thresholds[1] == thresholds[2]


def test_the_season_matters_only_to_seed_that_needs_cold(bench: Bench) -> None:
    # Lawson, Ford and Mitchley 2004 found spring better, a German landscape-scale trial autumn: near no change
    def second_year(model_class: str, late: bool) -> float:
        taxa = mix("s", **{model_class: 8})
        sowing = sow(late=late, all=(taxa, 60))
        return sown(bench.run(bench.ground(crop=400), taxa, (sowing,), works=(bench.bared(0.5),)), 1)

    assert second_year("reliable", late=True) == pytest.approx(second_year("reliable", late=False), rel=0.1)
    assert second_year("slow", late=True) < 0.5 * second_year("slow", late=False)
