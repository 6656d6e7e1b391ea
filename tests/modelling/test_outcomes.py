"""One summer's survey judged, from the question to plain values."""

import orjson
import pytest
from scipy import stats

from modelling.contracts.outcome_answers import SurveyAnswer
from modelling.contracts.outcomes import MOST_QUADRATS
from modelling.outcome_plants import plant_of
from modelling.outcomes import judge
from modelling.release import RELEASE, RESULTS_VERSION
from modelling.selectors import reference_checksum
from tests.modelling.made_surveys import KINDS, held, quadrat, question, record, survey, written


def by_set(answer, name):
    return next(v for v in (*answer["classes"], *answer["condition"]) if v["rule_set"] == name)


def test_ten_quadrats_give_mean_interval_and_kinds():
    # 12.. as sampled in the table of published values less 5, so that mean is 8 and the standard deviation 2.58199
    counts = (7, 10, 4, 9, 10, 6, 8, 10, 5, 8)
    answer = judge(question(survey(*held(*counts))))
    part = answer["sown_part"]
    assert part["species_in_each"] == list(counts)
    assert part["quadrats"] == 10
    # arithmetic: sum 77, sum of squares 635, so variance (635 - 592.9) / 9
    assert part["species_per_quadrat"]["mean"] == pytest.approx(7.7)
    assert part["species_per_quadrat"]["sd"] == pytest.approx((42.1 / 9) ** 0.5)
    # t with 9 degrees of freedom 2.26216
    half = 2.26216 * (42.1 / 9) ** 0.5 / 10**0.5
    assert part["species_per_quadrat"]["low"] == pytest.approx(7.7 - half, abs=1e-4)
    assert part["species_per_quadrat"]["high"] == pytest.approx(7.7 + half, abs=1e-4)
    assert part["pool"]["seen"] == 10
    assert part["accumulation"][-1] == 10
    assert answer["sentences"][0] == (
        f"Ten quadrats of 1 m² held 7.7 kinds of plant on average (95 %: {7.7 - half:.1f} to {7.7 + half:.1f})."
    )


def test_the_recipe_names_what_it_takes_to_judge_again():
    asked = question(survey(*held(3, 5, 7)), random_seed=7)
    answer = judge(asked)
    assert answer["recipe"] == {
        "schema_version": 2,
        "results_version": RESULTS_VERSION,
        "release": RELEASE,
        "reference_checksum": reference_checksum(),
        "random_seed": 7,
        "resamples": 2000,
    }
    assert judge(asked) == answer
    other = judge(question(survey(*held(3, 5, 7)), random_seed=8))
    assert other["sown_part"]["species_per_quadrat"] == answer["sown_part"]["species_per_quadrat"]


def test_the_order_of_quadrats_and_of_records_is_nothing():
    quadrats = held(3, 9, 5, 7)
    turned = [{**q, "records": q["records"][::-1]} for q in quadrats[::-1]]
    one, other = (judge(question(survey(*qs))) for qs in (quadrats, turned))
    assert other["sown_part"].pop("species_in_each") == one["sown_part"].pop("species_in_each")[::-1]
    assert other == one


@pytest.mark.parametrize(
    "quadrats",
    [
        [],
        held(5),
        held(*[6] * 10),
        [quadrat(label=str(i)) for i in range(3)],
        held(*[i % 11 for i in range(MOST_QUADRATS)]),
        [quadrat("bryophyta")],
        [quadrat(*KINDS, area_m2=0.25), quadrat(*KINDS, area_m2=4.0, label="2")],
    ],
    ids=["none", "one", "alike", "empty", "five hundred", "moss alone", "two sizes"],
)
@pytest.mark.parametrize("grade", ["learning", "expert"])
def test_whatever_was_found_is_judged_and_can_be_sent(quadrats, grade):
    answer = judge(question(survey(*quadrats, grade=grade)))
    sent = orjson.loads(orjson.dumps(answer, option=orjson.OPT_SERIALIZE_NUMPY))
    assert SurveyAnswer.model_validate(sent) == SurveyAnswer.model_validate(answer)
    assert answer["sentences"]
    assert len(answer["classes"]) + len(answer["condition"]) == 14


