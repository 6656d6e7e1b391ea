"""The workbook that a group fills in: made, filled, read back without a question."""

import io
from datetime import date

import pytest
from openpyxl import Workbook, load_workbook

from modelling.selectors import parameters
from projects.choices import Work
from projects.sheets import ForYear, TemplateFor, TemplateMark, Understood, read_table, template, understand
from projects.sheets.headings import GRADES, LAYOUTS, work_of
from projects.sheets.values import SCALE_WORDS
from tests.projects.sheets.made import codes, quadrats, saved, whole_site

PUBLIC_ID = "0f1d2c3b-4a59-4687-8796-a5b4c3d2e1f0"
SUBMISSION = "11111111-2222-4333-8444-555555555555"
SPECIES = ("achillea_millefolium", "rhinanthus_minor", "primula_veris", "cynosurus_cristatus")


def made(**changed: object) -> Workbook:
    asked = {
        "public_id": PUBLIC_ID, "name": "Chapel meadow", "year": 2026, "submission_id": SUBMISSION, "species": SPECIES,
    }  # fmt: skip
    return load_workbook(io.BytesIO(template(TemplateFor(**(asked | changed)))))


def read(book: Workbook, **asked: object) -> Understood:
    return understand(read_table(saved(book), "chapel.xlsx"), ForYear(2026, **({"public_id": PUBLIC_ID} | asked)))


def row_of(book: Workbook, sheet: str, start: str) -> int:
    return next(row for row in range(1, 80) if str(book[sheet].cell(row, 1).value or "").startswith(start))


def filled() -> Workbook:
    """Two quadrats, one plant of another kind, something seen elsewhere, and the year's work."""
    book = made()
    walk, year = book["Walk"], book["Year"]
    walk["C6"], walk["D6"], walk["D7"], walk["M8"] = 10, 3, 5, "x"
    walk["A10"], walk["D10"] = "cat's ear", 2
    walk.cell(row_of(book, "Walk", "Bare ground"), 3, 15)
    walk.cell(row_of(book, "Walk", "Height"), 4, 32.5)
    walk.cell(row_of(book, "Walk", "Yellow rattle plants"), 4, 41)
    year["B2"] = date(2026, 7, 14)
    year["B3"], year["B4"] = GRADES["knows_most"], LAYOUTS["random"]
    cutting = row_of(book, "Year", "Cutting")
    for column, value in zip("BCDEF", ("2 August", 12, 4, 30, "baled, and given away"), strict=True):
        year[f"{column}{cutting}"] = value
    return book


def test_a_filled_template_is_understood_without_a_question() -> None:
    found = read(filled())
    assert found.questions == ()
    assert found.of_state("refused") == ()
    assert found.template == TemplateMark("1", PUBLIC_ID, "2026", SUBMISSION)
    assert dict(found.shapes)["Walk"] == "template"
    assert quadrats(found) == {
        "Q1": {"achillea_millefolium": ("percent", "10")},
        "Q2": {
            "achillea_millefolium": ("percent", "3"),
            "rhinanthus_minor": ("percent", "5"),
            "hypochaeris_radicata": ("percent", "2"),
        },
    }
    assert whole_site(found) == {"primula_veris": ("presence", "")}
    (visit,) = found.survey["visits"]
    first, second = visit["quadrats"]
    assert (visit["on"], first["bare_ground_percent"], first["area_m2"]) == ("2026-07-14", 15.0, 1.0)
    assert (second["sward_height_cm"], second["rattle_plants"]) == (32.5, 41)
    assert (found.survey["grade"], found.survey["layout"]) == ("knows_most", "random")
    assert found.survey["work"] == [
        {
            "what": "cut",
            "on": "2026-08-02",
            "person_hours": 12.0,
            "heads": 4,
            "cash_gbp": 30.0,
            "note": "baled, and given away",
        }
    ]


