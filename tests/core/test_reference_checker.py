"""The checker of the reference tables: one bad file for each kind of fault, laid over a copy of the good folder."""

import ast
import shutil
from pathlib import Path

import pytest

from modelling.core import parameters as module
from modelling.core.errors import Fault, ParameterError
from modelling.core.parameters import load, main, read_folder
from tests.core.conftest import REFERENCE, ROOT

BAD = ROOT / "fixtures" / "bad_parameters"
#: a fault that takes a whole table away has others in its train
WHOLE_TABLE = {"wrong_header", "not_utf8", "missing_file"}
#: file -> what the message must say: what was read, and what would be right
SENTENCES = {
    "bad_date.rates": ("'01/02/2026'", "expected YYYY-MM-DD"),
    "duplicate_key.cover_scales": ("domin, 4", "listed twice"),
    "duplicate_key.indicator_taxa": ("mg5:primula_veris", "listed twice"),
    "duplicate_key.permissions": ("churchyard:churchyard_body", "listed twice"),
    "duplicate_key.prices": ("seed_rattle, pack_price", "listed twice"),
    "duplicate_key.rates": ("vat, standard", "listed twice"),
    "duplicate_key.sources_work": ("memory_land_work", "listed twice"),
    "duplicate_key.taxa": ("rhinanthus_minor", "listed twice"),
    "duplicate_key.taxon_names": ("rattle:rhinanthus_minor", "listed twice"),
    "missing_source.rates": ("no source", "name a row of a sources table"),
    "missing_unit.condition_rules": ("csm_cg1:favourable, moss_cover", "has no unit"),
    "missing_unit.rates": ("tea, per_person", "has no unit"),
    "missing_value.cover_scales": ("domin, 11", "band needs more of low, mode, high"),
    "missing_value.rates": ("tea, per_person", "triangular needs more of low, mode, high"),
    "missing_value.soil_bands": ("olsen_p, index_10", "band needs more of low, mode, high"),
    "mix_sum.mix_contents": ("neutral_meadow add up to 1.2000", "must add up to 1"),
    "mix_sum.mixes": ("all_promise add up to 0.0000", "must add up to 1"),
    "not_a_number.prices": ("pack_size 'a handful'", "a number above 0 is expected"),
    "not_a_number.rates": ("'about two'", "plain decimal numbers are expected"),
    "not_a_number.rates.infinite": ("'inf'", "plain decimal numbers are expected"),
    "not_utf8.rates": ("is not UTF-8", "save the file as UTF-8"),
    "orphan_source.sources_work": ("unread_book_1999", "delete it or cite it"),
    "share_out_of_range.cover_scales": ("[1.0, 1.2, 1.4]", "between 0 and 1"),
    "share_out_of_range.rates": ("[80.0]", "between 0 and 1"),
    "unknown_confidence.rates": ("'pretty sure'", "allowed: published, restated"),
    "unknown_price.operations": ("prepare_cut_laser", "'hire_laser'"),
    "unknown_price.taxa": ("tagetes_minuta", "'seed_of_gold'"),
    "unknown_shape.rates": ("'uniform'", "allowed: fixed, triangular"),
    "unknown_source.british_ellenberg": ("an_atlas", "in no sources table"),
    "unknown_source.rates": ("a_friend_said", "in no sources table"),
    "unknown_subject.condition_rules": ("'all_weeds'", "no list of indicator_taxa.csv"),
    "unknown_subject.mix_contents": ("'rhinanthus_major'", "not a key of taxa.csv"),
    "unknown_subject.operations": ("'laser'", "not a key of machines.csv"),
    "unknown_subject.rule_classes": ("'no_such_rules'", "not a key of rule_sets.csv"),
    "unknown_subject.sward_rules": ("'cs_2021:splendid'", "not a key of rule_classes.csv"),
    "unknown_subject.taxon_names": ("greater rattle, english: 'rhinanthus_major'", "not a key of taxa.csv"),
    "unknown_subject.taxon_values": ("'rhinanthus_major'", "not a key of taxa.csv"),
    "unknown_unit.rates": ("'acre'", "not in the closed list"),
    "unknown_unit.survey_values": ("'quadrats'", "not in the closed list"),
    "unknown_word.cover_scales": ("low_end 'over'", "allowed: from, above"),
    "unknown_word.indicator_taxa": ("role 'doubtful'", "allowed: positive, negative"),
    "unknown_word.plant_kinds": ("kind 'seaweed'", "allowed: forb, grass"),
    "unknown_word.prices": ("vat 'luxury'", "allowed: standard, reduced"),
    "unknown_word.rule_sets": ("kind 'opinion'", "allowed: sward, condition"),
    "unknown_word.sward_rules": ("operator 'about'", "allowed: at_least, more_than"),
    "unknown_word.taxa": ("group 'herb'", "allowed: forb, legume"),
    "unknown_word.taxon_names": ("kind 'nickname'", "allowed: english, misspelling"),
    "wrong_header.in_kind_rates": ("subject, what, low", "expected subject, quantity, low"),
    "wrong_order.rates": ("low 3.0, mode 2.0, high 4.0", "do not rise"),
    "wrong_order.rates.logitnormal": ("logitnormal", "below 1"),
    "wrong_order.rates.lognormal": ("lognormal", "above 0"),
    "wrong_width.rates": ("3 cells", "the header has 13"),
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(REFERENCE, tmp_path / "reference"))


