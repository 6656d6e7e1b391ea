"""The worker loop without Celery: `manage.py work_jobs`, or a thread of the serving process where no Redis is."""

import logging
import threading

from django.conf import settings
from django.db import Error, close_old_connections, connection
from django.utils import timezone

from projects.services import jobs, uploads

IDLE_SECONDS = 30
logger = logging.getLogger(__name__)


def work(stop: threading.Event) -> None:
    """Do what is due, then wait to be woken or for the next sweep, until told to stop."""
    while not stop.is_set():
        jobs.wake.clear()
        close_old_connections()
        try:
            uploads.uploads_forget(now=timezone.now())
            jobs.jobs_run_due(clock=timezone.now, enough=stop.is_set)
        except Error as error:
            logger.warning("Jobs cannot be read, and are looked for again in %d s: %s", IDLE_SECONDS, error)
        finally:
            connection.close()
        if not stop.is_set():
            jobs.wake.wait(IDLE_SECONDS)


def start_beside_the_server() -> threading.Thread | None:
    """Start the loop in a thread of a serving process; None where Celery workers do the work."""
    if settings.CELERY_BROKER_URL:
        return None
    thread = threading.Thread(target=work, args=[threading.Event()], name="jobs", daemon=True)
    thread.start()
    return thread
