"""The commands that README tells people to type are one line each, and the gate runs the same."""

from pathlib import Path

ROOT = Path(__file__).parents[2]
INSTALL = "python3 -m venv .venv && .venv/bin/pip install --require-hashes -r"
DEMO = f"{INSTALL} requirements.txt && .venv/bin/python manage.py demo"
TESTS = f"{INSTALL} tests/requirements.txt && .venv/bin/python -m pytest -n auto"


def test_readme_has_the_two_lines_and_no_third_way():
    lines = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    assert [line.strip() for line in lines if INSTALL in line] == [DEMO, TESTS]


def test_the_gate_runs_the_tests_as_readme_does():
    gate = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert "install --quiet --disable-pip-version-check --require-hashes -r tests/requirements.txt" in gate
    assert '"$venv/bin/python" -m pytest -n auto -p no:cacheprovider\n' in gate


def test_the_locks_name_no_place_to_fetch_from():
    for name in ("requirements.txt", "tests/requirements.txt"):
        lines = (ROOT / name).read_text(encoding="utf-8").splitlines()
        assert lines
        for line in lines:
            assert "://" not in line
            assert line.startswith("    --hash=sha256:") or (line[0].isalnum() and "==" in line)


def test_every_locked_release_has_a_hash():
    for name in ("requirements.txt", "tests/requirements.txt"):
        text = (ROOT / name).read_text(encoding="utf-8").replace(" \\\n", " ")
        for line in text.splitlines():
            assert "--hash=sha256:" in line, line.split()[0]
