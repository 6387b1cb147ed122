"""Many logs in processes: each has an outcome, whatever happens to the others."""

import multiprocessing
import os
import sys
import time
from dataclasses import replace
from multiprocessing import forkserver
from pathlib import Path

import pytest
from cli.made_logs import write_log

from tracekit.fleet.batch import Job, run_jobs
from tracekit.fleet.processes import begin_early
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


class Prepared(str):
    """The name of a log; in the process that receives it, whether all that a page needs was loaded before."""

    __slots__ = ()

    def __reduce__(self) -> tuple[object, ...]:
        return (_prepared, ())


def _prepared() -> str:
    return "loaded before.csv" if "jinja2" in sys.modules else "loaded anew.csv"


@pytest.mark.skipif("forkserver" not in multiprocessing.get_all_start_methods(), reason="no process to copy from here")
def test_workers_do_not_load_modules_anew(tmp_path: Path) -> None:
    """Workers are copies of a process that has loaded everything, the templates of a page too."""
    jobs = [Job(log=Prepared(f"{n}.csv"), folder=tmp_path / str(n)) for n in range(2)]
    assert [outcome.log for outcome in run_jobs(jobs, 2)] == ["loaded before.csv"] * 2


@pytest.mark.skipif("forkserver" not in multiprocessing.get_all_start_methods(), reason="no process to copy from here")
def test_workers_are_made_ready_early_where_logs_are_several(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What workers are copied from begins at once for several logs and workers, and not for one."""
    begun: list[str] = []
    monkeypatch.setattr(forkserver, "ensure_running", lambda: begun.append("begun"))
    one, two = tmp_path / "one", tmp_path / "two"
    for folder, names in ((one, "a"), (two, "ab")):
        folder.mkdir()
        for name in names:
            (folder / f"{name}.csv").touch()
    for logs, workers in ((["a.csv"], 2), ([str(one)], 2), ([str(tmp_path / "none")], 2), ([str(two)], 1), (["a", "b"], 1)):
        begin_early(logs, workers)
    assert begun == []
    for logs in ([str(two)], ["a.csv", "b.csv"], ["*.csv"]):
        begin_early(logs, 2)
    assert begun == ["begun"] * 3


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
