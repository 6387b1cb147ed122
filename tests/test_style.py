"""The package keeps the style limits, and the ruler measures what it says."""

import ast
from pathlib import Path

import style_ruler

import tracekit

ROOT = Path(__file__).parents[1]


def test_the_package_keeps_its_limits() -> None:
    """No figure of the package is beyond its limit."""
    assert style_ruler.faults(style_ruler.measure(Path(tracekit.__file__).parent)) == []


KNOWN = '''
from dataclasses import dataclass

from other import *

COUNT = 0


def public(a, b: int, **rest) -> int:
    """One docstring
    of two lines."""
    # a comment

    global COUNT
    import sample.other
    try:
        return 1
    except (ValueError, Exception):
        return 2


def _private(a):
    return a


@dataclass
class Loose:
    def method(self, a: int, b: int) -> None:
        pass


@dataclass(frozen=True)
class Firm:
    @staticmethod
    def method(a: int) -> None:
        """Documented."""
'''


def test_the_ruler_on_a_known_package(tmp_path: Path) -> None:
    """Figures of a small package that were counted by hand."""
    package = tmp_path / "sample"
    package.mkdir()
    (package / "one.py").write_text(KNOWN)
    figures = style_ruler.measure(package)
    values = {name: figure.value for name, figure in figures.items()}
    assert values == {
        "file_max": 36, "fn_max": 7, "fn_p90": 7, "args_max": 2, "class_max": 1, "kwargs": 100 / 3, "globals": 1,
        "broad_except": 1, "star_imports": 1, "late_imports": 1, "doc": 100 * 2 / 3, "typed": 100 * 2 / 3, "frozen": 50,
    }  # fmt: skip
    names = {fault.split()[0] for fault in style_ruler.faults(figures)}
    assert names == {"kwargs", "globals", "broad_except", "star_imports", "late_imports", "doc", "typed", "frozen"}


def test_commands_may_have_many_options(tmp_path: Path) -> None:
    """The limit on arguments does not hold for commands."""
    arguments = ", ".join(f"a{i}: int" for i in range(12))
    (tmp_path / "sample" / "cli").mkdir(parents=True)
    (tmp_path / "sample" / "cli" / "go.py").write_text(f'def go({arguments}) -> None:\n    """Go."""\n')
    assert style_ruler.measure(tmp_path / "sample")["args_max"].value == 0
    (tmp_path / "sample" / "go.py").write_text(f'def go({arguments}) -> None:\n    """Go."""\n')
    assert style_ruler.measure(tmp_path / "sample")["args_max"].value == 12


def _tests() -> list[tuple[Path, ast.Module]]:
    return [(path, ast.parse(path.read_text(encoding="utf-8"))) for path in sorted((ROOT / "tests").rglob("*.py"))]


def test_every_test_states_its_specification() -> None:
    """Each test function has a docstring."""
    silent = [
        f"{path.relative_to(ROOT)}:{node.lineno}"
        for path, tree in _tests()
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_") and not ast.get_docstring(node)
    ]
    assert silent == []


def test_every_expected_error_pins_its_message() -> None:
    """`pytest.raises` always names the message with match=."""
    loose = [
        f"{path.relative_to(ROOT)}:{node.lineno}"
        for path, tree in _tests()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr == "raises"
        and not any(word.arg == "match" for word in node.keywords)
    ]
    assert loose == []


def test_the_package_speaks_of_itself_alone() -> None:
    """No file of the package or its tests holds a path of a developer's machine."""
    marks = ("/" + "work/", "/" + "home/", "C:" + "\\Users", ".." + "/shared")
    texts = [p for folder in ("tracekit", "tests") for p in (ROOT / folder).rglob("*.py")]
    found = [str(p.relative_to(ROOT)) for p in texts if any(m in p.read_text(encoding="utf-8") for m in marks)]
    assert found == []
