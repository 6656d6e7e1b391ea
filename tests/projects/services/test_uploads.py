"""Sheets that come in: understood without being saved, accepted, mended, sent twice, changed in the meantime."""

import io
from datetime import timedelta

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from openpyxl import Workbook, load_workbook
from openpyxl.utils.datetime import CALENDAR_MAC_1904
from skbio.diversity import alpha

from modelling.core.outcomes import diversity
from modelling.reading import read_as
from projects.contracts.meadows import ProjectNew
from projects.contracts.returns import NameSettled, ReturnNew
from projects.contracts.sites import Place, SiteNew
from projects.contracts.uploads import UploadAccept, UploadAnswers, UploadAsked
from projects.errors import NotAllowed, NotFound, RuleBroken, Stale, WrongState
from projects.models import (
    AuditEntry,
    MeadowProject,
    OutcomeReturn,
    RefusedRow,
    ReturnVersion,
    SheetUpload,
    TaxonRecord,
)
from projects.selectors import uploads as reads
from projects.selectors.returns import read_content
from projects.services import sites
from projects.services import uploads as acts
from projects.services.meadows import project_create
from projects.services.returns import name_settle, return_send
from projects.sheets import refused_rows_csv, template
from projects.tasks import forget
from tests.core.conftest import worked_examples
from tests.projects.county import NOW, saltmere
from tests.projects.sheets.made import repacked, saved, workbook

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(days=1)
YEWS, MAKERS = "Under the yews", "Gullhaven Meadow Makers"
WALK = """Date,1 July 2026,
Species,Q1 %,Q2 %
Yarrow,10,5
cranesbill?,3,2
Red clover,-5,3
Oxeye daisy,40,110
"""


@pytest.fixture
def county():
    return saltmere()


def send(county, data=WALK, *, aim=None, who="lead", now=NOW, year=2026, **asked):
    actor = county.as_(getattr(county, who))
    data = data.encode() if isinstance(data, str) else data
    aim = aim if aim is not None else county.projects[YEWS]
    told = UploadAsked(year=year, filename="walk.csv", **asked)
    return acts.upload_create(actor=actor, aim=aim, asked=told, data=data, now=now)


def accept(county, row, reading, how="add", who="lead", now=NOW):
    asked = UploadAccept(preview=reading.preview, how=how)
    return acts.upload_accept(actor=county.as_(getattr(county, who)), public_id=row.public_id, asked=asked, now=now)


def seen(content):
    """Day, quadrat and name as written -> amount."""
    found = {}
    for visit in content.visits:
        for label, records in [("", visit.whole_site), *((q.label, q.records) for q in visit.quadrats)]:
            for record in records:
                key = (visit.on.isoformat(), label, record.name)
                assert key not in found
                found[key] = record.value
    return found


def test_nothing_is_a_return_before_somebody_accepts_it(county):
    row, reading = send(county)
    assert not OutcomeReturn.objects.exists()
    assert {source.number: source.state for source, _ in reading.rows} == {
        1: "taken", 2: "taken", 3: "taken", 4: "question", 5: "refused", 6: "refused",
    }  # fmt: skip
    assert [question.key for question in reading.questions] == ["name:cranesbill"]
    parts = accept(county, row, reading)
    assert [(part.year, part.added) for part in parts] == [(2026, True)]
    version = parts[0].version_of_return
    assert (version.came_by, version.number) == ("sheet", 1)
    assert seen(read_content(version)) == {
        ("2026-07-01", "Q1", "Yarrow"): "10", ("2026-07-01", "Q2", "Yarrow"): "5",
        ("2026-07-01", "Q1", "cranesbill?"): "3", ("2026-07-01", "Q2", "cranesbill?"): "2",
    }  # fmt: skip
    row.refresh_from_db()
    assert row.state == "accepted"
    assert sorted(AuditEntry.objects.filter(noun="upload").values_list("act", flat=True)) == [
        "upload_accept", "upload_create",
    ]  # fmt: skip


