"""The published trials run through the model, and the model card that shows them."""

import re
from dataclasses import replace
from io import StringIO
from pathlib import Path

import numpy as np
import pytest
from django.core.management import call_command

from modelling.core.parameters import load
from modelling.trials import (
    PUBLISHED,
    REFERENCE,
    Comparison,
    behaviour,
    blurred,
    compare,
    read_published,
    statistics,
    tally,
)

CARD = REFERENCE.parent / "MODEL_CARD.md"
INTERVAL = r"(?P<low>\S+)–\*\*(?P<middle>\S+)\*\*–(?P<high>\S+)"
ROW = re.compile(rf"^\| (?P<key>[a-z0-9 ]+) \| .* \| {INTERVAL} \| (?P<in>yes|NO) \|$")


@pytest.fixture(scope="module")
def comparisons() -> tuple[Comparison, ...]:
    return compare(load(REFERENCE))


def card_table() -> dict[str, re.Match[str]]:
    text = CARD.read_text(encoding="utf-8")
    between = text.split("<!-- check_model begins -->")[1].split("<!-- check_model ends -->")[0]
    found = (ROW.match(line) for line in between.splitlines())
    return {match["key"].replace(" ", "_"): match for match in found if match}


def test_the_model_card_shows_what_the_model_gives(comparisons: tuple[Comparison, ...]) -> None:
    card = card_table()
    assert set(card) == {c.published.key for c in comparisons}
    for c in comparisons:
        shown = card[c.published.key]
        assert (shown["in"] == "yes") == c.inside, c.published.key
        for name in ("low", "middle", "high"):
            # two figures are printed
            assert float(shown[name]) == pytest.approx(getattr(c, name), rel=0.06, abs=0.006), c.published.key


def test_the_model_card_shows_how_the_model_behaves() -> None:
    given = behaviour(load(REFERENCE)).splitlines()
    shown = CARD.read_text(encoding="utf-8").splitlines()
    start = shown.index(given[0])
    for line, card_line in zip(given[2:], shown[start + 2 : start + len(given)], strict=True):
        _, label, *cells, _ = re.split(r" ?\| ?|–", line.replace("*", ""))
        _, card_label, *card_cells, _ = re.split(r" ?\| ?|–", card_line.replace("*", ""))
        assert label == card_label
        # whole species, then chances of two places
        assert [float(x) for x in card_cells[:4]] == pytest.approx([float(x) for x in cells[:4]], abs=1)
        assert [float(x) for x in card_cells[4:]] == pytest.approx([float(x) for x in cells[4:]], abs=0.011)


def test_the_card_states_the_count_and_the_groups(comparisons: tuple[Comparison, ...]) -> None:
    found = tally(comparisons)
    text = CARD.read_text(encoding="utf-8")
    assert f"{found.inside} of {found.rows} calibration values lie inside" in text
    for group, (inside, total) in found.groups.items():
        assert f"| {group.replace('_', ' ')} | {inside} | {total} |" in text


def test_four_in_five_of_the_published_values_lie_inside(comparisons: tuple[Comparison, ...]) -> None:
    # An 80 % interval should hold 80 %; fewer and the model is too sure of itself. All of them and it says nothing.
    found = tally(comparisons)
    assert found.rows == 48
    assert 0.8 <= found.inside / found.rows < 1
    assert 0.75 <= found.group_mean < 1


def test_the_model_is_not_kinder_than_the_trials(comparisons: tuple[Comparison, ...]) -> None:
    # Trials over-represent success (Kiehl and others 2010 review only published sites), community sites do worse.
    assert tally(comparisons).above_middle >= 24


def test_intervals_say_something(comparisons: tuple[Comparison, ...]) -> None:
    by_key = {c.published.key: c for c in comparisons}
    for key, widest in (
        ("warren_2002_sown", 5.0),
        ("pywell_2007_total_without_rattle", 2.5),
        ("kiehl_2010_share", 1.5),
    ):
        assert by_key[key].high / by_key[key].low < widest


def test_every_published_figure_has_its_statistic_source_and_group() -> None:
    published = read_published()
    assert {p.key for p in published} == set(statistics(load(REFERENCE), 30))
    for p in published:
        assert p.author
        assert p.journal
        assert p.group
        assert p.translation
        assert p.kind in ("calibration", "check")
        assert p.scale in ("sqrt", "log", "logit", "none")


def test_a_figure_that_is_no_number_is_refused_by_line(tmp_path: Path) -> None:
    lines = PUBLISHED.read_text(encoding="utf-8").splitlines()
    key = lines[1].split(",")[0]
    broken = tmp_path / "published.csv"
    broken.write_text("\n".join([lines[0], re.sub(r",5,4\.2,5\.8,", ",five,4.2,5.8,", lines[1])]), encoding="utf-8")
    with pytest.raises(ValueError, match=f"line 2 \\({key}\\).*'five'"):
        read_published(broken)


def test_doubt_about_a_translation_widens_on_its_own_scale() -> None:
    row = read_published()[0]
    values = np.full(4000, 0.25)
    for scale, width in (("sqrt", 0.2), ("log", 0.2), ("logit", 0.2)):
        out = blurred(values, replace(row, scale=scale, tolerance=width))
        assert np.median(out) == pytest.approx(0.25, rel=0.03)
        assert out.std() > 0.02
        assert out.min() >= 0
    assert np.array_equal(blurred(values, replace(row, scale="none")), values)
    with_gap = np.array([1.0, np.nan])
    assert blurred(with_gap, replace(row, scale="none")).size == 1


def test_the_command_prints_every_trial_for_the_terminal_and_for_the_card() -> None:
    plain, markdown = StringIO(), StringIO()
    call_command("check_model", draws=30, stdout=plain)
    call_command("check_model", draws=30, markdown=True, stdout=markdown)
    for p in read_published():
        assert p.key in plain.getvalue()
        assert f"| {p.key.replace('_', ' ')} | {p.statistic} |" in markdown.getvalue()
    assert "rattle held in year 10" in markdown.getvalue()
