"""Measures the style of the package with the standard library only; nothing is imported or run.

    python tests/style_ruler.py [PATH]     a line per figure, with its limit and the worst offenders

A code line is one that is not blank, not a comment and not part of a docstring. Public is what has no leading
underscore, by its own name and its class's.
"""

import ast
import io
import sys
import tokenize
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

Function = ast.FunctionDef | ast.AsyncFunctionDef
Nodes = dict[str, list[ast.AST]]

# Highest figure allowed, or lowest where the figure is a share that must be reached.
LIMITS = {
    "file_max": 400,
    "fn_max": 50,
    "fn_p90": 25,
    "args_max": 9,  # commands are exempt: they have as many options as the contract says
    "class_max": 12,
    "kwargs": 1,  # per cent of public functions
    "globals": 0,
    "broad_except": 0,
    "star_imports": 0,
    "late_imports": 0,
}
FLOORS = {"doc": 100, "typed": 100, "frozen": 100}
_PASSIVE = {
    tokenize.COMMENT, tokenize.NL, tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT, tokenize.ENCODING,
    tokenize.ENDMARKER,
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One figure and the places behind it, worst first."""

    value: float
    places: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """A function or method: where it stands, its class, its code lines."""

    node: Function
    owner: str
    where: str
    lines: int
    command: bool


def measure(package: Path) -> dict[str, Measured]:
    """Every figure of the package's Python files."""
    sources = {path: path.read_text(encoding="utf-8") for path in sorted(package.rglob("*.py"))}
    trees = {path: ast.parse(source) for path, source in sources.items()}
    nodes = {str(path.relative_to(package)): list(ast.walk(tree)) for path, tree in trees.items()}
    members = [m for path in sources for m in _members(path, package, trees[path], _code_lines(sources[path]))]
    public = [m for m in members if not m.node.name.startswith("_") and not m.owner.startswith("_")]
    lengths = sorted(m.lines for m in members)
    p90 = lengths[int(0.9 * len(lengths))] if lengths else 0
    return {
        "file_max": _highest({str(p.relative_to(package)): len(s.splitlines()) for p, s in sources.items()}),
        "fn_max": _highest({m.where: m.lines for m in members}),
        "fn_p90": Measured(value=p90, places=()),
        "args_max": _highest({m.where: _arguments(m) for m in public if not m.command}),
        "class_max": _highest(dict(_classes(nodes))),
        "kwargs": _percent([m.where for m in public if m.node.args.kwarg], len(public)),
        "globals": _count(list(_found(nodes, lambda n: isinstance(n, ast.Global)))),
        "broad_except": _count(list(_found(nodes, _is_broad))),
        "star_imports": _count(list(_found(nodes, _is_star))),
        "late_imports": _count(_late_imports(members, nodes, package.name)),
        "doc": _share([(m.where, ast.get_docstring(m.node) is not None) for m in public]),
        "typed": _share([(m.where, _is_typed(m)) for m in public]),
        "frozen": _share(list(_records(nodes))),
    }


def faults(figures: dict[str, Measured]) -> list[str]:
    """The figures beyond their limit or below their floor, with the places behind them."""
    beyond = [(n, figures[n], f"limit {bound}") for n, bound in LIMITS.items() if figures[n].value > bound]
    below = [(n, figures[n], f"floor {bound}") for n, bound in FLOORS.items() if figures[n].value < bound]
    return [f"{n} is {m.value:g}, {bound}: {', '.join(m.places[:8])}" for n, m, bound in beyond + below]


def _highest(values: dict[str, int]) -> Measured:
    ordered = sorted(values, key=lambda name: -values[name])
    top = values[ordered[0]] if ordered else 0
    return Measured(value=top, places=tuple(f"{name} {values[name]}" for name in ordered[:8]))


def _count(places: list[str]) -> Measured:
    return Measured(value=len(places), places=tuple(places))


def _percent(places: list[str], total: int) -> Measured:
    return Measured(value=100 * len(places) / max(total, 1), places=tuple(places))


def _share(checks: list[tuple[str, bool]]) -> Measured:
    missing = tuple(where for where, good in checks if not good)
    return Measured(value=100 * (1 - len(missing) / len(checks)) if checks else 100, places=missing)


def _code_lines(source: str) -> set[int]:
    lines: set[int] = set()
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type not in _PASSIVE:
            lines.update(range(token.start[0], token.end[0] + 1))
    return lines


def _docstring_lines(node: Function) -> set[int]:
    first = node.body[0]
    is_text = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant) and isinstance(first.value.value, str)
    return set(range(first.lineno, (first.end_lineno or 0) + 1)) if is_text else set()


