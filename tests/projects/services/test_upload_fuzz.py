"""Files that were good once, sent through the whole door: refused in words, or read and taken in whole; never more.

FORBCAST_FUZZ says how many files are sent; each file is made from its number, so that a bad one can be made again.
"""

import os
import resource
import tracemalloc

import orjson
import pytest
from django.db import transaction

from projects.models import OutcomeReturn, RefusedRow, ReturnVersion, SheetUpload, TaxonRecord
from tests.projects.api.caller import Caller
from tests.projects.county import saltmere
from tests.projects.services.test_uploads import YEWS
from tests.projects.sheets import test_fuzz as mutated

pytestmark = pytest.mark.django_db
FILES = int(os.environ.get("FORBCAST_FUZZ", "60"))
#: a file of some kilobytes may not take more memory than this at its peak, nor leave more behind after all of them
PEAK_MEGABYTES = 40
LEFT_MEGABYTES = 250
#: every so manieth file is taken in too, and every so manieth is weighed
TAKEN, WEIGHED = 5, 25


class Undone(Exception):
    """Takes back what one file did."""


def counts():
    return tuple(
        model.objects.count() for model in (OutcomeReturn, ReturnVersion, TaxonRecord, SheetUpload, RefusedRow)
    )


def taken_whole(sheet):
    """Whether each version holds as many rows to count as its text has records, and no refused row is in it."""
    for part in sheet.parts.select_related("version_of_return"):
        content = orjson.loads(part.version_of_return.content)
        records = [r for v in content["visits"] for q in v.get("quadrats", ()) for r in q.get("records", ())]
        records += [r for v in content["visits"] for r in v.get("whole_site", ())]
        if TaxonRecord.objects.filter(version_of=part.version_of_return).count() != len(records):
            return False
    return True


def test_no_file_does_more_than_be_refused_or_be_taken_in_whole(monkeypatch):
    monkeypatch.setattr(mutated, "FILES", FILES)
    county = saltmere()
    lead = Caller(county.lead)
    where = f"projects/{county.projects[YEWS].public_id}/uploads/?year=2026&filename=walk.csv"
    at_first = counts()
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    refused = read = taken = 0
    peak = 0
    for number, data in mutated.files():
        weighed = number % WEIGHED == 0
        if weighed:
            tracemalloc.start()
        try:
            with transaction.atomic():
                answer = lead.post(where, data)
                if answer.status_code != 201:
                    assert answer.status_code == 422, (number, answer.status_code, answer.content[:300])
                    error = answer.json()["errors"][0]
                    assert error["code"], number
                    assert error["detail"], number
                    assert error["expected"], number
                    assert counts() == at_first, number
                    refused += 1
                    raise Undone
                read += 1
                found = answer.json()
                sheet = SheetUpload.objects.get()
                assert sheet.refused_rows.count() == found["refused_count"], number
                assert counts()[:3] == at_first[:3], number
                # answered as far as a choice is offered, and a day where one is asked for
                answers = {
                    question["key"]: question["choices"][0]["value"] if question["choices"] else "2026-07-01"
                    for question in found["questions"]
                }
                if number % TAKEN == 0 or number < TAKEN:
                    for _ in range(3):
                        if not answers:
                            break
                        said = lead.post(
                            f"uploads/{found['id']}/answers/", {"answers": dict(list(answers.items())[:50])}
                        )
                        assert said.status_code == 200, (number, said.content[:300])
                        found = said.json()
                        answers = {
                            question["key"]: question["choices"][0]["value"] if question["choices"] else "2026-07-01"
                            for question in found["questions"]
                        }
                    done = lead.post(f"uploads/{found['id']}/accept/", {"preview": found["preview"]})
                    assert done.status_code in {200, 409}, (number, done.content[:300])
                    assert done.status_code == 200 or counts()[:3] == at_first[:3], number
                    assert taken_whole(sheet), number
                    taken += done.status_code == 200
                raise Undone
        except Undone:
            pass
        finally:
            if weighed:
                peak = max(peak, tracemalloc.get_traced_memory()[1])
                tracemalloc.stop()
    assert counts() == at_first
    assert peak / 2**20 < PEAK_MEGABYTES
    assert (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024 < LEFT_MEGABYTES
    assert read > FILES / 4
    assert refused > FILES / 20
    assert taken > FILES / 20
