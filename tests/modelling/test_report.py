"""The text of an answer: narrow, plain, whole, and true to the answer's own numbers."""

from datetime import date

import pytest

from modelling import services
from modelling.report import WIDTH, estimate_text

STEPS = [
    {"on": "2026-09-10", "operation": "strip_turf_machine", "zone": "top", "area_share": 0.5},
    {"on": "2026-09-20", "seed": [{"mix": "cornfield_annuals", "kg": 0.4}], "zone": "top", "area_share": 0.5},
    {"on": "2027-04-10", "plugs": [{"taxon": "succisa_pratensis", "count": 120}], "zone": "low", "area_share": 0.5},
]
QUESTIONS = {
    "only the area": {"site": {"area_m2": 180}},
    "a patch in a garden": {
        "site": {"area_m2": 0.9, "kind": "garden"},
        "plan": {"seed": [{"mix": "neutral_flowers_with_rattle", "kg": 0.003}]},
    },
    "two hectares too rich": {"site": {"area_m2": 20_000, "olsen_p_mg_per_l": 31, "last_use": "grazing"}},
    "nothing sown": {"site": {"area_m2": 500}, "plan": {"seed": [], "preparation": []}},
    "orchids": {"site": {"area_m2": 500, "existing_interest": "orchids"}},
    "steps and plugs": {"site": {"area_m2": 600}, "plan": {"steps": STEPS}},
    "a square kilometre": {"site": {"area_m2": 1e6, "kind": "field"}, "plan": {"budget_gbp": 1000.5}},
    "one year": {"site": {"area_m2": 180}, "horizon_years": 1, "quadrat_area_m2": 0.25},
    "no cut": {"site": {"area_m2": 180}, "plan": {"aftercare": {"cut_month": []}}},
}


def answer(question):
    body = question | {"draws": 400, "as_of": "2026-07-01"}
    asked, lowered = services.fit_draws(services.read_estimate(body), 4_000_000)
    return services.estimate_now(asked, today=date(2026, 7, 1), lowered=lowered)


def section(text, title):
    """Return the lines under a title, without its rule."""
    lines = text.splitlines()
    start = lines.index(title)
    assert lines[start + 1] == "-" * len(title)
    return lines[start + 2 : next((i for i in range(start + 2, len(lines) - 1) if set(lines[i + 1]) == {"-"}), None)]


def joined(lines):
    return " ".join(" ".join(lines).split())


@pytest.mark.parametrize("name", QUESTIONS)
def test_every_line_fits_a_terminal_and_ends_with_a_word(name):
    text = estimate_text(answer(QUESTIONS[name]))
    assert text.endswith(".\n")
    assert "\n\n\n" not in text
    for line in text.splitlines():
        assert len(line) <= WIDTH
        assert line == line.rstrip()
        assert "None" not in line
        assert "nan" not in line.split()


@pytest.mark.parametrize("name", QUESTIONS)
def test_the_sentence_stands_first_and_the_recipe_last(name):
    found = answer(QUESTIONS[name])
    text = estimate_text(found)
    assert joined(text.splitlines()).startswith(f"{found['sentence']} {found['advice']['sentence']} ")
    recipe = found["recipe"]
    assert joined(text.splitlines()).endswith(
        f"Recipe: release {recipe['release']}, model {recipe['model_version']}, as of 2026-07-01, 400 draws, "
        f"seeds 1 (site) and 1 (world), inputs {recipe['inputs_checksum'][:12]}, "
        f"tables {recipe['reference_checksum'][:12]}."
    )


def test_the_years_stand_side_by_side_for_both_forecasts():
    found = answer(QUESTIONS["only the area"])
    rows = section(estimate_text(found), "What will grow: kinds of plant in a square metre")[2:12]
    made = found["establishment"]
    for row, kept, usual in zip(rows, made["if_kept"]["by_year"], made["as_usual"]["by_year"], strict=True):
        cells = row.replace(" %", "%").replace(",", "").split()
        assert cells[:2] == [str(kept["year"]), str(kept["calendar_year"])]
        for at, year in ((2, kept), (7, usual)):
            numbers = [float(cell) for cell in cells[at : at + 3]]
            # Two significant digits of numbers below a hundred.
            expected = [year["species_per_m2"][point] for point in ("p10", "p50", "p90")]
            assert numbers == pytest.approx(expected, abs=0.5, rel=0.051)
            chances = [float(cell.strip("<>%")) for cell in cells[at + 3 : at + 5]]
            shares = [100 * year[f"chance_at_least_{kinds}"] for kinds in (9, 15)]
            assert chances == pytest.approx(shares, abs=1)


def test_a_square_other_than_a_metre_is_named():
    text = estimate_text(answer(QUESTIONS["one year"]))
    assert len(section(text, "What will grow: kinds of plant in 0.25 m²")[2:3]) == 1


def test_every_entry_of_the_answer_that_a_person_must_read_is_there():
    found = answer(QUESTIONS["steps and plugs"])
    text = joined(estimate_text(found).splitlines())
    for line in found["calendar"]:
        assert line["label"] in text
    for line in found["permissions"]:
        assert f"{line['label']}: " in text
    for line in found["cautions"]:
        assert line["label"][1:] in text
    for line in found["assumptions"]:
        assert f"{line['label']}: {line['value']} ({line['confidence']})." in text
    for line in found["cost"]["lines"]:
        assert line["kind"] != "cash" or f"{line['label']} {line['mean_gross_gbp']:,.2f} " in text
    assert "Plugs of devil's-bit scabious: 120." in text
    assert found["seed"]["items"][0]["label"] in text


def test_cash_and_in_kind_are_told_apart_and_a_budget_has_its_chance():
    text = joined(section(estimate_text(answer(QUESTIONS["a square kilometre"])), "Money"))
    assert " in cash to make it, " in text
    assert "Beside it, in volunteers' time and borrowed kit: " in text
    assert "The chance that £1,000.50 is enough to make it: <1 %." in text


def test_sand_is_asked_for_only_where_hands_sow():
    by_hand = joined(section(estimate_text(answer(QUESTIONS["only the area"])), "Seed to buy or bring"))
    by_tractor = joined(section(estimate_text(answer(QUESTIONS["two hectares too rich"])), "Seed to buy or bring"))
    assert " of dry sand, to sow it evenly." in by_hand
    assert "sand" not in by_tractor


def test_a_plan_that_sows_nothing_says_so():
    assert section(estimate_text(answer(QUESTIONS["nothing sown"])), "Seed to buy or bring")[0] == (
        "  Nothing: this plan adds no seed."
    )


def test_a_patch_is_told_in_its_own_measures():
    text = estimate_text(answer(QUESTIONS["a patch in a garden"]))
    hands = section(text, "Hands and machines")
    assert "person-hours" not in joined(hands)
    assert hands[0].startswith("  ")
    assert " person-minutes to make it: " in hands[0]
    assert " kg, " in joined(hands)
    assert " litres. Heap " in joined(hands)
    assert "nothing in the first year, then nothing a year;" in joined(section(text, "Money"))
    growth = joined(section(text, "What will grow: kinds of plant in 0.9 m²"))
    assert "the chance of nine or more, and of fifteen or more, on the whole of it." in growth


def test_lowered_draws_are_owned_up_to():
    request = services.read_estimate({"site": {"area_m2": 180}})
    asked, lowered = services.fit_draws(request, services.cost_in_cells(request) // 16)
    text = estimate_text(services.estimate_now(asked, today=date(2026, 7, 1), lowered=lowered))
    assert "250 draws, lowered to fit," in joined(text.splitlines())
