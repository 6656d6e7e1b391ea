"""The sheets that are printed: the plan, and the day of sowing."""

import pytest

from projects.dashboard.pages.sheets import SowingDay

SACK = "area_m2=400&sward=bare_or_arable&mix_1=neutral_meadow&mix_1_g=1600&as_of=2026-08-15"


def test_the_plan_sheet_says_the_plan_and_how_it_was_made(read, churchyard):
    text = read(f"/estimate/plan-sheet/?{churchyard}").text
    for heading in ("Calendar", "Seed", "Money", "What will grow", "Hands and machines", "Permissions", "Cautions"):
        assert heading in text
    assert "Made for 15 August 2026 by Forbcast" in text


def test_the_weights_add_up_strip_by_strip(read):
    page = read(f"/estimate/sowing-day/?{SACK}&strips=5")
    text = page.text
    assert "in five strips of 80 m²" in text
    # 1,600 g over five strips, each sown half one way and half across.
    assert "Neutral meadow, four parts grass to one of flowers 1.6 kg 320 g 160 g" in text


@pytest.mark.parametrize(("area_m2", "strips"), [(0.9, 1), (50, 1), (51, 2), (400, 8), (20_000, 12)])
def test_strips_are_of_about_50_m2_and_no_more_than_a_dozen(area_m2, strips):
    assert SowingDay({"plan": {"net_area_m2": area_m2}}).strips == strips


@pytest.mark.parametrize("strips", ["0", "61", "-1", "two", "1.5", "%D9%A3", "", "9" * 5000])
def test_a_number_of_strips_that_will_not_do_is_left_to_the_sheet(read, strips):
    assert "in eight strips of 50 m²" in read(f"/estimate/sowing-day/?{SACK}&strips={strips}").text


def test_the_day_sheet_leaves_room_for_who_leads_and_who_helps(read, churchyard):
    text = read(f"/estimate/sowing-day/?{churchyard}").text
    assert text.startswith("Sowing day, 20 September 2026")
    for words in (
        "Leader",
        "First-aider",
        "Nearest way in for an ambulance",
        "ring 999",
        "Who brings what",
        "Cautions",
    ):
        assert words in text
    assert "Made for 15 August 2026 by Forbcast" in text


def test_a_plan_without_seed_has_a_day_sheet_without_weights(read):
    text = read("/estimate/sowing-day/?area_m2=180&preparation=none&sowing=nothing&as_of=2026-08-15").text
    assert "Weights, strip by strip" not in text
    assert "Scales" not in text


def test_a_sheet_of_a_wrong_address_is_the_form(read):
    assert "One thing to put right" in read("/estimate/plan-sheet/?area_m2=none", status=422).text


def test_a_sheet_without_a_date_is_sent_on(client):
    assert (
        client.get("/estimate/sowing-day/?area_m2=180")
        .headers["Location"]
        .startswith("/estimate/sowing-day/?area_m2=180&as_of=")
    )
