"""How processes for many logs begin.

Nothing large is imported here, so that they can begin before this process has loaded what it needs itself.
"""

import gc
import multiprocessing
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from multiprocessing.context import BaseContext
from pathlib import Path

READY = "tracekit.fleet.ready"
"""The module that loads all that a worker needs."""
_COPIES = "forkserver"


@contextmanager
def here_to_stay() -> Iterator[None]:
    """Modules that are loaded inside are not searched for garbage, now or later: a tenth of the time that they take.

    Copies of this process then share their memory longer, too.
    """
    searching = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        if searching:
            gc.enable()


def processes() -> BaseContext:
    """How processes begin: where the system can, as copies of one that has loaded all modules and has no threads.

    Copies of this process could hold locks that another thread of it has taken; processes that begin anew load all
    modules once more each, which takes longer than a small log does.
    """
    if _COPIES not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context(_COPIES)
    context.set_forkserver_preload([READY])
    return context


def worker_count(workers: int) -> int:
    """How many processes work side by side; 0 stands for one per core."""
    return workers or os.cpu_count() or 1


def begin_early(logs: Sequence[str], workers: int) -> None:
    """Begin the process that workers are copies of, where some are surely wanted: it loads its modules meanwhile."""
    if worker_count(workers) > 1 and _are_several(logs) and processes().get_start_method() == _COPIES:
        from multiprocessing.forkserver import ensure_running

        ensure_running()


def _are_several(logs: Sequence[str]) -> bool:
    """True for several names, a pattern, or a folder with more than one entry."""
    if len(logs) > 1 or any(mark in log for log in logs for mark in "*?["):
        return True
    with suppress(OSError):  # a folder that cannot be looked into is refused later, with a message
        return any(len([*Path(log).iterdir()]) > 1 for log in logs if Path(log).is_dir())
    return False
