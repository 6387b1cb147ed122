"""Tries many mutants in one pytest run: `mutants.py` puts this file into its copy of the tree as `conftest.py`.

Tests are collected once. Every mutant is then tried in a fork of that process, which has run no test yet, so that nothing
computed without the mutant is there: the tests of the mutant's own package that reach the mutated function, quick ones
first, until one fails or the processor time that a mutant may cost is spent: then it is unfinished, since a slower test might
notice it. What was not noticed is tried again with the tests that are new or changed since the times were taken. The tool's own
runner does the same with a collection per mutant, which costs more than the tests.
"""

import hashlib
import json
import os
import resource
import signal
import sys
from collections import Counter
from pathlib import Path

import pytest
from _pytest.runner import runtestprotocol

HERE = Path(__file__).parent
ASKED, FOUND = HERE / "asked.json", HERE / "found.jsonl"
OVER_S = 30


def pytest_runtestloop(session: pytest.Session) -> bool | None:
    """Try what is asked for; an ordinary run, the one that takes the times, goes its ordinary way."""
    if not ASKED.exists() or os.environ.get("TRACEKIT_MUTANTS") is None:
        return None
    asked = json.loads(ASKED.read_text(encoding="utf-8"))
    kept = json.loads((HERE / "mutmut-stats.json").read_text(encoding="utf-8"))
    new = [item for item in session.items if asked["fresh"] and is_new(item, kept["duration_by_test"])]
    new = [item for item in new if tried([item], "", OVER_S) == "survived"]  # tests of what the copy's code cannot do yet
    for name in asked["names"]:
        own = tuple(asked["tests"][name.split(".")[1]])
        items = [item for item in new if item.nodeid.startswith(own)] if asked["fresh"] else chosen(session.items, kept, name, own)
        word = tried(items, name, asked["seconds"]) if items else "no test"
        if asked["fresh"] and word not in ("killed", "timeout"):
            continue  # new tests alone do not tell what the others would
        with FOUND.open("a", encoding="utf-8") as file:
            file.write(json.dumps([name, word]) + "\n")
    return True


def is_new(item: pytest.Item, took: dict[str, float]) -> bool:
    """Whether a test was not there, or its file was another, when the times were taken."""
    sums = json.loads((HERE / "sums.json").read_text(encoding="utf-8"))
    file = item.nodeid.split("::")[0]
    return item.nodeid not in took or sums.get(file) != hashlib.sha256((HERE / file).read_bytes()).hexdigest()


def chosen(items: list[pytest.Item], kept: dict, name: str, own: tuple[str, ...]) -> list[pytest.Item]:
    """Tests of the package (of all where none does) that reach the mutated function, quick files and tests first."""
    took, function = kept["duration_by_test"], name.partition("__mutmut_")[0]
    reaching = set(kept["tests_by_mangled_function_name"].get(function, ()))
    of_file = Counter[str]()
    for test, seconds in took.items():
        of_file[test.split("::")[0]] += seconds
    all_reaching = [item for item in items if item.nodeid in reaching]
    mine = [item for item in all_reaching if item.nodeid.startswith(own)] or all_reaching
    file_of = {item: item.nodeid.split("::")[0] for item in mine}
    return sorted(mine, key=lambda item: (of_file[file_of[item]], file_of[item], took.get(item.nodeid, 0.0)))


def tried(items: list[pytest.Item], name: str, seconds: float) -> str:
    """What becomes of one mutant, in a process of its own."""
    child = os.fork()
    if child == 0:
        os._exit(run(items, name, seconds))
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        return "timeout" if os.WTERMSIG(status) in (signal.SIGXCPU, signal.SIGKILL) else "killed"
    return {0: "survived", 1: "killed", 3: "unfinished"}.get(os.WEXITSTATUS(status), "broken")


def run(items: list[pytest.Item], name: str, seconds: float) -> int:
    """Run the tests with the mutant in force: 1 once one fails, 0 where none does, 3 where time is spent, 2 where this file goes wrong."""
    try:
        os.environ["MUTANT_UNDER_TEST"] = name
        forget()
        begun = spent()
        limit = int(begun + seconds + OVER_S)
        resource.setrlimit(resource.RLIMIT_CPU, (limit, limit + 1))
        for item, following in zip(items, [*items[1:], None], strict=True):
            reports = runtestprotocol(item, log=False, nextitem=following)
            if any(report.failed for report in reports):
                return 1
            if following is not None and spent() - begun > seconds:
                return 3
    except BaseException:  # noqa: BLE001 - a fork must not go on as its parent
        return 2
    return 0


def forget() -> None:
    """Empty the caches of the package: what was computed while tests were collected is without the mutant."""
    for module in [module for name, module in sys.modules.items() if name.startswith("tracekit.")]:
        for value in vars(module).values():
            if callable(getattr(value, "cache_clear", None)):
                value.cache_clear()


def spent() -> float:
    """Processor time of this process [s]."""
    return sum(os.times()[:2])
