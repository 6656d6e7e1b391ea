"""Pages of a sheet: what a person sees before anything is saved, and what becomes of what they answer."""

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from projects.models import OutcomeReturn, ReturnVersion, SheetUpload
from projects.selectors import uploads as reads
from projects.services import uploads as acts
from tests.projects.county import NOW, saltmere
from tests.projects.services.test_uploads import MAKERS, WALK, YEWS

pytestmark = pytest.mark.django_db
YEAR = NOW.year


@pytest.fixture
def county():
    return saltmere()


@pytest.fixture
def browser(county):
    client = Client()
    client.force_login(county.lead)
    return client


def text_of(answer):
    return " ".join(re.sub(r"<[^>]+>", " ", answer.text).split())


def send(browser, county, text=WALK, where="", name="walk.csv", year=YEAR):
    data = text.encode() if isinstance(text, str) else text
    where = where or f"/projects/{county.projects[YEWS].public_id}/sheet/"
    return browser.post(where, {"year": year, "file": SimpleUploadedFile(name, data)}, follow=True)


def test_a_person_sees_every_row_before_anything_is_saved(browser, county):
    page = send(browser, county)
    told = text_of(page)
    assert "two quadrats with two kinds of plant, walked on 1" in told
    assert "two rows are left out" in told
    assert "Nothing of it is saved as a return yet" in told
    assert "Read as yarrow" in told
    assert "B5: Read -5; an amount is never below 0. Right would be: a number from 0 to 100." in told
    assert "Q1 % to Q2 %, 2 columns quadrats" in told
    assert "Meadow crane" in told
    assert "it goes by this name" in told
    assert not OutcomeReturn.objects.exists()
    row = SheetUpload.objects.get()
    preview = re.search(r'name="preview" value="([0-9a-f]{64})"', page.text)[1]
    done = browser.post(f"/sheets/{row.public_id}/", {"do": "accept", "preview": preview}, follow=True)
    assert "This sheet is taken in: one return was sent; two rows are left out." in text_of(done)
    outcome = OutcomeReturn.objects.get()
    assert f"/returns/{outcome.public_id}/" in done.text
    again = browser.post(f"/sheets/{row.public_id}/", {"do": "accept", "preview": preview}, follow=True)
    assert again.status_code == 200
    assert ReturnVersion.objects.count() == 1


def test_mended_rows_are_sent_from_the_page_of_the_sheet(browser, county):
    page = send(browser, county)
    row = SheetUpload.objects.get()
    preview = re.search(r'name="preview" value="([0-9a-f]{64})"', page.text)[1]
    browser.post(f"/sheets/{row.public_id}/", {"do": "accept", "preview": preview})
    csv = browser.get(f"/sheets/{row.public_id}/rows-to-mend.csv")
    assert csv.headers["Content-Type"].startswith("text/csv")
    assert "attachment" in csv.headers["Content-Disposition"]
    text = csv.text.replace("'-5,3", "5,3").replace("40,110", "40,11")
    where = f"/sheets/{row.public_id}/mended/"
    assert "an amount is never below 0" in text_of(browser.get(where))
    page = send(browser, county, text, where, "rows-to-mend.csv")
    assert "Beside version 1: four new records." in text_of(page)
    assert "Put it to what was sent" in page.text
    mended = SheetUpload.objects.exclude(pk=row.pk).get()
    preview = re.search(r'name="preview" value="([0-9a-f]{64})"', page.text)[1]
    data = {"do": "accept", "preview": preview, "how": "add"}
    browser.post(f"/sheets/{mended.public_id}/", data)
    assert ReturnVersion.objects.count() == 2
    assert "Mended rows were sent" in text_of(browser.get(f"/sheets/{row.public_id}/"))


