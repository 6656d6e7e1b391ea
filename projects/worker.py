"""The worker loop without Celery: `manage.py work_jobs`, or a thread of the serving process where no Redis is."""

import atexit
import logging
import threading

from django.conf import settings
from django.db import Error, close_old_connections, connection
from django.utils import timezone

from projects.services import chores, jobs

IDLE_SECONDS = 30
#: a serving process that ends waits so long for its job to be given back; one that takes longer is found by its lease
PARTING_SECONDS = 10
logger = logging.getLogger(__name__)


def work(stop: threading.Event) -> None:
    """Do what is due, then wait to be woken or for the next sweep, until told to stop."""
    while not stop.is_set():
        jobs.wake.clear()
        close_old_connections()
        try:
            chores.what_is_over_forget(now=timezone.now())
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
    stop = threading.Event()
    thread = threading.Thread(target=work, args=[stop], name="jobs", daemon=True)
    thread.start()
    atexit.register(part, thread, stop)
    return thread


def part(thread: threading.Thread, stop: threading.Event) -> None:
    """Let the thread give back what it is at, and wait for that."""
    stop.set()
    jobs.stopping.set()
    jobs.wake.set()
    thread.join(PARTING_SECONDS)
