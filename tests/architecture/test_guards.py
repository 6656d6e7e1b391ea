"""The guards of the test run itself, each broken once on purpose."""

import os
import shutil
import socket
import subprocess
import sys
from pathlib import Path

import pytest

CONFTEST = Path(__file__).parents[1] / "conftest.py"


@pytest.mark.parametrize("method", ["connect", "connect_ex"])
@pytest.mark.parametrize(
    ("family", "address"),
    [
        (socket.AF_INET, ("192.0.2.1", 80)),
        (socket.AF_INET, ("meadows.example", 80)),
        (socket.AF_INET6, ("2001:db8::1", 80, 0, 0)),
    ],
)
def test_another_machine_cannot_be_reached(family, address, method):
    with socket.socket(family) as probe, pytest.raises(RuntimeError, match="this machine only"):
        getattr(probe, method)(address)


def test_this_machine_can_be_reached():
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen()
        with socket.create_connection(listener.getsockname()[:2], timeout=5) as probe:
            assert probe.getpeername() == listener.getsockname()


INSIDE = """
import pytest

def test_it():
    pytest.importorskip("no_such_module")
"""
OUTSIDE = """
import pytest

pytest.importorskip("no_such_module")
"""


@pytest.mark.parametrize(
    ("source", "no_skips", "code", "words"),
    [
        (INSIDE, "", 0, "1 skipped"),
        (INSIDE, "1", 1, "1 failed"),
        # 5: no test was found; 2: the run was broken off.
        (OUTSIDE, "", 5, "1 skipped"),
        (OUTSIDE, "1", 2, "1 error"),
    ],
)
def test_a_test_that_did_not_run_fails_where_no_skips_are_allowed(tmp_path, source, no_skips, code, words):
    shutil.copy(CONFTEST, tmp_path)
    (tmp_path / "test_it.py").write_text(source, encoding="utf-8")
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "pytest",
            "-c",
            os.devnull,
            "--rootdir",
            ".",
            "-p",
            "no:cacheprovider",
            "-p",
            "no:django",
        ],
        cwd=tmp_path,
        env={**os.environ, "FORBCAST_NO_SKIPS": no_skips},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, words in done.stdout) == (code, True), done.stdout
