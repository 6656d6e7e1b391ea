"""The Celery application. A message carries a job's id and nothing else; the job's row holds the truth."""

import os

from celery import Celery
from kombu import Queue

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.base")

app = Celery("forbcast")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.conf.task_queues = [Queue("interactive"), Queue("model"), Queue("export")]
app.autodiscover_tasks()