def _members(path: Path, package: Path, tree: ast.Module, live: set[int]) -> Iterator[Member]:
    """Functions and methods; nested ones are counted inside their parent."""
    place = str(path.relative_to(package))
    stack: list[tuple[ast.AST, str]] = [(child, "") for child in tree.body]
    while stack:
        node, owner = stack.pop()
        if isinstance(node, Function):
            lines = live & set(range(node.lineno, (node.end_lineno or 0) + 1)) - _docstring_lines(node)
            command = path.parent.name == "cli" and path.parent.parent == package
            yield Member(node=node, owner=owner, where=f"{place}:{node.name}", lines=len(lines), command=command)
        elif isinstance(node, ast.ClassDef):
            stack.extend((child, node.name) for child in node.body)
        elif isinstance(node, ast.If | ast.Try | ast.With):
            stack.extend((child, owner) for child in ast.iter_child_nodes(node))


def _parameters(member: Member) -> list[ast.arg]:
    args = member.node.args
    names = [*args.posonlyargs, *args.args, *args.kwonlyargs]
    static = any(isinstance(d, ast.Name) and d.id == "staticmethod" for d in member.node.decorator_list)
    return names[1:] if member.owner and not static else names


def _arguments(member: Member) -> int:
    return len(_parameters(member))


def _is_typed(member: Member) -> bool:
    args = member.node.args
    every = [*_parameters(member), *filter(None, (args.vararg, args.kwarg))]
    return member.node.returns is not None and all(arg.annotation for arg in every)


def _classes(nodes: Nodes) -> Iterator[tuple[str, int]]:
    for path, within in nodes.items():
        for node in within:
            if isinstance(node, ast.ClassDef):
                yield f"{path}:{node.name}", sum(isinstance(child, Function) for child in node.body)


def _records(nodes: Nodes) -> Iterator[tuple[str, bool]]:
    """Every dataclass, and whether it is frozen."""
    for path, within in nodes.items():
        for node in within:
            for deco in node.decorator_list if isinstance(node, ast.ClassDef) else []:
                name = deco.func if isinstance(deco, ast.Call) else deco
                if isinstance(name, ast.Name) and name.id == "dataclass":
                    words = deco.keywords if isinstance(deco, ast.Call) else []
                    frozen = any(w.arg == "frozen" and getattr(w.value, "value", False) is True for w in words)
                    yield f"{path}:{node.name}", frozen


def _found(nodes: Nodes, wanted) -> Iterator[str]:
    for path, within in nodes.items():
        for node in within:
            if wanted(node):
                yield f"{path}:{node.lineno}"


def _is_broad(node: ast.AST) -> bool:
    if not isinstance(node, ast.ExceptHandler):
        return False
    kinds = node.type.elts if isinstance(node.type, ast.Tuple) else [node.type]
    return any(kind is None or getattr(kind, "id", "") in ("Exception", "BaseException") for kind in kinds)


def _is_star(node: ast.AST) -> bool:
    return isinstance(node, ast.ImportFrom) and any(alias.name == "*" for alias in node.names)


def _late_imports(members: list[Member], nodes: Nodes, package: str) -> list[str]:
    """Imports of the package's own inside a function, commands exempt: the usual scar of a cycle."""
    spans = {m.where.partition(":")[0]: [] for m in members}
    for m in members:
        if not m.command:
            spans[m.where.partition(":")[0]].append((m.node.lineno, m.node.end_lineno or 0))
    found = []
    for path, within in nodes.items():
        for node in within:
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            own = any(name.split(".")[0] == package for name in names)
            if own and any(first <= node.lineno <= last for first, last in spans.get(path, [])):
                found.append(f"{path}:{node.lineno}")
    return found


def main() -> int:
    """Print every figure; 1 where one is beyond its limit."""
    package = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parents[1] / "tracekit"
    figures = measure(package)
    bounds = {**LIMITS, **FLOORS}
    for name, figure in figures.items():
        print(f"{name:<14}{figure.value:>7g}  of {bounds[name]:>4}   {', '.join(figure.places[:3])}")
    return 1 if faults(figures) else 0


if __name__ == "__main__":
    raise SystemExit(main())
