"""Runs a command in a process of its own and measures its time and memory."""

import os
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from hardness.trial import SLOW_S

ROOT = Path(__file__).parents[2]
MOST_BYTES = 1 << 30
INTERRUPTED = "signal.signal(signal.SIGINT, signal.default_int_handler)"
"""Ctrl-C is heard also where the tests were begun in the background: a shell has such a job ignore it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """A process that ended: its status (negative: the signal), what it printed, its own processor time, most memory."""

    status: int
    out: str
    err: str
    seconds: float
    memory: int

    def outcome(self) -> str:
        """One of the words of the table."""
        if self.seconds > SLOW_S:
            return "too slow"
        if self.memory > MOST_BYTES:
            return "memory"
        if "Traceback" in self.err or "internal error" in self.err or self.status not in (0, 1, 2):
            return "traceback"
        return "refused" if self.status == 2 else "right"


def process(*arguments: object, before: str = "", cwd: Path | None = None, **variables: str) -> subprocess.Popen[str]:
    """A process that runs the command line, after the statements of `before`."""
    code = f"import sys, signal\n{INTERRUPTED}\nsys.path.insert(0, {str(ROOT)!r})\n{before}\nfrom tracekit.cli import run\nsys.exit(run(sys.argv[1:]))"
    paths = os.pathsep.join([str(ROOT), str(ROOT / "tests"), str(ROOT / "tests" / "cli")])
    return subprocess.Popen(
        [sys.executable, "-c", code, *map(str, arguments)], env={**os.environ, "PYTHONPATH": paths, **variables}, cwd=cwd,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL, text=True,
    )  # fmt: skip


def child(*arguments: object, before: str = "", limit_s: int = 30, **variables: str) -> Ended:
    """Run the command line in a process of its own; one that uses the processor longer than `limit_s` is stopped.

    One that does nothing is stopped too, after a time that is long because the machine may be busy.
    """
    limit = f"resource.setrlimit(resource.RLIMIT_CPU, ({limit_s}, {limit_s}))"
    running = process(*arguments, before=f"{MEASURED}{limit}\n{before}", **variables)
    begun = time.monotonic()
    try:
        out, err = running.communicate(timeout=20 * limit_s)
    except subprocess.TimeoutExpired:
        running.kill()
        out, err = running.communicate()
    return _ended(running.returncode, out, err, time.monotonic() - begun)


def _ended(status: int, out: str, err: str, wall_s: float) -> Ended:
    """The figures that the process itself wrote at its end, else wall time alone."""
    text, mark, figures = err.rpartition("\x1eused ")
    if not mark:
        return Ended(status=status, out=out, err=err, seconds=wall_s, memory=0)
    spent, most = figures.split()
    return Ended(status=status, out=out, err=text, seconds=float(spent), memory=int(most) * 1024)


MEASURED = """
import atexit, pathlib, resource, time
def _tell():
    most = [line.split()[1] for line in pathlib.Path("/proc/self/status").read_text().splitlines() if "VmHWM" in line]
    sys.__stderr__.write(f"\\x1eused {time.process_time():.3f} {most[0]}")
atexit.register(_tell)
"""
"""Statements after which a process tells its processor time and the most memory that it held (Linux)."""
