"""The import order of the package is a fact that is tested, wherever an import is written."""

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

import tracekit

PACKAGE = Path(tracekit.__file__).parent

# Lowest first; an import may only point from a later entry to an earlier one, or stay within its own.
LAYERS = (
    ("frozen",),
    ("errors",),
    ("units",),
    ("model",),
    ("options",),
    ("physics", "signal"),
    ("read",),
    ("segment",),
    ("measure",),
    ("judge",),
    ("tune", "history", "compare"),
    ("report",),
    ("pipeline",),
    ("fleet",),
    ("api",),
    ("cli",),
    ("__main__",),
)
# The simulator shares no code with what it tests.
BESIDE = {"simulate": {"frozen", "errors", "units", "model"}}
ABOVE_SIMULATE = {"api", "cli", "fleet", "pipeline"}
# Stages hand records to one another in the pipeline and do not know each other.
STAGES = {"read", "segment", "measure", "judge", "tune", "history", "compare", "report", "physics", "signal"}
TOOLS = {"physics", "signal"}
# The one exception, in the order of the layers: cycles are measured block by block while they are cut out.
PARTNERS = {("measure", "segment")}
FRONT_DOOR = "tracekit"


def _modules() -> dict[str, Path]:
    found = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


@cache
def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def _import_nodes(path: Path) -> tuple[ast.Import | ast.ImportFrom, ...]:
    return tuple(node for node in ast.walk(_tree(path)) if isinstance(node, ast.Import | ast.ImportFrom))


def _imports(path: Path, module: str) -> Iterator[tuple[int, str]]:
    """Line and dotted name of every import of the package's own, in functions and under TYPE_CHECKING too."""
    is_package = path.name == "__init__.py"
    for node in _import_nodes(path):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        else:
            base = node.module or ""
            if node.level:
                up = module.split(".") if is_package else module.split(".")[:-1]
                base = ".".join([*up[: len(up) - node.level + 1], *filter(None, [base])])
            names = [f"{base}.{alias.name}" for alias in node.names]
        yield from ((node.lineno, name) for name in names if name.split(".")[0] == FRONT_DOOR)


def _layer(module: str) -> str:
    return module.split(".")[1] if "." in module else FRONT_DOOR


def _faults(rank: dict[str, int]) -> Iterator[str]:
    for module, path in _modules().items():
        source = _layer(module)
        if source == FRONT_DOOR:
            continue
        for line, name in _imports(path, module):
            target = _layer(name)
            if target == source:
                continue
            known = target in rank or target in BESIDE
            if not known:
                yield f"{path}:{line}: {module} imports the front door ({name})"
            elif source in BESIDE:
                if target not in BESIDE[source]:
                    yield f"{path}:{line}: {module} stands beside and may not import {target}"
            elif target in BESIDE:
                if source not in ABOVE_SIMULATE:
                    yield f"{path}:{line}: {module} may not import {target}"
            elif rank[target] >= rank[source]:
                yield f"{path}:{line}: {module} points up to {target}"


def test_imports_point_down() -> None:
    """No module imports one of a later layer or of a neighbour in its own, and none the front door."""
    rank = {name: at for at, names in enumerate(LAYERS) for name in names}
    assert list(_faults(rank)) == []


def test_every_module_has_a_layer() -> None:
    """A module in no layer fails, so that the order cannot fall behind the package."""
    known = {name for names in LAYERS for name in names} | set(BESIDE) | {FRONT_DOOR}
    assert {_layer(module) for module in _modules()} - known == set()


def test_stages_do_not_know_each_other() -> None:
    """Stages take and return records; they meet in the pipeline alone."""
    faults = [
        f"{path}:{line}: {module} imports {name}"
        for module, path in _modules().items()
        for line, name in _imports(path, module)
        if _layer(module) in STAGES - TOOLS and _layer(name) in STAGES - TOOLS - {_layer(module)}
        if (_layer(module), _layer(name)) not in PARTNERS
    ]
    assert faults == []


def test_the_walk_sees_every_import(tmp_path: Path) -> None:
    """Imports in functions, under TYPE_CHECKING and relative ones are seen."""
    path = tmp_path / "x.py"
    path.write_text(
        "from tracekit.model import trace\n"
        "def f():\n    import tracekit.cli\n"
        "if TYPE_CHECKING:\n    from ..judge import rank\n"
        "import numpy\n"
    )
    seen = sorted(_imports(path, "tracekit.read.x"))
    assert seen == [(1, "tracekit.model.trace"), (3, "tracekit.cli"), (5, "tracekit.judge.rank")]


@pytest.mark.parametrize("heavy", ["pandas", "scipy", "plotly", "jinja2", "dask", "distributed"])
def test_heavy_imports_are_late(heavy: str) -> None:
    """No module loads a heavy library when it is imported."""
    found = []
    for path in _modules().values():
        for node in _tree(path).body:
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            found += [f"{path}:{node.lineno}" for name in names if name.split(".")[0] == heavy]
    assert found == []
