"""Sheets as people send them, and what is made of them: rows taken, questions, refusals, nothing dropped."""

from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook

from modelling.contracts.outcomes import Quadrat, Record
from modelling.names import folded
from modelling.reading import read_as
from modelling.selectors import parameters
from projects.sheets import AS_WRITTEN, Cell, ForYear, Row, Sheet, Understood, refused_rows_csv, understand
from tests.projects.sheets.made import codes, quadrats, refused, saved, states, understood, whole_site, workbook

LONG = """Quad No;Species ;% cover;Date surveyed
1;yarrow;12,5;14/7/26
1;ladys bedstraw;40;
2;Plantago lanceolata L.;5;
2;YR ++;3;
"""
WIDE = """Church meadow survey,,,,
Date surveyed:,14 July,,,
% cover,,,,
,,,,
Species ,Q1,Q2,Q3 (%),Notes
yarrow,10,5,,near the gate
ladys bedstraw,,20,30,
YR ++,40,x,2,
a dock,,,1,
,,,,
Bare ground,5,10,0,
Litter %,,5,,
Sward height (cm),20,25.5,30,
Yellow rattle plants,12,0,3,
Total,50,40,33,
"""
TRANSPOSED = """Quadrat,Date,yarrow,ribwort,YR,Bare %,Height (mm)
Q1,14.7.2026,20,3,4,10,150
Q2,,1,,55,20,80
"""


def test_a_long_sheet_is_a_row_for_each_plant_in_each_quadrat() -> None:
    found = understood(LONG)
    assert found.shapes == (("walk.csv", "long"),)
    assert found.questions == ()
    assert quadrats(found) == {
        "1": {"achillea_millefolium": ("percent", "12.5"), "galium_verum": ("percent", "40")},
        "2": {"plantago_lanceolata": ("percent", "5"), "rhinanthus_minor": ("percent", "3")},
    }
    assert [visit["on"] for visit in found.survey["visits"]] == ["2026-07-14"]
    assert found.survey["visits"][0]["quadrats"][1]["records"][1]["name"] == "YR ++"
    assert set(states(found).values()) == {"taken"}


def test_a_quadrat_named_once_holds_for_the_rows_below_it() -> None:
    found = understood("Quadrat,Species,% cover,Date\nQ1,yarrow,12,14 July\n,dock,3,\nQ2,cowslip,2,\n")
    assert quadrats(found)["Q1"] == {"achillea_millefolium": ("percent", "12"), "rumex_sp": ("percent", "3")}
    assert [reason.code for reason in found.rows[2].reasons] == ["quadrat_from_above"]
    book = Workbook()
    for row in (["Quadrat", "Species", "% cover", "Date"], ["Q1", "yarrow", 12, date(2026, 7, 14)], [None, "dock", 3]):
        book.active.append(row)
    book.active.merge_cells("A2:A3")
    assert quadrats(understood(saved(book))) == {
        "Q1": {"achillea_millefolium": ("percent", "12"), "rumex_sp": ("percent", "3")}
    }


def test_a_wide_sheet_has_plants_down_and_quadrats_across() -> None:
    found = understood(WIDE)
    assert found.shapes == (("walk.csv", "wide"),)
    assert found.questions == ()
    assert quadrats(found) == {
        "Q1": {"achillea_millefolium": ("percent", "10"), "rhinanthus_minor": ("percent", "40")},
        "Q2": {
            "achillea_millefolium": ("percent", "5"),
            "galium_verum": ("percent", "20"),
            "rhinanthus_minor": ("presence", ""),
        },
        "Q3": {
            "galium_verum": ("percent", "30"),
            "rhinanthus_minor": ("percent", "2"),
            "rumex_sp": ("percent", "1"),
        },
    }
    measured = [
        (q["bare_ground_percent"], q["litter_percent"], q["sward_height_cm"], q["rattle_plants"])
        for q in found.survey["visits"][0]["quadrats"]
    ]
    assert measured == [(5.0, None, 20.0, 12), (10.0, 5.0, 25.5, 0), (0.0, None, 30.0, 3)]
    assert {"sheet": "walk.csv", "address": "E6", "text": "near the gate"} in found.survey["notes"]
    assert {row.number: row.role for row in found.rows}[15] == "total"