def overlay(folder: Path, example: Path) -> tuple[str, int]:
    """Add the rows of a bad file to its table, or put it in the table's place; the table's name and last line."""
    _, table, *_ = example.name.split(".")
    target = folder / f"{table}.csv"
    header, _, rows = example.read_bytes().partition(b"\n")
    good = target.read_bytes()
    target.write_bytes(good + rows if good.startswith(header + b"\n") else example.read_bytes())
    return table, target.read_bytes().count(b"\n")


def where(folder: Path, example: Path, table: str, last: int) -> tuple[str, int]:
    """File and line that the fault must name."""
    if example.name.startswith("wrong_header"):
        return f"{table}.csv", 1
    if example.name == "mix_sum.mix_contents.csv":
        lines = (folder / "mixes.csv").read_text(encoding="utf-8").splitlines()
        return "mixes.csv", 1 + [line.partition(",")[0] for line in lines].index("neutral_meadow")
    return f"{table}.csv", last


@pytest.mark.parametrize("example", sorted(BAD.glob("*.csv")), ids=lambda path: path.stem)
def test_each_fault_is_told_once_with_file_line_and_remedy(folder: Path, example: Path) -> None:
    kind = example.name.partition(".")[0]
    table, last = overlay(folder, example)
    _, faults = read_folder(folder)
    told = [fault for fault in faults if fault.kind == kind]
    assert len(told) == 1, faults
    if kind not in WHOLE_TABLE:
        assert list(faults) == told
    fault = told[0]
    assert (fault.file, fault.line) == where(folder, example, table, last)
    for words in SENTENCES[example.stem]:
        assert words in fault.message


def test_a_table_that_is_not_there_is_named(folder: Path) -> None:
    (folder / "regimes.csv").unlink()
    _, faults = read_folder(folder)
    told = [fault for fault in faults if fault.kind == "missing_file"]
    assert [str(fault) for fault in told] == ["regimes.csv: missing_file: the table regimes.csv is not in the folder"]


def test_every_kind_of_fault_the_checker_knows_has_an_example() -> None:
    tree = ast.parse(Path(module.__file__).read_text(encoding="utf-8"))
    calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)]
    known = {ast.literal_eval(call.args[2]) for call in calls if call.func.attr == "fault"}
    examples = {path.name.partition(".")[0] for path in BAD.glob("*.csv")} | {"missing_file"}
    assert "orphan_source" in known
    assert known == examples


def test_several_faults_are_told_together_in_one_go(folder: Path) -> None:
    for name in ("missing_unit.rates", "not_a_number.prices", "unknown_word.taxa"):
        overlay(folder, BAD / f"{name}.csv")
    with pytest.raises(ParameterError) as refused:
        load(folder)
    assert sorted(fault.kind for fault in refused.value.faults) == ["missing_unit", "not_a_number", "unknown_word"]


def test_the_shipped_tables_have_no_fault(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([str(REFERENCE)]) == 0
    assert " 0 faults, checksum " in capsys.readouterr().out


def test_the_command_prints_each_fault_and_fails(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _, last = overlay(folder, BAD / "missing_unit.rates.csv")
    assert main([str(folder)]) == 1
    assert f"rates.csv, line {last}: missing_unit: tea, per_person has no unit\n" in capsys.readouterr().out


def test_the_checksum_follows_the_numbers_and_not_the_line_ends(folder: Path) -> None:
    before = load(REFERENCE).checksum
    table = folder / "rates.csv"
    table.write_bytes(table.read_bytes().replace(b"\n", b"\r\n"))
    assert load(folder).checksum == before
    table.write_bytes(table.read_bytes().replace(b"green_book,discount_rate,,0.035", b"green_book,discount_rate,,0.03"))
    assert load(folder).checksum != before


def test_a_fault_reads_as_a_sentence_with_its_place() -> None:
    assert str(Fault("rates.csv", 7, "missing_unit", "tea has no unit")) == (
        "rates.csv, line 7: missing_unit: tea has no unit"
    )


def test_a_set_of_tables_cannot_be_changed() -> None:
    shipped = load(REFERENCE)
    with pytest.raises(TypeError, match="does not support item assignment"):
        shipped.numbers["rates", "vat", "standard"] = None  # type: ignore[index]
