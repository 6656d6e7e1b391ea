"""`manage.py demo` serves, and stops when told to."""

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

ROOT = Path(__file__).parents[3]


@pytest.fixture
def port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def fetch(address, process):
    """Return the status at the address, as soon as the server answers at all."""
    for _ in range(300):
        assert process.poll() is None, process.stderr.read()
        try:
            with urllib.request.urlopen(address, timeout=10) as response:  # noqa: S310 - our own address
                return response.status
        except urllib.error.URLError:
            time.sleep(0.1)
    raise AssertionError(f"{address} did not answer in 30 s")


def test_it_serves_from_an_empty_folder_and_stops(port, tmp_path):
    environment = {
        key: value
        for key, value in os.environ.items()
        if not key.startswith("FORBCAST_")
        and key not in {"DATABASE_URL", "REDIS_URL", "DJANGO_SETTINGS_MODULE"}
    }
    environment["FORBCAST_DATA_DIR"] = str(tmp_path / "data")
    with subprocess.Popen(
        [sys.executable, "manage.py", "demo", "--port", str(port)],
        cwd=ROOT,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        try:
            base = f"http://127.0.0.1:{port}"
            for path in ("/health/", "/api/v1/", "/api/v1/docs/"):
                assert fetch(base + path, process) == 200
            process.send_signal(signal.SIGINT)
            out, _ = process.communicate(timeout=30)
        finally:
            process.kill()
    assert process.returncode == 0
    assert f"{base}/" in out
    assert (tmp_path / "data" / "forbcast.sqlite3").is_file()


def test_a_taken_port_is_named_with_a_way_out():
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        taken = other.getsockname()[1]
        with pytest.raises(CommandError, match=f"Port {taken} is taken .* --port {taken + 1}"):
            call_command("demo", port=taken)
