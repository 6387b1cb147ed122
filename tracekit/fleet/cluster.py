"""Many logs over a Dask cluster. Each log is one task that may be run twice or elsewhere without changing anything.

A task reads its log where the worker is, hands its files back as bytes, and adds to the history under names that tell
their content. What a worker did before it was killed is therefore done again, to the same end.
"""

import hashlib
import time
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from tracekit.errors import UsageError, message
from tracekit.fleet.batch import Job, Outcome, told
from tracekit.frozen import dataclass
from tracekit.report.files import bytes_write, write_files

_PER_THREAD = 2  # tasks on their way for every thread of the cluster, so that none of them waits
_AHEAD = 4  # and some more, so that one long log does not hold up the others
_WORKER_LOSSES = 3  # times that a task is tried again after its worker was lost
_CONNECT_S = 10.0
_RECONNECTS, _PAUSE_S = 12, 5.0  # a scheduler that is restarted comes back within a minute


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """What a task hands back: the outcome, and the files that belong into its folder."""

    outcome: Outcome
    files: tuple[tuple[str, bytes], ...] = ()


def carried(job: Job) -> Carried:
    """Run a job where there is no folder of the client: its files come back as bytes, by path in the folder."""
    with TemporaryDirectory(prefix="tracekit-", ignore_cleanup_errors=True) as place:
        outcome = told(replace(job, staging=Path(place)))
        found = sorted(path for path in Path(place).rglob("*") if path.is_file())
        files = tuple((path.relative_to(place).as_posix(), path.read_bytes()) for path in found)
    return Carried(outcome=outcome, files=files)


def run_on_cluster(jobs: Sequence[Job], address: str) -> Iterator[Outcome]:
    """The outcome of every job, in order; files are written here as they come.

    Raises UsageError where the cluster cannot be reached, OutputError where a folder cannot be written.
    """
    for job, result in zip(jobs, _results(jobs, address), strict=True):
        if result.files:
            write_files(job.folder, {name: bytes_write(data) for name, data in result.files})
        yield result.outcome


def _results(jobs: Sequence[Job], address: str) -> Iterator[Carried]:
    """Results in order; what a restarted scheduler forgot is asked for again."""
    from concurrent.futures import CancelledError

    library = _library(address)
    done = lost = 0
    while done < len(jobs):
        try:
            with library.Client(address, timeout=_CONNECT_S, set_as_default=False) as client:
                for result in _on_client(client, jobs[done:], library):
                    done, lost = done + 1, 0
                    yield result
        except (CancelledError, OSError) as error:
            lost += 1
            if (done == 0 and lost == 1 and not isinstance(error, CancelledError)) or lost > _RECONNECTS:
                found = f"no answer ({type(error).__name__})"
                todo = "Start one with: dask scheduler. Logs that are done stay done."
                raise UsageError(message(f"--cluster {address}", found, "the address of a scheduler", todo)) from error
            time.sleep(_PAUSE_S if not isinstance(error, CancelledError) else 0.2)


def _on_client(client: Any, jobs: Sequence[Job], library: Any) -> Iterator[Carried]:
    """Results of jobs in order, with a bounded number of them on their way."""
    waiting: deque[tuple[Job, Any]] = deque()
    coming = iter(enumerate(jobs))
    while True:
        most = _PER_THREAD * max(sum(client.nthreads().values()), 1) + _AHEAD
        while len(waiting) < most and (one := next(coming, None)) is not None:
            at, job = one
            future = client.submit(carried, job, key=_key(job, at), pure=True, retries=_WORKER_LOSSES)
            waiting.append((job, future))
        if not waiting:
            return
        job, future = waiting.popleft()
        try:
            result = future.result()
        except library.scheduler.KilledWorker:
            found = f"{_WORKER_LOSSES} workers were lost over it"
            text = message(job.log, found, "workers with room for one log each", "Give each worker more memory.")
            result = Carried(outcome=Outcome(log=job.log, error=text))
        yield result
        future.release()


def _key(job: Job, at: int) -> str:
    """The same name for the same job, so that a job that is asked for twice is run once."""
    return f"tracekit-{hashlib.sha256(repr(job).encode()).hexdigest()[:20]}-{at}"


def _library(address: str) -> Any:
    try:
        import distributed
    except ImportError as error:
        text = message(f"--cluster {address}", "no Dask here", "the extra fleet", 'Install "tracekit[fleet]".')
        raise UsageError(text) from error
    return distributed
