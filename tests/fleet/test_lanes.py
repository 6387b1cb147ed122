"""Tasks side by side in processes: every task has a result, in their order, whatever ends a process."""

import os
import time
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

import pytest

from tracekit.fleet.lanes import Lanes


def slow_first(task: int) -> int:
    """The task itself; the first takes longer than the others."""
    time.sleep(0.3 if task == 0 else 0.0)
    return task


def deadly(task: int) -> int:
    """The task itself; odd ones end their process."""
    if task % 2:
        os._exit(1)
    return task


def once_deadly(task: Path) -> Path:
    """The task; the first try of it ends its process and leaves a file that says so."""
    if not task.exists():
        task.touch()
        os._exit(1)
    return task


def lost(task: int) -> int:
    """What stands for a task without a result."""
    return -task


@pytest.mark.parametrize("lanes", [1, 2, 3])
def test_results_come_in_order(lanes: int) -> None:
    """However many lanes there are and whichever is done first, results come in the order of the tasks."""
    assert list(Lanes(slow_first, range(5), lanes, lost).results()) == [0, 1, 2, 3, 4]


@pytest.mark.parametrize("lanes", [1, 2])
def test_every_process_that_is_ended_costs_its_own_task(lanes: int) -> None:
    """Of tasks that end their process, early and late, each has its stand-in; all others have their results."""
    assert list(Lanes(deadly, range(6), lanes, lost).results()) == [0, -1, 2, -3, 4, -5]


def test_a_task_is_tried_twice(tmp_path: Path) -> None:
    """A task whose process is ended once has its result from the second try."""
    tasks = [tmp_path / str(n) for n in range(3)]
    assert list(Lanes(once_deadly, tasks, 2, lambda task: task / "lost").results()) == tasks


def test_a_lane_that_was_ended_idle_is_replaced() -> None:
    """A free lane whose process was ended is not used again."""
    lanes = Lanes(slow_first, range(2), 1, lost)
    pool = ProcessPoolExecutor(max_workers=1)
    with pytest.raises(BrokenProcessPool, match="terminated abruptly"):
        pool.submit(os._exit, 1).result()
    lanes._free.append(pool)
    assert list(lanes.results()) == [0, 1]


def test_results_that_nobody_wants_any_more() -> None:
    """Lanes end where their results are asked for no further."""
    results = Lanes(slow_first, range(4), 2, lost).results()
    assert next(results) == 0
    results.close()
    assert list(results) == []
