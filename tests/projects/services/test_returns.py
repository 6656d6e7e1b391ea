"""A wet notebook becomes agreed evidence: sent once, settled, asked about, agreed, superseded, never overwritten."""

import uuid
from datetime import datetime
from zoneinfo import ZoneInfo

import orjson
import pytest

from modelling.errors import RequestRefused
from modelling.reading import read_as
from projects.choices import ReturnState
from projects.contracts.returns import NameSettled, NamesSettled, ReturnNew
from projects.errors import NotAllowed, NotFound, RuleBroken, Stale, WrongState
from projects.models import AuditEntry, OutcomeReturn, ReturnResult, ReturnVersion, TaxonRecord
from projects.rules.access import PUBLIC_ACTOR
from projects.selectors.returns import names_to_settle, result_of, settled_content
from projects.services import returns
from tests.projects.county import saltmere

pytestmark = pytest.mark.django_db

#: two summers after the paddock of the county was sown
AUTUMN = datetime(2028, 9, 1, 10, 0, tzinfo=ZoneInfo("Europe/London"))


@pytest.fixture
def county():
    return saltmere()


def notebook(**values):
    """Ten quadrats as they were written on the day, one name unsure, one abbreviated."""
    plants = ["ladys bedstraw", "Common knapweed", "YR", "red clover", "cranesbill?", "dock"]
    quadrats = [
        {
            "label": f"Q{number}",
            "records": [{"name": name} for name in plants[: 3 + number % 4]],
            "rattle_plants": 4,
            "bare_ground_percent": 5,
        }
        for number in range(10)
    ]
    data = {
        "year": 2028,
        "grade": "knows_most",
        "layout": "random",
        "visits": [{"on": "2028-06-20", "quadrats": quadrats}],
        "work": [{"what": "cut", "on": "2028-08-02"}, {"what": "collected", "on": "2028-08-03"}],
    }
    return data | values


def send(county, data, who="member", project="Paddock to hay"):
    return returns.return_send(
        actor=county.as_(getattr(county, who)),
        project_id=county.projects[project].public_id,
        asked=read_as(ReturnNew, data),
        now=AUTUMN,
    )


def test_a_notebook_is_kept_as_written_and_read_as_far_as_it_is_sure(county):
    row, new = send(county, notebook())
    assert (new, row.state, row.year, row.current.number) == (True, ReturnState.SENT, 2028, 1)
    content = orjson.loads(row.current.content)
    assert content["visits"][0]["quadrats"][3]["records"][2]["name"] == "YR"
    by_name = dict(TaxonRecord.objects.filter(version_of=row.current).values_list("name", "taxon"))
    assert by_name["YR"] == "rhinanthus_minor"
    assert by_name["ladys bedstraw"] == "galium_verum"
    assert by_name["cranesbill?"] == ""
    assert TaxonRecord.objects.filter(version_of=row.current).count() == sum(3 + n % 4 for n in range(10))
    assert "cranesbill?" in [name for name, _, _ in names_to_settle(row.current)]


def test_the_same_sending_changes_nothing_and_another_is_a_new_version(county):
    once = str(uuid.uuid4())
    row, _ = send(county, notebook(submission_id=once))
    acts = AuditEntry.objects.count()
    again, new = send(county, notebook(submission_id=once, narrative="later"))
    assert (again.pk, new, AuditEntry.objects.count()) == (row.pk, False, acts)
    later, new = send(county, notebook(narrative="from home, as a spreadsheet"))
    assert (later.pk, new, later.current.number) == (row.pk, True, 2)
    assert OutcomeReturn.objects.count() == 1
    assert ReturnVersion.objects.count() == 2


def test_a_name_once_settled_is_remembered_and_judged_anew(county):
    row, _ = send(county, notebook())
    member = county.as_(county.member)
    first = result_of(row.current)
    asked = NameSettled(name="cranesbill?", taxon="geranium_pratense")
    settled = returns.name_settle(actor=member, return_id=row.public_id, asked=asked, now=AUTUMN)
    assert settled == sum(3 + n % 4 >= 5 for n in range(10))
    assert "geranium_pratense" in {
        item.taxon for quadrat in settled_content(row.current).visits[0].quadrats for item in quadrat.records
    }
    second = result_of(row.current)
    assert first.checksum != second.checksum
    # both acts kept what it came to, with an audit line each
    assert set(row.current.results.values_list("checksum", flat=True)) == {first.checksum, second.checksum}
    assert AuditEntry.objects.filter(act="return_judge").count() == 2
    next_year, _ = send(
        county, notebook(year=2027, work=[], visits=[{"on": "2027-06-20", "whole_site": [{"name": "Cranesbill ?"}]}])
    )
    assert set(TaxonRecord.objects.filter(version_of=next_year.current).values_list("taxon", flat=True)) == {
        "geranium_pratense"
    }
    with pytest.raises(RuleBroken, match="does not stand in this return"):
        returns.name_settle(
            actor=member, return_id=row.public_id, asked=NameSettled(name="edelweiss", taxon=None), now=AUTUMN
        )


