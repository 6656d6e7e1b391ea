"""The Celery application: queues and broker. It has no tasks in this release."""

import os

from celery import Celery
from kombu import Queue

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.base")

app = Celery("forbcast")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.conf.task_queues = [Queue("interactive"), Queue("model"), Queue("export")]
app.autodiscover_tasks()
