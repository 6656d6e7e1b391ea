"""A number of the model stands in a reference table with its unit and source, not in the code."""

import ast
from pathlib import Path

import pytest

CORE = Path(__file__).parents[2] / "modelling" / "core"
#: what is asked, how tables are read, how bits are hashed, and what a unit is: no quantities of the model
NO_QUANTITIES = {"__init__", "errors", "parameters", "plan", "sampling", "units"}
#: counting, halving, squaring and taking the rest
PLAIN = {0, 1, 2}


def numbers_in(source: str) -> list[tuple[int, float]]:
    """Numbers in a source text that should stand in a table: (line, number).

    Free are 0, 1 and 2, numbers inside a sentence (100 for a percentage), and constants of a module with a name in
    capitals and a comment `#:` above that says what they are.
    """
    tree, lines = ast.parse(source), source.splitlines()
    free: set[int] = set()
    for node in tree.body:
        names = [node.target] if isinstance(node, ast.AnnAssign) else getattr(node, "targets", [])
        named = any(isinstance(name, ast.Name) and name.id.strip("_").isupper() for name in names)
        if named and node.lineno > 1 and lines[node.lineno - 2].startswith("#: "):
            free |= {id(part) for part in ast.walk(node)}
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            free |= {id(part) for part in ast.walk(node)}
    return [
        (node.lineno, node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant)
        and isinstance(node.value, int | float)
        and not isinstance(node.value, bool)
        and node.value not in PLAIN
        and id(node) not in free
    ]


def quantity_files() -> list[Path]:
    return sorted(path for path in CORE.rglob("*.py") if path.stem not in NO_QUANTITIES)


@pytest.mark.parametrize("path", quantity_files(), ids=lambda path: path.stem)
def test_no_number_of_the_model_is_written_in_the_code(path: Path) -> None:
    assert numbers_in(path.read_text(encoding="utf-8")) == []


def test_the_files_that_hold_quantities_are_looked_at() -> None:
    looked_at = {path.stem for path in quantity_files()}
    assert looked_at >= {
        "arrivals", "cost", "establishment", "labour", "machinery", "rattle", "seed", "species", "stand", "sward",
        "work",
    }  # fmt: skip


def test_the_rule_itself_sees_a_number() -> None:
    source = '''
"""A module of 3 lines."""
RATE = 0.5
#: hours of a working day, HSE L140
DAY_H = 8
#: not a constant
day = 8
half = x / 2 - 1
text = f"{100 * half:.0f} %"
steep = 15 if half else -1
def f(x=0.7): return True
'''
    assert numbers_in(source) == [(3, 0.5), (7, 8), (10, 15), (11, 0.7)]
