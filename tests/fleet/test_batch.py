"""Many logs in processes: each has an outcome, whatever happens to the others."""

import os
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path

import pytest
from cli.made_logs import write_log

from tracekit.fleet import batch
from tracekit.fleet.batch import Job, run_jobs
from tracekit.fleet.timing import StageClock, timing_line


class Deadly(str):
    """The name of a log at which the process that receives it ends, as one that runs out of memory does."""

    __slots__ = ()

    def __reduce__(self) -> tuple[object, ...]:
        return (os._exit, (1,))


def test_a_process_that_is_ended_costs_one_log(tmp_path: Path) -> None:
    """A log over which a process is ended has an outcome that says so, and the logs beside it are finished."""
    logs = [str(write_log(tmp_path / f"log_{n}.csv", cycles=6, seed=n)) for n in range(2)]
    names = [logs[0], Deadly("lost.csv"), logs[1]]
    jobs = [Job(log=name, folder=tmp_path / f"out_{at}") for at, name in enumerate(names)]
    outcomes = list(run_jobs(jobs, 2))
    assert [outcome.error for outcome in outcomes][::2] == ["", ""]
    assert "lost.csv: its process was ended" in outcomes[1].error
    assert [(tmp_path / f"out_{at}" / "report.html").exists() for at in range(3)] == [True, False, True]


@pytest.mark.parametrize("workers", [1, 2])
def test_whatever_goes_wrong_costs_one_log(tmp_path: Path, workers: int) -> None:
    """A fault that nobody foresaw is the outcome of its own log; those beside it are finished."""
    logs = [str(write_log(tmp_path / f"log_{n}.csv", cycles=6, seed=n)) for n in range(2)]
    good = [Job(log=log, folder=tmp_path / f"out_{at}") for at, log in enumerate(logs)]
    broken = replace(good[0], folder=tmp_path / "broken", baseline=3)
    outcomes = list(run_jobs([good[0], broken, good[1]], workers))
    assert [outcome.error for outcome in outcomes][::2] == ["", ""]
    assert outcomes[1].error.startswith("log_0.csv: ")
    assert "Please report it" in outcomes[1].error


@pytest.mark.skipif(sys.platform != "linux", reason="processes begin as copies on Linux alone")
def test_workers_do_not_load_modules_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where no other thread runs, workers are copies of this process: they know what it has changed. Else they begin anew."""
    logs = [str(write_log(tmp_path / f"log_{n}.csv", cycles=6, seed=n)) for n in range(2)]
    jobs = [Job(log=log, folder=tmp_path / f"out_{at}") for at, log in enumerate(logs)]
    monkeypatch.setattr(batch, "first_screen", lambda *_args, **_options: "as changed")
    for threads, shown in ((1, True), (2, False)):
        monkeypatch.setattr(threading, "active_count", lambda threads=threads: threads)
        assert [outcome.screen == "as changed" for outcome in run_jobs(jobs, 2)] == [shown, shown]


def test_stages_add_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every second belongs to the stage that ended it; rows per second are those of the pass over the samples."""
    now = iter([10.0, 10.5, 12.5, 12.75, 13.0])
    monkeypatch.setattr(time, "perf_counter", lambda: next(now))
    clock = StageClock()
    for stage in ("open", "samples", "leak", "samples"):
        clock(stage)
    assert clock.seconds == (("open", 0.5), ("samples", 2.25), ("leak", 0.25))
    assert timing_line(clock.seconds, 4_500_000) == (
        "open 0.50 s  samples 2.25 s  leak 0.25 s  total 3.00 s  4500000 rows, 2.0 million per second in samples"
    )


def test_every_stage_is_told(tmp_path: Path) -> None:
    """The stages of a diagnosis with baseline and history are told in their order, with the rows read."""
    log = str(write_log(tmp_path / "log.csv", cycles=6))
    job = Job(log=log, folder=tmp_path / "out", baseline=log, history=str(tmp_path / "history"), started_us=1_767_250_800_000_000)
    outcome = next(run_jobs([job], 1))
    stages = ("open", "samples", "leak", "baseline", "judge", "page", "files", "history")
    assert tuple(name for name, _ in outcome.seconds) == stages
    assert all(spent > 0.0 for _, spent in outcome.seconds)
    assert outcome.rows == 2400
