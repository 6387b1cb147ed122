"""What tracekit is made of: nothing in it runs what a file holds, and it ships its types."""

import ast
import re
import tomllib
from pathlib import Path

import tracekit

PACKAGE = Path(tracekit.__file__).parent
ROOT = Path(__file__).parents[2]
MODULES = {"pickle", "cPickle", "marshal", "shelve", "dill", "cloudpickle", "joblib", "yaml", "ruamel", "code", "runpy"}
CALLS = {"eval", "exec", "compile", "__import__"}


def trees():
    """Every module of the package."""
    return {p: ast.parse(p.read_text(encoding="utf-8")) for p in sorted(PACKAGE.rglob("*.py"))}


def test_no_data_is_run():
    """No module loads pickles or YAML, evaluates text, or reads arrays with pickles allowed."""
    found = []
    for path, tree in trees().items():
        for node in ast.walk(tree):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            found += [f"{path.name}: import {n}" for n in names if n.split(".")[0] in MODULES]
            if isinstance(node, ast.Call):
                plain = node.func.id if isinstance(node.func, ast.Name) else ""
                words = {k.arg for k in node.keywords if getattr(k.value, "value", None) is True}
                found += [f"{path.name}:{node.lineno} {plain}"] * (plain in CALLS)
                found += [f"{path.name}:{node.lineno} {w}" for w in words & {"allow_pickle", "shell"}]
    assert len(trees()) > 200
    assert found == []


def test_the_types_are_shipped():
    """The package says that it is typed, and packs that statement."""
    assert (PACKAGE / "py.typed").exists()
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert "py.typed" in project["tool"]["setuptools"]["package-data"]["tracekit"]


def test_every_dependency_has_a_lowest_version():
    """Each dependency states from which version on it is used; `.ci/lowest` tests those."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert [d for d in project["dependencies"] if not re.fullmatch(r"[A-Za-z0-9_-]+>=[0-9.]+", d)] == []
