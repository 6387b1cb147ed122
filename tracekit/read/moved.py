"""Digitals moved to the time of what they do, by as much as the station file says that they are late."""

from dataclasses import replace

import numpy as np

from tracekit.read.clock import Samples, join


class Mover:
    """Gives samples of one station, in the order of time, the levels that were logged some time after them.

    At either end of a log, where nothing was logged at that time, the nearest level stands.
    """

    def __init__(self, late_s: float) -> None:
        """`late_s` is how late the digitals are, below 0 for early ones [s]."""
        self._late_s = late_s
        self._kept: Samples | None = None
        self._next = 0

    def feed(self, samples: Samples, *, last: bool = False) -> Samples:
        """The samples whose levels are known by now; the others are kept, the last ones given out too."""
        known = samples if self._kept is None else join([self._kept, samples])
        if len(known) == 0:
            return known
        wanted_s = known.time_s[self._next :] + self._late_s
        ready = len(wanted_s) if last else int(np.searchsorted(wanted_s, known.time_s[-1]))
        place = np.searchsorted(known.time_s, wanted_s[:ready] + _SAME_S, side="right") - 1
        out = known.take(slice(self._next, self._next + ready))
        out = replace(out, digital=known.digital[np.clip(place, 0, len(known) - 1)])
        stop = self._next + ready
        oldest_s = known.time_s[min(stop, len(known) - 1)] + min(self._late_s, 0.0)
        first = max(int(np.searchsorted(known.time_s, oldest_s, side="right")) - 1, 0)
        self._kept = known.take(slice(min(first, stop), None)).copy()
        self._next = stop - min(first, stop)
        return out


_SAME_S = 5e-6  # times that are the same may differ by what a shift is rounded to