def test_refused_rows_are_kept_with_their_reasons_until_a_day_that_is_said(county):
    row, _ = send(county)
    kept = list(RefusedRow.objects.filter(upload=row))
    assert [(line.sheet, line.number) for line in kept] == [("walk.csv", 5), ("walk.csv", 6)]
    assert kept[0].cells == [["A5", "Red clover"], ["B5", "-5"], ["C5", "3"]]
    assert [reason[0] for line in kept for reason in line.reasons] == ["negative", "over_100"]
    assert row.expires_at == NOW + timedelta(days=30)
    lead = county.as_(county.lead)
    with pytest.raises(NotFound):
        reads.upload_get(lead, row.public_id, row.expires_at)
    assert acts.uploads_forget(now=row.expires_at) >= 1
    assert not RefusedRow.objects.exists()


def test_the_hourly_task_forgets_sheets_whose_time_is_over_and_no_other(county):
    now = timezone.now()
    old, _ = send(county, now=now - timedelta(days=31), year=now.year - 1)
    new, _ = send(county, now=now, year=now.year - 1)
    forget()
    assert list(SheetUpload.objects.values_list("pk", flat=True)) == [new.pk]
    assert old.pk != new.pk


def test_mended_rows_join_what_was_accepted(county):
    row, reading = send(county)
    accept(county, row, reading)
    text = refused_rows_csv(reading.as_one())
    # a negative amount could be worked out by a spreadsheet: it is given back as a text
    assert ",'-5,3" in text
    text = text.replace("'-5,3", "5,3").replace("40,110", "40,11")
    mended, again = send(county, text, mends=row.public_id, now=LATER)
    assert again.refused == []
    assert again.parts[0].change.records == 4
    parts = accept(county, mended, again, now=LATER)
    version = parts[0].version_of_return
    assert version.number == 2
    assert len(seen(read_content(version))) == 8
    assert seen(read_content(version))[("2026-07-01", "Q2", "Oxeye daisy")] == "11"
    # the same rows once more add nothing
    third, once_more = send(county, text, mends=row.public_id, now=LATER)
    assert [part.added for part in accept(county, third, once_more, now=LATER)] == [False]
    assert ReturnVersion.objects.count() == 2


def test_names_settled_meanwhile_stay_settled_when_rows_join(county):
    row, reading = send(county)
    accept(county, row, reading)
    outcome = OutcomeReturn.objects.get()
    asked = NameSettled(name="cranesbill?", taxon="geranium_pratense", remember=False)
    name_settle(actor=county.as_(county.lead), return_id=outcome.public_id, asked=asked, now=LATER)
    text = refused_rows_csv(reading.as_one()).replace("'-5,3", "5,3").replace("40,110", "40,11")
    mended, again = send(county, text, mends=row.public_id, now=LATER)
    accept(county, mended, again, now=LATER)
    outcome.refresh_from_db()
    taxa = TaxonRecord.objects.filter(version_of=outcome.current, name="cranesbill?").values_list("taxon", flat=True)
    assert set(taxa) == {"geranium_pratense"}


def test_the_same_file_twice_changes_nothing(county):
    for _ in range(2):
        row, reading = send(county)
        accept(county, row, reading)
    assert ReturnVersion.objects.count() == 1
    assert AuditEntry.objects.filter(act="return_send").count() == 1
    assert SheetUpload.objects.filter(state="accepted").count() == 2


def test_a_file_after_the_form_with_the_same_content_adds_no_version(county):
    lead, project = county.as_(county.lead), county.projects[YEWS]
    quadrats = [
        {"label": "1", "records": [{"name": "yarrow", "scale": "percent", "value": "10"}]},
        {"label": "2", "records": [{"name": "Achillea millefolium", "scale": "percent", "value": "5"}]},
    ]
    typed = read_as(ReturnNew, {"year": 2026, "visits": [{"on": "2026-07-01", "quadrats": quadrats}]})
    return_send(actor=lead, project_id=project.public_id, asked=typed, now=NOW)
    row, reading = send(county, "Date,1 July 2026,\nSpecies,Q1 %,Q2 %\nYarrow,10,5\n")
    assert reading.parts[0].same
    assert [part.added for part in accept(county, row, reading)] == [False]
    assert ReturnVersion.objects.count() == 1


