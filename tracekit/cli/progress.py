"""Progress in the last line of a terminal: what is done, how fast, what is left; none where output goes elsewhere."""

import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from tracekit.read.expected import expected_rows
from tracekit.report.text import clean

WIDTH = 79
_CLOCK = ((1.0, 100.0, "s"), (60.0, 6000.0, "min"), (3600.0, float("inf"), "h"))  # seconds of a unit, and up to when
_PATIENCE_S, _EVERY_S = 0.5, 0.2  # a rate needs a while to be one; more often than five times a second nobody reads


def show(text: str) -> None:
    """Show what is going on in the last line of a terminal; nothing where standard error goes elsewhere."""
    if sys.stderr.isatty():
        print(f"\r\x1b[2K{text[:WIDTH]}", end="", file=sys.stderr, flush=True)


def left(seconds: float) -> str:
    """A time that is left: "40 s", "2 min", "1.7 h"."""
    size, unit = next((seconds / s, u) for s, most, u in _CLOCK if seconds < most)
    return f"{size:.1f} {unit}" if unit == "h" else f"{size:.0f} {unit}"


def pace(done: int, total: int, seconds: float, things: str = "logs") -> str:
    """How far a run is, how fast it goes, and what is left at that pace: "12 of 400 logs, 3.1 a second, 2 min left"."""
    each_s = seconds / done
    rate = f"{1.0 / each_s:.1f} a second" if each_s <= 1.0 else f"{each_s:.1f} s each"
    return f"{done} of {total} {things}, {rate}, {left(each_s * (total - done))} left"


def rows_pace(rows: int, total: int | None, seconds: float) -> str:
    """How far the reading of a log is: "1 200 000 of about 3 600 000 rows, 1.6 million a second, 2 s left".

    Without a total, or behind it, rows and rate alone.
    """
    rate = rows / seconds
    speed = f"{rate / 1e6:.1f} million" if rate >= 1e6 else _figure(rate)
    if total is None or rows > total:
        return f"{_figure(rows)} rows, {speed} a second"
    return f"{_figure(rows)} of about {_figure(total)} rows, {speed} a second, {left((total - rows) / rate)} left"


def _figure(value: float) -> str:
    """Three digits of a number, in groups that every console can write."""
    step = 10.0 ** max(0, len(str(int(value))) - 3)
    return f"{round(value / step) * step:,.0f}".replace(",", " ")


class _Shown:
    """What is shown now and then of something that has begun and goes on."""

    def __init__(self, name: str) -> None:
        """Start now: `name` is what goes on."""
        self._name = clean(name, 24)
        self._began_s = self._shown_s = time.monotonic()

    def tell(self, say: Callable[[float], str]) -> None:
        """Show what `say` makes of the seconds since the start, where it is time to."""
        now_s = time.monotonic()
        if now_s - self._began_s >= _PATIENCE_S and now_s - self._shown_s >= _EVERY_S:
            self._shown_s = now_s
            show(f"{self._name}: {say(now_s - self._began_s)}")


class ReadingProgress(_Shown):
    """Shows how far the reading of a log is, for a person at a terminal; called with the rows read so far."""

    def __init__(self, name: str, total: int | None) -> None:
        """Start now: `name` is what is read, `total` how many rows it has, None where nobody knows."""
        super().__init__(name)
        self._total = total

    def __call__(self, rows: int) -> None:
        """So many rows have been read."""
        self.tell(lambda seconds: rows_pace(rows, self._total, seconds))


class CountedProgress(_Shown):
    """Shows how many of a number of things are done; called with how many."""

    def __init__(self, name: str, total: int, things: str) -> None:
        """Start now: `name` is what goes on, of `total` things ("files")."""
        super().__init__(name)
        self._total, self._things = total, things

    def __call__(self, done: int) -> None:
        """So many of them are done; whatever is beyond the total is not told."""
        if 0 < done <= self._total:
            self.tell(lambda seconds: pace(done, self._total, seconds, self._things))


class StationsProgress(_Shown):
    """Shows how many stations are done; called with that and with how many there are."""

    def __call__(self, done: int, total: int) -> None:
        """So many of them are done."""
        self.tell(lambda seconds: pace(done, total, seconds, "stations"))


def reading_progress(paths: Sequence[str | Path]) -> Callable[[int], None] | None:
    """What is told the rows read of one log, None where nobody looks at standard error."""
    if not sys.stderr.isatty():
        return None
    return ReadingProgress(Path(paths[0]).name, expected_rows(paths))
