"""`manage.py demo` shows one estimate, serves, and stops when told to; README's own call is answered."""

import contextlib
import json
import os
import shlex
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

from modelling.contracts import EstimateAnswer
from projects.management.commands import demo

ROOT = Path(__file__).parents[3]


@pytest.fixture
def port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def environment(folder):
    """Return what a newcomer's shell holds, with the data kept in a folder of the test."""
    found = {
        key: value
        for key, value in os.environ.items()
        if not key.startswith("FORBCAST_") and key not in {"DATABASE_URL", "REDIS_URL", "DJANGO_SETTINGS_MODULE"}
    }
    return found | {"FORBCAST_DATA_DIR": str(folder)}


def readme_estimate():
    """Return the estimate that README shows."""
    _, _, rest = (ROOT / "README.md").read_text(encoding="utf-8").partition("```text\n")
    return rest.partition("```\n")[0]


def readme_call(base):
    """Return README's curl line as a request to the address served."""
    (line,) = [
        line
        for line in (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
        if line.startswith("    curl -H 'Content-Type")
    ]
    curl, header, kind, data, body, address = shlex.split(line)
    assert (curl, header, data) == ("curl", "-H", "-d")
    name, value = kind.split(": ")
    path = address.removeprefix("http://127.0.0.1:8000")
    return urllib.request.Request(base + path, data=body.encode(), headers={name: value})  # noqa: S310 - our own address


def fetch(request, process):
    """Return status and body, as soon as the server answers at all."""
    for _ in range(300):
        assert process.poll() is None, process.stderr.read()
        try:
            with urllib.request.urlopen(request, timeout=10) as response:  # noqa: S310 - our own address
                return response.status, response.read()
        except urllib.error.URLError:
            time.sleep(0.1)
    raise AssertionError(f"{request} did not answer in 30 s")


def test_it_serves_from_an_empty_folder_and_stops(port, tmp_path):
    with subprocess.Popen(
        [sys.executable, "manage.py", "demo", "--no-county", "--port", str(port)],
        cwd=ROOT,
        env=environment(tmp_path / "data"),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        # a shell starts what runs behind it deaf to Ctrl-C, and its children inherit that
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    ) as process:
        try:
            base = f"http://127.0.0.1:{port}"
            for path in ("/health/", "/api/v1/", "/api/v1/docs/"):
                assert fetch(base + path, process)[0] == 200
            status, answer = fetch(readme_call(base), process)
            process.send_signal(signal.SIGINT)
            out, _ = process.communicate(timeout=60)
        finally:
            process.kill()
    assert process.returncode == 0
    assert out.index("Preparing the database.") < out.index(readme_estimate()) < out.index(f"{base}/ and its API")
    assert (tmp_path / "data" / "forbcast.sqlite3").is_file()
    assert status == 200
    assert EstimateAnswer.model_validate_json(answer).plan.net_area_m2 == 180


def test_without_serving_it_stops_after_the_estimate_and_can_be_repeated(tmp_path):
    outputs = [
        subprocess.run(
            [sys.executable, "manage.py", "demo", "--no-serve", "--no-county"],
            cwd=ROOT,
            env=environment(tmp_path),
            capture_output=True,
            text=True,
            encoding="utf-8",
            check=True,
        ).stdout
        for _ in range(2)
    ]
    assert outputs[0] == outputs[1]
    assert readme_estimate() in outputs[0]
    assert "http://" not in outputs[0]


def test_the_story_told_is_the_question_asked():
    question = json.loads((ROOT / demo.QUESTION).read_text(encoding="utf-8"))
    crew, budget = question["plan"]["crew"], question["plan"]["budget_gbp"]
    assert f"{question['site']['area_m2']} m² of rank grass" in demo.STORY
    assert (crew, budget) == ({"volunteers": 8, "hours_per_session": 3}, 150)
    assert "as_of" in question


def test_a_taken_port_is_named_with_a_way_out():
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(CommandError, match=f"Port {port} is taken .* a free one is looked for"):
            call_command("demo", port=port)


@pytest.mark.parametrize("port", [0, -1, 70_000])
def test_a_port_that_is_none_is_refused(port):
    with pytest.raises(CommandError, match=f"Port {port} is none"):
        call_command("demo", port=port)


def test_where_the_usual_port_is_taken_the_next_free_one_is_served():
    with socket.socket() as other:
        # If somebody else has it already, it is taken all the same.
        with contextlib.suppress(OSError):
            other.bind((demo.HOST, demo.PORT))
            other.listen()
        assert demo.PORT < demo.free_port() < demo.PORT + demo.TRIED