def test_a_transposed_sheet_has_quadrats_down_and_plants_across() -> None:
    found = understood(TRANSPOSED)
    assert found.shapes == (("walk.csv", "transposed"),)
    assert found.questions == ()
    assert quadrats(found) == {
        "Q1": {
            "achillea_millefolium": ("percent", "20"),
            "plantago_lanceolata": ("percent", "3"),
            "rhinanthus_minor": ("percent", "4"),
        },
        "Q2": {"achillea_millefolium": ("percent", "1"), "rhinanthus_minor": ("percent", "55")},
    }
    first, second = found.survey["visits"][0]["quadrats"]
    assert (first["bare_ground_percent"], first["sward_height_cm"]) == (10.0, 15.0)
    assert (second["bare_ground_percent"], second["sward_height_cm"]) == (20.0, 8.0)


def test_a_plain_list_is_of_the_whole_site_with_the_day_of_the_cut() -> None:
    found = understood("Date: 14 July\n\nSpecies,Cut date\nyarrow,28 July\nGrasses,\ncocksfoot,\nCowslip,28/7/26\n")
    assert found.shapes == (("walk.csv", "list"),)
    assert whole_site(found) == {
        "achillea_millefolium": ("presence", ""),
        "dactylis_glomerata": ("presence", ""),
        "primula_veris": ("presence", ""),
    }
    assert found.survey["work"] == [{"what": "cut", "on": "2026-07-28"}]
    assert found.questions == ()


def test_a_list_without_a_heading_is_still_a_list() -> None:
    found = understood("yarrow\nYR ++\ncowslip\n")
    assert list(whole_site(found)) == ["achillea_millefolium", "rhinanthus_minor", "primula_veris"]
    assert codes(found) == ["day_of_walk"]
    answered = understood("yarrow\nYR ++\ncowslip\n", answers={"day:walk": "2026-07-14"})
    assert answered.questions == ()
    assert answered.survey["visits"][0]["on"] == "2026-07-14"


@pytest.mark.parametrize(
    "rows",
    [
        "Species,Quadrat,,\n,1,2,3\nyarrow,12,,40\n",
        ",Q1,Q2,Q3\nSpecies,%,%,%\nyarrow,12,,40\n",
        ",Q1,Q2,Q3\nyarrow,12,,40\n",
        "English name,Latin name,Q1,Q2,Q3\nyarrow,Achillea millefolium,12,,40\n",
        "Latin name,English name,Plot 1,Plot 2,Plot 3\nAchillea millefolium,,12,,40\n",
    ],
)
def test_headings_in_two_rows_or_with_gaps_are_found(rows: str) -> None:
    found = understood(rows, answers={"day:walk": "2026-07-14"})
    assert found.questions == ()
    first, third = quadrats(found).values()
    assert first == {"achillea_millefolium": ("percent", "12")}
    assert third == {"achillea_millefolium": ("percent", "40")}


def test_every_row_is_told_of() -> None:
    for source, rows in ((LONG, 5), (WIDE, 13), (TRANSPOSED, 3)):
        found = understood(source)
        assert len(found.rows) == rows
        assert sorted(row.number for row in found.rows) == sorted({row.number for row in found.rows})


def test_what_is_understood_is_what_the_model_takes() -> None:
    for source in (LONG, WIDE, TRANSPOSED):
        for visit in understood(source).survey["visits"]:
            for quadrat in visit["quadrats"]:
                read_as(Quadrat, quadrat)
            for record in visit["whole_site"]:
                read_as(Record, record)


# --------------------------------------------------------------------------------------------------------- questions


def ask(found: Understood, code: str) -> str:
    (question,) = [question for question in found.questions if question.code == code]
    assert question.text
    return question.key