def test_a_form_s_words_and_work_stay_when_a_sheet_is_put_to_it(county):
    lead, project = county.as_(county.lead), county.projects[YEWS]
    typed = read_as(
        ReturnNew,
        {
            "year": 2026, "narrative": "A dry spring.", "work": [{"what": "cut", "on": "2026-08-20"}],
            "heads": 4, "person_hours": 9.5,
        },
    )  # fmt: skip
    return_send(actor=lead, project_id=project.public_id, asked=typed, now=NOW)
    row, reading = send(county)
    found = read_content(accept(county, row, reading)[0].version_of_return)
    assert (found.narrative, found.heads, found.person_hours, len(found.work)) == ("A dry spring.", 4, 9.5, 1)
    assert len(seen(found)) == 4
    replacing, once_more = send(county, "Date,1 July 2026,\nSpecies,Q1 %\nYarrow,10\n")
    found = read_content(accept(county, replacing, once_more, how="replace")[0].version_of_return)
    assert (found.narrative, len(seen(found))) == ("", 1)


def test_going_back_to_an_earlier_sheet_is_a_new_version(county):
    first, second = "Date,1 July 2026\nSpecies,Q1 %\nYarrow,10\n", "Date,1 July 2026\nSpecies,Q1 %\nYarrow,20\n"
    for text in (first, second, first):
        row, reading = send(county, text)
        accept(county, row, reading, how="replace")
    values = [list(seen(read_content(v)).values()) for v in ReturnVersion.objects.order_by("number")]
    assert values == [["10"], ["20"], ["10"]]


def test_what_was_changed_after_it_was_shown_is_not_overwritten(county):
    row, reading = send(county)
    typed = read_as(ReturnNew, {"year": 2026, "answered": "failed"})
    return_send(actor=county.as_(county.member), project_id=county.projects[YEWS].public_id, asked=typed, now=NOW)
    with pytest.raises(Stale):
        accept(county, row, reading)
    assert ReturnVersion.objects.count() == 1
    shown = reads.reading_of(county.as_(county.lead), row, NOW.date())
    assert [part.added for part in accept(county, row, shown)] == [True]


def test_a_question_must_be_answered_first_and_a_name_may_stay_open(county):
    row, reading = send(county, "Species,Q1,Q2\nYarrow,3,2\ncranesbill?,1,2\n")
    codes = {question.code: question for question in reading.questions}
    assert set(codes) == {"scale_figures", "day_of_walk", "name_doubted"} or set(codes) == {
        "scale_figures", "day_of_walk", "name",
    }  # fmt: skip
    with pytest.raises(WrongState, match="Answer first"):
        accept(county, row, reading)
    lead = county.as_(county.lead)
    answers = {codes["scale_figures"].key: "domin", codes["day_of_walk"].key: "2026-07-03"}
    asked = UploadAnswers(answers=answers)
    again = acts.upload_answer(actor=lead, public_id=row.public_id, asked=asked, if_version=row.version, now=NOW)
    row.refresh_from_db()
    found = read_content(accept(county, row, again)[0].version_of_return)
    assert {record.scale for quadrat in found.visits[0].quadrats for record in quadrat.records} == {"domin"}
    assert found.visits[0].on.isoformat() == "2026-07-03"


@pytest.mark.parametrize(
    ("answers", "code"),
    [
        ({"scale:walk.csv": "furlongs"}, "unknown_word"),
        ({"day:walk": "yesterday"}, "unknown_word"),
        ({"no such": "x"}, "unknown"),
    ],
)
def test_an_answer_that_is_none_is_refused(county, answers, code):
    row, _ = send(county, "Species,Q1,Q2\nYarrow,3,2\nRed clover,1,2\n")
    with pytest.raises(RuleBroken) as refusal:
        acts.upload_answer(
            actor=county.as_(county.lead), public_id=row.public_id, asked=UploadAnswers(answers=answers),
            if_version=None, now=NOW,
        )  # fmt: skip
    assert [error.code for error in refusal.value.errors] == [code]


# ------------------------------------------------------------------ whose it is


def test_a_meadow_that_is_not_the_group_s_is_not_known_and_its_rows_wait(county):
    theirs = next(p for p in county.projects.values() if p.group_id != county.projects[YEWS].group_id)
    text = (
        f"Meadow,Date,Quadrat,Plant,Cover %\n{YEWS},1 July 2026,Q1,yarrow,20\n{theirs.name},1 July 2026,Q1,yarrow,5\n"
    )
    row, reading = send(county, text, aim=county.groups[MAKERS])
    assert [part.project.name for part in reading.parts] == [YEWS]
    question = next(question for question in reading.questions if question.code == "meadow")
    assert str(theirs.public_id) not in [choice.value for choice in question.choices]
    with pytest.raises(WrongState):
        accept(county, row, reading)
    again = acts.upload_answer(
        actor=county.as_(county.lead), public_id=row.public_id,
        asked=UploadAnswers(answers={question.key: "leave_out"}), if_version=None, now=NOW,
    )  # fmt: skip
    accept(county, row, again)
    assert {outcome.project.name for outcome in OutcomeReturn.objects.all()} == {YEWS}
    assert RefusedRow.objects.filter(upload=row).get().number == 3


