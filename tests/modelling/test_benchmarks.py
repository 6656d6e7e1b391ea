"""The timings are run by hand; this only sees that they still run."""

import os
import subprocess
import sys
from pathlib import Path


def run_small(module: str, tmp_path: Path) -> str:
    done = subprocess.run(
        [sys.executable, "-m", module, "--small"],
        cwd=Path(__file__).parents[2],
        env={**os.environ, "FORBCAST_DATA_DIR": str(tmp_path), "DJANGO_SETTINGS_MODULE": "config.settings.base"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_the_benchmarks_run_to_the_end(tmp_path: Path) -> None:
    printed = run_small("tests.benchmarks", tmp_path)
    for words in ("numbers drawn", "3 sites at", "POST /api/v1/estimates/: p50", "x the index"):
        assert words in printed


def test_the_benchmark_of_the_choice_of_bids_runs_to_the_end(tmp_path: Path) -> None:
    printed = run_small("tests.benchmarks.portfolio", tmp_path)
    for words in ("round 1, every limit", "worst fifth of the worlds", "the whole answer"):
        assert words in printed


def test_the_benchmark_of_sharing_seed_out_runs_to_the_end(tmp_path: Path) -> None:
    printed = run_small("tests.benchmarks.share_out", tmp_path)
    for words in ("county 1, ", "of one core), ", "first come, nearest first: "):
        assert words in printed
