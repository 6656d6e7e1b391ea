"""`manage.py estimate`: the API's answer in a terminal, the same on every processor."""

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from modelling import services

ROOT = Path(__file__).parents[3]
CHURCHYARD = ROOT / "fixtures" / "worked_examples" / "churchyard.json"


def run(*arguments):
    out = io.StringIO()
    call_command("estimate", *map(str, arguments), stdout=out)
    return out.getvalue()


def spawn(*arguments, disabled="", given=None):
    """Run the command in a process of its own, with some of the processor's instructions out of use."""
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONWARNINGS"}
    environment |= {"NPY_DISABLE_CPU_FEATURES": disabled, "DJANGO_SETTINGS_MODULE": "config.settings.test"}
    return subprocess.run(
        [sys.executable, "manage.py", "estimate", *map(str, arguments)],
        cwd=ROOT,
        env=environment,
        input=given,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )


def refused(capsys, tmp_path, body):
    path = tmp_path / "question.json"
    path.write_text(body if isinstance(body, str) else json.dumps(body), encoding="utf-8")
    errors = io.StringIO()
    with pytest.raises(SystemExit) as stop:
        call_command("estimate", str(path), stderr=errors)
    assert stop.value.code == 1
    return errors.getvalue().splitlines()


def test_as_json_it_prints_what_the_api_answers():
    answer = Client().post("/api/v1/estimates/", data=CHURCHYARD.read_bytes(), content_type="application/json")
    assert run(CHURCHYARD, "--json") == answer.content.decode() + "\n"


def test_as_text_it_starts_with_the_sentence_of_the_answer():
    sentence = json.loads(run(CHURCHYARD, "--json"))["sentence"]
    assert " ".join(run(CHURCHYARD).split()).startswith(sentence)


def test_a_dash_reads_standard_input():
    done = spawn("-", given=CHURCHYARD.read_text(encoding="utf-8"))
    assert (done.returncode, done.stderr, done.stdout) == (0, "", run(CHURCHYARD))


def features():
    """The instruction sets that this NumPy has code of its own for, beyond its baseline."""
    found = np.show_config(mode="dicts")["SIMD Extensions"]
    return [*found.get("found", ()), *found.get("not found", ())]


FOUND = "import json, numpy; print(json.dumps(numpy.show_config('dicts')['SIMD Extensions'].get('found', [])))"


def without(*names):
    """What is left of the features in a process with some out of use."""
    environment = {**os.environ, "NPY_DISABLE_CPU_FEATURES": " ".join(names)}
    done = subprocess.run([sys.executable, "-c", FOUND], env=environment, capture_output=True, text=True, check=True)
    return set(json.loads(done.stdout))


WIDE = [name for name in features() if "AVX512" in name or name == "X86_V4"]


@pytest.mark.parametrize("disabled", [WIDE, features()], ids=["without AVX-512", "baseline only"])
@pytest.mark.parametrize("form", [[], ["--json"]], ids=["text", "json"])
def test_the_answer_is_the_same_on_every_processor(disabled, form):
    # Where a processor lacks a feature, NumPy says so in a warning that nobody is shown, and goes on.
    assert without(*disabled).isdisjoint(disabled)
    done = spawn(CHURCHYARD, *form, disabled=" ".join(disabled))
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == run(CHURCHYARD, *form)


def test_faults_are_told_one_a_line_with_where_they_are(capsys, tmp_path):
    lines = refused(capsys, tmp_path, {"site": {"area_m2": 0, "shade": "dark"}})
    assert lines == [
        "/site/area_m2: Read 0; it must be at least 0.01.",
        "/site/shade: 'dark' is not one of sun, part_shade, shade.",
    ]


def test_a_fault_of_the_whole_is_told_at_the_top(capsys, tmp_path):
    assert refused(capsys, tmp_path, "[]") == ["/: An object with keys is needed. Read: a list."]


def test_what_costs_too_much_is_refused_as_by_the_api(capsys, tmp_path, settings):
    settings.LARGEST_CALL_CELLS = 100_000
    question = {"site": {"area_m2": 180}, "draws": 4000}
    (line,) = refused(capsys, tmp_path, question)
    cost = services.cost_in_cells(services.read_estimate(question))
    assert line.startswith(f"/draws: 4,000 draws make {cost:,} cells")


def test_refusals_leave_standard_output_empty_and_end_with_1():
    done = spawn("-", given='{"site": {}}')
    assert (done.returncode, done.stdout, done.stderr) == (1, "", "/site/area_m2: area_m2 is needed.\n")


def test_a_file_that_is_not_there_or_not_json_is_named(tmp_path):
    with pytest.raises(CommandError, match=r"nowhere\.json cannot be read: No such file"):
        run(tmp_path / "nowhere.json")
    path = tmp_path / "broken.json"
    path.write_text('{"site": ', encoding="utf-8")
    with pytest.raises(CommandError, match=r"broken\.json is not JSON: .* at line 1, column"):
        run(path)
