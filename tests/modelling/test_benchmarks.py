"""The timings are run by hand; this only sees that they still run."""

import os
import subprocess
import sys
from pathlib import Path


def test_the_benchmarks_run_to_the_end(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks", "--small"],
        cwd=Path(__file__).parents[2],
        env={**os.environ, "FORBCAST_DATA_DIR": str(tmp_path), "DJANGO_SETTINGS_MODULE": "config.settings.base"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    for words in ("numbers drawn", "3 sites at", "POST /api/v1/estimates/: p50", "x the index"):
        assert words in done.stdout
