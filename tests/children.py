"""Processes that a test starts beside itself, in the same database and under the same prefix in Redis."""

import os
import signal
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote, urlencode

from django.conf import settings
from django.db import connection

ROOT = Path(__file__).parents[1]


def database_url():
    """Return the address of the test database, as a child reads it."""
    found = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{quote(str(found['NAME']))}"
    user = quote(found["USER"], safe="") + (f":{quote(found['PASSWORD'], safe='')}" if found["PASSWORD"] else "")
    port = f":{found['PORT']}" if found["PORT"] else ""
    options = f"?{urlencode(found['OPTIONS'])}" if found["OPTIONS"] else ""
    return f"postgres://{user}@{found['HOST']}{port}/{quote(found['NAME'], safe='')}{options}"


def environment(**others):
    """Return what a child process finds in its environment."""
    return os.environ | {
        "DJANGO_SETTINGS_MODULE": "config.settings.test",
        "DATABASE_URL": database_url(),
        "FORBCAST_TEST_PREFIX": settings.TEST_PREFIX,
        **others,
    }


@contextmanager
def child(*words, **others):
    """Run Python with these words beside the test, in a session of its own; killed at the end at the latest."""
    with subprocess.Popen(
        [sys.executable, *words],
        cwd=ROOT,
        env=environment(**others),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        start_new_session=True,
    ) as process:
        try:
            yield process
        finally:
            if process.poll() is None:
                os.killpg(process.pid, signal.SIGKILL)
