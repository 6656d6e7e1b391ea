"""The Celery application. A message carries a job's id and nothing else; the job's row holds the truth."""

import os

from celery import Celery
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
    "forget sheets": {
        "task": "projects.forget_uploads",
        "schedule": FORGET_SECONDS,
        "options": {"queue": "interactive", "expires": FORGET_SECONDS},
    }
}
app.autodiscover_tasks()
