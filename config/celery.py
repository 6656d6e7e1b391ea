"""The Celery application. A message carries a job's id and nothing else; the job's row holds the truth."""

import os
import signal
from typing import Any

import billiard
from celery import Celery, signals
from kombu import Queue

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.base")

QUEUES = ("interactive", "model", "export")
SWEEP_SECONDS = 30
FORGET_SECONDS = 3_600

app = Celery("forbcast")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.conf.task_queues = [Queue(name) for name in QUEUES]
# One sweep a queue, done by that queue's workers; one that nobody took up in time is superseded by the next.
app.conf.beat_schedule = {
    f"sweep {name}": {
        "task": "projects.sweep_jobs",
        "schedule": SWEEP_SECONDS,
        "args": [name],
        "options": {"queue": name, "expires": SWEEP_SECONDS},
    }
    for name in QUEUES
} | {
    "forget what is over": {
        "task": "projects.forget",
        "schedule": FORGET_SECONDS,
        "options": {"queue": "interactive", "expires": FORGET_SECONDS},
    }
}
app.autodiscover_tasks()


def _told_to_stop(*args: Any) -> None:
    from projects.services.jobs import stopping

    stopping.set()


@signals.worker_process_init.connect
def _listen(**kwargs: Any) -> None:
    """A process that does jobs gives its job back when told to stop, instead of dying with it in its hands."""
    signal.signal(signal.SIGTERM, _told_to_stop)


@signals.worker_shutting_down.connect
def _pass_on(**kwargs: Any) -> None:
    """The worker itself is told; the processes that do its jobs hear of it from here."""
    _told_to_stop()
    for process in billiard.active_children():
        if process.pid is not None:
            os.kill(process.pid, signal.SIGTERM)