def test_a_name_that_is_not_settled_is_asked_about_once_and_kept_as_written() -> None:
    source = "Species,Q1,Q2\ncranesbill?,20,\nyarow,,30\ndock,,1\n"
    answers = {"day:walk": "2026-07-14"}
    found = understood(source, answers=answers)
    assert codes(found) == ["name", "name"]
    assert quadrats(found)["Q1"] == {"cranesbill?": ("percent", "20")}
    assert states(found) == {1: "taken", 2: "question", 3: "question", 4: "taken"}
    first, second = found.questions
    assert (first.key, first.read, first.rows) == ("name:cranesbill", "cranesbill?", (("walk.csv", 2),))
    assert {"geranium_pratense", "geranium_sylvaticum", "geranium_sp", AS_WRITTEN} <= {c.value for c in first.choices}
    assert "achillea_millefolium" in {choice.value for choice in second.choices}
    answers |= {first.key: "geranium_pratense", second.key: AS_WRITTEN}
    settled = understood(source, answers=answers)
    assert settled.questions == ()
    assert quadrats(settled) == {
        "Q1": {"geranium_pratense": ("percent", "20")},
        "Q2": {"yarow": ("percent", "30"), "rumex_sp": ("percent", "1")},
    }
    remembered = understood(
        source, answers={"day:walk": "2026-07-14"}, remembered={folded("cranesbill"): "geranium_sp"}
    )
    assert [question.read for question in remembered.questions] == ["yarow"]


def test_a_doubted_name_is_a_question_even_where_the_table_has_it() -> None:
    found = understood("yarrow?\ncowslip\n", answers={"day:walk": "2026-07-14"})
    key = ask(found, "name_doubted")
    assert whole_site(found) == {"yarrow?": ("presence", ""), "primula_veris": ("presence", "")}
    settled = understood("yarrow?\ncowslip\n", answers={"day:walk": "2026-07-14", key: "achillea_millefolium"})
    assert "achillea_millefolium" in whole_site(settled)


def test_two_names_of_different_plants_in_one_row_are_a_question() -> None:
    source = "English name,Latin name,Q1\nyarrow,Primula veris,20\n"
    found = understood(source, answers={"day:walk": "2026-07-14"})
    (question,) = found.questions
    assert {"achillea_millefolium", "primula_veris"} <= {choice.value for choice in question.choices}
    assert quadrats(found) == {"Q1": {"yarrow": ("percent", "20")}}


def test_figures_from_1_to_10_may_be_on_several_scales() -> None:
    source = "Date: 14/7/26\nSpecies,Q1,Q2\nyarrow,7,\ndock,2,10\n"
    found = understood(source)
    key = ask(found, "scale_figures")
    assert [choice.value for choice in found.questions[0].choices] == ["domin", "percent", "abundance"]
    assert quadrats(found)["Q1"] == {"achillea_millefolium": ("presence", ""), "rumex_sp": ("presence", "")}
    assert {row.number for row in found.of_state("question")} == {3, 4}
    for scale in ("domin", "percent", "abundance"):
        settled = understood(source, answers={key: scale})
        assert settled.questions == ()
        assert quadrats(settled)["Q1"] == {"achillea_millefolium": (scale, "7"), "rumex_sp": (scale, "2")}
    assert codes(understood(source, answers={key: "dafor_cover"})) == ["scale_figures"]


@pytest.mark.parametrize(
    ("title", "heading", "scale"),
    [
        ("Domin scale", "Q1", "domin"),
        ("Walk", "Q1 (Domin)", "domin"),
        ("Amounts are written as,Domin", "Q1", "domin"),
        ("Braun-Blanquet", "Q1", "braun_blanquet"),
        ("Walk", "Q1 %", "percent"),
    ],
)
def test_a_title_or_a_heading_settles_the_scale(title: str, heading: str, scale: str) -> None:
    found = understood(f"{title}\nDate: 14/7/26\nSpecies,{heading}\nyarrow,4\n")
    assert found.questions == ()
    assert quadrats(found) == {next(iter(quadrats(found))): {"achillea_millefolium": (scale, "4")}}


