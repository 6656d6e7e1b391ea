"""A judged survey in sentences: what was found first, then what to bear in mind."""

import pytest

from modelling import outcome_words
from modelling.outcomes import judge
from modelling.selectors import parameters
from tests.modelling.made_surveys import held, quadrat, question, record, survey, written


def answer_of(*quadrats, **more):
    asked = {key: more.pop(key) for key in ("before", "baseline", "facts", "donor_taxa") if key in more}
    return judge(question(survey(*quadrats, **more), **asked))


def starting(texts, start):
    found = [text for text in texts if text.startswith(start)]
    assert len(found) == 1, texts
    return found[0]


@pytest.mark.parametrize(
    ("quadrats", "sentence"),
    [
        ([], "No quadrat was looked at, so nothing can be said per square metre."),
        (held(5), "One quadrat of 1 m² held 5.0 kinds of plant; one quadrat says nothing of the rest."),
        (
            # t with 12 degrees of freedom 2.179, spread of a rounding 1 / sqrt(12): 5 ± 2.179 x 0.2887 / sqrt(13)
            held(*[5] * 13),
            "13 quadrats of 1 m² held five kinds of plant each. As all held the same number, their spread says nothing "
            "of the rest; counting in whole kinds alone leaves 4.8 to 5.2 open.",
        ),
        # t with 1 degree of freedom 12.706: the low end would be below nothing
        (held(2, 4, area_m2=0.25), "Two quadrats of 0.25 m² held 3.0 kinds of plant on average (95 %: 0.0 to 15.7)."),
    ],
)
def test_kinds_per_quadrat_come_first(quadrats, sentence):
    assert answer_of(*quadrats)["sentences"][0] == sentence


def test_kinds_met_and_kinds_that_were_likely_missed():
    # kinds 1 to 3 in all, 4 to 7 in one quadrat: 7 seen, Q1 = 4, Q2 = 0, so 7 + 3/4 x 4 x 3 / 2 = 11.5
    found = answer_of(*held(3, 3, 3, 7), whole_site=[record("briza_media")])
    assert found["sentences"][1] == (
        "Seven kinds were met in them, eight on the whole site; from how many were met only once or twice, about 12 "
        "grow there."
    )
    assert answer_of(*held(1, 1))["sentences"][1] == "One kind was met in them."
    assert answer_of(whole_site=[record("briza_media")])["sentences"][1] == "A list of the whole site has one kind."


def test_the_unsown_part_is_named():
    control = [quadrat("poa_trivialis", label=f"c{i}", part="control") for i in range(2)]
    sentences = answer_of(*held(4, 4), *control)["sentences"]
    # t with 1 degree of freedom 12.706: 1 ± 12.706 x 0.2887 / sqrt(2) reaches below nothing
    assert (
        "Two quadrats of 1 m² on the unsown part held one kind of plant each. As all held the same number, their "
        "spread says nothing of the rest; counting in whole kinds alone leaves 0.0 to 3.6 open."
    ) in sentences
    # t with 2 degrees of freedom 4.303, standard error sqrt(2 / 12 / 2)
    assert (
        "3.0 more kinds in a quadrat than on the unsown part (95 %: from +1.8 to +4.2), more than chance would give."
        in (sentences)
    )


@pytest.mark.parametrize(
    ("now", "before", "sentence"),
    [
        # t with 2 degrees of freedom 4.303, standard error 1: the interval of -2 reaches over 0
        (
            (4, 6),
            (6, 8),
            "2.0 fewer kinds in a quadrat than on 21 June 2027 (95 %: from −8.1 to +4.1), so it may be chance.",
        ),
        (
            (6,),
            (4,),
            "2.0 more kinds in a quadrat than on 21 June 2027; too few quadrats to say whether that is chance.",
        ),
        (
            (5, 5),
            (5, 5),
            # standard error sqrt(2 / 12 / 2), t with 2 degrees of freedom 4.303
            "As many kinds in a quadrat as on 21 June 2027 (95 %: from −1.2 to +1.2), so it may be chance.",
        ),
    ],
)
def test_a_change_is_told_with_what_chance_would_give(now, before, sentence):
    found = answer_of(*held(*now), before=survey(*held(*before), on="2027-06-21"))
    assert sentence in found["sentences"]


def test_a_change_at_fixed_spots_says_so():
    found = answer_of(*held(6, 8, 10), layout="fixed", before=survey(*held(4, 7, 7), on="2027-06-21", layout="fixed"))
    # differences 2, 1, 3: mean 2, standard error 1 / sqrt(3), t with 2 degrees of freedom 4.303
    assert (
        "2.0 more kinds in a quadrat than on 21 June 2027 (95 %: from −0.5 to +4.5, of three spots walked both times), "
        "so it may be chance."
    ) in found["sentences"]


def test_a_change_by_another_eye_says_so():
    before = survey(*held(4, 7), on="2027-06-21", grade="learning")
    text = "On 21 June 2027 somebody of another grade looked, so some of the change may be another eye."
    assert text in answer_of(*held(6, 8), before=before)["cautions"]
    assert text not in answer_of(*held(6, 8), before={**before, "grade": "expert"})["cautions"]
    assert text not in answer_of(*held(6, 8), before={**before, "quadrats": []})["cautions"]


def test_no_rule_that_cannot_be_judged_stands_among_the_first_sentences():
    # quadrats of another size: limits of kinds per square metre cannot be judged, and covers are not known
    for quadrats in (held(5, 6, area_m2=4.0), held(4, 4), []):
        found = answer_of(*quadrats)
        assert not any("cannot be judged" in text for text in found["sentences"])
        assert any("cannot be judged" in verdict["sentence"] for verdict in found["classes"])