@pytest.mark.parametrize("scale", SCALE_WORDS)
def test_each_way_to_write_amounts_that_the_template_offers_is_understood(scale: str) -> None:
    book = filled()
    book["Walk"]["B2"] = SCALE_WORDS[scale].replace(",", "")
    letters = scale.startswith("dafor")
    for address in ("C6", "D6", "D7", "D10"):
        book["Walk"][address] = "f" if letters else 3
    found = read(book)
    assert codes(found) == []
    value = "" if scale == "presence" else "f" if letters else "3"
    assert quadrats(found)["Q1"] == {"achillea_millefolium": (scale, value)}


@pytest.mark.parametrize("name", ["grade", "layout"])
def test_each_word_that_the_template_offers_is_understood(name: str) -> None:
    offered, address = {"grade": (GRADES, "B3"), "layout": (LAYOUTS, "B4")}[name]
    for key, words in offered.items():
        book = filled()
        book["Year"][address] = words
        assert read(book).survey[name] == key
    book = filled()
    book["Year"][address] = "so so"
    found = read(book)
    assert codes(found) == [name]
    assert [choice.value for choice in found.questions[0].choices] == list(offered)
    key = next(iter(offered))
    assert read(book, answers={found.questions[0].key: key}).survey[name] == key


def test_each_kind_of_work_that_the_template_offers_is_read_as_itself() -> None:
    assert {work_of(str(work.label)) for work in Work} == set(Work.values)
    for work in Work:
        assert work_of(str(work.label)) == work.value


def test_an_empty_template_gives_an_empty_survey_and_no_question() -> None:
    found = read(made())
    assert found.questions == ()
    assert (found.survey["visits"], found.survey["work"], found.survey["grade"]) == ([], [], None)


def test_the_plants_of_the_plan_stand_by_both_names() -> None:
    walk = made()["Walk"]
    taxa = parameters().nouns["taxa"]
    for row, key in enumerate(SPECIES, start=6):
        assert walk.cell(row, 1).value == taxa[key]["english_name"]
        assert walk.cell(row, 2).value == taxa[key]["scientific_name"]
    assert [walk.cell(5, column).value for column in (3, 12, 13)] == ["Q1", "Q10", "Elsewhere in the meadow"]
    assert made(quadrats=3)["Walk"].cell(5, 6).value == "Elsewhere in the meadow"
    assert made(species=("no_such_plant",))["Walk"]["A6"].value is None


def test_the_mark_is_hidden_and_the_help_is_not() -> None:
    book = made()
    assert {sheet.title: sheet.sheet_state for sheet in book.worksheets} == {
        "Walk": "visible", "Year": "visible", "How": "visible", "forbcast": "hidden",
    }  # fmt: skip


@pytest.mark.parametrize(
    "name", ["=HYPERLINK(1)", "+1", "-1", "@SUM(A1)", "\t=1", "A\x00\x0bB", "\ud800", "=" * 500, "名前 ☘"]
)
def test_no_text_becomes_a_formula(name: str) -> None:
    book = made(name=name, public_id=name, submission_id=name)
    for sheet in book.worksheets:
        for row in sheet.iter_rows():
            for cell in row:
                assert cell.data_type in {"s", "n"}
                assert cell.data_type == "s" or cell.value is None
    if name[0] in "=+-@":
        assert book["forbcast"]["B3"].value == name
        assert book["forbcast"]["B3"].quotePrefix is True


def test_a_template_of_another_meadow_or_year_is_asked_about() -> None:
    found = read(filled(), public_id="another")
    assert codes(found) == ["other_project"]
    book = made(year=2025)
    assert codes(read(book)) == ["other_year"]
    assert read(book, answers={"template:year": "here"}).questions == ()


def test_somebody_elses_hidden_sheet_is_no_mark() -> None:
    book = filled()
    book["forbcast"]["B1"] = "somebody"
    found = read(book)
    assert found.template is None
    assert "The hidden sheet 'forbcast' was not read." in found.notes
