"""`diagnose --history` when the disk is full, may only be read, or power fails, at every single write of both.

Results are whole or not there, the log is in the history once or not at all, one message says why, the next run mends.
"""

import os
import shutil
import time
from collections import Counter
from pathlib import Path

import pytest
from hardness.cuts import Acts, acting, ended_at
from hardness.made import csv_text, rows
from hardness.test_refused_writes import REFUSALS, content
from hardness.trial import Ran, command, leftovers

MOST_ACTS = 400
EACH = pytest.mark.parametrize("step", [7, pytest.param(1, marks=pytest.mark.full)], ids=["every seventh", "every one"])
STARTS = ("2025-03-01T00:00Z", "2025-03-02T00:00Z")


class Diagnosed:
    """Two logs: one that is in the history and whose results are there, one that comes to both."""

    def __init__(self, place: Path) -> None:
        self.logs = [place / "older.csv", place / "newer.csv"]
        for seed, log in enumerate(self.logs):
            log.write_text(csv_text(*rows(3, seed=seed)))
        self.start = place / "start"
        assert self.run(self.start, 0).status == 0
        shutil.copytree(self.start, place / "never")
        assert self.run(place / "never", 1).status == 0
        self.pages = {self.page(self.start), self.page(place / "never")}
        self.before, self.after = (content(p / "history")[0] for p in (self.start, place / "never"))
        self.files = {p.name for p in (place / "never" / "out").iterdir()}

    def run(self, place: Path, which: int) -> Ran:
        """Diagnose a log into the place's results and history."""
        return command("diagnose", self.logs[which], "--quiet", "--csv", "--out", place / "out", "--history", place / "history", "--started", STARTS[which])

    def page(self, place: Path) -> str:
        """Which log the page of a place is of."""
        text = (place / "out" / "report.html").read_text(encoding="utf-8")
        assert text.rstrip().endswith("</html>")
        return next(log.name for log in self.logs if log.name in text)

    def holds(self, place: Path, history: list[Counter]) -> bool:
        """Whether results are whole, and the history one of those."""
        there = {p.name for p in (place / "out").iterdir() if not p.name.endswith(".part")}
        rows_, _, sound = content(place / "history")
        return there == self.files and self.page(place) in self.pages and rows_ in history and sound

    def mended(self, place: Path) -> bool:
        """Whether another run ends where one that was never refused ends."""
        for path in place.rglob(".*.part"):
            os.utime(path, (1, 1))  # an hour later
        ran = self.run(place, 1)
        return ran.status == 0 and self.holds(place, [self.after]) and self.page(place) == "newer.csv" and leftovers(place / "out") == []


@pytest.fixture(scope="module")
def diagnosed(tmp_path_factory) -> Diagnosed:
    """The two logs and what comes of them."""
    return Diagnosed(tmp_path_factory.mktemp("diagnosed"))


@pytest.mark.parametrize("once", [False, True], ids=["from then on", "once"])
@pytest.mark.parametrize("why", ["full", "read-only"])
@EACH
def test_a_diagnosis_whose_writes_are_refused(diagnosed, tmp_path, tally, monkeypatch, step, why, once):
    """At whatever act the disk refuses: status 2 and one line, or all is there; never part of it."""
    monkeypatch.setattr(time, "sleep", lambda _: None)
    refused = 0
    for last in range(1, MOST_ACTS, step):
        place = tmp_path / str(last)
        shutil.copytree(diagnosed.start, place)
        with acting(Acts(last, OSError(REFUSALS[why], os.strerror(REFUSALS[why])), once=once)) as acts:
            ran = diagnosed.run(place, 1)
        said = ran.err.strip().splitlines()
        good = ran.status == 0 or (ran.status == 2 and len(said) == 1 and os.strerror(REFUSALS[why]) in said[0])
        good = good and diagnosed.holds(place, [diagnosed.before, diagnosed.after]) and diagnosed.mended(place)
        tally.add(f"diagnose --history: {why}, {'once' if once else 'from then on'}", ran.outcome() if good else "half-written", (last, ran.err))
        assert good, (last, ran.status, ran.err)
        refused += ran.status == 2
        shutil.rmtree(place)
        if acts.count < last:
            break
    assert last < MOST_ACTS - step
    assert refused > 40 // step


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the system has no fork to kill programs with")
@EACH
def test_a_diagnosis_that_is_cut_at_every_act(diagnosed, tmp_path, tally, step):
    """Wherever the power fails, each file of the results is whole, the log is in or out, and the next run completes both."""
    for last in range(1, MOST_ACTS, step):
        place = tmp_path / str(last)
        shutil.copytree(diagnosed.start, place)
        finished, early = ended_at(last, lambda place=place: diagnosed.run(place, 1))
        good = early == 0 and diagnosed.holds(place, [diagnosed.before, diagnosed.after]) and diagnosed.mended(place)
        tally.add("cuts, diagnose --history", "right" if good else "half-written", (last, early, leftovers(place)))
        assert good, (last, early, leftovers(place))
        shutil.rmtree(place)
        if finished:
            break
    assert 40 < last < MOST_ACTS - step
