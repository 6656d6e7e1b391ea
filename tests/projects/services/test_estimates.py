"""Stored estimates by the batch."""

import json
from datetime import UTC, datetime
from uuid import UUID

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from modelling.models import ModelRun
from modelling.selectors import run_get
from projects.models import Job
from projects.rules.access import SERVER
from projects.selectors.jobs import job_get
from projects.services.jobs import job_create, jobs_run_due
from tests.projects.jobs import NOON, Clock, batch, texts

pytestmark = pytest.mark.django_db


def test_each_request_has_its_run_in_the_order_asked_and_the_refused_their_reasons():
    payload = [
        *texts(1),
        '{"site": {"area_m2": -1}}',
        "not json",
        *texts(1, first=2),
        '{"site": {"area_m2": 10}, "draws": 300}',
        *texts(1),
    ]
    job = job_create(kind="estimate_batch", payload=payload, actor_label="a test", now=NOON)
    jobs_run_due(clock=Clock())
    job = job_get(SERVER, job.public_id)
    assert (job.state, job.progress_done, job.progress_total) == ("done", 6, 6)
    runs = job.result["runs"]
    assert [run is None for run in runs] == [False, True, True, False, True, False]
    assert runs[0] == runs[5] != runs[3]
    areas = [json.loads(run_get(UUID(runs[index])).request)["site"]["area_m2"] for index in (0, 3)]
    assert areas == [10, 20]
    refused = [(entry["index"], *map(entry["errors"][0].get, ("pointer", "code"))) for entry in job.result["refused"]]
    assert refused == [
        (1, "/site/area_m2", "out_of_range"),
        (2, "", "not_json"),
        (4, "/draws", "out_of_range"),
    ]  # fmt: skip


def test_today_is_the_day_the_job_was_made_in_british_time():
    # half past eleven in the evening in UTC is past midnight in Britain in summer
    made = datetime(2026, 5, 1, 23, 30, tzinfo=UTC)
    job = batch(now=made)
    jobs_run_due(clock=Clock(datetime(2026, 5, 9, 12, tzinfo=UTC)))
    (run,) = job_get(SERVER, job.public_id).result["runs"]
    assert run_get(UUID(run)).as_of.isoformat() == "2026-05-02"


def test_what_is_stored_already_is_skipped_at_the_same_number_of_queries():
    counts = []
    for many in (3, 30):
        batch(many)
        jobs_run_due(clock=Clock())
        batch(many)
        with CaptureQueriesContext(
            connection,
        ) as queries:
            jobs_run_due(clock=Clock())
        counts.append(len(queries))
    assert ModelRun.objects.count() == 30
    assert counts[0] == counts[1]
    assert set(Job.objects.values_list("state", flat=True)) == {"done"}


def test_each_run_more_costs_the_same_number_of_queries():
    counts = []
    first = 1
    batch(1, first=1000)
    jobs_run_due(clock=Clock())
    for many in (3, 6, 9):
        batch(many, first=first)
        first += many
        with CaptureQueriesContext(connection) as queries:
            jobs_run_due(clock=Clock())
        counts.append(len(queries))
    assert counts[2] - counts[1] == counts[1] - counts[0]
