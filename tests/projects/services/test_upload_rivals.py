"""Two people with one sheet, or two sheets of one meadow, at the same moment: threads with connections of their own."""

from datetime import timedelta

import pytest

from projects.contracts.uploads import UploadAccept
from projects.errors import RuleBroken, Stale, WrongState
from projects.models import AuditEntry, OutcomeReturn, ReturnVersion, TaxonRecord, UploadPart
from projects.services import uploads as acts
from tests.projects.county import NOW, saltmere
from tests.projects.services.test_job_rivals import side_by_side
from tests.projects.services.test_uploads import WALK, YEWS, send

pytestmark = pytest.mark.django_db(transaction=True)
REPEATS = 5


@pytest.fixture
def county():
    return saltmere()


def together(*calls):
    """What each call gave, or how it was refused."""
    turns = list(calls)

    def one():
        try:
            return turns.pop()()
        except (RuleBroken, Stale, WrongState) as refusal:
            return refusal

    return side_by_side(len(calls), one)


def accepting(actor, row, reading):
    asked = UploadAccept(preview=reading.preview)
    return lambda: acts.upload_accept(actor=actor, public_id=row.public_id, asked=asked, now=NOW)


def test_two_people_accepting_one_sheet_send_one_version(county):
    actors = [county.as_(county.lead), county.as_(county.member), county.as_(county.coordinator)]
    for repeat in range(REPEATS):
        text = WALK.replace("Yarrow,10,5", f"Yarrow,{10 + repeat},5")
        row, reading = send(county, text, now=NOW + timedelta(minutes=repeat))
        found = together(*(accepting(actor, row, reading) for actor in actors))
        # whoever comes late is told the same, or that it has been done by now
        done = [one for one in found if isinstance(one, list)]
        assert done
        assert all(isinstance(one, list | Stale) for one in found)
        assert OutcomeReturn.objects.count() == 1
        assert ReturnVersion.objects.count() == repeat + 1
        assert UploadPart.objects.filter(upload=row).count() == 1
        assert AuditEntry.objects.filter(act="return_send").count() == repeat + 1
        assert TaxonRecord.objects.filter(version_of__number=repeat + 1).count() == 4


def test_two_sheets_of_one_meadow_at_once_lose_nothing(county):
    for repeat in range(REPEATS):
        year = 2026 - repeat
        texts = [f"Date,1 July {year}\nSpecies,{label} %\nYarrow,10\n" for label in ("Q1", "Q2")]
        sent = [send(county, text, who=who, year=year) for text, who in zip(texts, ("lead", "member"), strict=True)]
        actor = county.as_(county.lead)
        found = together(*(accepting(actor, row, reading) for row, reading in sent))
        lost = [one for one in found if isinstance(one, Exception)]
        # one went first; the other is told that the return changed, and nothing of it is half there
        assert [type(one) for one in lost] == [Stale]
        outcome = OutcomeReturn.objects.get(project=county.projects[YEWS], year=year)
        assert outcome.versions.count() == 1
        assert TaxonRecord.objects.filter(version_of=outcome.current).count() == 1
