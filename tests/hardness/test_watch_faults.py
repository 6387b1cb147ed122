"""A watched folder when power fails at any act, when the clock was set back meanwhile, and workers without memory."""

import os
import resource
import threading
import time
from pathlib import Path

import pytest
from cli.made_logs import write_log
from fleet.test_watch import Heard, stand_in
from hardness.cuts import ended_at
from hardness.trial import leftovers
from hardness.watched import watched

from tracekit.fleet import watch as watching
from tracekit.fleet.batch import Job, run_jobs
from tracekit.fleet.watch import watch
from tracekit.history.place import open_place
from tracekit.history.read import read_rows
from tracekit.history.upkeep import check

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="the system has no fork to kill programs with")
MOST_ACTS = 300
YEAR_S = 365 * 86_400.0


@pytest.mark.parametrize("back_s", [0.0, YEAR_S], ids=["clock kept", "clock set back a year"])
def test_a_watch_survives_a_cut_at_every_act(tmp_path, tally, monkeypatch, back_s):
    """Wherever the power fails, also where the clock is a year back at the next start, both logs end up counted, each once."""
    monkeypatch.setattr(watching, "run_job", stand_in)
    now = time.time
    kind = "cuts, watch" + (", clock set back" if back_s else "")
    for last in range(1, MOST_ACTS):
        place = tmp_path / str(last)
        made = watched(place)
        finished, early = ended_at(last, lambda made=made: watch(made, Heard(), once=True))
        with monkeypatch.context() as clock:
            clock.setattr(time, "time", lambda: now() - back_s)
            watch(made, Heard(), once=True)
        history = open_place(made.template.history)
        ids = read_rows(history).table.texts("log_id")
        cycles = [ids.count(one) for one in set(ids)]
        aside = [p.name for p in made.folder.glob("*/*c.csv") if p.read_text(encoding="utf-8") == "no log\n"]
        good = len(cycles) == 2 and cycles[0] == cycles[1] and check(history).sound and len(aside) == 1 and early == 0
        tally.add(kind, "right" if good else "silent loss", (last, cycles, aside, early))
        assert good, (last, cycles, aside, early)
        if finished:
            break
    assert 10 < last < MOST_ACTS - 1


class Hungry(str):
    """The name of a log for which the process that receives it gets hardly more memory than it has."""

    __slots__ = ()

    def __reduce__(self) -> tuple[object, ...]:
        return (starved, (str(self),))


def starved(name: str) -> str:
    """Allow this process 8 MiB more; give the name back."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
    most = pages * resource.getpagesize() + (8 << 20)
    resource.setrlimit(resource.RLIMIT_AS, (most, resource.RLIM_INFINITY))
    return name


def test_a_worker_without_memory_costs_its_logs_alone(tmp_path, tally):
    """A log for which a worker has no memory is told; nothing half-written stays; the other worker's log is finished."""
    logs = [str(write_log(tmp_path / f"log_{n}.csv", cycles=n, seed=n)) for n in (400, 6)]
    jobs = [Job(log=Hungry(name) if at == 0 else name, folder=tmp_path / f"out_{at}") for at, name in enumerate(logs)]
    ended = threading.Event()
    threading.Thread(target=ended.wait, daemon=True).start()
    outcomes = list(run_jobs(jobs, 2))  # beside a thread workers begin anew: a copy may have memory left from before
    ended.set()
    assert [Path(o.log).name for o in outcomes] == ["log_400.csv", "log_6.csv"]
    assert outcomes[0].error
    for at, outcome in enumerate(outcomes):
        wanted = {"report.html", "diagnosis.json"} if not outcome.error else set()
        there = {p.name for p in (tmp_path / f"out_{at}").iterdir()} if (tmp_path / f"out_{at}").exists() else set()
        half = leftovers(tmp_path / f"out_{at}") != [] or (bool(there) if outcome.error else not wanted <= there)
        word = "half-written" if half else "refused" if outcome.error else "right"
        tally.add("worker without memory", word, (outcome.error, sorted(there)))
        assert word == ("right" if at else "refused"), (outcome.error, there)
    assert "log_400.csv" in outcomes[0].error
    # which act meets the limit first differs: an array, a table, a thread, a library
    words = ("memory", "process was ended", "unavailable", "start new thread", "map segment")
    assert any(word in outcomes[0].error.casefold() for word in words), outcomes[0].error
    assert "Try fewer --workers." in outcomes[0].error