def test_letters_tell_cover_or_how_often_by_their_heading_or_are_asked_about() -> None:
    for heading, scale in (("DAFOR cover", "dafor_cover"), ("DAFOR frequency", "dafor_frequency")):
        found = understood(f"Date: 14/7/26\nSpecies,{heading}\nyarrow,F\ndock,lr\n")
        assert found.questions == ()
        assert whole_site(found) == {"achillea_millefolium": (scale, "f"), "rumex_sp": (scale, "r")}
        assert [reason.code for reason in found.rows[-1].reasons] == ["taken_as"]
    source = "Date: 14/7/26\nSpecies,DAFOR\nyarrow,F\ndock,R\n"
    found = understood(source)
    key = ask(found, "scale_letters")
    assert whole_site(understood(source, answers={key: "dafor_frequency"})) == {
        "achillea_millefolium": ("dafor_frequency", "f"),
        "rumex_sp": ("dafor_frequency", "r"),
    }


def test_a_scale_may_stand_beside_each_amount() -> None:
    found = understood("Quadrat,Species,Value,Scale,Date\n1,yarrow,7,Domin,14/7/26\n1,dock,20,%,\n2,cowslip,3,odd,\n")
    assert quadrats(found) == {"1": {"achillea_millefolium": ("domin", "7"), "rumex_sp": ("percent", "20")}}
    assert refused(found) == {4: ["no_scale"]}


def test_a_plant_without_an_amount_among_amounts_is_asked_about() -> None:
    source = "Quadrat,Species,% cover,Date\n1,yarrow,20,14/7/26\n1,dock,,\n"
    found = understood(source)
    key = ask(found, "amount_missing")
    assert quadrats(found)["1"]["rumex_sp"] == ("presence", "")
    assert "rumex_sp" not in quadrats(understood(source, answers={key: "absent"}))["1"]


@pytest.mark.parametrize(
    ("written", "code", "answer"),
    [
        ("7/14/26", "day_ambiguous", "2026-07-14"),
        ("July", "day_missing", "2026-07-02"),
        ("14/7/25", "other_year", "2026-07-14"),
    ],
)
def test_a_day_that_is_not_plain_is_asked_about(written: str, code: str, answer: str) -> None:
    source = f"Date surveyed,{written}\nSpecies,Q1\nyarrow,20\n"
    found = understood(source)
    assert codes(found) == [code]
    key = ask(found, code)
    assert (found.questions[0].address, found.questions[0].read) == ("B1", written)
    assert found.survey["visits"][0]["on"] is None
    settled = understood(source, answers={key: answer})
    assert settled.questions == ()
    assert settled.survey["visits"][0]["on"] == answer
    assert codes(understood(source, answers={key: "last week"})) == [code]


def test_a_plant_that_stands_twice_in_a_quadrat_is_asked_about() -> None:
    source = "Quadrat,Species,% cover,Date\n1,yarrow,20,14/7/26\n1,Achillea millefolium,30,\n2,yarrow,5,\n"
    found = understood(source)
    key = ask(found, "plant_twice")
    assert "C2 and C3" in found.questions[0].text
    assert quadrats(found)["1"] == {"achillea_millefolium": ("percent", "20")}
    assert states(found) == {1: "taken", 2: "taken", 3: "question", 4: "taken"}
    assert quadrats(understood(source, answers={key: "second"}))["1"] == {"achillea_millefolium": ("percent", "30")}
    assert quadrats(understood(source, answers={key: "first"}))["1"] == {"achillea_millefolium": ("percent", "20")}


