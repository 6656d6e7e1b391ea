"""What rules ask of a sward, measured on quadrats made up for it."""

import pytest

from modelling.core.outcomes import classes, sown
from modelling.core.outcomes.found import Plant, distinct, stand_of
from modelling.core.outcomes.measures import Measures
from tests.core.outcomes.made import BENT, CLOVER, FORBS, RYEGRASS, cover, genus, plant, square

BUTTERCUP = plant("Ranunculus repens")
SEDGE = plant("Carex flacca", "sedge")
RUSH = plant("Juncus effusus", "rush")
MOSS = plant("Brachythecium rutabulum", "moss")


def measures(parameters, *squares, **known):
    return Measures(parameters, stand_of(squares, 1.0), known)


def of(found, rule_set, class_key, attribute):
    """What a rule of the tables measures."""
    parameters = found.parameters
    words = parameters.nouns["rule_sets"][rule_set]
    return found.of(words, parameters.number(classes.TABLES[words["kind"]], f"{rule_set}:{class_key}", attribute))


# ------------------------------------------------------------------ what counts


def test_mosses_do_not_count():
    stand = stand_of([square(FORBS[0], MOSS), square(MOSS)], 1.0)
    assert stand.counts.tolist() == [1, 0]
    assert [p.name for p in stand.plants] == ["Florus kinda"]


def test_a_genus_counts_alone_and_not_beside_a_species_of_it():
    dock, curled = genus("Rumex"), plant("Rumex crispus")
    assert distinct([dock]) == (dock,)
    assert distinct([dock, curled]) == (curled,)
    # in the quadrat with the genus alone it counts, over the meadow it may be the species
    stand = stand_of([square(dock), square(curled)], 1.0)
    assert stand.counts.tolist() == [1, 1]
    assert stand.plants == (curled,)
    assert stand.in_quadrats.tolist() == [1]


def test_a_group_does_not_count_beside_any_plant_that_it_may_be():
    grass = Plant(key="poaceae", name="grass", kind="grass", may_be=frozenset({BENT.key, RYEGRASS.key}))
    assert distinct([grass, BENT]) == (BENT,)
    assert distinct([grass, FORBS[0]]) == (FORBS[0], grass)


def test_a_plant_written_twice_in_a_quadrat_counts_once_with_its_larger_cover():
    both = square(FORBS[0], covers={FORBS[0].key: 0.1})
    more = square(FORBS[0], covers={FORBS[0].key: 0.3})
    bare = square(FORBS[0])
    for order in ((both, more, bare), (bare, both, more), (more, bare, both)):
        twice = square()
        twice = type(twice)("", "sown", 1.0, tuple(s for q in order for s in q.sightings))
        stand = stand_of([twice], 1.0)
        assert stand.counts.tolist() == [1]
        assert stand.middle.tolist() == [[0.3]]


@pytest.mark.parametrize(
    ("areas", "kept", "left_out"),
    [
        ([1, 1, 4], 1, 1),
        ([4, 4, 1], 4, 1),
        ([4, 1], 1, 1),
        ([0.25, 4], 4, 1),
        ([2], 2, 0),
        ([], 1, 0),
    ],
)
def test_quadrats_of_the_commonest_size_are_taken(areas, kept, left_out):
    stand = stand_of([square(area_m2=float(a)) for a in areas], 1.0)
    assert (stand.area_m2, stand.left_out, stand.n) == (kept, left_out, len(areas) - left_out)


# ------------------------------------------------------------------ kinds per square metre


def test_kinds_per_m2_is_the_mean_with_its_interval(parameters):
    found = measures(parameters, square(*FORBS[:3]), square(*FORBS[:5])).species_per_m2()
    # t with 1 degree of freedom 12.706, standard error 1
    assert (found.value, found.low, found.high) == pytest.approx((4, 4 - 12.706, 4 + 12.706), abs=1e-3)


def test_kinds_per_m2_cannot_be_told_from_another_size(parameters):
    found = measures(parameters, square(*FORBS[:3], area_m2=4.0)).species_per_m2()
    assert (found.value, found.missing) == (None, "quadrats of 1 m²")


def test_without_quadrats_quadrats_are_missing(parameters):
    found = measures(parameters)
    assert of(found, "cs_2021", "species_rich", "species_per_m2").missing == "quadrats"
    assert of(found, "cs_2021", "species_rich", "wildflower_cover").missing == "quadrats"
    assert of(found, "ukhab_g3c", "g3c", "abundant_native_grasses").missing == "quadrats"
    assert of(found, "csm_mg5", "favourable", "indicators_frequent").missing == "quadrats"
    assert of(found, "csm_cg1", "favourable", "negatives_frequent").missing == "quadrats"


# ------------------------------------------------------------------ covers


