"""What the counting of mutants calls noticed, unfinished and new."""

import json
from collections import Counter
from types import SimpleNamespace

import pytest
from hardness import mutants

mutant_loop = pytest.importorskip("hardness.mutant_loop", reason="the system cannot limit what a process may spend")


def test_the_score_leaves_out_what_was_not_tried():
    """Six noticed of ten tried, ninety not tried: 60 %; unfinished mutants are not noticed; nothing tried has no score."""
    counts = Counter({"killed": 5, "timeout": 1, "survived": 2, "unfinished": 2, "not tried": 90})
    assert mutants.score(counts) == pytest.approx(0.6)
    assert mutants.score(Counter({"not tried": 3})) is None


def test_changed_files_and_new_tests_in_old_files_are_new(tmp_path, monkeypatch):
    """A test is old only where it was there and its file is what it was when the times were taken."""
    monkeypatch.setattr(mutant_loop, "HERE", tmp_path)
    place = tmp_path / "tests" / "judge"
    place.mkdir(parents=True)
    for name in ("same", "changed"):
        (place / f"{name}.py").write_text("before\n")
    (tmp_path / "sums.json").write_text(json.dumps(mutants.sums(tmp_path)))
    (place / "changed.py").write_text("after\n")
    (place / "come.py").write_text("new\n")
    took = {"tests/judge/same.py::test_old": 1.0, "tests/judge/changed.py::test_old": 1.0}
    tests = ("same.py::test_old", "same.py::test_more", "changed.py::test_old", "come.py::test_old")
    found = [mutant_loop.is_new(SimpleNamespace(nodeid=f"tests/judge/{name}"), took) for name in tests]
    assert found == [False, True, True, True]


@pytest.mark.parametrize(("spent_s", "word"), [(1.0, "survived"), (7.0, "unfinished")])
def test_spent_time_is_no_survival(monkeypatch, spent_s, word):
    """Two tests pass at some cost each, five seconds are allowed: with the second test untried the mutant is unfinished."""
    clock = iter([0.0, spent_s, 2 * spent_s])
    monkeypatch.setattr(mutant_loop, "spent", lambda: next(clock))
    monkeypatch.setattr(mutant_loop, "forget", lambda: None)
    monkeypatch.setattr(mutant_loop, "runtestprotocol", lambda *_, **__: [])
    assert mutant_loop.tried([object(), object()], "some.mutant", 5.0) == word