def test_a_quadrat_that_stands_twice_is_asked_about() -> None:
    source = "Date: 14/7/26\nSpecies,Q1,Q2,q1\nyarrow,20,,40\n"
    found = understood(source)
    key = ask(found, "quadrat_twice")
    assert found.questions[0].address == "D2"
    assert list(quadrats(found)) == ["Q1", "q1 (2)"]
    assert list(quadrats(understood(source, answers={key: "left_out"}))) == ["Q1"]
    down = understood("Quadrat,yarrow,dock,Date\nQ1,20,,14/7/26\nQ1,,40,\n")
    assert codes(down) == ["quadrat_twice"]
    assert list(quadrats(down)) == ["Q1", "Q1 (row 3)"]


# ---------------------------------------------------------------------------------------------------------- refusals


@pytest.mark.parametrize(
    ("row", "code", "address", "read", "expected"),
    [
        ("dock,-5,1", "negative", "B3", "-5", "a number from 0 to 100"),
        ("dock,101,1", "over_100", "B3", "101", "a number from 0 to 100"),
        ("dock,1,some", "not_on_scale", "C3", "some", "a number from 0 to 100"),
        ("dock,5-10,1", "not_on_scale", "B3", "5-10", "a number from 0 to 100"),
        ("Bare ground,120,1", "bad_figure", "B3", "120", "a number from 0 to 100"),
        ("Bare ground,lots,1", "bad_figure", "B3", "lots", "a number from 0 to 100"),
        ("Height (cm),400,1", "bad_figure", "B3", "400", "a height in cm from 0 to 300"),
        ("Yellow rattle plants,2.5,1", "bad_figure", "B3", "2.5", "a whole number of plants"),
        (",7,1", "no_name", "B3", "7", "a plant's name"),
        ("?,7,1", "no_name", "A3", "?", "a plant's name"),
    ],
)
def test_a_wrong_cell_refuses_its_row_and_says_what_would_be_right(
    row: str, code: str, address: str, read: str, expected: str
) -> None:
    found = understood(f"Species,Q1 %,Q2 %\nyarrow,20,30\n{row}\n", answers={"day:walk": "2026-07-14"})
    assert refused(found) == {3: [code]}
    (reason,) = found.rows[2].reasons
    assert (reason.address, reason.read, reason.expected) == (address, read, expected)
    assert quadrats(found) == {
        "Q1": {"achillea_millefolium": ("percent", "20")},
        "Q2": {"achillea_millefolium": ("percent", "30")},
    }
    for quadrat in found.survey["visits"][0]["quadrats"]:
        assert quadrat["bare_ground_percent"] is quadrat["sward_height_cm"] is quadrat["rattle_plants"] is None


def test_a_day_that_does_not_exist_refuses_its_row_alone() -> None:
    found = understood("Quadrat,Species,% cover,Date\n1,yarrow,20,14/7/26\n2,dock,30,31/11\n")
    assert refused(found) == {3: ["no_such_day"]}
    assert quadrats(found) == {"1": {"achillea_millefolium": ("percent", "20")}}


def test_cells_without_a_value_refuse_their_rows() -> None:
    book = Workbook()
    for row in (["Species", "Q1 %"], ["yarrow", 20], ["dock", "=1+1"], ["cowslip", "#REF!"]):
        book.active.append(row)
    book.active["B4"].data_type = "e"
    found = understood(saved(book), answers={"day:walk": "2026-07-14"})
    assert refused(found) == {3: ["formula_without_value"], 4: ["error_value"]}
    assert "B3 holds a formula" in found.rows[2].reasons[0].text
    assert quadrats(found) == {"Q1": {"achillea_millefolium": ("percent", "20")}}


def test_a_quadrat_with_two_figures_for_one_thing_refuses_the_second_row() -> None:
    found = understood("Quadrat,Species,% cover,Bare,Date\n1,yarrow,20,5,14/7/26\n1,dock,3,5,\n1,cowslip,4,9,\n")
    assert refused(found) == {4: ["two_figures"]}
    (quadrat,) = found.survey["visits"][0]["quadrats"]
    assert quadrat["bare_ground_percent"] == 5.0
    assert len(quadrat["records"]) == 2


