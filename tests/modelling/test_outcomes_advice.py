"""Questions that a survey gives reason to ask, each at its limit."""

import pytest

from modelling.outcome_advice import advice
from modelling.outcomes import judge
from tests.modelling.made_surveys import held, quadrat, question, record, survey

TEN = tuple([5] * 10)


def asked(found, **more):
    answer = judge(question(found, **more))
    for entry in answer["advice"]:
        assert entry["question"].endswith("?")
        assert entry["reason"].endswith(".")
        assert entry["source"]
        assert entry["confidence"]
    return {entry["key"]: entry for entry in answer["advice"]}


def poor(*counts, **noted):
    """Quadrats of plants of poor soil, so that nothing is said of rich soil."""
    kinds = (
        "galium_verum",
        "lotus_corniculatus",
        "linum_catharticum",
        "briza_media",
        "primula_veris",
        "leontodon_hispidus",
    )
    return [quadrat(*kinds[:n], label=str(i), **noted) for i, n in enumerate(counts)]


def test_an_ordinary_survey_gives_nothing_to_ask():
    assert asked(survey(*poor(*TEN))) == {}


# ------------------------------------------------------------------ yellow rattle


@pytest.mark.parametrize(("now", "then", "says"), [(10, 20, True), (11, 20, False), (0, 4, True), (0, 0, False)])
def test_rattle_that_fell_to_half_or_less_asks_about_the_cut(now, then, says):
    before = survey(*poor(*TEN, rattle_plants=then), on="2027-06-20")
    found = asked(survey(*poor(*TEN, rattle_plants=now)), before=before)
    assert ("rattle_fell" in found) is says
    if says:
        assert f"from {then:.1f} to {now:.1f} plants" in found["rattle_fell"]["reason"]


def test_rattle_not_counted_in_both_years_asks_nothing():
    before = survey(*poor(*TEN), on="2027-06-20")
    assert asked(survey(*poor(*TEN, rattle_plants=0)), before=before) == {}
    assert asked(survey(*poor(*TEN, rattle_plants=0))) == {}


# ------------------------------------------------------------------ cuttings


@pytest.mark.parametrize(("litter", "says"), [(25, False), (26, True)])
def test_litter_over_a_quarter_of_the_ground_asks_about_cuttings(litter, says):
    found = asked(survey(*poor(*TEN, litter_percent=litter)))
    assert ("cuttings_left" in found) is says


def test_cuttings_known_to_be_left_ask_whatever_the_litter():
    assert "feed the grass" in asked(survey(*poor(*TEN)), facts={"arisings": "left"})["cuttings_left"]["reason"]
    assert asked(survey(*poor(*TEN)), facts={"arisings": "removed"}) == {}


# ------------------------------------------------------------------ the first summer


def test_a_first_summer_without_flowers_is_usual_and_said_to_be():
    found = asked(survey(*poor(*TEN, forb_cover_percent=5)), facts={"first_summer": 2028})
    assert "Nothing has failed." in found["first_summer"]["reason"]
    assert "weeds and bare ground are usual" in found["first_summer"]["reason"]
    # where it was not judged, too
    assert "first_summer" in asked(survey(*poor(*TEN)), facts={"first_summer": 2028})


@pytest.mark.parametrize(("first_summer", "forbs"), [(2027, 5), (2028, 31)])
def test_later_summers_and_summers_in_flower_need_no_such_word(first_summer, forbs):
    found = asked(survey(*poor(*TEN, forb_cover_percent=forbs)), facts={"first_summer": first_summer})
    assert "first_summer" not in found


# ------------------------------------------------------------------ weeds


@pytest.mark.parametrize(
    ("taxon", "key"),
    [
        ("rumex_obtusifolius", "docks"), ("rumex_crispus", "docks"), ("rumex_sp", "docks"),
        ("cirsium_arvense", "thistles"), ("cirsium_vulgare", "thistles"), ("cirsium_sp", "thistles"),
        ("jacobaea_vulgaris", "ragwort"), ("urtica_dioica", "nettles"),
    ],
)  # fmt: skip
@pytest.mark.parametrize(("met", "says"), [(2, False), (3, True)])
def test_weeds_in_more_than_two_stops_of_ten_ask(taxon, key, met, says):
    quadrats = poor(*TEN)
    for found in quadrats[:met]:
        found["records"].append(record(taxon))
    answer = asked(survey(*quadrats))
    assert set(answer) == ({key} if says else set())
    if says:
        assert "in 30 % of quadrats" in answer[key]["reason"]


