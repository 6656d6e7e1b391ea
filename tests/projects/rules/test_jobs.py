"""What follows an attempt, and that the table of kinds names what there is."""

from datetime import timedelta

import pytest
from django.utils.module_loading import import_string

from config.celery import QUEUES, SWEEP_SECONDS, app
from projects import tasks
from projects.models import Job
from projects.rules import jobs as rules


def test_the_pause_doubles_up_to_ten_minutes():
    assert [rules.pause_after(n).total_seconds() for n in (1, 2, 3, 4, 7, 8, 30)] == [10, 20, 40, 80, 600, 600, 600]


@pytest.mark.parametrize(("attempts", "last"), [(1, False), (2, False), (3, True), (4, True)])
def test_the_third_of_three_attempts_is_the_last(attempts, last):
    assert rules.is_last(attempts, 3) is last


@pytest.mark.parametrize("name", rules.KINDS)
def test_every_kind_has_a_queue_and_functions_that_exist(name):
    kind = rules.KINDS[name]
    assert kind.queue in Job.Queue.values
    assert callable(import_string(kind.check))
    assert callable(import_string(kind.function))


def test_two_signs_of_life_may_fail_before_the_lease_ends():
    assert 3 * rules.HEARTBEAT <= rules.LEASE


def test_a_slice_and_a_hanging_attempt_end_before_celery_ends_them():
    soft = timedelta(seconds=app.conf.task_soft_time_limit)
    assert rules.SLICE < rules.LONGEST_ATTEMPT <= soft < timedelta(seconds=app.conf.task_time_limit)
    assert timedelta(seconds=tasks.SWEEP_SECONDS) + rules.SLICE < soft


def test_every_queue_is_known_to_celery_and_swept_every_30_seconds():
    assert set(QUEUES) == set(Job.Queue.values) == {queue.name for queue in app.conf.task_queues}
    entries = [entry for name, entry in app.conf.beat_schedule.items() if name.startswith("sweep ")]
    assert {(entry["task"], *entry["args"], entry["options"]["queue"]) for entry in entries} == {
        (tasks.sweep_jobs.name, queue, queue) for queue in QUEUES
    }
    assert {entry["schedule"] for entry in entries} == {SWEEP_SECONDS} == {30}
    (other,) = [entry for entry in app.conf.beat_schedule.values() if entry not in entries]
    assert (other["task"], other["options"]["queue"]) == (tasks.forget.name, "interactive")