def test_a_sheet_for_another_s_project_group_or_network_is_refused(county):
    for aim in (county.projects[YEWS], county.groups[MAKERS], county.network):
        with pytest.raises(NotAllowed):
            send(county, who="neighbour", aim=aim)
    with pytest.raises(NotAllowed):
        send(county, who="lead", aim=county.network)
    row, _ = send(county)
    with pytest.raises(NotFound):
        reads.upload_get(county.as_(county.neighbour), row.public_id, NOW)
    assert SheetUpload.objects.count() == 1


def test_a_sheet_of_several_years_becomes_a_return_of_each(county):
    text = "Year,Quadrat,Date,Plant,Cover %\n" + "".join(
        f"{year},Q1,1/7/{year},{plant},{cover}\n"
        for year in (2024, 2025, 2026)
        for plant, cover in (("yarrow", 20), ("red clover", year - 2000))
    )
    row, reading = send(county, text)
    assert [(part.year, part.ready) for part in reading.parts] == [(2024, True), (2025, True), (2026, True)]
    accept(county, row, reading)
    assert [outcome.year for outcome in OutcomeReturn.objects.order_by("year")] == [2024, 2025, 2026]


def test_a_sheet_of_more_returns_asks_the_database_no_more_often(county):
    lead = county.as_(county.lead)
    asked = []
    for years in (range(2024, 2027), range(2016, 2027)):
        text = "Year,Quadrat,Date,Plant,Cover %\n" + "".join(f"{y},Q1,1/7/{y},yarrow,20\n" for y in years)
        for _ in range(2):
            row, reading = send(county, text)
            accept(county, row, reading)
        with CaptureQueriesContext(connection) as queries:
            reads.reading_of(lead, reads.upload_get(lead, row.public_id, NOW), NOW.date())
        asked.append(len(queries))
    assert asked[0] == asked[1]


# ------------------------------------------------------------------ files as they come


def test_a_workbook_with_macros_formulas_and_joined_cells_is_read_and_nothing_runs(county):
    book = Workbook()
    sheet = book.active
    sheet.title = "Walk"
    for line in (["Date", "1 July 2026"], ["Species", "Q1 %", "Q2 %"], ["Yarrow", 10, 5], ["Red clover", "=1+1", 3]):
        sheet.append(line)
    sheet.append(["Oxeye daisy", 4, None])
    sheet.merge_cells("B5:C5")
    data = repacked(saved(book), {"xl/vbaProject.bin": b"\xd0\xcf\x11\xe0 Sub Auto_Open()"})
    _, reading = send(county, data)
    reasons = {row.number: [reason.code for reason in row.reasons] for row, _ in reading.refused}
    assert reasons == {4: ["formula_without_value"], 5: ["joined"]}
    assert any("macros" in note for note in reading.notes)


@pytest.mark.parametrize("codec", ["cp1252", "utf-16", "utf-8-sig", "utf-8"])
def test_a_file_in_any_usual_way_of_writing_letters_is_read_alike(county, codec):
    text = "Date,1 July 2026\nSpecies,Q1 %\nlady’s bedstraw,10\ncaf\u00e9 flower,5\n"
    _, reading = send(county, text.encode(codec))
    names = {record.name for record in reading.parts[0].asked.visits[0].quadrats[0].records}
    assert names == {"lady’s bedstraw", "caf\u00e9 flower"}


@pytest.mark.parametrize(("epoch", "serial"), [(None, 46204), (CALENDAR_MAC_1904, 46204 - 1462)])
def test_days_counted_from_1900_and_from_1904_are_the_same_day(county, epoch, serial):
    # 1 July 2026 is day 46204 of the count from 1900, 1462 less in the count from 1904 (ECMA-376, 18.17.4.1)
    book = Workbook()
    if epoch is not None:
        book.epoch = epoch
    for line in (["Date", serial], ["Species", "Q1 %"], ["Yarrow", 10]):
        book.active.append(line)
    _, reading = send(county, saved(book))
    assert [visit.on.isoformat() for visit in reading.parts[0].asked.visits] == ["2026-07-01"]