@pytest.mark.parametrize(("percent", "says"), [("50", False), ("51", True)])
def test_weeds_that_cover_over_a_twentieth_of_the_ground_ask(percent, says):
    quadrats = poor(*TEN)
    quadrats[0]["records"].append(record("rumex_crispus", "percent", percent))
    assert ("docks" in asked(survey(*quadrats))) is says


def test_sorrel_is_no_dock_to_ask_about():
    quadrats = poor(*TEN)
    for found in quadrats:
        found["records"].append(record("rumex_acetosa"))
    assert asked(survey(*quadrats)) == {}


# ------------------------------------------------------------------ falling, few, soil


@pytest.mark.parametrize(
    ("first", "last", "now", "says"),
    [(5, 4, 3, True), (5, 4, 4, False), (4, 4, 3, False), (3, 4, 3, False)],
)
def test_kinds_that_fell_in_two_years_running_ask_what_changed(first, last, now, says):
    before = survey(*poor(*[last] * 10), on="2027-06-20")
    facts = {"earlier_means": [{"year": 2026, "species_per_quadrat": first}]}
    found = asked(survey(*poor(*[now] * 10)), before=before, facts=facts)
    assert ("falling" in found) is says
    if says:
        assert "fell from 5.0 to 4.0 to 3.0 over three surveys" in found["falling"]["reason"]


def test_two_surveys_are_too_few_for_two_falls_and_other_sizes_are_not_compared():
    before = survey(*poor(*[5] * 10), on="2027-06-20")
    assert "falling" not in asked(survey(*poor(*[3] * 10)), before=before)
    larger = survey(*poor(*[4] * 10, area_m2=4.0), on="2027-06-20")
    facts = {"earlier_means": [{"year": 2026, "species_per_quadrat": 5}]}
    assert "falling" not in asked(survey(*poor(*[3] * 10)), before=larger, facts=facts)


@pytest.mark.parametrize(("n", "says"), [(0, True), (1, True), (9, True), (10, False)])
def test_fewer_than_ten_quadrats_ask_for_more(n, says):
    found = asked(survey(*poor(*[5] * n)))
    assert ("few_quadrats" in found) is says
    if says:
        assert f"there were {n}." in found["few_quadrats"]["reason"]


@pytest.mark.parametrize(
    ("first_summer", "forbs", "says"), [(2026, 29, True), (2027, 29, False), (2026, 30, False), (None, 5, False)]
)
def test_few_flowers_from_the_third_summer_on_ask_for_a_soil_test(first_summer, forbs, says):
    facts = {} if first_summer is None else {"first_summer": first_summer}
    found = asked(survey(*poor(*TEN, forb_cover_percent=forbs)), facts=facts)
    assert ("soil_test" in found) is says


def test_plants_of_rich_soil_ask_for_a_soil_test_unless_there_is_one():
    # British N of rye-grass 6, rough meadow-grass 6, broad-leaved dock 9
    rich = [quadrat("lolium_perenne", "poa_trivialis", label=str(i)) for i in range(10)]
    assert "nitrogen 6.0" in asked(survey(*rich))["soil_test"]["reason"]
    assert asked(survey(*rich), facts={"olsen_p_mg_per_l": 12}) == {}


def test_by_cover_goes_before_the_plain_mean_of_nitrogen():
    records = [record("lolium_perenne", "percent", "10"), record("linum_catharticum", "percent", "80")]
    # plain 4, by cover (6 x 10 + 2 x 80) / 90
    assert "soil_test" not in asked(survey(*[quadrat(*records, label=str(i)) for i in range(10)]))
    records = [
        record("urtica_dioica", "percent", "4"),
        record("lolium_perenne", "percent", "80"),
        record("briza_media", "percent", "1"),
    ]
    assert "soil_test" in asked(survey(*[quadrat(*records, label=str(i)) for i in range(10)]))


def test_advice_can_be_asked_of_stored_results():
    asked_now = question(survey(*held(3, 3)))
    answer = judge(asked_now)
    assert advice(answer, None, asked_now.facts) == answer["advice"]