def test_more_than_a_survey_holds_is_refused_row_by_row() -> None:
    rows = "".join(f"Q{number},yarrow,20\n" for number in range(1, 503))
    found = understood("Quadrat,Species,% cover\n" + rows, answers={"day:walk": "2026-07-14"})
    assert len(found.survey["visits"][0]["quadrats"]) == 500
    assert refused(found) == {502: ["too_many"], 503: ["too_many"]}


def test_there_is_an_end_to_what_is_asked() -> None:
    names = "".join(f"yarrw{chr(97 + i // 26)}{chr(97 + i % 26)}zz\n" for i in range(600))
    found = understood("Species\n" + names, answers={"day:walk": "2026-07-14"})
    assert len(found.questions) == 500
    # 300 plants in one place are the most, and then 500 questions in all
    assert [reason.code for row in found.of_state("refused") for reason in row.reasons] == (
        ["too_many"] * 200 + ["too_many_questions"] * 100
    )


def test_a_sheet_whose_rows_no_heading_explains_is_refused_in_words() -> None:
    found = understood("12,14,17\n3,5,8\n")
    assert found.shapes == (("walk.csv", "none"),)
    assert refused(found) == {1: ["no_heading"], 2: ["no_heading"]}
    assert "Species, Q1, Q2" in found.rows[0].reasons[0].expected
    beside = understood("yarrow,12\ndock,14\n")
    assert refused(beside) == {1: ["no_heading"], 2: ["no_heading"]}


CELLS = st.one_of(
    st.sampled_from(
        ["Species", "Quadrat", "Q1", "Q2", "1", "2", "Date", "yarrow", "YR ++", "cranesbill?", "Total", "% cover",
         "Bare", "Notes", "Domin", "DAFOR", "f", "x", "5", "40%", "-3", "14 July", "31/11", "What", "Cutting", "Part",
         "Scale", "Sheet", "Row", "What is wrong", "Cut date", "Latin name", "Grasses", "Elsewhere"]
    ),
    st.floats(),
    st.dates(),
    st.text(max_size=12),
)  # fmt: skip
PROBLEMS = st.sampled_from(["", "", "", "", "error_value", "formula_without_value", "too_long"])
GRIDS = st.lists(
    st.lists(st.tuples(CELLS, PROBLEMS, st.booleans()) | st.none(), min_size=1, max_size=6), min_size=1, max_size=9
)


@given(GRIDS, st.booleans())
def test_any_sheet_is_understood_somehow_and_every_row_told_of(grid: list[list[Any]], hidden: bool) -> None:
    rows = [
        Row(number, cells)
        for number, line in enumerate(grid, start=1)
        if (
            cells := tuple(
                Cell(number, column, each[0], each[1], each[2]) for column, each in enumerate(line, start=1) if each
            )
        )
    ]
    found = understand([Sheet("Walk", tuple(rows), hidden)], ForYear(2026))
    assert [row.number for row in found.rows] == [row.number for row in rows]
    for row in found.of_state("refused"):
        assert row.reasons
    for question in found.questions:
        assert question.choices or question.free
    for visit in found.survey["visits"]:
        for quadrat in visit["quadrats"]:
            read_as(Quadrat, {k: v for k, v in quadrat.items() if k != "records"} | {"label": "Q", "records": []})
            for record in quadrat["records"]:
                assert record["taxon"] is None or record["taxon"] in parameters().nouns["taxa"]
                assert len(record["value"]) <= 20
    refused_rows_csv(found)


# ------------------------------------------------------------------------------------------------------------- rest


def test_what_is_no_plant_and_what_is_not_used_is_kept_among_the_notes() -> None:
    source = "Date: 14/7/26\nSpecies,Q1 %,Weather\nyarrow,20,dull\nmolehills,30,\n"
    found = understood(source)
    assert [note["text"] for note in found.survey["notes"]] == ["dull", "molehills"]
    assert quadrats(found) == {"Q1": {"achillea_millefolium": ("percent", "20")}}
    assert [reason.code for row in found.rows for reason in row.reasons] == ["column_not_used", "not_a_plant"]