# ------------------------------------------------------------------ what counts


def test_mosses_are_left_out_and_said_so():
    answer = judge(question(survey(quadrat("primula_veris", "bryophyta", written("Hypnum cupressiforme")))))
    assert answer["sown_part"]["species_in_each"] == [1]
    assert answer["counted"]["mosses_left_out"] == ["moss (Bryophyta)", "Hypnum cupressiforme"]
    assert any(text.startswith("Mosses do not count and were left out: ") for text in answer["cautions"])


def test_a_name_not_settled_counts_as_written_and_is_told_apart():
    found = [written("Moon daisy of gran's"), written("moon  DAISY of gran's"), record("primula_veris")]
    answer = judge(question(survey(quadrat(*found))))
    assert answer["sown_part"]["species_in_each"] == [2]
    names = {line["name"]: line["taxon"] for line in answer["sown_part"]["frequency"]}
    assert names["cowslip (Primula veris)"] == "primula_veris"
    assert sorted(t or "" for t in names.values()) == ["", "primula_veris"]
    assert answer["counted"]["not_settled"] == ["Moon daisy of gran's", "moon  DAISY of gran's"]


def test_a_name_the_tables_know_to_the_letter_is_not_counted_twice():
    answer = judge(question(survey(quadrat(record("primula_veris"), written("Primula veris"), written("cowslip")))))
    assert answer["sown_part"]["species_in_each"] == [1]
    assert answer["counted"]["not_settled"] == ["Primula veris", "cowslip"]


def test_groups_do_not_count_on_top_of_a_plant_of_theirs():
    answer = judge(question(survey(quadrat("rumex_sp", "rumex_crispus", "poaceae", "festuca_rubra", "carex_sp"))))
    assert answer["sown_part"]["species_in_each"] == [3]
    assert answer["counted"]["groups_not_counted"] == ["grass (Poaceae)", "dock (Rumex sp.)"]


def test_bare_ground_written_among_the_plants_is_no_plant():
    answer = judge(question(survey(quadrat("primula_veris", written("bare ground"), written("Litter")))))
    assert answer["sown_part"]["species_in_each"] == [1]
    assert answer["counted"]["no_plants"] == ["bare ground", "Litter"]
    assert answer["counted"]["not_settled"] == []


@pytest.mark.parametrize(
    ("taxon", "name", "kind", "slug", "genus"),
    [
        ("juncus_effusus", "x", "rush", "juncus_effusus", "juncus"),
        ("luzula_campestris", "x", "rush", "luzula_campestris", "luzula"),
        ("carex_flacca", "x", "sedge", "carex_flacca", "carex"),
        ("rhinanthus_minor", "x", "forb", "rhinanthus_minor", "rhinanthus"),
        ("lotus_corniculatus", "x", "forb", "lotus_corniculatus", "lotus"),
        ("silene_flos_cuculi", "x", "forb", "silene_flos_cuculi", "silene"),
        ("rumex_sp", "x", "forb", "", "rumex"),
        ("poaceae", "x", "grass", "", "poaceae"),
        (None, "Agrostis curtisii", "grass", "agrostis_curtisii", "agrostis"),
        (None, "Verbascum spp.", "forb", "", "verbascum"),
        (None, "Sphagnum palustre", "moss", "sphagnum_palustre", "sphagnum"),
        (None, "something blue", "unknown", "", ""),
        ("no_such_key", "something blue", "unknown", "", ""),
    ],
)
def test_a_plant_has_the_kind_that_rules_speak_of(taxon, name, kind, slug, genus):
    plant = plant_of(taxon, name)
    assert (plant.kind, plant.slug, plant.genus) == (kind, slug, genus)