def test_questions_are_answered_on_the_page_and_wrong_answers_stay_in_the_form(browser, county):
    page = send(browser, county, "Species,Q1,Q2\nYarrow,3,2\nRed clover,1,2\n")
    assert "two questions must be answered first" in text_of(page)
    assert "Take it in" not in page.text
    row = SheetUpload.objects.get()
    where = f"/sheets/{row.public_id}/"
    empty = browser.post(where, {"do": "answer"})
    assert (empty.status_code, "Nothing is answered yet" in empty.text) == (422, True)
    named = re.search(r'name="(q[0-9a-f]{16})"[^>]*value="domin"', page.text)[1]
    dated = re.search(r'name="(q[0-9a-f]{16}-day)"', page.text)[1]
    wrong = browser.post(where, {"do": "answer", named: "domin", dated: "the first"})
    assert (wrong.status_code, "This is not a date" in wrong.text) == (422, True)
    assert re.search(r'value="domin"[^>]*checked', wrong.text)
    odd = browser.post(where, {"do": "answer", named: "furlongs"})
    assert odd.status_code == 422
    right = browser.post(where, {"do": "answer", named: "domin", dated: "2026-07-01"}, follow=True)
    assert "every row was read" in text_of(right)
    assert "Take it in" in right.text


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"\x89PNG\r\n\x1a\n" + b"\0" * 60, "This is a picture (PNG)"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 60, "workbook of the old kind"),
        (b"", "The file is empty"),
        (b"\n\n,,\n", "No cell of the file holds anything"),
    ],
)
def test_a_file_that_is_no_sheet_is_told_beside_the_field(browser, county, data, told):
    page = send(browser, county, data)
    assert (page.status_code, told in text_of(page)) == (422, True)
    assert not SheetUpload.objects.exists()


def test_no_file_and_a_year_that_is_none_are_told_at_once(browser, county):
    page = browser.post(f"/projects/{county.projects[YEWS].public_id}/sheet/", {"year": "soon"})
    assert page.status_code == 422
    assert "Choose a file." in page.text
    assert "“soon” is not in the list" in page.text


def test_a_sheet_of_a_group_says_which_meadow_is_meant(browser, county):
    text = "Meadow,Date,Quadrat,Plant,Cover %\nUnder the yew,1 July 2026,Q1,yarrow,20\n"
    page = send(browser, county, text, f"/groups/{county.groups[MAKERS].public_id}/sheet/")
    assert "Which meadow is" in text_of(page)
    row = SheetUpload.objects.get()
    chosen = str(county.projects[YEWS].public_id)
    named = re.search(rf'name="(q[0-9a-f]{{16}})"[^>]*value="{chosen}"', page.text)[1]
    page = browser.post(f"/sheets/{row.public_id}/", {"do": "answer", named: chosen}, follow=True)
    assert f"This sheet tells of {YEWS} in 2026: one quadrat with one kind of plant" in text_of(page)


def test_what_is_changed_after_it_was_shown_is_shown_again(browser, county):
    page = send(browser, county)
    row = SheetUpload.objects.get()
    stale = browser.post(f"/sheets/{row.public_id}/", {"do": "accept", "preview": "0" * 64})
    assert (stale.status_code, "Not taken in" in stale.text) == (409, True)
    assert re.search(r'name="preview" value="([0-9a-f]{64})"', stale.text)[1] in page.text
    for junk in ({"do": "accept"}, {"do": "accept", "preview": "x"}, {}, {"do": "burn", "preview": "\0"}):
        assert browser.post(f"/sheets/{row.public_id}/", junk).status_code in {409, 422}
    assert not OutcomeReturn.objects.exists()


def test_a_sheet_can_be_thrown_away(browser, county):
    send(browser, county)
    row = SheetUpload.objects.get()
    page = browser.post(f"/sheets/{row.public_id}/", {"do": "remove"}, follow=True)
    assert "The sheet is thrown away" in page.text
    assert browser.get(f"/sheets/{row.public_id}/").status_code == 404
    assert not SheetUpload.objects.exists()


def test_templates_are_downloaded_from_the_project_s_page(browser, county):
    project = county.projects[YEWS]
    page = browser.get(f"/projects/{project.public_id}/sheet/?year=2025")
    assert f"/projects/{project.public_id}/sheet/walk.xlsx?year=2025" in page.text
    book = browser.get(f"/projects/{project.public_id}/sheet/walk.xlsx?year=2025")
    actor = county.as_(county.lead)
    asked = reads.template_for(actor, project, 2025)
    sheets = acts.read_sheets(book.content, "walk.xlsx")
    assert asked.species == tuple(dict.fromkeys(asked.species))
    assert sheets[0].rows[0].cells[0].value == f"Summer walk 2025: {YEWS}"
    assert "Elsewhere in the meadow" in browser.get(f"/projects/{project.public_id}/sheet/walk.csv").text
