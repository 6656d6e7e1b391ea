"""Every management command is called by some test."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
COMMANDS = sorted(
    path.stem
    for app in ("modelling", "projects")
    for path in (ROOT / app / "management" / "commands").glob("*.py")
    if not path.stem.startswith("_")
)


def called(source):
    """Return the names of the commands that a test file calls, in process or by way of manage.py."""
    names = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "call_command":
            names |= {arg.value for arg in node.args[:1] if isinstance(arg, ast.Constant)}
        if isinstance(node, ast.List):
            words = [item.value if isinstance(item, ast.Constant) else None for item in node.elts]
            if "manage.py" in words[:-1]:
                names.add(words[words.index("manage.py") + 1])
    return names


@pytest.mark.parametrize("command", COMMANDS)
def test_the_command_is_called_by_a_test(command):
    files = (ROOT / "tests").rglob("test_*.py")
    assert any(command in called(path.read_text(encoding="utf-8")) for path in files), (
        f"No test calls manage.py {command}."
    )


def test_the_rule_sees_calls_and_only_calls():
    assert called('call_command("demo")\nrun([python, "manage.py", "other", "-v"])\nname = "third"') == {
        "demo",
        "other",
    }
