"""The front door shows the names of its list, lazily, and nothing else."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import tracekit

NAMES = [
    "Bound", "Diagnosis", "Estimate", "Finding", "Recording", "Scenario", "Station", "TracekitError", "Withheld",
    "diagnose", "read", "simulate",
]  # fmt: skip


def test_the_list() -> None:
    """The public names are these."""
    assert tracekit.__all__ == NAMES
    assert dir(tracekit) == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_every_name_is_there(name: str) -> None:
    """Each public name can be fetched, is documented and may be called."""
    value = getattr(tracekit, name)
    assert callable(value)
    assert value.__doc__


def test_type_checkers_see_the_same_names() -> None:
    """The names imported for type checkers are those of the list."""
    tree = ast.parse(Path(tracekit.__file__).read_text(encoding="utf-8"))
    block = next(node for node in tree.body if isinstance(node, ast.If))
    seen = [alias.asname for node in block.body if isinstance(node, ast.ImportFrom) for alias in node.names]
    assert sorted(seen) == NAMES


def test_other_names_are_refused() -> None:
    """What is not in the list is not there."""
    with pytest.raises(AttributeError, match="module 'tracekit' has no attribute 'colour'"):
        tracekit.colour  # noqa: B018


def _modules_after(code: str) -> set[str]:
    done = subprocess.run(
        [sys.executable, "-c", f"import sys; {code}; print(*sys.modules)"], capture_output=True, text=True, check=True
    )
    return set(done.stdout.split())


def test_import_is_light() -> None:
    """`import tracekit` loads no library at all."""
    assert not _modules_after("import tracekit") & {"numpy", "pyarrow", "pandas", "typer", "tracekit.api"}


@pytest.mark.parametrize("first", ["import tracekit.read.station_file", "from tracekit import read", "import tracekit"])
def test_a_package_of_the_same_name_can_be_called(first: str) -> None:
    """`tracekit.read` is the function and the package, whichever is imported first."""
    code = f"{first}; import tracekit; assert callable(tracekit.read); assert tracekit.read.open_log"
    assert "tracekit.read" in _modules_after(code)
