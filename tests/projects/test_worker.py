"""The thread that does jobs where there is no Redis belongs to the server and to nothing else."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.children import environment

ROOT = Path(__file__).parents[2]
NAMES = "; import threading; print(sorted(thread.name for thread in threading.enumerate()))"
MANAGE = "from django.core.management import execute_from_command_line as run; run(['manage.py', 'check'])"


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(
    ("code", "redis_url", "threads"),
    [
        ("import config.wsgi", "", ["MainThread", "jobs"]),
        ("import config.wsgi", "redis://127.0.0.1:1/0", ["MainThread"]),
        (MANAGE, "", ["MainThread"]),
    ],
)
def test_who_starts_it(code, redis_url, threads):
    done = subprocess.run(
        [sys.executable, "-c", code + NAMES],
        cwd=ROOT,
        env=environment(REDIS_URL=redis_url),
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=True,
    )
    assert done.stdout.splitlines()[-1] == str(threads), done.stderr