def test_a_day_that_does_not_exist_refuses_its_rows_only(county):
    text = "Quadrat,Date,Plant,Cover %\nQ1,30/6/2026,yarrow,5\nQ1,31/11/2026,red clover,5\n"
    row, reading = send(county, text)
    assert [(source.number, source.reasons[0].code) for source, _ in reading.refused] == [(3, "no_such_day")]
    assert len(seen(read_content(accept(county, row, reading)[0].version_of_return))) == 1


def test_a_day_to_come_is_told_and_nothing_is_taken(county):
    _, reading = send(county, "Date,1 December 2026\nSpecies,Q1 %\nYarrow,10\n")
    part = reading.parts[0]
    assert not part.ready
    assert [fault.code for fault in part.faults] == ["in_future"]


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "empty_file"),
        (b"\x89PNG\r\n\x1a\n" + b"\x00" * 100, "another_kind"),
        (b"PK\x03\x04" + b"x" * 50, "damaged"),
        (b"a\x00b,c\n" * 10, "not_text"),
        (b"x" * (10 * 2**20 + 1), "too_large"),
    ],
)
def test_a_file_that_is_no_sheet_is_refused_in_words_and_nothing_is_kept(county, data, code):
    with pytest.raises(RuleBroken) as refusal:
        send(county, data)
    error = refusal.value.errors[0]
    assert (error.pointer, error.code) == ("/file", code)
    assert error.expected
    assert not SheetUpload.objects.exists()


def test_a_packed_file_that_unpacks_without_end_is_refused_before_it_is_opened(county):
    cells = b"<worksheet><sheetData>" + b" " * (101 * 2**20)
    bomb = repacked(workbook(Walk=[["Species", "Q1"], ["yarrow", 1]]), {"xl/worksheets/sheet1.xml": cells})
    assert len(bomb) < 2**20
    with pytest.raises(RuleBroken) as refusal:
        send(county, bomb)
    assert refusal.value.errors[0].code == "too_large"


def test_one_person_s_sheets_are_bounded(county, monkeypatch):
    monkeypatch.setattr(acts.rules, "MOST_WAITING", 2)
    send(county)
    send(county)
    with pytest.raises(RuleBroken, match="wait to be looked through"):
        send(county)


def filled_template(county, name=YEWS):
    """The workbook of a project with a walk, a cut and a name that is doubted."""
    asked = reads.template_for(county.as_(county.lead), county.projects[name], 2026)
    book = load_workbook(io.BytesIO(template(asked)))
    walk, year = book["Walk"], book["Year"]
    row = next(number for number in range(6, 99) if walk.cell(number, 1).value is None)
    for number, plant in enumerate(("yarrow", "cranesbill?")):
        walk.cell(row + number, 1).value = plant
        walk.cell(row + number, 3).value = 10 + number
    year["B2"] = "14 July 2026"
    for column, value in enumerate(("Cutting", "20 August 2026", 6.5, 3, 40, "left in heaps"), start=1):
        year.cell(7, column).value = value
    return saved(book)


def test_the_template_comes_back_as_a_return_with_its_work(county):
    row, reading = send(county, filled_template(county))
    assert reading.refused == []
    assert [question.code for question in reading.questions] in (["name"], ["name_doubted"])
    found = read_content(accept(county, row, reading)[0].version_of_return)
    assert seen(found) == {("2026-07-14", "Q1", "yarrow"): "10", ("2026-07-14", "Q1", "cranesbill?"): "11"}
    assert [(work.what, work.on.isoformat(), work.note) for work in found.work] == [
        ("cut", "2026-08-20", "left in heaps")
    ]
    assert (found.heads, found.person_hours, found.cash_gbp) == (3, 6.5, 40)


@pytest.mark.parametrize(("answer", "ready"), [("here", True), ("stop", False)])
def test_a_template_of_another_meadow_is_asked_about(county, answer, ready):
    row, reading = send(county, filled_template(county, "Behind the house"))
    assert "template:project" in [question.key for question in reading.questions]
    assert not reading.parts[0].ready
    asked = UploadAnswers(answers={"template:project": answer})
    again = acts.upload_answer(
        actor=county.as_(county.lead), public_id=row.public_id, asked=asked, if_version=None, now=NOW
    )
    assert again.parts[0].ready is ready


