"""The examples that people read are what the model answers, and `manage.py refresh_examples` makes them so."""

import io

import pytest
from django.core.management import CommandError, call_command

from projects.management.commands import refresh_examples
from projects.management.commands.refresh_examples import END, README, START


def test_readme_and_the_example_answers_are_what_the_model_gives():
    out = io.StringIO()
    call_command("refresh_examples", check=True, stdout=out)
    assert out.getvalue() == "The examples are as the model has them.\n"


def test_an_estimate_that_went_stale_is_put_right():
    text = README.read_text(encoding="utf-8")
    stale = text.replace("by its fifth summer", "by its sixth summer")
    assert stale != text
    assert refresh_examples.readme(stale) == text


def test_a_readme_without_the_block_is_refused():
    with pytest.raises(CommandError, match="README has no block that starts with"):
        refresh_examples.readme("# Forbcast\n")


def test_a_stale_file_is_named(monkeypatch, tmp_path):
    folder = tmp_path / "worked_examples"
    folder.mkdir()
    for path in refresh_examples.FOLDER.glob("*.json"):
        (folder / path.name).write_bytes(path.read_bytes())
    (folder / "churchyard.answer.json").write_text("{}", encoding="utf-8")
    monkeypatch.setattr(refresh_examples.settings, "BASE_DIR", tmp_path)
    monkeypatch.setattr(refresh_examples, "FOLDER", folder)
    monkeypatch.setattr(refresh_examples, "README", tmp_path / "README.md")
    (tmp_path / "README.md").write_text(README.read_text(encoding="utf-8"), encoding="utf-8")
    with pytest.raises(CommandError, match=r"Not as the model has it: worked_examples/churchyard\.answer\.json\."):
        call_command("refresh_examples", check=True)


def test_the_block_holds_an_estimate():
    _, start, rest = README.read_text(encoding="utf-8").partition(START)
    block, end, _ = rest.partition(END)
    assert (start, end) == (START, END)
    assert block.startswith("Your 180 m² will need ")