def test_what_it_comes_to_is_the_mean_worked_out_by_hand(county):
    row, _ = send(county, notebook())
    answer = result_of(row.current).read()
    # by hand: 3, 4, 5, 6 kinds in turn over ten quadrats: 3+4+5+6+3+4+5+6+3+4 = 43
    assert answer["sentences"][0].startswith("Ten quadrats of 1 m² held 4.3 kinds of plant on average")


def test_looking_at_a_result_keeps_nothing(county, monkeypatch):
    send(county, notebook(year=2027, work=[], visits=[{"on": "2027-06-20", "quadrats": [{"label": "1"}]}]))
    row, _ = send(county, notebook())
    kept = result_of(row.current)
    assert kept.kept_at == AUTUMN
    # the year before is sent again, so this year is judged beside other figures than those that were kept
    later, _ = send(county, notebook(year=2027, work=[], visits=[{"on": "2027-06-21", "quadrats": [{"label": "1"}]}]))
    rows, acts = ReturnResult.objects.count(), AuditEntry.objects.count()
    now = result_of(row.current)
    assert (now.kept_at, now.checksum != kept.checksum) == (None, True)
    # a later release judges anew as well, and says which it is
    monkeypatch.setattr("projects.selectors.returns.RESULTS_VERSION", "99")
    assert result_of(later.current).kept_at is None
    assert result_of(later.current).recipe["results_version"] == "99"
    assert (ReturnResult.objects.count(), AuditEntry.objects.count()) == (rows, acts)
    returns.return_agree(
        actor=county.as_(county.coordinator), return_id=row.public_id, comment="", if_version=None, now=AUTUMN
    )
    assert result_of(row.current).kept_at == AUTUMN


