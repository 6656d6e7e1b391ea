"""Every published rule at, just below and just above its limit, and where the schemes differ."""

import pytest

from modelling.core.outcomes import classes
from modelling.core.outcomes.measures import Measured, exactly, lacking

NO, YES = False, True
#: set:class, attribute, step, then (value, whether it holds) just below, at and just above each limit
LIMITS = [
    # Countryside Stewardship, as restated c. 2021: CS-1 to CS-6
    ("cs_2021:species_rich", "species_per_m2", [(14.99, NO), (15, YES), (15.01, YES)]),
    ("cs_2021:species_rich", "wildflower_cover", [(0.299, NO), (0.30, NO), (0.301, YES)]),
    ("cs_2021:species_rich", "ryegrass_clover_cover", [(0.099, YES), (0.10, NO), (0.101, NO)]),
    ("cs_2021:semi_improved", "species_per_m2", [(8.99, NO), (9, YES), (9.01, YES)]),
    ("cs_2021:semi_improved", "wildflower_cover", [(0.099, NO), (0.10, YES), (0.101, YES)]),
    ("cs_2021:semi_improved", "wildflower_cover", [(0.299, YES), (0.30, YES), (0.301, NO)]),
    ("cs_2021:semi_improved", "ryegrass_clover_cover", [(0.099, NO), (0.10, YES), (0.101, YES)]),
    ("cs_2021:semi_improved", "ryegrass_clover_cover", [(0.299, YES), (0.30, YES), (0.301, NO)]),
    # notes on evidence for stewardship options: CS-7, CS-8
    ("cs_options:species_rich_option", "species_per_m2", [(14.99, NO), (15, YES), (15.01, YES)]),
    ("cs_options:low_input_option", "species_per_m2", [(8.99, NO), (9, YES), (9.01, YES)]),
    # Farm Environment Plan manual, key 2a: FEP-1 to FEP-3
    ("fep_2010:improved", "species_per_m2", [(7.99, YES), (8, YES), (8.01, NO)]),
    ("fep_2010:improved", "ryegrass_clover_cover", [(0.299, NO), (0.30, NO), (0.301, YES)]),
    ("fep_2010:improved", "wildflower_cover", [(0.099, YES), (0.10, NO), (0.101, NO)]),
    # UK Habitat Classification, g3a: UKH-1 to UKH-4
    ("ukhab_g3a:g3a", "species_per_m2", [(14.99, NO), (15, NO), (15.01, YES)]),
    ("ukhab_g3a:g3a", "wildflower_cover", [(0.299, NO), (0.30, NO), (0.301, YES)]),
    ("ukhab_g3a:g3a", "ryegrass_clover_cover", [(0.099, YES), (0.10, NO), (0.101, NO)]),
    ("ukhab_g3a:g3a", "indicators_present", [(3, NO), (4, YES), (5, YES)]),
    # g3c and g4: UKH-5 to UKH-9
    ("ukhab_g3c:g3c", "wildflower_cover", [(0.199, NO), (0.20, NO), (0.201, YES)]),
    ("ukhab_g3c:g3c", "species_per_m2", [(7.99, NO), (8, NO), (8.01, YES)]),
    ("ukhab_g3c:g3c", "abundant_native_grasses", [(0, NO), (1, YES), (2, YES)]),
    ("ukhab_g3c:g3c", "ryegrass_clover_cover", [(0.299, YES), (0.30, NO), (0.301, NO)]),
    ("ukhab_g4:g4", "species_per_m2", [(8.99, YES), (9, NO), (9.01, NO)]),
    # Sustainable Farming Incentive GRH6: SFI-1, SFI-2
    ("sfi_grh6:species_rich", "indicators_frequent", [(3, NO), (4, YES), (5, YES)]),
    ("sfi_grh6:species_rich", "indicators_occasional", [(1, NO), (2, YES), (3, YES)]),
    # notes on the inventory of priority habitats: HW-1; Rural Priorities: SCO-1
    ("cover_mark:cover_mark", "wildflower_cover", [(0.299, NO), (0.30, NO), (0.301, YES)]),
    ("scot_rp:unimproved", "points_with_indicators", [(0.49, NO), (0.50, NO), (0.51, YES)]),
    # condition forms MG5, MG4, CG1 of 2006
    ("csm_mg5:favourable", "extent_lost", [(0, YES), (0.001, NO)]),
    ("csm_mg5:favourable", "herb_share_of_sward", [(0.299, NO), (0.30, YES), (0.301, YES)]),
    ("csm_mg5:favourable", "herb_share_of_sward", [(0.899, YES), (0.90, YES), (0.901, NO)]),
    ("csm_mg5:favourable", "indicators_frequent", [(1, NO), (2, YES), (3, YES)]),
    ("csm_mg5:favourable", "indicators_occasional", [(3, NO), (4, YES), (5, YES)]),
    ("csm_mg4:favourable", "indicators_frequent", [(1, NO), (2, YES), (3, YES)]),
    ("csm_mg4:favourable", "indicators_occasional", [(2, NO), (3, YES), (4, YES)]),
    ("csm_mg4:favourable", "fritillary_extent", [(0.249, NO), (0.25, YES), (0.251, YES)]),
    ("csm_cg1:favourable", "indicators_frequent", [(0, NO), (1, YES), (2, YES)]),
    ("csm_cg1:favourable", "indicators_occasional", [(2, NO), (3, YES), (4, YES)]),
    ("csm_cg1:favourable", "negatives_frequent", [(0, YES), (1, NO)]),
    ("csm_cg1:favourable", "negatives_cover", [(0.049, YES), (0.05, YES), (0.051, NO)]),
    # Common Standards Monitoring, 2004
    ("csm_structure:favourable", "scrub_cover", [(0.049, YES), (0.05, YES), (0.051, NO)]),
    ("csm_structure:favourable", "litter_cover", [(0.249, YES), (0.25, YES), (0.251, NO)]),
    ("csm_structure:favourable", "bare_ground", [(0.049, YES), (0.05, YES), (0.051, NO)]),
    ("csm_structure:favourable", "sward_height", [(0.019, NO), (0.02, YES), (0.021, YES)]),
    ("csm_structure:favourable", "sward_height", [(0.149, YES), (0.15, YES), (0.151, NO)]),
    # Natural England TIN050
    ("tin050:on_target", "herb_share_of_sward", [(0.899, YES), (0.90, YES), (0.901, NO)]),
    ("tin050:on_target", "soil_p_index", [(0, YES), (1, YES), (2, NO)]),
]


