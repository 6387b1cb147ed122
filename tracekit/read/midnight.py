"""Times of day without a date that pass midnight, in one table or from one to the next."""

import math

import numpy as np
from numpy.typing import NDArray

from tracekit.options.read import ReadOptions
from tracekit.read.overlap import Part
from tracekit.read.timeplan import TimePlan

DAY_S = 86_400.0


def past_midnight(seconds: NDArray[np.float64], plan: TimePlan) -> NDArray[np.float64]:
    """Times of rows in order [s], shape (n,), a day later behind each midnight where they are clocks without a date."""
    if plan.kind != "stamp" or plan.dated or len(seconds) == 0:
        return seconds
    fallen = np.diff(seconds, prepend=seconds[0]) < -DAY_S / 2
    return seconds + DAY_S * np.cumsum(fallen) if fallen.any() else seconds


def on_a_later_day(seconds: NDArray[np.float64], least_s: float, plan: TimePlan) -> float:
    """The last of some times, as many days later as bring a clock without a date behind a time [s]."""
    end_s = float(seconds.max()) if len(seconds) else -math.inf
    clock = plan.kind == "stamp" and not plan.dated
    return end_s + DAY_S * max(math.ceil((least_s - end_s) / DAY_S), 0) if clock and len(seconds) else end_s


def goes_on_s(last: Part, part: Part, options: ReadOptions) -> float:
    """When a table begins behind another by the time of day of both [s]; minus infinity where that does not tell.

    One of them, or the stretch between them, passes midnight, and they lie no more than a usual pause apart.
    """
    clocks = all(p.plan.time.kind == "stamp" and not p.plan.time.dated for p in (last, part))
    if not clocks or not last.exact or any(p.falls and p.last_s < DAY_S for p in (last, part)):
        return -math.inf
    start_s = part.first_s + DAY_S * max(math.ceil((last.last_s - part.first_s) / DAY_S), 0)
    return start_s if last.last_s < start_s <= last.last_s + options.join_gap_s else -math.inf