def test_an_amount_not_on_its_scale_is_told_and_the_plant_is_present():
    answer = judge(question(survey(quadrat(record("primula_veris", "domin", "12"), label="A1"))))
    assert answer["sown_part"]["species_in_each"] == [1]
    unread = answer["counted"]["unread"]
    assert [(u["quadrat"], u["name"], u["scale"], u["value"]) for u in unread] == [
        ("A1", "primula_veris", "domin", "12")
    ]
    assert "it has +, 1, 2" in unread[0]["why"]
    assert answer["sown_part"]["frequency"][0]["mean_cover_share"] is None


# ------------------------------------------------------------------ figures


def test_frequency_and_cover_of_each_kind_the_commonest_first():
    quadrats = [quadrat(record("primula_veris", "domin", "4"), label=str(i)) for i in range(4)]
    quadrats += [quadrat(record("briza_media", "percent", "20"), label="5")]
    first, second = judge(question(survey(*quadrats, sown_taxa=["briza_media"])))["sown_part"]["frequency"]
    assert (first["taxon"], first["quadrats"], first["sown"], first["kind"]) == ("primula_veris", 4, False, "forb")
    assert (first["class_by_fep"], first["class_by_csm"]) == ("frequent", "frequent")
    # Wilson 1927 for 4 of 5
    assert first["share_of_quadrats"]["low"] == pytest.approx(0.3755, abs=1e-4)
    # Domin 4 is taken as 7 %: in four quadrats of five
    assert first["mean_cover_share"] == pytest.approx(0.056)
    assert (second["taxon"], second["sown"], second["class_by_fep"]) == ("briza_media", True, "rare")


def test_diversity_needs_a_cover_for_every_plant():
    covers = {
        "primula_veris": "50",
        "briza_media": "30",
        "festuca_rubra": "10",
        "galium_verum": "9",
        "prunella_vulgaris": "1",
    }
    records = [record(taxon, "percent", value) for taxon, value in covers.items()]
    found = judge(question(survey(quadrat(*records))))["sown_part"]["diversity"]
    # - sum p ln p and its kin for 50, 30, 10, 9, 1
    assert found["shannon"] == pytest.approx(1.200791, abs=1e-6)
    assert found["hill_1"] == pytest.approx(3.322743, abs=1e-6)
    assert found["hill_2"] == pytest.approx(2.791736, abs=1e-6)
    assert found["simpson"] == pytest.approx(0.6418)
    assert judge(question(survey(quadrat(*records, "lolium_perenne"))))["sown_part"]["diversity"] is None
    # cover is 0 everywhere
    assert judge(question(survey(quadrat(record("briza_media", "percent", "0")))))["sown_part"]["diversity"] is None


def test_a_small_meadow_looked_at_for_a_good_part_has_a_narrower_interval():
    quadrats = held(7, 10, 4, 9, 10, 6, 8, 10, 5, 8)
    wide = judge(question(survey(*quadrats)))["sown_part"]
    whole = judge(question(survey(*quadrats), facts={"meadow_area_m2": 40}))["sown_part"]
    # Cochran 1977: the standard error shrinks by the square root of 1 - 10/40
    assert whole["species_per_quadrat"]["se"] == pytest.approx(wide["species_per_quadrat"]["se"] * 0.75**0.5)
    assert (wide["finite_size_allowed_for"], whole["finite_size_allowed_for"]) == (False, True)
    large = judge(question(survey(*quadrats), facts={"meadow_area_m2": 5000}))["sown_part"]
    assert large["finite_size_allowed_for"] is False
    assert large["species_per_quadrat"] == wide["species_per_quadrat"]