def rule_of(parameters, subject, attribute):
    rows = [
        row
        for table in ("sward_rules", "condition_rules")
        for row in parameters.rows(table)
        if (row.subject, row.quantity) == (subject, attribute)
    ]
    assert len(rows) == 1
    return rows[0]


@pytest.mark.parametrize(("subject", "attribute", "cases"), LIMITS, ids=lambda x: x if isinstance(x, str) else "")
def test_each_limit_belongs_to_the_side_that_was_published(parameters, subject, attribute, cases):
    rule = rule_of(parameters, subject, attribute)
    assert [(value, classes.holds(rule, value)) for value, _ in cases] == cases


def test_every_rule_of_the_tables_is_tried_at_its_limit(parameters):
    tried = {(subject, attribute) for subject, attribute, _ in LIMITS}
    rows = [row for table in ("sward_rules", "condition_rules") for row in parameters.rows(table)]
    assert {(row.subject, row.quantity) for row in rows if row.quantity != classes.NEEDED} == tried


def test_two_covers_that_make_up_the_limit_are_not_over_it(parameters):
    # 0.1 + 0.2 is a little over 0.3 in floating point
    assert 0.1 + 0.2 > 0.3
    assert not classes.holds(rule_of(parameters, "cs_2021:species_rich", "wildflower_cover"), 0.1 + 0.2)


def judged(parameters, rule_set, **found):
    """The verdict of a set on values; what is not named is missing."""

    def measure(_set, rule):
        value = found.get(rule.quantity)
        if value is None:
            return lacking(rule.quantity)
        return value if isinstance(value, Measured) else exactly(value)

    return classes.verdict(parameters, rule_set, measure)


#: kinds per m2, wildflowers, rye-grass and clover -> class by each scheme
DIFFER = [
    # fifteen kinds exactly: rich by one scheme, not more than fifteen by another
    (15, 0.20, 0.05, {"cs_2021": "species_rich", "cs_options": "species_rich_option", "ukhab_g3a": None}),
    (15.1, 0.20, 0.05, {"cs_2021": "species_rich", "cs_options": "species_rich_option", "ukhab_g3a": "g3a"}),
    # nine kinds exactly: evidence for one option, no longer g4
    (9, 0.05, 0.50, {"cs_options": "low_input_option", "ukhab_g4": None, "fep_2010": None, "cs_2021": None}),
    (8.9, 0.05, 0.50, {"cs_options": None, "ukhab_g4": "g4", "fep_2010": None, "cs_2021": None}),
    # eight: improved by the Farm Environment Plan and g4
    (8, 0.05, 0.50, {"cs_options": None, "ukhab_g4": "g4", "fep_2010": "improved", "cs_2021": None}),
    # covers alone make the class: three tenths exactly is semi-improved, more is rich
    (5, 0.30, 0.10, {"cs_2021": "semi_improved", "cover_mark": None}),
    (5, 0.301, 0.09, {"cs_2021": "species_rich", "cover_mark": "cover_mark", "ukhab_g3a": "g3a"}),
    # over two tenths of flowers, more than eight kinds and little rye-grass: g3c, whatever the stewardship rules say
    (9, 0.25, 0.05, {"cs_2021": "semi_improved", "ukhab_g3c": "g3c", "ukhab_g4": None}),
    (8, 0.25, 0.05, {"cs_2021": None, "ukhab_g3c": None, "ukhab_g4": "g4"}),
]