def test_names_of_surveyors_are_not_kept(county):
    text = (
        "Surveyor,Hedda Quillfeather,Date,1 July 2026\nRecorded by: Hedda Quillfeather\n"
        "Quadrat,Species,Cover %,Surveyor\nQ1,yarrow,20,Hedda Quillfeather\nQ1,red clover,-5,Hedda Quillfeather\n"
    )
    row, reading = send(county, text)
    accept(county, row, reading)
    row.refresh_from_db()
    assert "Quillfeather" not in row.cells
    assert "(a name)" in row.cells
    assert "Quillfeather" not in str(list(RefusedRow.objects.values_list("cells", "reasons")))
    assert "Quillfeather" not in ReturnVersion.objects.get().content
    assert [source.number for source, _ in reading.refused] == [5]


# ------------------------------------------------------------------ a published survey


def test_the_dune_meadow_survey_sent_as_one_sheet_of_twenty_meadows_has_the_values_of_vegan(county):
    """Jongman, ter Braak and van Tongeren (1987), 20 sites and 30 taxa, against the R package vegan and scikit-bio."""
    coordinator = county.as_(county.coordinator)
    group = county.groups[MAKERS]
    survey = worked_examples("dune_meadow")
    for row in survey:
        site = sites.site_create(
            actor=coordinator,
            asked=SiteNew(
                group_id=group.public_id, name=f"Slack {row['site']}", kind="field", area_m2=400,
                place=Place(grid_reference="TA 98 35"),
            ),
            now=NOW,
        )  # fmt: skip
        project_create(actor=coordinator, asked=ProjectNew(site_id=site.public_id, name=f"Dune {row['site']}"), now=NOW)
    lines = ["Meadow;Date;Quadrat;Plant;Number of plants"]
    for row in survey:
        lines += [
            f"Dune {row['site']};1 July 2026;1;{taxon['name']};{row[taxon['code']]}"
            for taxon in worked_examples("dune_meadow_names")
            if row[taxon["code"]] != "0"
        ]
    sheet, reading = send(county, "\n".join(lines), aim=county.network, who="coordinator")
    assert (reading.refused, len(reading.parts)) == ([], 20)
    assert all(part.ready for part in reading.parts)
    parts = accept(county, sheet, reading, who="coordinator")
    assert len(parts) == 20
    stored = {}
    for part in parts:
        records = TaxonRecord.objects.filter(version_of=part.version_of_return)
        assert {record.scale for record in records} == {"abundance"}
        stored[part.project.name] = {record.name: float(record.value) for record in records}
    names = [taxon["name"] for taxon in worked_examples("dune_meadow_names")]
    for row in worked_examples("dune_meadow_published"):
        values = np.array([stored[f"Dune {row['site']}"].get(name, 0.0) for name in names])
        assert diversity.richness(values) == alpha.sobs(values) == int(row["richness"])
        assert diversity.shannon(values) == pytest.approx(alpha.shannon(values, base=np.e), abs=1e-6)
        assert diversity.simpson(values) == pytest.approx(alpha.simpson(values), abs=1e-6)
        assert diversity.shannon(values) == pytest.approx(float(row["shannon"]), abs=1e-6)
        assert diversity.simpson(values) == pytest.approx(float(row["simpson"]), abs=1e-6)
        assert diversity.evenness(values) == pytest.approx(float(row["evenness"]), abs=1e-6)
    held = np.array([sum(name in found for found in stored.values()) for name in names])
    pool = diversity.pool(held, 20)
    for row in worked_examples("dune_meadow_pool"):
        assert getattr(pool, row["estimate"]) == pytest.approx(float(row["value"]), abs=1e-6)
    # the bootstrap estimate as Smith and van Belle (1984, Biometrics 40, 119) write it, from the published table
    shares = [sum(row[taxon["code"]] != "0" for row in survey) / 20 for taxon in worked_examples("dune_meadow_names")]
    assert pool.bootstrap == pytest.approx(30 + sum((1 - share) ** 20 for share in shares), abs=1e-6)
    assert MeadowProject.objects.filter(returns__year=2026, name__startswith="Dune").count() == 20