@pytest.mark.parametrize(
    ("values", "pointer", "code"),
    [
        ({"year": 2029}, "/year", "in_future"),
        ({"visits": [{"on": "2027-06-20", "whole_site": [{"name": "dock"}]}]}, "/visits/0/on", "other_year"),
        (
            {"visits": [{"on": "2028-06-20", "quadrats": [{"label": "1"}, {"label": " 1"}]}]},
            "/visits/0/quadrats/1/label",
            "duplicate_label",
        ),
        (
            {"visits": [{"on": "2028-06-20", "whole_site": [{"name": "dock"}, {"name": "Dock"}]}]},
            "/visits/0/whole_site/1",
            "twice",
        ),
        (
            {"visits": [{"on": "2028-06-20", "whole_site": [{"name": "dock", "scale": "percent", "value": "101"}]}]},
            "/visits/0/whole_site/0/value",
            "out_of_range",
        ),
        (
            {"visits": [{"on": "2028-06-20", "whole_site": [{"name": "dock", "scale": "percent", "value": "-1"}]}]},
            "/visits/0/whole_site/0/value",
            "out_of_range",
        ),
        (
            {"visits": [{"on": "2028-06-20", "whole_site": [{"name": "dock", "scale": "domin", "value": "11"}]}]},
            "/visits/0/whole_site/0/value",
            "not_on_scale",
        ),
        ({"person_hours": 3.0}, "/heads", "contradiction"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_saved(county, values, pointer, code):
    with pytest.raises(RuleBroken) as refused:
        send(county, notebook(**values))
    assert (pointer, code) in [(fault.pointer, fault.code) for fault in refused.value.errors]
    assert not OutcomeReturn.objects.exists()
    assert not TaxonRecord.objects.exists()


def test_an_empty_survey_is_refused_and_nothing_done_is_an_answer(county):
    with pytest.raises(RequestRefused, match="nothing_done"):
        send(county, {"year": 2028})
    row, _ = send(county, {"year": 2028, "answered": "nothing_done"})
    assert row.state == ReturnState.SENT
    failed, _ = send(county, {"year": 2027, "answered": "failed", "narrative": "The bank slipped."})
    assert result_of(failed.current) is None


def test_questions_are_asked_answered_accepted_before_it_is_agreed(county):
    send(
        county,
        notebook(year=2027, work=[], visits=[{"on": "2027-06-20", "quadrats": [{"label": "1", "rattle_plants": 40}]}]),
    )
    data = notebook()
    data["visits"][0]["on"] = "2028-08-10"
    for quadrat in data["visits"][0]["quadrats"]:
        quadrat["rattle_plants"] = 0
    row, _ = send(county, data)
    asked = {question.code: question for question in row.current.questions.all()}
    assert set(asked) == {"after_the_cut", "rattle_gone"}
    coordinator = county.as_(county.coordinator)
    with pytest.raises(WrongState, match="2 of its questions are not accepted"):
        returns.return_agree(actor=coordinator, return_id=row.public_id, comment="", if_version=None, now=AUTUMN)
    member = county.as_(county.member)
    returns.question_answer(
        actor=member, public_id=asked["rattle_gone"].public_id, answer="Cut on 1 July by mistake.", now=AUTUMN
    )
    with pytest.raises(NotAllowed):
        returns.question_accept(actor=member, public_id=asked["rattle_gone"].public_id, now=AUTUMN)
    for question in asked.values():
        returns.question_accept(actor=coordinator, public_id=question.public_id, now=AUTUMN)
    agreed = returns.return_agree(actor=coordinator, return_id=row.public_id, comment="", if_version=None, now=AUTUMN)
    assert (agreed.state, agreed.agreed_id) == (ReturnState.AGREED, row.current_id)


def test_a_later_version_waits_while_the_agreed_one_counts(county):
    row, _ = send(county, notebook())
    coordinator = county.as_(county.coordinator)
    returns.return_agree(actor=coordinator, return_id=row.public_id, comment="", if_version=None, now=AUTUMN)
    later, _ = send(county, notebook(narrative="two names mended"))
    assert (later.state, later.current.number, later.agreed.number) == (ReturnState.SENT, 2, 1)
    back = returns.return_send_back(
        actor=coordinator, return_id=row.public_id, comment="Which two?", if_version=None, now=AUTUMN
    )
    assert (back.state, back.agreed.number) == (ReturnState.SENT_BACK, 1)
    assert back.steps.first().comment == "Which two?"


def test_who_may_send_see_and_agree(county):
    row, _ = send(county, notebook())
    for stranger in ("neighbour", "stranger", "operator"):
        with pytest.raises(NotAllowed):
            send(county, notebook(), who=stranger)
        with pytest.raises(NotFound):
            returns.return_check(
                actor=county.as_(getattr(county, stranger)), return_id=row.public_id, if_version=None, now=AUTUMN
            )
    with pytest.raises(NotFound):
        returns.return_check(actor=PUBLIC_ACTOR, return_id=row.public_id, if_version=None, now=AUTUMN)
    with pytest.raises(NotAllowed):
        returns.return_agree(
            actor=county.as_(county.lead), return_id=row.public_id, comment="", if_version=None, now=AUTUMN
        )
    typed_in, _ = send(county, notebook(), who="coordinator")
    assert typed_in.current.on_behalf is True
    assert row.current.on_behalf is False


@pytest.mark.parametrize(
    ("quadrat", "pointer", "code"),
    [
        ({"label": "1\0"}, "label", "control_character"),
        ({"label": "1", "records": [{"name": "do\0ck"}]}, "records/0/name", "control_character"),
        ({"label": "1", "records": [{"name": "dock", "value": "\x07"}]}, "records/0/value", "control_character"),
        ({"label": "1", "records": [{"name": " \t"}]}, "records/0/name", "too_few"),
    ],
)
def test_what_no_database_keeps_is_refused_where_it_stands(county, quadrat, pointer, code):
    with pytest.raises(RequestRefused) as refused:
        send(county, notebook(visits=[{"on": "2028-06-20", "quadrats": [quadrat]}]))
    assert [(fault.pointer, fault.code) for fault in refused.value.errors] == [
        (f"/visits/0/quadrats/0/{pointer}", code)
    ]


def test_a_question_once_accepted_stays_answered_as_it_was(county):
    data = notebook()
    data["visits"][0]["on"] = "2028-08-10"
    row, _ = send(county, data)
    question = row.current.questions.get()
    member, coordinator = county.as_(county.member), county.as_(county.coordinator)
    with pytest.raises(Stale):
        returns.question_answer(actor=member, public_id=question.public_id, answer="No.", if_version=9, now=AUTUMN)
    returns.question_answer(
        actor=member, public_id=question.public_id, answer="Yes.", if_version=question.version, now=AUTUMN
    )
    accepted = returns.question_accept(actor=coordinator, public_id=question.public_id, now=AUTUMN)
    acts = AuditEntry.objects.count()
    again = returns.question_accept(actor=coordinator, public_id=question.public_id, if_version=0, now=AUTUMN)
    assert (again.version, AuditEntry.objects.count()) == (accepted.version, acts)
    with pytest.raises(WrongState, match="has been accepted"):
        returns.question_answer(actor=member, public_id=question.public_id, answer="No.", now=AUTUMN)


def test_several_names_are_settled_all_or_none(county):
    row, _ = send(county, notebook())
    good, bad = (NameSettled(name=name, taxon=None, remember=False) for name in ("cranesbill?", "edelweiss"))
    acts = AuditEntry.objects.count()
    with pytest.raises(RuleBroken) as refused:
        returns.names_settle(
            actor=county.as_(county.member), return_id=row.public_id, asked=NamesSettled(names=(good, bad)),
            if_version=None, now=AUTUMN,
        )  # fmt: skip
    assert refused.value.errors[0].pointer == "/names/1/name"
    assert (row.current.settlements.count(), AuditEntry.objects.count()) == (0, acts)
