"""Why a file without a pressure does not lie beside another that holds one."""

from collections.abc import Sequence

from tracekit.errors import LogReadError, message
from tracekit.options.evidence import EVIDENCE
from tracekit.read.deciding import UndecidedLogError
from tracekit.read.head import NO_PRESSURE, Head, joined
from tracekit.read.opened import Opened
from tracekit.read.sidefile import SideFile

_TODO = 'Write a row per change, "time;signal;level", with 1 and 0 or ON and OFF, or a column of levels per signal.'


def lacks_pressure(error: LogReadError) -> bool:
    """True for a file in which nothing may be a pressure."""
    return isinstance(error, UndecidedLogError) and any(q.found == NO_PRESSURE for q in error.questions)


def no_signals(one: Opened, beside: Opened) -> LogReadError:
    """The error of a file that holds neither a pressure nor signals that are understood."""
    shown = _words_of(one.head)
    found = f'neither a pressure nor signals that are understood, beside "{beside.head.name}"'
    found += f": {shown}" if shown else f": the columns are {joined(c.name for c in one.head.columns)}"
    return LogReadError(message(one.head.name, found, "levels of suction, blow-off or the part", _TODO))


def _words_of(head: Head) -> str:
    """What the columns of a few words hold, since those are what may be signals and levels."""
    few = [c for c in head.columns if c.kind == "text" and 0 < len(c.words) <= EVIDENCE.most_numbered]
    return "; ".join(f'"{c.name}" holds {joined(w.strip() for w in c.words)}' for c in few)


def apart(side: SideFile, start_s: float, end_s: float, beside: Opened, spans_s: Sequence[float]) -> LogReadError:
    """The error of signals whose times, from start to end, lie outside those of the pressure."""
    first_s, last_s = spans_s
    off = start_s - first_s
    found = (
        f'signals that begin {abs(off):.6g} s {"behind" if off > 0 else "before"} the pressure in "{beside.head.name}"'
        f" and last {end_s - start_s:.6g} s, the pressure {last_s - first_s:.6g} s: they share no time"
    )
    todo = "Set both clocks alike, or correct the stamps of one file, and read them again."
    return LogReadError(message(side.opened.head.name, found, "times of the same stretch", todo))