def test_peoples_names_are_not_kept() -> None:
    found = understood("Surveyor,Wenna Trewhella\nDate: 14/7/26\nSpecies,Recorder,Q1 %\nyarrow,Tobias,20\n")
    assert found.questions == ()
    assert "Wenna" not in str(found.survey)
    assert "Tobias" not in str(found.survey)


def test_a_remark_under_the_table_is_a_note() -> None:
    remark = "A fine morning with friendly people and hardly a cloud, apart from the one that rained on us."
    found = understood(f'Date: 14/7/26\nSpecies,Q1 %\nyarrow,20\n"{remark}"\n')
    assert found.survey["notes"][-1]["text"] == remark
    assert found.questions == ()


def test_a_nought_says_that_a_quadrat_was_looked_at() -> None:
    found = understood("Date: 14/7/26\nSpecies,Q1 %,Q2 %,Q3 %\nyarrow,20,0,\n")
    assert quadrats(found) == {"Q1": {"achillea_millefolium": ("percent", "20")}, "Q2": {}}


def test_visits_on_two_days_stay_apart() -> None:
    found = understood("Quadrat,Species,% cover,Date\n1,yarrow,20,14/7/26\n1,yarrow,30,2/6/26\n")
    assert found.questions == ()
    assert [(visit["on"], visit["quadrats"][0]["records"][0]["value"]) for visit in found.survey["visits"]] == [
        ("2026-06-02", "30"),
        ("2026-07-14", "20"),
    ]


def test_several_sheets_make_one_survey_and_hidden_ones_are_told_of() -> None:
    book_rows = {
        "Quadrats": [["Date", "14 July 2026"], ["Species", "Q1 %"], ["yarrow", 20]],
        "List": [["Species"], ["cowslip"]],
        "Work": [
            ["What", "Date", "Hours", "People", "Cost"],
            ["Hay cut", "2 Aug", 12, 4, "£30.50"],
            ["Tea", "2 Aug", 1, 2],
        ],
    }
    found = understood(workbook(**book_rows))
    assert dict(found.shapes) == {"Quadrats": "wide", "List": "list", "Work": "work"}
    assert quadrats(found) == {"Q1": {"achillea_millefolium": ("percent", "20")}}
    assert whole_site(found) == {"primula_veris": ("presence", "")}
    assert found.survey["work"] == [
        {"what": "cut", "on": "2026-08-02", "person_hours": 12.0, "heads": 4, "cash_gbp": 30.5},
        {"what": "other", "on": "2026-08-02", "person_hours": 1.0, "heads": 2, "note": "Tea"},
    ]
    assert found.questions == ()


@pytest.mark.parametrize(
    ("row", "code"),
    [
        ("Cutting,,3,2", "no_day"),
        (",2 Aug,3,2", "no_work"),
        ("Cutting,31/11,3,2", "no_such_day"),
        ("Cutting,2 Aug,-3,2", "bad_figure"),
        ("Cutting,2 Aug,3,2.5", "bad_figure"),
        ("Cutting,2 Aug,a few,2", "bad_figure"),
    ],
)
def test_a_line_of_work_that_cannot_be_read_is_refused(row: str, code: str) -> None:
    found = understood(f"What,Date,Hours,Heads\nRaking,1 Aug,1,1\n{row}\n")
    assert refused(found) == {3: [code]}
    assert [line["what"] for line in found.survey["work"]] == ["rake"]


def test_the_part_and_the_size_of_quadrats() -> None:
    found = understood(
        "Quadrat size,0.5 m x 0.5 m\nQuadrat,Part,Species,% cover,Date\n1,sown,yarrow,20,14/7/26\n2,Control,dock,30,\n"
    )
    assert [(q["label"], q["part"], q["area_m2"]) for q in found.survey["visits"][0]["quadrats"]] == [
        ("1", "sown", 0.25),
        ("2", "control", 0.25),
    ]


