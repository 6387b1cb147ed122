"""Keeps time rising: strays, duplicates, steps of the clock, gaps."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.options.read import ReadOptions
from tracekit.read.tally import Losses

DOUBLE, STRAY = "same time as the row before", "time goes back and returns"
_ROUNDED = 1e-6
"""Of a gap: times that are moved are rounded anew, and a step must not be a gap in one piece and none in another."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Samples:
    """Samples of one station on their way to a block; all arrays have shape (n,), `context` has one per column."""

    time_s: NDArray[np.float64]
    pressure_kpa: NDArray[np.float64]
    digital: NDArray[np.uint8]
    lines: NDArray[np.int64]
    context: tuple[NDArray[np.int32], ...] = ()

    def __len__(self) -> int:
        """Number of samples."""
        return len(self.time_s)

    def take(self, index: NDArray[np.int64] | NDArray[np.bool_] | slice) -> "Samples":
        """Some of the samples."""
        return Samples(
            time_s=self.time_s[index],
            pressure_kpa=self.pressure_kpa[index],
            digital=self.digital[index],
            lines=self.lines[index],
            context=tuple(c[index] for c in self.context),
        )

    def copy(self) -> "Samples":
        """The same in memory of their own."""
        return Samples(
            time_s=self.time_s.copy(),
            pressure_kpa=self.pressure_kpa.copy(),
            digital=self.digital.copy(),
            lines=self.lines.copy(),
            context=tuple(c.copy() for c in self.context),
        )


def join(parts: list[Samples]) -> Samples:
    """One stretch after the other."""
    if len(parts) == 1:
        return parts[0]
    return Samples(
        time_s=np.concatenate([p.time_s for p in parts]),
        pressure_kpa=np.concatenate([p.pressure_kpa for p in parts]),
        digital=np.concatenate([p.digital for p in parts]),
        lines=np.concatenate([p.lines for p in parts]),
        context=tuple(np.concatenate(c) for c in zip(*(p.context for p in parts), strict=True)),
    )


