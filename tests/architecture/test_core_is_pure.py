"""The core runs in a notebook: it loads nothing of the web, and draws only what every build draws alike."""

import ast
import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
CORE = ROOT / "modelling" / "core"
FOREIGN = {
    "celery",
    "config",
    "django",
    "orjson",
    "projects",
    "psycopg",
    "pydantic",
    "redis",
    "rest_framework",
}
# Laws whose draws differ by build or use up a varying number of random bits, so that one changed parameter
# would shift every later draw; and products that the linear algebra library rounds its own way.
UNSTABLE_LAWS = {
    "beta",
    "binomial",
    "chisquare",
    "choice",
    "dirichlet",
    "gamma",
    "geometric",
    "hypergeometric",
    "integers",
    "lognormal",
    "multinomial",
    "multivariate_normal",
    "negative_binomial",
    "permutation",
    "poisson",
    "rvs",
    "shuffle",
    "standard_gamma",
    "standard_t",
    "triangular",
    "vonmises",
}
BLAS_PRODUCTS = {"dot", "einsum", "inner", "matmul", "tensordot", "vdot"}


def modules():
    return sorted(
        ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__") for path in CORE.rglob("*.py")
    )


def broken_rules(source):
    """Return the calls in a source text that the core may not make."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.BinOp | ast.AugAssign) and isinstance(node.op, ast.MatMult):
            found.append((node.lineno, "@"))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            owner = node.func.value
            # scipy.special has functions, not laws, of the same names.
            if isinstance(owner, ast.Name) and owner.id == "special":
                continue
            if node.func.attr in UNSTABLE_LAWS | BLAS_PRODUCTS:
                found.append((node.lineno, node.func.attr))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "hash":
            found.append((node.lineno, "hash"))
    return found


def test_the_package_above_the_core_is_empty():
    assert (ROOT / "modelling" / "__init__.py").read_text(encoding="utf-8") == ""


def test_importing_the_core_loads_nothing_of_the_web():
    code = f"""
import importlib, json, sys
for name in {modules()!r}:
    importlib.import_module(name)
print(json.dumps(sorted({{name.partition(".")[0] for name in sys.modules}})))
"""
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert FOREIGN & set(json.loads(done.stdout)) == set()


@pytest.mark.parametrize("path", sorted(CORE.rglob("*.py")), ids=lambda path: str(path.relative_to(CORE)))
def test_the_core_draws_only_what_every_build_draws_alike(path):
    assert broken_rules(path.read_text(encoding="utf-8")) == []


def test_the_rule_itself_sees_what_it_forbids():
    source = "x = rng.binomial(3, p)\ny = a @ b\nz = np.dot(a, b)\nk = hash('x')\nfine = special.gamma(2.0)\n"
    assert broken_rules(source) == [(1, "binomial"), (2, "@"), (3, "dot"), (4, "hash")]