def test_refused_rows_come_back_guarded_and_can_be_mended_and_sent_again() -> None:
    source = "Date: 14/7/26\nSpecies,Q1 %,Q2 %,Notes\nyarrow,20,,\ndock,-5,3,=1+1\ncowslip,,101,\n"
    given = refused_rows_csv(understood(source))
    lines = given.splitlines()
    assert lines[1] == "Sheet,Row,What is wrong,What would be right,Species,Q1 %,Q2 %,Notes"
    assert lines[2].startswith(
        "walk.csv,4,B4: Read -5; an amount is never below 0.,a number from 0 to 100,dock,'-5,3,'=1+1"
    )
    assert not any(cell.startswith(("=", "+", "-", "@")) for line in lines for cell in line.split(","))
    again = understood(given)
    assert {row.reasons[0].code for row in again.of_state("refused")} == {"negative", "over_100"}
    mended = understood(given.replace("'-5", "5").replace("101", "11"))
    assert mended.questions == ()
    assert quadrats(mended) == {
        "Q1": {"rumex_sp": ("percent", "5")},
        "Q2": {"rumex_sp": ("percent", "3"), "primula_veris": ("percent", "11")},
    }


def test_refused_rows_of_several_sheets_are_read_as_several_sheets() -> None:
    found = understood(
        workbook(
            Walk=[["Date", "14 July 2026"], ["Species", "Q1 %"], ["yarrow", -1]],
            Work=[["What", "Date", "Hours"], ["Cutting", "31/11", 3]],
        )
    )
    again = understood(refused_rows_csv(found))
    assert [shape for _, shape in again.shapes] == ["wide", "work"]
    assert [row.reasons[0].code for row in again.of_state("refused")] == ["negative", "no_such_day"]


def test_nothing_refused_gives_nothing_back() -> None:
    assert refused_rows_csv(understood(LONG)) == ""


def test_amounts_under_headings_that_nobody_knows_are_asked_about() -> None:
    source = "Date: 14/7/26\nSpecies,NW corner,By the gate,Weather\nyarrow,20,,dull\ndock,,30,\n"
    found = understood(source)
    key = ask(found, "columns_are_quadrats")
    assert quadrats(found) == {
        "NW corner": {"achillea_millefolium": ("percent", "20")},
        "By the gate": {"rumex_sp": ("percent", "30")},
    }
    assert states(found) == {1: "taken", 2: "question", 3: "question", 4: "question"}
    assert understood(source, answers={key: "quadrats"}).questions == ()
    as_list = understood(source, answers={key: "notes"})
    assert whole_site(as_list) == {"achillea_millefolium": ("presence", ""), "rumex_sp": ("presence", "")}
    assert [note["text"] for note in as_list.survey["notes"]] == ["20", "dull", "30"]


def test_a_column_that_the_shape_cannot_use_is_kept_as_notes() -> None:
    found = understood("Date: 14/7/26\nSpecies,Q1 %,Frequency,Cut date\nyarrow,20,7,2 Aug\nBare ground,5,3,\n")
    assert [note["text"] for note in found.survey["notes"]] == ["3", "7"]
    assert found.survey["work"] == [{"what": "cut", "on": "2026-08-02"}]
    assert [reason.code for reason in found.rows[1].reasons] == ["column_not_used"]
    assert quadrats(found) == {"Q1": {"achillea_millefolium": ("percent", "20")}}


def test_once_no_more_can_be_asked_names_are_read_to_the_letter_only() -> None:
    strange = [f"qz{first}{second}x{third}" for first in "abcdefghij" for second in "klmnopqrst" for third in "uvwyabc"]
    found = understood("Species\n" + "\n".join([*strange, "yarrow", "Achilea milefolium"]) + "\n")
    assert [code for code in codes(found) if code != "day_of_walk"] == ["name"] * 500
    reasons = refused(found)
    assert reasons[len(strange) + 3] == ["too_many_questions"]
    assert "too_many_questions" not in reasons.get(len(strange) + 2, [])
