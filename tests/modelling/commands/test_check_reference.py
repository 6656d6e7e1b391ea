"""`manage.py check_reference`: the project's own tables are sound, and a fault elsewhere is found and told."""

import io
import shutil

import pytest
from django.core.management import CommandError, call_command

from modelling.selectors import REFERENCE, parameters


def test_the_tables_of_the_project_have_no_fault():
    out = io.StringIO()
    call_command("check_reference", stdout=out)
    assert out.getvalue().endswith(f" sources, 0 faults; checksum {parameters().checksum}\n")


def test_a_number_without_unit_in_another_folder_is_told_and_fails(tmp_path):
    folder = tmp_path / "reference"
    shutil.copytree(REFERENCE, folder)
    prices = (folder / "prices.csv").read_text(encoding="utf-8")
    assert ",GBP/kg," in prices
    (folder / "prices.csv").write_text(prices.replace(",GBP/kg,", ",,", 1), encoding="utf-8")
    out, errors = io.StringIO(), io.StringIO()
    with pytest.raises(SystemExit) as stop:
        call_command("check_reference", str(folder), stdout=out, stderr=errors)
    assert stop.value.code == 1
    assert "prices.csv, line " in errors.getvalue()
    assert " 1 faults; " in out.getvalue()


def test_a_folder_that_is_not_there_is_named(tmp_path):
    with pytest.raises(CommandError, match="nowhere is no folder"):
        call_command("check_reference", str(tmp_path / "nowhere"))
