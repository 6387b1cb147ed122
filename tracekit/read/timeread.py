"""Time of all rows of a file: wraps mended, roundings spread."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from tracekit.options.read import ReadOptions
from tracekit.read.columns import Column, fetch
from tracekit.read.restarts import RESTART, restarts_before
from tracekit.read.rows import Rows
from tracekit.read.timeplan import TimePlan, raw_seconds, start_us

_COUNTER_BITS, _PAUSE_S = (16, 32), ReadOptions().restart_gap_s
_DAY_S, _HOUR_S = 86_400.0, 3_600.0


class TimeReader:
    """Reads the time of rows that come one piece after the other, as seconds from the first sound row."""

    def __init__(self, plan: TimePlan, columns: Mapping[str, Column]) -> None:
        """Follow a plan; `columns` tell how each column is written."""
        self._plan = plan
        self._columns = columns
        self._origin: tuple[int, float] | None = None
        self._row = 0
        self._last_s = np.nan
        self._shift_s = 0.0
        self._pause_s, self._told = 0.0, False
        self.steps: list[tuple[float, float]] = []
        self.restarts: list[tuple[float, float]] = []
        self.wraps = 0

    def read(self, rows: Rows) -> NDArray[np.float64]:
        """Seconds of some rows, NaN where a row has no time, shape (n,)."""
        plan = self._plan
        if plan.kind == "row":
            first, self._row = self._row, self._row + rows.count
            return np.arange(first, self._row, dtype=np.float64) * plan.unit_s + self._paused(rows)
        parts = [(fetch(rows.columns, self._columns[name]), self._columns[name]) for name in plan.columns]
        seconds, origin = raw_seconds(parts, plan, self._origin)
        counted = plan.kind == "number" and not plan.wraps
        if counted and self._origin is not None:
            return seconds
        sound = np.isfinite(seconds)
        if not sound.any():
            return seconds
        self._origin = origin
        if counted:
            return seconds
        if sound.all():
            return self._unwrapped(seconds)
        seconds[sound] = self._unwrapped(seconds[sound])
        return seconds

    def _paused(self, rows: Rows) -> NDArray[np.float64]:
        """Pauses so far, for rows that are counted: one where lines tell a restart [s], shape (n,)."""
        told = sum(r.rows for r in rows.rejected if r.reason == RESTART)
        if rows.count == 0:
            self._told |= told > 0
            return np.zeros(0)
        before = restarts_before(rows)
        begun = np.diff(before, prepend=0) > 0
        first = self._row - rows.count
        begun[0] = (begun[0] or self._told) and first > 0
        self._told = told > int(before[-1])
        pause_s = np.asarray(self._pause_s + np.cumsum(begun) * _PAUSE_S, np.float64)
        for row in np.flatnonzero(begun).tolist():
            last_s = (first + row - 1) * self._plan.unit_s + float(pause_s[row]) - _PAUSE_S
            self.restarts.append((last_s, self._plan.unit_s + _PAUSE_S))
        self._pause_s = float(pause_s[-1])
        return pause_s

    def _unwrapped(self, seconds: NDArray[np.float64]) -> NDArray[np.float64]:
        """Add what a counter or a clock lost when it started again."""
        last_s = self._last_s if np.isfinite(self._last_s) else seconds[0]
        steps = np.diff(seconds, prepend=last_s)
        self._last_s = float(seconds[-1])
        odd = self._lost(steps, seconds)
        if odd is None:
            return seconds + self._shift_s if self._shift_s else seconds
        shift = self._shift_s + np.cumsum(odd)
        self._shift_s = float(shift[-1])
        return seconds + shift

    def _lost(self, steps: NDArray[np.float64], seconds: NDArray[np.float64]) -> NDArray[np.float64] | None:
        plan = self._plan
        back = steps < 0
        near_s = max(50 * plan.typical_s, 0.05)
        if plan.kind == "number":
            if not back.any():
                return None
            lost = np.zeros(len(steps))
            for bits in _COUNTER_BITS:
                size_s = 2.0**bits * plan.unit_s
                lost[back & (steps + size_s >= 0) & (steps + size_s <= near_s)] = size_s
        elif not plan.dated:
            lost = np.where(back & (steps < -_DAY_S / 2), _DAY_S, 0.0)
        elif not plan.zoned:
            return self._summer_time(steps, seconds)
        else:
            return None
        self.wraps += int((lost > 0).sum())
        return lost if lost.any() else None

    def _summer_time(self, steps: NDArray[np.float64], seconds: NDArray[np.float64]) -> NDArray[np.float64] | None:
        """Take out one hour where a local clock was put forward by exactly that at a full hour."""
        slack_s = max(3 * self._plan.typical_s, 0.05) + self._plan.rounded_s
        jump = np.abs(steps - _HOUR_S - self._plan.typical_s) <= slack_s
        if not jump.any() or self._origin is None:
            return None
        clock_s = seconds + self._origin[0] / 1e9
        jump &= np.minimum(clock_s % _HOUR_S, _HOUR_S - clock_s % _HOUR_S) <= slack_s
        if not jump.any():
            return None
        at = seconds[jump] + self._shift_s - _HOUR_S
        self.steps.extend((float(t), _HOUR_S) for t in at)
        return np.where(jump, -_HOUR_S, 0.0)

    def start_time_us(self) -> int | None:
        """Unix time of second zero as the stamps tell it, zone left aside; None where they hold no date [µs]."""
        if self._plan.start_us is not None:
            return self._plan.start_us
        if self._origin is None or not self._plan.dated or self._plan.date_open:
            return None
        return start_us(self._plan, self._origin)


class Spreader:
    """Spreads rows that share a rounded stamp evenly over it; without rounding it changes nothing."""

    def __init__(self, plan: TimePlan) -> None:
        """Spread as the plan says.

        The first stamp may lack its first rows: they are left free, and times count from the first that is there.
        """
        self._rounded_s = plan.rounded_s
        self._typical_s = plan.typical_s
        self._stamp_s = np.nan
        self._lead_s = plan.lead_s
        self._count = round(plan.lead_s / plan.typical_s) if plan.lead_s > 0 else 0

    def spread(self, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Times of rows in order, shape (n,)."""
        if self._rounded_s == 0 or len(time_s) == 0:
            return time_s
        if np.isnan(self._stamp_s):
            self._stamp_s = float(time_s[0])
        begins = np.diff(time_s, prepend=self._stamp_s) != 0
        index = np.arange(len(time_s))
        nth = index - np.maximum.accumulate(np.where(begins, index, 0))
        nth[np.cumsum(begins) == 0] += self._count
        self._stamp_s, self._count = float(time_s[-1]), int(nth[-1]) + 1
        late_s = nth * self._typical_s
        room = int((self._rounded_s / self._typical_s) - 0.5)
        if nth.max() > room:  # more rows than a stamp has room for share what is left of it: none is lost
            over = np.maximum(nth - room, 0)
            last_s = room * self._typical_s
            late_s = np.where(over > 0, last_s + (self._rounded_s - last_s) * over / (over + 1), late_s)
        return np.asarray(time_s + (late_s - self._lead_s), np.float64)
