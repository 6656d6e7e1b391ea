"""The timings are run by hand; this only sees that they still run, and in a database of their own."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.benchmarks import rows


def run(module):
    done = subprocess.run(
        [sys.executable, "-m", module, "--small"],
        cwd=Path(__file__).parents[2],
        env=os.environ,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_the_lists_run_to_the_end():
    told = run("tests.benchmarks.lists")
    for words in (
        "5 open sites with a project each",
        "visitor, GET /api/v1/sites/?limit=100: ",
        "coordinator, GET /api/v1/projects/?limit=100: ",
        "visitor, GET /county/saltmere/sites/: ",
        "coordinator, GET /county/saltmere/: ",
        "as many queries for 1 sites as for 5",
    ):
        assert words in told


def test_the_batch_runs_to_the_end():
    told = run("tests.benchmarks.batch")
    for words in ("in this process, one job: ", " x 1, two jobs of 1: ", " x 2, two jobs of 1: ", "two workers do "):
        assert words in told
    # two in one job in the process, and twice two jobs of one
    assert "6 projects have one forecast each; 5 jobs have ended once each" in told


def test_the_imports_run_to_the_end():
    told = run("tests.benchmarks.imports")
    for words in ("24 rows of 4 meadows in 2 files", "rows a second", "  read, understood and checked: "):
        assert words in told


@pytest.mark.postgres
def test_a_country_is_filled_and_every_list_of_it_answers():
    told = run("tests.benchmarks.scale")
    for words in (
        "taxon records by COPY: 800 rows in ",
        "visitor, GET /county/county-002/: p50 ",
        "lead, GET /api/v1/returns/?limit=100: p50 ",
        " answered ",
    ):
        assert (words in told) is (words != " answered "), told


@pytest.mark.django_db
def test_a_database_that_somebody_uses_is_refused():
    with pytest.raises(SystemExit, match="This database is in use"):
        rows.new_database()