def test_what_was_noted_beside_the_plants_is_averaged_per_square_metre():
    noted = {"bare_ground_percent": 10, "litter_percent": 30, "sward_height_cm": 25, "rattle_plants": 6, "area_m2": 2.0}
    part = judge(question(survey(quadrat("primula_veris", **noted), quadrat("primula_veris", area_m2=2.0))))[
        "sown_part"
    ]
    assert part["bare_ground_share"]["mean"] == pytest.approx(0.1)
    assert part["litter_share"]["mean"] == pytest.approx(0.3)
    assert part["sward_height_m"]["mean"] == pytest.approx(0.25)
    assert part["rattle_plants_per_m2"] == {"n": 1, "mean": 3.0, "sd": None, "se": None, "low": None, "high": None}
    bare = judge(question(survey(quadrat("primula_veris"))))["sown_part"]
    assert (bare["litter_share"], bare["rattle_plants_per_m2"]) == (None, None)


# ------------------------------------------------------------------ beside others


def test_the_unsown_part_is_kept_apart_and_compared():
    control = [quadrat(*KINDS[:2], label=f"c{i}", part="control") for i in range(3)]
    answer = judge(question(survey(*held(6, 7, 8), *control)))
    assert answer["sown_part"]["quadrats"] == 3
    assert answer["control_part"]["species_in_each"] == [2, 2, 2]
    change = answer["changes"][0]
    assert (change["against"], change["on"], change["difference_species"]) == ("control", None, 5.0)
    # Welch by hand: variances 1 and, of counts all alike, 1/12, each over 3; degrees of freedom
    # (13/36)^2 / ((1/3)^2 / 2 + (1/36)^2 / 2) = 2.331, whose t is 3.7604 (scipy.stats.t)
    assert change["low"] == pytest.approx(5 - stats.t.ppf(0.975, 338 / 145) * (13 / 36) ** 0.5, abs=1e-9)
    assert (change["method"], change["spots"]) == ("welch", None)
    # two kinds of the eight are on both
    assert change["jaccard"] == pytest.approx(2 / 8)
    assert change["sorensen"] == pytest.approx(4 / 10)


def test_earlier_surveys_are_compared_with_their_days():
    before = survey(*held(4, 4, 5), on="2027-06-21")
    baseline = survey(*held(2, 2, 3), on="2025-06-01")
    changes = judge(question(survey(*held(6, 7, 8)), before=before, baseline=baseline))["changes"]
    assert [(c["against"], c["on"].isoformat()) for c in changes] == [
        ("before", "2027-06-21"),
        ("baseline", "2025-06-01"),
    ]
    assert [c["difference_species"] for c in changes] == pytest.approx([7 - 13 / 3, 7 - 7 / 3])


def fixed(*counts, on="2027-06-21", labels="abcdefghij", **noted):
    rows = [quadrat(*KINDS[:n], label=label, **noted) for n, label in zip(counts, labels, strict=False)]
    return survey(*rows, on=on, layout="fixed")


def test_fixed_spots_walked_twice_are_compared_spot_by_spot():
    now = fixed(9, 5, 7, 3, on="2028-06-20", labels=["A ", "b", "C", "d"])
    before = fixed(2, 6, 3, 7, labels=["D", "c", "B", "a"])
    change = judge(question(now, before=before))["changes"][0]
    # by another program: SciPy's t test of pairs a, b, c, d
    other = stats.ttest_rel([9, 5, 7, 3], [7, 3, 6, 2])
    assert (change["method"], change["spots"], change["difference_species"]) == ("paired", 4, 1.5)
    ends = other.confidence_interval(0.95)
    assert (change["low"], change["high"]) == pytest.approx((ends.low, ends.high))
    assert 1 <= change["bootstrap"]["low"] < 1.5 < change["bootstrap"]["high"] <= 2
    # standard error sqrt(1/3) / 2, and 1.95996 + 0.84162 of it
    assert change["smallest_change_species"] == pytest.approx(2.80158 * (1 / 3) ** 0.5 / 2, abs=1e-4)


