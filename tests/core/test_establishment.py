"""What must hold of the establishment core whatever the numbers are, and the ways of life it must show."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from modelling.core.draws import Draws
from modelling.core.establishment import CLASSES, KEPT, USUAL, Care, Preparation, Sowing, Zone, establish
from modelling.core.species import SeedOnSite, all_traits, germination_weights
from tests.core.establishment_cases import CASES, RATTLE, TAXA, each, ground, of_class, one_zone, scenario, work

DRAWS = 400
COUNTS = ("species", "sown_species", "species_1m2", "rattle", "rattle_held", "crop")
LINES = ("chance_present", "chance_seen_per_m2", "chance_in_flower_per_m2", "plants_per_m2")


def lines(result):
    return {line.taxon: line for line in result.timelines}


def density(result, key, forecast=KEPT):
    """Mean plants per m2 of a taxon by year."""
    return lines(result)[key].plants_per_m2[forecast]


def same(first, second, pick=slice(None)):
    """Compare the counts of two results, up to rounding; `pick` cuts the second to the size of the first."""
    for name in COUNTS:
        np.testing.assert_allclose(
            getattr(first, name), getattr(second, name)[pick], rtol=1e-12, atol=1e-15, err_msg=name
        )


shares = st.floats(0, 1)


@given(shares, shares, st.integers(0, 3), shares, st.integers(0, 12))
def test_no_more_seed_comes_up_than_is_left(first, later, wait, kept, years):
    weights = germination_weights(first, later, wait, kept, years)
    assert weights.shape == (years,)
    assert (weights >= 0).all()
    assert weights.sum() <= kept + 1e-12
    assert not weights[:wait].any()


def test_all_seed_comes_up_in_the_end():
    assert germination_weights(0.15, 0.22, 1, 0.5, 100).sum() == pytest.approx(0.5)
    assert germination_weights(0.5, 0.35, 0, 1, 3) == pytest.approx([0.5, 0.175, 0.11375])


def hurdle_chance(parameters, taxon, **changed):
    """Mean chance to establish at all."""
    world, site = Draws(parameters, 1, DRAWS), Draws(parameters, 2, DRAWS)
    log_odds = all_traits(world)[taxon.model_class].hurdle
    return SeedOnSite(world, site, ground(DRAWS, **changed)).hurdle_chance(taxon, log_odds).mean()


@pytest.mark.parametrize("name", CLASSES)
def test_phosphorus_raises_the_hurdle(parameters, name):
    taxon = of_class(name)[0]
    chances = [hurdle_chance(parameters, taxon, p_index=p) for p in (0, 1, 2, 3, 4)]
    assert chances[0] == pytest.approx(chances[1])
    assert (np.diff(chances[1:]) < 0).all()


def test_plants_of_poor_soil_mind_phosphorus_more(parameters):
    poor, rich = (replace(TAXA[1], ellenberg_n=n) for n in (2, 7))
    fall = [hurdle_chance(parameters, t, p_index=1) - hurdle_chance(parameters, t, p_index=3) for t in (poor, rich)]
    assert fall[0] > 2 * fall[1] > 0


@pytest.mark.parametrize(
    ("name", "fits", "strays"),
    [("wetness_f", 5, (7.5, 2.5)), ("reaction_r", 6, (8.5, 3.5)), ("light_l", 7, (4.5,))],
)
def test_a_site_unlike_the_plant_s_own_raises_the_hurdle(parameters, name, fits, strays):
    taxon = TAXA[1]
    well = hurdle_chance(parameters, taxon, **{name: fits})
    for stray in strays:
        assert hurdle_chance(parameters, taxon, **{name: stray}) < well - 0.02
    assert hurdle_chance(parameters, replace(taxon, **{f"ellenberg_{name[-1]}": None}), **{name: strays[0]}) == (
        pytest.approx(well, abs=0.05)
    )


def test_more_light_than_it_needs_harms_no_plant(parameters):
    shade_plant = replace(TAXA[1], ellenberg_l=5)
    assert hurdle_chance(parameters, shade_plant, light_l=9) == hurdle_chance(parameters, shade_plant, light_l=5)


def sown_late(parameters, late, taxa=TAXA):
    zones = (Zone(1.0, (work(DRAWS),), (Sowing(1, each(30), late=late),)),)
    return establish(parameters, **scenario(DRAWS, zones=zones, taxa=taxa))


def test_seed_that_needs_chill_comes_up_a_year_later_when_sown_late(parameters):
    early, late = sown_late(parameters, False), sown_late(parameters, True)
    assert density(early, "cowslip")[0] > 0
    assert density(late, "cowslip")[0] == 0
    assert density(late, "cowslip")[1] > 0
    # Half of it is lost in waiting, and it meets ground that has begun to close.
    assert density(late, "cowslip")[9] < density(early, "cowslip")[9]


def test_seed_without_chill_does_not_mind_being_sown_late(parameters):
    taxa = of_class("slow", "reliable", "grass")
    early, late = (sown_late(parameters, when, taxa) for when in (False, True))
    for key in ("scabious", "easy_forb", "fine_grass"):
        assert density(early, key)[0] > 0
        assert (density(late, key) == density(early, key)).all()


def test_yellow_rattle_sown_late_never_comes_up(parameters):
    assert sown_late(parameters, False).rattle[:, 1].mean() > 1
    assert not sown_late(parameters, True).rattle.any()


def test_cornfield_annuals_colour_the_first_summer_and_are_gone_by_the_third(parameters):
    line = density(establish(parameters, **scenario(DRAWS)), "corn_flower")
    assert line[0] > 1
    assert line[1] < line[0] / 4
    assert line[2] < line[0] / 20


def test_mowing_from_spring_takes_the_annuals_seed(parameters):
    def second_year(mown_early):
        sowing = Sowing(1, each(30, of_class("annual")), mown_early=mown_early)
        zones = (Zone(1.0, (work(DRAWS, bare=1.0), work(DRAWS, 2, bare=1.0)), (sowing,)),)
        return density(establish(parameters, **scenario(DRAWS, zones=zones)), "corn_flower")

    spared, mown = second_year(False), second_year(True)
    assert mown[0] == spared[0]
    assert mown[1] < spared[1] / 2


def rattle(parameters, care, **changed):
    """Plants per m2 by year and draw, as planned."""
    return establish(parameters, **scenario(DRAWS, care=care, **changed)).rattle[KEPT]


def test_cutting_before_seed_is_shed_ends_the_rattle_in_two_years(parameters):
    plants = rattle(parameters, Care("early_cut", 2)).mean(axis=-1)
    assert plants[0] > 3
    assert plants[2] < plants[0] / 20
    assert plants[5] < plants[0] / 1000


def test_an_uncut_refuge_keeps_the_rattle(parameters):
    with_refuge = rattle(parameters, Care("early_cut", 2, 0.1)).mean(axis=-1)
    assert with_refuge[5] > 100 * rattle(parameters, Care("early_cut", 2)).mean(axis=-1)[5]
    assert with_refuge[9] > 1


def test_mowing_from_spring_in_the_first_year_takes_the_rattle_s_seed(parameters):
    def plants(mown_early):
        zones = (Zone(1.0, (work(DRAWS),), (Sowing(1, each(30), mown_early=mown_early),)),)
        return rattle(parameters, Care("hay", 8 if mown_early else 2), zones=zones).mean(axis=-1)

    spared, mown = plants(False), plants(True)
    assert mown[0] > spared[0] / 2
    assert mown[1] < spared[1] / 10


def test_rattle_lowers_the_crop_and_fails_where_the_crop_is_rich(parameters):
    def run(seeds, crop):
        zones = (Zone(1.0, (work(DRAWS),), (Sowing(1, {RATTLE.key: seeds}),)),)
        return establish(
            parameters, **scenario(DRAWS, zones=zones, taxa=(RATTLE,), ground=ground(DRAWS, crop_g_per_m2=crop))
        )

    kept = run(0, 400).crop[KEPT, 4].mean()
    assert 0.5 < run(100, 400).crop[KEPT, 4].mean() / kept < 0.9
    assert run(100, 400).rattle_held[KEPT, 9].mean() > 0.6
    assert run(100, 800).rattle_held[KEPT, 9].mean() < 0.2


@pytest.mark.parametrize("kept", [0.25, 0.8])
def test_residents_are_cut_back_and_return(parameters, kept):
    def species(*preparations):
        zones = (Zone(1.0, preparations),)
        far = ground(DRAWS, distance_m=1e6)
        return establish(parameters, **scenario(DRAWS, zones=zones, taxa=(), ground=far)).species[KEPT].mean(axis=-1)

    untouched, cut_back = species(), species(work(DRAWS, bare=0.0, kept=kept))
    ratio = cut_back / untouched
    assert ratio[0] == pytest.approx(kept, abs=0.03)
    assert (np.diff(ratio) > 0).all()
    assert ratio[9] > 0.9


def test_bared_ground_brings_up_species_of_its_own_that_fade(parameters):
    def species(bare):
        zones = (Zone(1.0, (work(DRAWS, bare=bare, kept=1.0),)),)
        return establish(parameters, **scenario(DRAWS, zones=zones, taxa=())).species[KEPT].mean(axis=-1)

    gain = species(0.9) - species(0.0)
    assert gain[0] > 1
    assert (np.diff(gain) < 0).all()


def test_ground_bared_late_brings_up_nothing_beforehand(parameters):
    def species(*preparations):
        return establish(parameters, **scenario(50, zones=(Zone(1.0, preparations),), taxa=())).species

    late, never = species(work(50, 6, bare=0.9)), species()
    np.testing.assert_allclose(late[:, :5], never[:, :5])
    assert (late[:, 5] != never[:, 5]).any()


def test_the_first_draws_of_a_longer_run_are_a_shorter_run(parameters):
    for case in ("hay meadow", "two zones on a small site", "former arable"):
        longer = CASES[case](1500)
        arrays = longer["ground"].__dataclass_fields__
        first = {
            name: value[:700] for name in arrays if isinstance(value := getattr(longer["ground"], name), np.ndarray)
        }
        shorter = longer | {
            "ground": replace(longer["ground"], **first),
            "zones": tuple(
                replace(zone, preparations=tuple(cut_to(700, w) for w in zone.preparations)) for zone in longer["zones"]
            ),
        }
        same(establish(parameters, **shorter), establish(parameters, **longer), np.s_[:, :, :700])


def cut_to(n, preparation):
    """The first n draws of a preparation."""
    return Preparation(
        preparation.year,
        preparation.bare_share[:n],
        preparation.crop_lowered_share[:n],
        preparation.residents_kept_share[:n],
        preparation.opens_tall_sward,
    )


@pytest.mark.parametrize("years", [1, 4])
@pytest.mark.parametrize("case", CASES)
def test_a_shorter_horizon_leaves_the_years_as_they_were(parameters, case, years):
    longer = CASES[case](30)
    result, whole = establish(parameters, **longer | {"years": years}), establish(parameters, **longer)
    same(result, whole, np.s_[:, :years])
    np.testing.assert_allclose(result.orchids_by_year, whole.orchids_by_year[:years])


def test_work_planned_beyond_the_horizon_changes_nothing(parameters):
    zone = one_zone(30)[0]
    more = replace(
        zone,
        preparations=(*zone.preparations, work(30, 5)),
        sowings=(*zone.sowings, Sowing(5, each(100), mown_early=True)),
    )
    short = scenario(30, years=4)
    same(establish(parameters, **short), establish(parameters, **short | {"zones": (more,)}))


def test_another_taxon_leaves_the_draws_of_the_others(parameters):
    others = tuple(taxon for taxon in TAXA if taxon.model_class != "rattle")
    all_of_them = lines(establish(parameters, **scenario(DRAWS, taxa=others)))
    for left_out in others:
        fewer = tuple(taxon for taxon in others if taxon is not left_out)
        alone = lines(establish(parameters, **scenario(DRAWS, taxa=fewer)))
        for key, line in alone.items():
            for name in LINES:
                np.testing.assert_allclose(
                    getattr(line, name), getattr(all_of_them[key], name), rtol=1e-12, err_msg=f"{key}, {name}"
                )


def test_a_uniform_site_split_in_two_is_the_whole_site(parameters):
    whole = scenario(60)
    zone = whole["zones"][0]
    halves = (replace(zone, area_share=0.3), replace(zone, area_share=0.7))
    split = establish(parameters, **whole | {"zones": halves})
    same(establish(parameters, **whole), split)


def test_unlike_zones_lie_between_the_two_alone_but_for_seed_that_spreads(parameters):
    rich, poor = one_zone(DRAWS, 60.0)[0], one_zone(DRAWS, 2.0)[0]

    def middle(*zones):
        result = establish(parameters, **scenario(DRAWS, zones=zones, taxa=of_class("reliable", "grass")))
        return result.sown_species[KEPT].mean(axis=-1)

    half = [replace(zone, area_share=0.5) for zone in (rich, poor)]
    average = (middle(rich) + middle(poor)) / 2
    mixed = middle(*half)
    assert (mixed >= average - 1e-9).all()
    assert mixed[9] > average[9] + 0.01


def test_a_wider_quadrat_holds_more_and_leaves_the_square_metre(parameters):
    small, metre, wide = (establish(parameters, **scenario(100, quadrat_area_m2=area)) for area in (0.25, 1.0, 4.0))
    assert (small.species < metre.species).all()
    assert (metre.species < wide.species).all()
    for other in (small, wide):
        np.testing.assert_allclose(other.species_1m2, metre.species, rtol=1e-12)
        np.testing.assert_allclose(
            lines(other)["easy_forb"].chance_seen_per_m2, lines(metre)["easy_forb"].chance_seen_per_m2
        )


def test_a_run_without_timelines_counts_the_same(parameters):
    asked = scenario(30)
    plain = establish(parameters, **asked, timelines=False)
    assert plain.timelines == ()
    same(plain, establish(parameters, **asked))


def test_timelines_are_of_the_first_thousand_draws(parameters):
    thousand, more = (lines(establish(parameters, **scenario(n))) for n in (1000, 1600))
    for key in set(thousand) - {RATTLE.key}:
        for name in LINES:
            np.testing.assert_allclose(getattr(more[key], name), getattr(thousand[key], name), rtol=1e-12)


@pytest.mark.parametrize("years", [0, 11])
def test_a_horizon_beyond_the_model_is_refused(parameters, years):
    with pytest.raises(ValueError, match=f"read {years}; the model follows 1 to 10 summers"):
        establish(parameters, **scenario(5, years=years))


def test_what_sites_share_goes_by_the_county_s_seed(parameters):
    first, second = (establish(parameters, **scenario(50, random_seed=seed)).inputs for seed in (1, 2))
    shared = {name for name in first if np.array_equal(first[name], second[name])}
    assert {"weather/first", "species/reliable", "species/hurdle", "fertility/competition"} <= shared
    assert {"aftercare/lapses", "rattle/establishment"}.isdisjoint(shared)
    assert all(draws.shape == (50,) for draws in first.values())


def test_weather_goes_by_the_calendar(parameters):
    first = establish(parameters, **scenario(50)).inputs["weather/first"]
    later = establish(parameters, **scenario(50, first_summer=2028)).inputs["weather/first"]
    assert not np.array_equal(first, later)


def test_care_that_lapses_costs_species_and_most_of_all_rattle(parameters):
    result = establish(parameters, **scenario(DRAWS))
    assert result.sown_species[USUAL, 9].mean() < result.sown_species[KEPT, 9].mean()
    lost = 1 - result.rattle[USUAL, 9].mean() / result.rattle[KEPT, 9].mean()
    assert lost > 1 - result.sown_species[USUAL, 9].mean() / result.sown_species[KEPT, 9].mean()


@st.composite
def scenarios(pick):
    """Anything a plan may hold, in three draws."""
    n = 3
    years = pick(st.integers(1, 10))
    area = pick(st.sampled_from([0.05, 0.8, 30.0, 199.0, 200.0, 100_000.0]))
    site = ground(
        n, area_m2=area, tall=pick(st.booleans()), on_arable=pick(st.booleans()),
        crop_g_per_m2=pick(st.floats(0, 2000)), p_index=pick(st.floats(0, 8)), quality=pick(st.floats(-6, 4)),
        wetness_f=pick(st.floats(1, 12)), reaction_r=pick(st.floats(1, 9)), light_l=pick(st.floats(1, 9)),
        residents_broadleaf=pick(st.floats(0, 30)), residents_grass=pick(st.floats(0, 15)),
        bare_share=pick(shares), distance_m=pick(st.floats(0, 1e5)),
    )  # fmt: skip

    def zone(share):
        works = tuple(
            work(n, pick(st.integers(1, 11)), bare=pick(shares), lowered=pick(shares), kept=pick(shares),
                 opens=pick(st.booleans()))
            for _ in range(pick(st.integers(0, 2)))
        )  # fmt: skip
        sowings = tuple(
            Sowing(pick(st.integers(1, 11)), each(pick(st.floats(0, 1e5))), pick(st.booleans()), pick(st.booleans()))
            for _ in range(pick(st.integers(0, 2)))
        )
        return Zone(share, works, sowings)

    share = pick(st.floats(0.01, 0.99))
    zones = (zone(share), zone(1 - share)) if pick(st.booleans()) else (zone(1.0),)
    regime = pick(st.sampled_from(["hay", "hay_aftermath", "cut_left", "summer_sheep", "early_cut", "uncut"]))
    care = Care(regime, pick(st.floats(0, 30)), pick(st.sampled_from([0.0, 0.1, 0.9])))
    return scenario(
        n, ground=site, zones=zones, care=care, years=years, quadrat_area_m2=pick(st.sampled_from([0.25, 1.0, 100.0]))
    )


@settings(max_examples=60, deadline=None)
@given(asked=scenarios())
def test_nothing_is_negative_and_nothing_without_a_number(parameters, asked):
    with np.errstate(all="raise", under="ignore"):
        result = establish(parameters, **asked)
    for name in COUNTS:
        values = getattr(result, name)
        assert values.shape == (2, asked["years"], 3)
        assert np.isfinite(values).all()
        assert (values >= 0).all()
    assert (result.sown_species <= len(asked["taxa"]) + 1e-9).all()
    assert ((result.orchids_by_year >= 0) & (result.orchids_by_year <= 1)).all()
    for line in result.timelines:
        for name in LINES:
            values = getattr(line, name)
            assert np.isfinite(values).all()
            assert (values >= 0).all()
            assert name == "plants_per_m2" or (values <= 1 + 1e-12).all()
    assert all(np.isfinite(draws).all() for draws in result.inputs.values())