class Recent:
    """The last rows, against which rows that are written twice are held."""

    def __init__(self, options: ReadOptions) -> None:
        """None yet."""
        self._most, self._strays = options.copied_rows, options.stray_rows
        self._parts: list[Samples] = []

    def add(self, part: Samples) -> None:
        """Keep rows, and let go of those before the last ones.

        The last part stays as it came: most are long enough to stand alone, and then none is copied.
        """
        self._parts.append(part.take(slice(max(len(part) - self._most, 0), None)))
        while len(self._parts) > 1 and sum(map(len, self._parts[1:])) >= self._most:
            self._parts.pop(0)
        if len(self._parts) > 1:  # the rest of what it came with is to be forgotten
            self._parts[-2] = self._parts[-2].copy()

    def copied(self, samples: Samples, starts: NDArray[np.int64], stops: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Which stretches, longer than strays, hold rows that were all written before: same time, same readings."""
        found = np.zeros(len(starts), np.bool_)
        for k in np.nonzero(stops - starts > self._strays)[0].tolist():
            run = slice(int(starts[k]), int(stops[k]))
            if run.stop - run.start > self._most:
                break
            earlier = join([*self._parts, samples.take(slice(max(run.start - self._most, 0), run.start))])
            found[k] = _all_among(samples.take(run), earlier.take(slice(max(len(earlier) - self._most, 0), None)))
            if not found[k]:
                break  # here the clock was set, and what comes after is looked at from there
        return found


class Clock:
    """Puts the samples of one station into rising time, in the order in which they come.

    A few rows whose time jumps and returns are strays and are rejected, rows with the time of the row before are
    duplicates and are rejected too, and so are stretches of rows that were written before, to the last digit. Where
    time goes back for good the clock was set: later times are moved so that
    the samples continue one interval after the last, and the step is kept; where it starts again near its first value
    a pause is assumed, and `restarts` tells after which time and how long a pause [s]. The result does not depend on
    the pieces in which the samples arrive.
    """

    def __init__(self, typical_s: float, options: ReadOptions) -> None:
        """Expect an interval of `typical_s` [s]."""
        self._typical_s = typical_s
        self._options = options
        self._gap_s = options.gap_factor * typical_s
        self._reach = 2 * options.stray_rows + 3  # strays, those that show them to be such, and the one before them
        self._shift_s = 0.0
        self._last_s = -np.inf
        self._first_s = np.nan
        self._held: list[Samples] = []
        self._recent = Recent(options)
        self.gaps: list[tuple[float, float]] = []
        self.more_gaps = 0
        self.steps: list[tuple[float, float]] = []
        self.restarts: list[tuple[float, float]] = []
        self.losses = Losses(options.lines_kept)

    def feed(self, samples: Samples, *, last: bool = False) -> Samples:
        """The next samples in rising time; a few rows may be held back until more are known, `last` releases them."""
        samples, self._held = join([*self._held, samples]) if self._held else samples, []
        if len(samples) == 0:
            return samples
        if np.isnan(self._first_s):
            self._first_s = float(samples.time_s[0])
        if self._goes_on(samples.time_s):
            self._last_s = float(samples.time_s[-1])
            self._recent.add(samples)
            return samples
        if not last:
            samples = self._hold_doubtful_end(samples)
        done = []
        while len(samples):
            part, samples = self._next_stretch(samples, last=last)
            self._note(part.time_s)
            self._recent.add(part)
            done.append(part)
        return join(done) if done else samples

    def _goes_on(self, time_s: NDArray[np.float64]) -> bool:
        """True for times in which there is nothing to look at: all rise, none by a gap. Most pieces are such."""
        begun = np.isfinite(self._last_s)
        if self._shift_s or (not begun and len(time_s) <= self._reach + 1):
            return False
        longest = (1.0 - _ROUNDED) * self._gap_s
        if begun and not 0.0 < time_s[0] - self._last_s <= longest:
            return False
        steps = time_s[1:] - time_s[:-1]
        return not len(steps) or bool(steps.min() > 0.0 and steps.max() <= longest)

    def _hold_doubtful_end(self, samples: Samples) -> Samples:
        """Keep back the last rows where one of them jumps ahead: it may be a stray.

        Strays, and the rows that show them to be such, are at most `stray_rows` each, and one row before them tells
        where time left its course. Where no row jumps none is kept back: all that comes would have to be put behind it.
        """
        reach = self._reach
        cut = len(samples) - 1
        if not len(self._jumps(samples.time_s[max(cut - reach, 0) :], before=cut <= reach)):
            return samples
        for row in self._jumps(samples.time_s, before=True)[::-1].tolist():
            if cut - row >= reach:
                break
            cut = max(row - 1, 0)
        self._held = [samples.take(slice(cut, None))]
        return samples.take(slice(0, cut))

    def _jumps(self, time_s: NDArray[np.float64], *, before: bool) -> NDArray[np.int64]:
        """Rows that come a gap after the one before them, ascending; with `before` the first one may be such a row."""
        steps = np.diff(time_s, prepend=self._last_s - self._shift_s if before else time_s[0])
        return np.flatnonzero(steps > (1.0 - _ROUNDED) * self._gap_s)

    def _next_stretch(self, samples: Samples, *, last: bool) -> tuple[Samples, Samples]:
        """Samples up to the next step of the clock, mended, and the rest."""
        time_s = samples.time_s + self._shift_s if self._shift_s else samples.time_s
        low = _not_rising(time_s, self._last_s)
        if not low.any():
            return replace(samples, time_s=time_s), samples.take(slice(0, 0))
        starts, stops = _runs(low)
        copied = self._recent.copied(replace(samples, time_s=time_s), starts, stops)
        long = (stops - starts > self._options.stray_rows) & ~copied
        if stops[-1] == len(time_s) and not long[-1] and not last:
            self._held = [samples.take(slice(int(starts[-1]), None)), *self._held]
            if starts[-1] == 0:
                return samples.take(slice(0, 0)), samples.take(slice(0, 0))
            return self._next_stretch(samples.take(slice(0, int(starts[-1]))), last=last)
        step = self._first_step(time_s, starts[long], stops[long])
        stop = len(time_s) if step is None else step
        double = _within(starts[copied], stops[copied], len(time_s))
        self._reject(samples.lines[:stop], time_s[:stop], low[:stop], double[:stop])
        keep = ~low[:stop]
        if step is not None:
            keep = self._drop_ahead(samples.lines, time_s, keep, step)
        part = replace(samples.take(slice(0, stop)), time_s=time_s[:stop]).take(keep)
        if step is not None:
            self._set_back(float(time_s[step]), float(part.time_s[-1]) if len(part) else self._last_s)
        return part, samples.take(slice(stop, None))

    def _first_step(
        self, time_s: NDArray[np.float64], starts: NDArray[np.int64], stops: NDArray[np.int64]
    ) -> int | None:
        """Row at which the clock was set back: the first really lower one of a long run of rows that do not rise."""
        if len(self.steps) >= self._options.max_clock_steps:
            return None
        for start, stop in zip(starts.tolist(), stops.tolist(), strict=True):
            highest = float(time_s[:start].max()) if start else self._last_s
            lower = np.nonzero(time_s[start:stop] < max(highest, self._last_s))[0]
            if len(lower):
                return int(start + lower[0])
        return None

    def _drop_ahead(
        self, lines: NDArray[np.int64], time_s: NDArray[np.float64], keep: NDArray[np.bool_], step: int
    ) -> NDArray[np.bool_]:
        """Where a few rows before the step ran ahead and the step returns to where they left, they are the strays."""
        kept = np.nonzero(keep)[0]
        for count in range(1, min(self._options.stray_rows, len(kept)) + 1):
            before = float(time_s[kept[-count - 1]]) if count < len(kept) else self._last_s
            jumped = time_s[kept[-count]] - before > self._gap_s
            if jumped and before < time_s[step] <= before + self._gap_s + (count + 1) * self._typical_s:
                self.losses.add(STRAY, lines[kept[-count:]])
                keep = keep.copy()
                keep[kept[-count:]] = False
                break
        return keep

    def _set_back(self, time_s: float, highest_s: float) -> None:
        """Move all later times so that they go on after `highest_s`, unless they do so by themselves."""
        if time_s > highest_s:
            return
        pause = self._typical_s
        if abs(time_s - self._shift_s - self._first_s) < max(1.0, 10 * self._typical_s):
            pause += self._options.restart_gap_s
            self.restarts.append((highest_s, pause))
        step = time_s - highest_s - pause
        self._shift_s -= step
        self.steps.append((highest_s + pause, step))

    def _reject(
        self,
        lines: NDArray[np.int64],
        time_s: NDArray[np.float64],
        low: NDArray[np.bool_],
        copied: NDArray[np.bool_],
    ) -> None:
        top = np.maximum.accumulate(np.concatenate([[self._last_s], time_s]))[:-1]
        double = (time_s == top) | copied
        self.losses.add(DOUBLE, lines[low & double])
        self.losses.add(STRAY, lines[low & ~double])

    def _note(self, time_s: NDArray[np.float64]) -> None:
        """Remember the last time and the gaps."""
        if len(time_s) == 0:
            return
        if self._gap_s > 0:
            if np.isfinite(self._last_s) and time_s[0] - self._last_s > self._gap_s:
                self.gaps.append((self._last_s, float(time_s[0])))
            wide = np.nonzero(time_s[1:] - time_s[:-1] > self._gap_s)[0]
            room = max(self._options.max_gaps - len(self.gaps), 0)
            self.gaps.extend((float(time_s[i]), float(time_s[i + 1])) for i in wide[:room])
            self.more_gaps += max(len(wide) - room, 0)
        self._last_s = float(time_s[-1])


def _not_rising(time_s: NDArray[np.float64], last_s: float) -> NDArray[np.bool_]:
    """True in rows whose time is not above all times before them, of which `last_s` is the highest."""
    low = np.empty(len(time_s), np.bool_)
    low[0] = time_s[0] <= last_s
    np.less_equal(time_s[1:], time_s[:-1], out=low[1:])
    if not low.any():
        return low
    top = np.maximum.accumulate(np.concatenate([[last_s], time_s[:-1]]))
    return time_s <= top


def _all_among(rows: Samples, earlier: Samples) -> bool:
    """True where each of some rows is one of earlier ones."""
    order = np.argsort(earlier.time_s, kind="stable")
    if len(order) == 0:
        return False
    place = np.minimum(np.searchsorted(earlier.time_s[order], rows.time_s), len(order) - 1)
    same = earlier.take(order[place])
    alike = (same.time_s == rows.time_s) & (same.digital == rows.digital)
    missing = np.isnan(same.pressure_kpa) & np.isnan(rows.pressure_kpa)
    return bool((alike & ((same.pressure_kpa == rows.pressure_kpa) | missing)).all())


def _within(starts: NDArray[np.int64], stops: NDArray[np.int64], count: int) -> NDArray[np.bool_]:
    """True in some stretches of `count` rows."""
    edges = np.zeros(count + 1, np.int64)
    edges[starts] += 1
    edges[stops] -= 1
    return np.asarray(np.cumsum(edges)[:-1] > 0, np.bool_)


def _runs(mask: NDArray[np.bool_]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Starts and stops (half open) of the stretches in which a mask is true."""
    edges = np.diff(np.concatenate([[0], mask.view(np.int8), [0]]))
    return np.nonzero(edges == 1)[0], np.nonzero(edges == -1)[0]
