"""Tasks in processes of their own, side by side: one process that is ended costs its own task alone."""

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from typing import Generic, TypeVar

from tracekit.fleet.processes import processes

Task = TypeVar("Task")
Result = TypeVar("Result")


class Lanes(Generic[Task, Result]):
    """Runs tasks side by side, each lane a pool of a single process.

    One pool of several processes is not used: where one of them is ended while another begins, the pool waits for the
    latter without end (CPython 3.11, `concurrent.futures.process`, processes begun on demand). A task whose process is
    ended is tried once more, while nothing else runs: it may have lacked memory. `ended` is its result after that.
    """

    def __init__(
        self, work: Callable[[Task], Result], tasks: Sequence[Task], lanes: int, ended: Callable[[Task], Result]
    ) -> None:
        """Nothing begins before results are asked for."""
        self._work, self._tasks, self._lanes, self._ended = work, tasks, lanes, ended
        self._waiting = deque(range(len(tasks)))
        self._again: deque[int] = deque()
        self._retried: set[int] = set()
        self._free: list[ProcessPoolExecutor] = []
        self._running: dict[Future[Result], tuple[int, ProcessPoolExecutor]] = {}
        self._done: dict[int, Result] = {}

    def results(self) -> Iterator[Result]:
        """The result of every task, in their order, each as soon as those before it are known."""
        try:
            for place in range(len(self._tasks)):
                while place not in self._done:
                    self._begin()
                    self._collect()
                self._begin()
                yield self._done.pop(place)
        finally:
            for pool in (*self._free, *(pool for _, pool in self._running.values())):
                pool.shutdown(cancel_futures=True)

    def _begin(self) -> None:
        """Begin what may run now: a task that is tried again runs alone."""
        if self._again and not self._running:
            self._start(self._again.popleft())
        while self._waiting and not self._again and len(self._running) < self._lanes and not self._alone():
            self._start(self._waiting.popleft())

    def _alone(self) -> bool:
        return any(task in self._retried for task, _ in self._running.values())

    def _start(self, task: int) -> None:
        while self._free:
            pool = self._free.pop()
            try:
                self._running[pool.submit(self._work, self._tasks[task])] = task, pool
            except BrokenProcessPool:  # its process was ended while it had nothing to do
                pool.shutdown()
            else:
                return
        pool = ProcessPoolExecutor(max_workers=1, mp_context=processes())
        self._running[pool.submit(self._work, self._tasks[task])] = task, pool

    def _collect(self) -> None:
        """Wait for results; a process that was ended gives none, and its pool is let go."""
        for future in wait(self._running, return_when=FIRST_COMPLETED).done:
            task, pool = self._running.pop(future)
            try:
                self._done[task] = future.result()
                self._free.append(pool)
            except BrokenProcessPool:
                pool.shutdown()
                if task in self._retried:
                    self._done[task] = self._ended(self._tasks[task])
                else:
                    self._retried.add(task)
                    self._again.append(task)
