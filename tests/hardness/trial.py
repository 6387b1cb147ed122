"""Runs a command in this process and says what became of it."""

import io
import time
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path

from tracekit.cli import run

SLOW_S = 10.0
PARTS = (".part", ".unfinished", ".tmp")


@dataclass(frozen=True, slots=True, kw_only=True)
class Ran:
    """A command that ended: its status, what it printed, its processor time (the machine may be busy)."""

    arguments: tuple[str, ...]
    status: int
    out: str
    err: str
    seconds: float

    def outcome(self) -> str:
        """One of the words of the table, from status and output alone."""
        if self.seconds > SLOW_S:
            return "too slow"
        if "Traceback" in self.err or "internal error" in self.err or self.status not in (0, 1, 2):
            return "traceback"
        if self.status == 2:
            return "refused" if self.err.strip() else "traceback"
        return "right"


def command(*arguments: object) -> Ran:
    """Run the command line in this process."""
    out, err = io.StringIO(), io.StringIO()
    texts = tuple(str(a) for a in arguments)
    begun = time.process_time()
    with redirect_stdout(out), redirect_stderr(err):
        status = run(texts)
    return Ran(
        arguments=texts, status=status, out=out.getvalue(), err=err.getvalue(), seconds=time.process_time() - begun
    )


def leftovers(folder: Path) -> list[str]:
    """Files below a folder that a writer has not finished."""
    return [str(p) for p in folder.rglob("*") if p.name.endswith(PARTS)]