@pytest.mark.parametrize(
    ("now", "before", "method", "spots"),
    [
        (fixed(9, 5, 7), fixed(6, 3, 4, 5), "paired", 3),
        (fixed(9, 5, 7), fixed(6, 3, 4, labels="abx"), "welch", None),
        (fixed(9, 5, 7, labels="aab"), fixed(6, 3, 4, labels="abc"), "welch", None),
        (fixed(9, 5, 7, labels=["", "b", "c"]), fixed(6, 3, 4), "welch", None),
        (fixed(9, 5, 7) | {"layout": "random"}, fixed(6, 3, 4), "welch", None),
        (fixed(9, 5, 7), fixed(6, 3, 4) | {"layout": "not_said"}, "welch", None),
    ],
)
def test_only_spots_known_to_be_the_same_are_paired(now, before, method, spots):
    change = judge(question(now, before=before))["changes"][0]
    assert (change["method"], change["spots"]) == (method, spots)
    assert change["bootstrap"]["low"] <= change["difference_species"] <= change["bootstrap"]["high"]


def test_spots_that_all_changed_alike_leave_what_counting_leaves():
    change = judge(question(fixed(7, 5, 6), before=fixed(5, 3, 4)))["changes"][0]
    # spread of the difference of two roundings sqrt(2 / 12), t with 2 degrees of freedom 4.30265
    assert change["high"] - 2 == pytest.approx(4.30265 * (2 / 12 / 3) ** 0.5, abs=1e-4)
    assert change["bootstrap"] is None


def test_surveys_of_other_sizes_are_not_compared():
    before = survey(*held(4, 4, area_m2=4.0), on="2027-06-21")
    change = judge(question(survey(*held(6, 7)), before=before))["changes"][0]
    assert (change["difference_species"], change["missing"]) == (None, "quadrats of one size in both")
    none = judge(question(survey(*held(6, 7)), before=survey(on="2027-06-21")))["changes"][0]
    assert none["missing"] == "quadrats in both"
    assert (none["method"], none["bootstrap"], none["smallest_change_species"]) == (None, None, None)


def test_quadrats_all_alike_still_leave_a_change_unseen():
    # 1.95996 + 0.84162 times the spread of a rounding, sqrt(1/12), times sqrt(2 / 10)
    part = judge(question(survey(*held(*[5] * 10))))["sown_part"]
    assert part["species_per_quadrat"]["sd"] == 0
    assert part["species_bootstrap"] is None
    assert part["effort"]["smallest_change_species"] == pytest.approx(2.80158 * (2 / 10 / 12) ** 0.5, abs=1e-4)


def test_covers_are_compared_where_both_surveys_have_them():
    def of(percent):
        return quadrat(record("primula_veris", "percent", percent), record("briza_media", "percent", "20"))

    change = judge(question(survey(of("40")), before=survey(of("10"), on="2027-06-01")))["changes"][0]
    # 1 - 30 / 90
    assert change["bray_curtis_likeness"] == pytest.approx(2 / 3)
    change = judge(question(survey(of("40")), before=survey(quadrat("briza_media"), on="2027-06-01")))["changes"][0]
    assert change["bray_curtis_likeness"] is None


def test_rattle_is_compared_as_a_ratio():
    before = survey(*held(9, rattle_plants=20), on="2027-06-01")
    assert judge(question(survey(*held(9, rattle_plants=5)), before=before))["changes"][0]["rattle_ratio"] == 0.25
    gone = survey(*held(9, rattle_plants=0), on="2027-06-01")
    assert judge(question(survey(*held(9, rattle_plants=5)), before=gone))["changes"][0]["rattle_ratio"] is None


