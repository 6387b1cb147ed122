"""A measure's logs made ready for a trend: on an even scale, recorded influences taken out, cut at steps."""


import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.history.adjust import Adjusted, adjust
from tracekit.history.collect import Followed, StationHistory
from tracekit.history.measures import floor_on_scale
from tracekit.history.steps import Segmented, find_steps
from tracekit.model.trend import EXACT, LOWER_BOUND, TrendMeasure
from tracekit.options.history import TrendOptions

_DAY_US = 86_400_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepared:
    """A measure's logs ready for a trend; arrays of shape (n_logs,) of the logs that have it.

    days    since the station's first log
    level   on the scale where scatter is even, recorded influences taken out
    value   the same in the measure's unit
    """

    measure: TrendMeasure
    time_us: NDArray[np.int64]
    days: NDArray[np.float64]
    level: NDArray[np.float64]
    value: NDArray[np.float64]
    floor: float
    adjusted: Adjusted
    use: NDArray[np.bool_]
    followed: Followed
    cut: Segmented


def prepare(
    history: StationHistory, measure: TrendMeasure, noted_us: tuple[tuple[int, int], ...], options: TrendOptions
) -> Prepared | None:
    """The measure's series with its steps; None where no log has it. `noted_us` are (from, to) of the noted events."""
    followed = history.followed.get(measure.name)
    if followed is None or not np.isfinite(followed.value).any():
        return None
    days = (history.start_us - history.start_us[0]) / _DAY_US
    adjusted = adjust(history, measure, followed, options.season)
    use = np.isfinite(adjusted.level) & _informative(followed)
    if not use.any():
        return None
    level = adjusted.level[use]
    floor = floor_on_scale(measure, followed.n[use])
    time_us = history.start_us[use]
    noted = tuple(sorted({i for span in noted_us for i in indices_after(time_us, span) if 0 < i < len(time_us)}))
    return Prepared(
        measure=measure, time_us=time_us, days=days[use], level=level, value=_in_unit(measure, level, followed, use),
        floor=floor, adjusted=adjusted, use=use, followed=followed,
        cut=find_steps(days[use], level, floor, options, noted),
    )  # fmt: skip


def _informative(followed: Followed) -> NDArray[np.bool_]:
    """Exact values, and bounds that say something: a lower bound above, an upper bound below the usual level."""
    exact = followed.bound == EXACT
    known = followed.value[exact & np.isfinite(followed.value)]
    usual = float(np.median(known)) if known.size else 0.0
    low = (followed.bound == LOWER_BOUND) & (followed.value > usual)
    high = (followed.bound != EXACT) & (followed.bound != LOWER_BOUND) & (followed.value < usual)
    return np.asarray(np.isfinite(followed.value) & (exact | low | high), np.bool_)


def indices_after(time_us: NDArray[np.int64], span: tuple[int, int]) -> set[int]:
    """Possible indices of the first log after an event that happened within the span."""
    first, last = np.searchsorted(time_us, span)
    return set(range(int(first), min(int(last), int(first) + 3) + 1))


def _in_unit(
    measure: TrendMeasure, level: NDArray[np.float64], followed: Followed, use: NDArray[np.bool_]
) -> NDArray[np.float64]:
    if measure.scale == "log":
        return np.exp(level)
    return level if measure.scale == "linear" else followed.value[use]