@pytest.mark.parametrize(("species", "flowers", "ryegrass", "expected"), DIFFER)
def test_the_schemes_class_the_same_sward_as_each_was_published(parameters, species, flowers, ryegrass, expected):
    for rule_set, class_key in expected.items():
        verdict = judged(
            parameters, rule_set, species_per_m2=species, wildflower_cover=flowers, ryegrass_clover_cover=ryegrass,
            indicators_present=4, abundant_native_grasses=0,
        )  # fmt: skip
        assert (verdict.rule_set, verdict.judged, verdict.class_key) == (rule_set, True, class_key)
        assert verdict.label
        assert verdict.version


def test_two_of_three_suffice_and_what_is_missing_is_not_asked_for(parameters):
    # fifteen kinds and few rye-grasses: the flowers were not judged, and need not be
    verdict = judged(parameters, "cs_2021", species_per_m2=15, ryegrass_clover_cover=0.05)
    assert (verdict.judged, verdict.class_key, verdict.missing) == (True, "species_rich", ())
    rules = {r.rule.quantity: r.held for r in verdict.classes[0].rules}
    assert rules == {"species_per_m2": True, "wildflower_cover": None, "ryegrass_clover_cover": True}


def test_one_of_three_with_the_rest_missing_cannot_be_judged_and_says_what_is_missing(parameters):
    verdict = judged(parameters, "cs_2021", species_per_m2=15)
    assert (verdict.judged, verdict.class_key, verdict.sure) == (False, None, False)
    assert verdict.missing == ("wildflower_cover", "ryegrass_clover_cover")


def test_a_better_class_still_open_keeps_the_next_from_being_given(parameters):
    # ten kinds and a fifth of rye-grass are semi-improved twice over, and cannot be rich
    assert judged(parameters, "cs_2021", species_per_m2=10, ryegrass_clover_cover=0.2).class_key == "semi_improved"
    # ten kinds and a fifth of flowers leave nothing open either: one rule of three at most could make it rich
    assert judged(parameters, "cs_2021", species_per_m2=10, wildflower_cover=0.2).class_key == "semi_improved"
    # fifteen kinds and a fifth of flowers are semi-improved, but little rye-grass would make them rich
    verdict = judged(parameters, "cs_2021", species_per_m2=15, wildflower_cover=0.2)
    assert (verdict.judged, verdict.missing) == (False, ("ryegrass_clover_cover",))


def test_a_failed_must_decides_whatever_is_missing(parameters):
    verdict = judged(parameters, "csm_mg5", indicators_frequent=1)
    assert (verdict.judged, verdict.class_key) == (True, None)
    assert judged(parameters, "csm_mg5", indicators_frequent=2).judged is False


def test_a_noted_target_decides_nothing(parameters):
    found = {"scrub_cover": 0.01, "litter_cover": 0.9, "bare_ground": 0.5, "sward_height": 1.0}
    verdict = judged(parameters, "csm_structure", **found)
    assert (verdict.judged, verdict.class_key) == (True, "favourable")
    held = {r.rule.quantity: r.held for r in verdict.classes[0].rules}
    assert held == {"scrub_cover": True, "litter_cover": False, "bare_ground": False, "sward_height": False}


def test_a_list_held_in_part_can_meet_a_rule_and_not_fail_it(parameters):
    def counted(n):
        return Measured(n, n, n, at_least=True)

    found = {"indicators_occasional": counted(3), "fritillary_extent": 0.3}
    assert judged(parameters, "csm_mg4", indicators_frequent=counted(2), **found).class_key == "favourable"
    verdict = judged(parameters, "csm_mg4", indicators_frequent=counted(1), **found)
    assert (verdict.judged, verdict.missing) == (False, ("the whole of the scheme's list of plants",))


@pytest.mark.parametrize(
    ("ends", "sure"),
    [((15, 17), True), ((14.9, 17), False), ((10, 14.9), True)],
)
def test_a_class_is_sure_where_both_ends_of_what_was_found_agree(parameters, ends, sure):
    middle = sum(ends) / 2
    verdict = judged(parameters, "cs_options", species_per_m2=Measured(middle, *ends))
    assert (verdict.judged, verdict.sure) == (True, sure)


def test_a_range_is_not_sure_where_what_was_found_reaches_over_it(parameters):
    rule = rule_of(parameters, "cs_2021:semi_improved", "wildflower_cover")
    # from 5 to 50 per cent with the middle at 5: neither end lies in 10 to 30, and still it may
    assert classes.ruled(rule, Measured(0.05, 0.05, 0.5)) == classes.Ruled(
        rule, Measured(0.05, 0.05, 0.5), held=False, sure=False
    )
    assert classes.ruled(rule, Measured(0.05, 0.01, 0.09)).sure
    assert classes.ruled(rule, Measured(0.2, 0.1, 0.3)).sure