def test_sown_kinds_are_met_anywhere_on_the_sown_part_or_in_the_list_of_the_site():
    found = survey(
        quadrat("primula_veris"),
        quadrat("briza_media", label="2", part="control"),
        whole_site=[record("galium_verum")],
        sown_taxa=["primula_veris", "briza_media", "galium_verum"],
    )
    answer = judge(question(found))
    assert [kind["taxon"] for kind in answer["sown"]["met"]] == ["galium_verum", "primula_veris"]
    assert [kind["taxon"] for kind in answer["sown"]["not_met"]] == ["briza_media"]
    assert [kind["taxon"] for kind in answer["kinds_on_site"]] == ["galium_verum", "primula_veris"]
    assert answer["sown_part"]["sown_species_per_quadrat"]["mean"] == 1.0
    assert judge(question(survey(quadrat("primula_veris"))))["sown"] is None


def test_the_donors_list_is_compared_with_the_whole_site():
    answer = judge(question(survey(*held(4)), donor_taxa=["festuca_rubra", "galium_verum"]))
    assert answer["donor"]["jaccard"] == pytest.approx(1 / 5)
    assert answer["donor"]["sorensen"] == pytest.approx(2 / 6)
    assert [kind["taxon"] for kind in answer["donor"]["not_met"]] == ["galium_verum"]


# ------------------------------------------------------------------ rules


def test_a_set_of_rules_gives_class_name_version_and_each_rule():
    verdict = by_set(judge(question(survey(*held(*[8] * 10, forb_cover_percent=25)))), "ukhab_g4")
    assert (verdict["judged"], verdict["class_key"], verdict["version"]) == (True, "g4", "2024, as restated")
    (rule,) = verdict["classes"][0]["rules"]
    assert (rule["rule"], rule["operator"], rule["threshold"], rule["value"], rule["held"]) == (
        "UKH-9", "less_than", 9.0, 8.0, True,
    )  # fmt: skip
    assert rule["source"].startswith("UK Habitat Classification. 2024.")
    assert verdict["sentence"] == (
        "Class by the UK Habitat Classification, g4 modified grassland, version 2024, as restated: "
        "g4 modified grassland."
    )


def test_quadrats_of_another_size_cannot_be_judged_by_kinds_per_square_metre():
    answer = judge(question(survey(*held(*[8] * 10, area_m2=4.0))))
    verdict = by_set(answer, "ukhab_g4")
    assert (verdict["judged"], verdict["class_key"], verdict["missing"]) == (False, None, ["quadrats of 1 m²"])
    assert verdict["sentence"].endswith("cannot be judged; missing: quadrats of 1 m².")
    assert any("Limits of kinds per square metre hold for 1 m² alone" in text for text in answer["cautions"])


def test_facts_beside_the_survey_reach_the_condition_rules():
    facts = {"scrub_cover_percent": 4, "extent_lost_percent": 2, "olsen_p_mg_per_l": 30}
    answer = judge(question(survey(*held(5, 5)), facts=facts))
    assert by_set(answer, "csm_structure")["class_key"] == "favourable"
    lost = next(r for r in by_set(answer, "csm_mg5")["classes"][0]["rules"] if r["attribute"] == "extent_lost")
    assert (lost["value"], lost["held"]) == (0.02, False)
    # 30 mg/l Olsen is index 3: by NI Statutory Rule 2019/81, 26 to 45
    index = next(r for r in by_set(answer, "tin050")["classes"][0]["rules"] if r["attribute"] == "soil_p_index")
    assert (index["value"], index["held"]) == (3.0, False)
    assert by_set(answer, "tin050")["sentence"].endswith("not met, because of the soil's phosphorus index.")


def test_no_word_of_grading_stands_in_an_answer():
    answer = judge(question(survey(*held(3, 9, 8), grade="learning", layout="chosen"), facts={"first_summer": 2028}))
    words = " ".join([*answer["sentences"], *answer["cautions"], *(v["sentence"] for v in answer["classes"])]).lower()
    for word in (
        "good condition",
        "moderate",
        "poor condition",
        "excellent",
        "badge",
        "score",
        "red",
        "amber",
        "green",
    ):
        assert f" {word} " not in f" {words} ", word