def test_sown_kinds_flowers_and_nitrogen_are_told():
    records = [record("leucanthemum_vulgare", "percent", "35"), record("lolium_perenne", "percent", "40")]
    sentences = answer_of(quadrat(*records), sown_taxa=["leucanthemum_vulgare", "galium_verum"])["sentences"]
    assert "Of two kinds sown or planted, one was met." in sentences
    assert "Wildflowers and sedges cover 35 % of the ground: over three tenths." in sentences
    # British N of oxeye daisy 4 and perennial rye-grass 6
    assert (
        "The plants speak of soil of nitrogen 5.0 on the British Ellenberg scale from 1, poor, to 9, rich; two of two "
        "kinds have a value."
    ) in sentences


def test_a_class_close_to_a_limit_says_so():
    # eight and eleven kinds: 9.5 on average, and the interval reaches under 9 and over 15
    found = answer_of(*held(8, 10, forb_cover_percent=20))
    assert starting([v["sentence"] for v in found["classes"]], "Class by the Countryside").endswith(
        "version c. 2021, as restated: semi-improved. It lies close to a limit, so another survey might class it "
        "otherwise."
    )


def test_what_no_class_fits_is_told_with_the_classes_there_are():
    sentences = [v["sentence"] for v in answer_of(*held(*[4] * 5))["classes"]]
    text = starting(sentences, "By the evidence for Countryside")
    assert text.endswith(
        "none of its classes (evidence for the species-rich option (GS6); evidence for the very-low-input options "
        "(GS2, GS5))."
    )
    assert starting(sentences, "By the wildflower cover").endswith("cannot be judged; missing: cover of wildflowers.")


def test_a_set_of_one_class_that_does_not_fit_says_so_plainly():
    sentences = [v["sentence"] for v in answer_of(*held(*[3] * 5))["classes"]]
    # three grasses: no wildflower at all
    assert starting(sentences, "By the wildflower cover").endswith("version 2023 to 2024 notes: not enough cover.")
    assert starting(sentences, "By the UK Habitat Classification, g3a").endswith("not g3a lowland meadow.")


def test_where_a_condition_form_is_not_met_it_says_how_many_meet_it_elsewhere():
    (found,) = [v for v in answer_of(*held(*[3] * 10))["condition"] if v["rule_set"] == "csm_mg5"]
    # Natural England's sample survey of 483 stands
    assert found["sentence"].endswith(
        " Most do not meet it: 18 % did of the stands of lowland meadow looked at outside statutory sites."
    )
    assert (
        "not met, because of indicator plants that are frequent and further indicator plants that" in found["sentence"]
    )


def test_every_attribute_of_the_rules_has_words():
    rows = [row for table in ("sward_rules", "condition_rules") for row in parameters().rows(table)]
    assert {row.quantity for row in rows} - {"rules_needed"} == set(outcome_words.ATTRIBUTES)


def test_ten_expert_quadrats_placed_at_random_need_no_caution():
    assert answer_of(*held(*[5] * 10))["cautions"] == []


@pytest.mark.parametrize(
    ("how", "start"),
    [
        ({"layout": "chosen"}, "The spots were chosen, not placed at random"),
        ({"layout": "walk"}, "The quadrats lie along a walk"),
        ({"layout": "not_said"}, "How the quadrats were placed is not said"),
        ({"grade": "learning"}, "The surveyor was learning"),
        ({"grade": "knows_common"}, "The surveyor knew the common plants"),
    ],
)
def test_how_it_was_done_is_told_where_it_matters(how, start):
    (text,) = answer_of(*held(*[5] * 10), **how)["cautions"]
    assert text.startswith(start)


@pytest.mark.parametrize(
    ("n", "text"),
    [
        (1, "One quadrat is few: published rules ask for ten stops."),
        (9, "Nine quadrats are few: published rules ask for ten stops."),
    ],
)
def test_too_few_quadrats_are_said_to_be_few(n, text):
    assert answer_of(*held(*[5] * n))["cautions"] == [text]


def test_quadrats_of_two_sizes_are_told():
    cautions = answer_of(*held(*[5] * 10), quadrat("briza_media", area_m2=4.0))["cautions"]
    assert cautions == ["One quadrat of another size was left out of the figures per quadrat."]


def test_names_mosses_groups_and_amounts_are_told():
    odd = quadrat("bryophyta", "rumex_sp", "rumex_crispus", written("Blue thing"), record("briza_media", "domin", "99"))
    assert answer_of(*held(*[5] * 9), odd)["cautions"] == [
        "One name not settled counts as written: Blue thing.",
        "Mosses do not count and were left out: moss (Bryophyta).",
        "Not counted, since it may be a kind already counted: dock (Rumex sp.).",
        "One amount could not be read on the scale named; the plants count as present, without a cover.",
    ]


def test_a_place_in_a_forecast_without_its_middle_half_is_told_in_eight_of_ten():
    fan = {"forecast": "if_kept", "place": "in_80", "p25": None}
    figure = {"figure": "rattle_plants_per_m2", "found": 3.0, "adjusted": 3.0, "fans": [fan]}
    assert outcome_words.forecast_sentence(figure) == (
        "3.0 plants of yellow rattle in a square metre lie within eight in ten of what was forecast if the plan is "
        "kept."
    )
