"""Exact places are opened by two modules, and one of them by services only."""

import ast
from pathlib import Path

ROOT = Path(__file__).parents[2]
HOLDERS = {"projects/selectors/places.py", "projects/services/places.py"}
#: the table itself, and what gathers the tables
MODELS = {"projects/models/places.py", "projects/models/__init__.py"}


def sources():
    """Every module of the program, by its path; not what makes the tables."""
    for folder in ("config", "modelling", "projects"):
        for path in (ROOT / folder).rglob("*.py"):
            name = path.relative_to(ROOT).as_posix()
            if "/migrations/" not in name:
                yield name, path.read_text(encoding="utf-8")


def mentions(source, word):
    """Whether a module imports, names, or spells out a word, or a relation to it."""
    for node in ast.walk(ast.parse(source)):
        match node:
            case ast.ImportFrom() | ast.Import():
                if any(word in alias.name.split(".") for alias in node.names):
                    return True
            case ast.Name(id=name) | ast.Attribute(attr=name):
                if name == word:
                    return True
            case ast.Constant(value=str() as text):
                if word.lower() in text.lower().replace("_", "").split("."):
                    return True
    return False


def imported(source):
    """Dotted names of what a module imports."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            found |= {node.module or ""} | {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def test_the_table_of_exact_places_is_opened_by_two_modules():
    holding = {name for name, source in sources() if mentions(source, "SitePlace")}
    assert holding - MODELS == HOLDERS


def test_nobody_takes_all_models_at_once():
    taking = {
        name for name, source in sources() if {"projects.models.*", "projects.models.places.*"} & imported(source)
    }
    assert taking == set()


def test_what_stores_a_place_is_opened_by_services_only():
    opening = {name for name, source in sources() if "projects.services.places" in imported(source)}
    assert opening
    assert {name for name in opening if not name.startswith("projects/services/")} == set()


def test_an_exact_place_has_no_way_back_from_its_site():
    """A relation named + cannot be followed, prefetched or filtered by from the site."""
    source = (ROOT / "projects/models/places.py").read_text(encoding="utf-8")
    assert 'models.OneToOneField(Site, on_delete=models.CASCADE, related_name="+")' in source


def test_the_rule_sees_a_table_taken_by_any_way():
    for source in (
        "from projects.models import SitePlace",
        "from projects.models.places import SitePlace as Where",
        "from projects import models\nmodels.SitePlace.objects.all()",
        'apps.get_model("projects", "SitePlace")',
        'apps.get_model("projects.siteplace")',
    ):
        assert mentions(source, "SitePlace"), source
    assert not mentions('"""No other module reads SitePlace."""\nfrom projects.models import Site', "SitePlace")
    assert imported("from projects.services import places") >= {"projects.services.places"}
    assert imported("from projects.services.places import put") >= {"projects.services.places"}
    assert "projects.models.*" in imported("from projects.models import *")