def test_wildflower_cover_leaves_out_what_each_scheme_leaves_out(parameters):
    # flowers 20 %, sedge 5 %, creeping buttercup 10 %, white clover 8 %, rush 7 %, grass 50 %
    covers = {
        FORBS[0].key: 0.2, SEDGE.key: 0.05, BUTTERCUP.key: 0.1, CLOVER.key: 0.08, RUSH.key: 0.07, BENT.key: 0.5,
    }  # fmt: skip
    found = measures(parameters, square(FORBS[0], SEDGE, BUTTERCUP, CLOVER, RUSH, BENT, covers=covers))
    assert of(found, "cs_2021", "species_rich", "wildflower_cover").value == pytest.approx(0.25)
    # no exclusions were published for g3c
    assert of(found, "ukhab_g3c", "g3c", "wildflower_cover").value == pytest.approx(0.43)
    assert of(found, "cs_2021", "species_rich", "ryegrass_clover_cover").value == pytest.approx(0.08)


def test_classes_of_cover_give_a_range(parameters):
    fours = square(FORBS[0])
    wide = type(fours)("", "sown", 1.0, (type(fours.sightings[0])(FORBS[0], cover(0.18).__class__(0.11, 0.18, 0.25)),))
    found = of(measures(parameters, wide), "cs_2021", "species_rich", "wildflower_cover")
    assert (found.low, found.value, found.high) == pytest.approx((0.11, 0.18, 0.25))


def test_covers_that_overlap_cover_the_ground_at_most_once(parameters):
    covers = {FORBS[0].key: 0.8, FORBS[1].key: 0.7}
    found = of(measures(parameters, square(*FORBS[:2], covers=covers)), "cs_2021", "species_rich", "wildflower_cover")
    assert found.value == 1


def test_a_flower_without_a_cover_leaves_the_cover_unknown_and_a_grass_does_not(parameters):
    covers = {FORBS[0].key: 0.2}
    with_grass = measures(parameters, square(FORBS[0], BENT, covers=covers))
    assert of(with_grass, "cs_2021", "species_rich", "wildflower_cover").value == pytest.approx(0.2)
    with_flower = measures(parameters, square(FORBS[0], FORBS[1], covers=covers))
    found = of(with_flower, "cs_2021", "species_rich", "wildflower_cover")
    assert (found.value, found.missing) == (None, "cover of wildflowers")
    # no rye-grass and no clover is none, whatever else was only present
    assert of(with_flower, "cs_2021", "species_rich", "ryegrass_clover_cover").value == 0


def test_a_plant_that_nobody_knows_may_be_a_flower(parameters):
    strange = Plant(key="?moon daisy", name="Moon daisy", settled=False)
    covers = {FORBS[0].key: 0.2, strange.key: 0.15}
    found = of(
        measures(parameters, square(FORBS[0], strange, covers=covers)), "cs_2021", "species_rich", "wildflower_cover"
    )
    assert (found.low, found.value, found.high) == pytest.approx((0.2, 0.2, 0.35))
    without = of(measures(parameters, square(strange)), "cs_2021", "species_rich", "wildflower_cover")
    assert (without.low, without.value, without.high) == (0, 0, 1)


def test_cover_judged_as_a_whole_goes_before_the_sum_less_what_is_left_out(parameters):
    covers = {FORBS[0].key: 0.9, CLOVER.key: 0.1, RUSH.key: 0.05}
    found = measures(parameters, square(FORBS[0], CLOVER, RUSH, covers=covers, forb_cover=0.4))
    assert of(found, "cs_2021", "species_rich", "wildflower_cover").value == pytest.approx(0.25)
    unknown = measures(parameters, square(FORBS[0], CLOVER, forb_cover=0.4))
    got = of(unknown, "cs_2021", "species_rich", "wildflower_cover")
    assert (got.low, got.value, got.high) == (0, 0.4, 0.4)


def test_cover_judged_in_some_quadrats_only_is_no_cover_of_the_meadow(parameters):
    found = measures(parameters, square(FORBS[0], forb_cover=0.4), square(FORBS[0]))
    assert of(found, "cs_2021", "species_rich", "wildflower_cover").missing == "cover of wildflowers"


def test_the_share_of_herbs_is_of_the_plant_cover(parameters):
    covers = {FORBS[0].key: 0.3, RUSH.key: 0.1, BENT.key: 0.4, CLOVER.key: 0.2}
    found = measures(parameters, square(FORBS[0], RUSH, BENT, CLOVER, covers=covers))
    assert of(found, "csm_mg5", "favourable", "herb_share_of_sward").value == pytest.approx(0.6)
    # white clover is out by TIN050
    assert of(found, "tin050", "on_target", "herb_share_of_sward").value == pytest.approx(0.4)
    assert of(measures(parameters, square(BENT)), "csm_mg5", "favourable", "herb_share_of_sward").missing == (
        "cover of every plant"
    )


# ------------------------------------------------------------------ lists and frequencies


def stops(plants_in, n=10):
    """n quadrats; each plant in the first so many of them."""
    return [square(*(p for p, k in plants_in.items() if i < k)) for i in range(n)]


def test_indicators_count_by_how_often_they_were_met(parameters):
    # MG5: knapweed and oxeye daisy in 5 of 10; vetchling, bedstraw, tormentil, cowslip in 3; betony in 1
    plants = {
        plant("Centaurea nigra"): 5, plant("Leucanthemum vulgare"): 5, plant("Lathyrus pratensis"): 3,
        plant("Galium verum"): 3, plant("Potentilla erecta"): 3, plant("Primula veris"): 3,
        plant("Betonica officinalis"): 1, FORBS[0]: 10,
    }  # fmt: skip
    found = measures(parameters, *stops(plants))
    assert of(found, "csm_mg5", "favourable", "indicators_frequent").value == 2
    assert of(found, "csm_mg5", "favourable", "indicators_occasional").value == 4


def test_a_frequent_indicator_left_over_counts_as_occasional(parameters):
    names = ("Centaurea nigra", "Leucanthemum vulgare", "Lathyrus pratensis", "Galium verum", "Primula veris")
    found = measures(parameters, *stops({plant(name): 9 for name in names}))
    assert of(found, "csm_mg5", "favourable", "indicators_frequent").value == 5
    assert of(found, "csm_mg5", "favourable", "indicators_occasional").value == 3


def test_plants_of_one_entry_count_together_and_once(parameters):
    # glaucous, common and carnation sedge are one entry of the MG5 list: in 2 + 2 + 2 stops, 6 of 10 together
    sedges = [plant(name, "sedge") for name in ("Carex flacca", "Carex nigra", "Carex panicea")]
    squares = [square(sedges[i // 2]) for i in range(6)] + [square() for _ in range(4)]
    assert of(measures(parameters, *squares), "csm_mg5", "favourable", "indicators_frequent").value == 1


def test_a_whole_genus_on_a_list_takes_its_species_and_the_bare_genus(parameters):
    squares = stops({genus("Alchemilla"): 5, plant("Euphrasia nemorosa"): 5, genus("Filipendula"): 5})
    # Filipendula stands on the list by two species, so the bare genus may be neither
    assert of(measures(parameters, *squares), "csm_mg5", "favourable", "indicators_frequent").value == 2


@pytest.mark.parametrize("rule_set", ["ukhab_g3a", "sfi_grh6", "csm_cg1"])
def test_a_list_that_is_not_held_is_said_to_be_missing(parameters, rule_set):
    verdict = classes.verdict(parameters, rule_set, measures(parameters, *stops({CLOVER: 10})).of)
    lists = [r for r in verdict.classes[0].rules if r.rule.quantity.startswith("indicators")]
    assert lists
    assert {r.found.missing for r in lists} == {"the scheme's own list of plants"}


def test_thistles_more_than_occasional_are_negatives_of_the_form_for_calcareous_grassland(parameters):
    thistle = plant("Cirsium arvense")
    for met, count in ((4, 0), (5, 1)):
        found = measures(parameters, *stops({thistle: met}))
        assert of(found, "csm_cg1", "favourable", "negatives_frequent").value == count


def test_an_abundant_grass_is_in_more_than_six_stops_of_ten_and_none_sown_for_grazing(parameters):
    for met, count in ((6, 0), (7, 1)):
        grass = genus("Festuca", "grass")
        found = measures(parameters, *stops({BENT: met, RYEGRASS: 10, grass: 10}))
        assert of(found, "ukhab_g3c", "g3c", "abundant_native_grasses").value == count


# ------------------------------------------------------------------ the rest


def test_what_was_noted_is_averaged_over_the_quadrats_that_noted_it(parameters):
    squares = [square(litter=0.2, bare_ground=0.0, sward_height_m=0.1), square(litter=0.4), square()]
    found = measures(parameters, *squares, scrub_cover=0.03, soil_p_index=2.0)
    assert of(found, "csm_structure", "favourable", "litter_cover").value == pytest.approx(0.3)
    assert of(found, "csm_structure", "favourable", "bare_ground").value == 0
    assert of(found, "csm_structure", "favourable", "sward_height").value == pytest.approx(0.1)
    assert of(found, "csm_structure", "favourable", "scrub_cover").value == 0.03
    assert of(found, "tin050", "on_target", "soil_p_index").value == 2
    assert of(found, "csm_mg5", "favourable", "extent_lost").missing == "whether ground was lost"
    assert of(found, "csm_mg4", "favourable", "fritillary_extent").missing == "extent of fritillaries"
    assert of(found, "scot_rp", "unimproved", "points_with_indicators").missing == "the scheme's own list of plants"


def test_every_attribute_of_the_rules_can_be_measured(parameters):
    asked = {row.quantity for t in classes.TABLES.values() for row in parameters.rows(t)} - {classes.NEEDED}
    assert asked == set(measures(parameters).named)


def test_sown_kinds_are_met_in_the_quadrats_or_elsewhere():
    stand = stand_of([square(*FORBS[:3]), square(FORBS[0])], 1.0)
    keys = {FORBS[0].key, FORBS[2].key, FORBS[5].key, FORBS[6].key}
    found = sown.sown_kinds(stand, keys, (FORBS[5], FORBS[9]))
    assert found.met == tuple(sorted(FORBS[i].key for i in (0, 2, 5)))
    assert found.not_met == (FORBS[6].key,)
    assert found.per_quadrat.tolist() == [2, 1]
