"""The values of one measure on both sides: which cycles enter, what is taken off, what all values of a side share."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.compare.measures import Measure
from tracekit.frozen import dataclass
from tracekit.model.comparison import Recording, Recordings
from tracekit.model.estimate import Bound, Estimate, Quantity
from tracekit.options.compare import CompareOptions

Floats = NDArray[np.float64]

_Z95 = 1.959964
_KNOWN_AMBIENT_KPA = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class SideValues:
    """Values of one side in order of time.

    values, weights   shape (n,)
    log               which recording each value comes from, shape (n,)
    parts             part type of each value, "" where not matched by one, shape (n,)
    common_low, common_high   standard uncertainties that all values share, in the measure's unit
    """

    values: Floats
    weights: Floats
    log: NDArray[np.int64]
    parts: NDArray[np.str_]
    common_low: float = 0.0
    common_high: float = 0.0

    def __len__(self) -> int:
        """Number of values."""
        return len(self.values)


def in_order(side: Recordings) -> Recordings:
    """Recordings by the time they started, where all of them know it; else as given."""
    if any(r.facts.start_time_us is None for r in side):
        return side
    return tuple(sorted(side, key=lambda r: r.facts.start_time_us or 0))


def side_values(measure: Measure, side: Recordings, match: tuple[str, ...]) -> SideValues:
    """The finite values of a measure over the recordings of a side, with their part types."""
    values, logs, parts = [], [], []
    for position, recording in enumerate(in_order(side)):
        column = _column(measure, recording)
        kept = np.isfinite(column) & _rows(measure, recording)
        values.append(column[kept])
        logs.append(np.full(int(kept.sum()), position, np.int64))
        parts.append(part_types(recording, match)[kept])
    joined = np.concatenate(values)
    return SideValues(
        values=joined, weights=np.ones(len(joined)), log=np.concatenate(logs), parts=np.concatenate(parts)
    )


def part_types(recording: Recording, match: tuple[str, ...]) -> NDArray[np.str_]:
    """What the columns `match` say about each cycle, joined, shape (n_cycles,); "" where there are none."""
    columns = [recording.cycles.texts(name) for name in match if name in recording.cycles.data]
    if not columns:
        return np.full(len(recording.cycles), "")
    return np.array([" ".join(t or "unknown" for t in row) for row in zip(*columns, strict=True)], np.str_)


def zero_of(side: Recordings) -> float:
    """Median idle reading of a side [kPa], NaN where it is not in the log."""
    idle = np.concatenate([r.cycles.floats("idle_vacuum_kpa") for r in side])
    return float(np.median(idle[np.isfinite(idle)])) if np.isfinite(idle).any() else float("nan")


def ambients_known(before: Recordings, after: Recordings) -> bool:
    """True where each side knows its own ambient pressure; one figure used for both sides is not known for each."""
    sides = [[r for r in side if r.ambient_u_kpa <= _KNOWN_AMBIENT_KPA] for side in (before, after)]
    if len(sides[0]) < len(before) or len(sides[1]) < len(after):
        return False
    measured = all("station file" not in r.ambient_source for side in sides for r in side)
    return measured or ambient_of_side(before) != ambient_of_side(after)


def ambient_of_side(side: Recordings) -> float:
    """Mean ambient pressure of a side [kPa]."""
    return float(np.mean([r.ambient_kpa for r in side]))


def adjust_zero(
    measure: Measure, sides: tuple[SideValues, SideValues], zeros: tuple[float, float], options: CompareOptions
) -> tuple[tuple[SideValues, SideValues], str]:
    """Both sides with their zeros taken off where they differ, and a note; a small difference becomes uncertainty."""
    apart = abs(zeros[1] - zeros[0])
    if not measure.zero or np.isnan(apart):
        return sides, ""
    if apart <= options.zero_differs_kpa:
        return (_shared(sides[0], apart / 2.0), _shared(sides[1], apart / 2.0)), ""
    moved = [replace(s, values=s.values - z) for s, z in zip(sides, zeros, strict=True)]
    return (moved[0], moved[1]), f"zeros of {zeros[0]:.2f} and {zeros[1]:.2f} kPa taken off"


def adjust_ambient(
    measure: Measure, sides: tuple[SideValues, SideValues], recordings: tuple[Recordings, Recordings],
    options: CompareOptions,
) -> tuple[tuple[SideValues, SideValues], str]:  # fmt: skip
    """AFTER carried to the ambient of BEFORE where both are known and differ; weather becomes uncertainty else."""
    if not (measure.leak or measure.depth) or min(len(s) for s in sides) == 0:
        return sides, ""
    power = options.flow_exponent if measure.leak else 1.0
    power_u = options.flow_exponent_u if measure.leak else 0.0
    ambients = ambient_of_side(recordings[0]), ambient_of_side(recordings[1])
    levels = [abs(float(np.median(s.values))) for s in sides]
    if not ambients_known(*recordings):
        share = power * options.weather_kpa / ambients[0]
        return (_shared(sides[0], share * levels[0]), _shared(sides[1], share * levels[1])), ""
    if abs(ambients[1] - ambients[0]) <= options.ambient_differs_kpa:
        share = power * abs(ambients[1] - ambients[0]) / ambients[0] / 2.0
        return (_shared(sides[0], share * levels[0]), _shared(sides[1], share * levels[1])), ""
    factor = (ambients[0] / ambients[1]) ** power
    doubt = abs(np.log(ambients[0] / ambients[1])) * power_u * levels[1]
    carried = replace(sides[1], values=sides[1].values * factor)
    note = f"AFTER carried from {ambients[1]:.1f} to {ambients[0]:.1f} kPa ambient, times {factor:.4f}"
    return (sides[0], _shared(carried, float(doubt))), note


def with_common(
    measure: Measure, side: SideValues, recordings: Recordings, options: CompareOptions
) -> SideValues:
    """The side with what all its cycles share: errors of the leak model, scatter between days."""
    if len(side) == 0:
        return side
    low, high = _leak_common(measure, in_order(recordings), side)
    day = _day_scatter(side, options)
    return _shared(side, day, low=low, high=high)


def leak_of(measure: Measure, recording: Recording) -> Quantity | None:
    """The log's own figure of a leak measure, None for other measures."""
    if measure.column == "decay_rate_kpa_s":
        return recording.leak
    return recording.leak_rate if measure.column == "leak_rate_pa_m3_s" else None


def _column(measure: Measure, recording: Recording) -> Floats:
    column = recording.cycles.floats(measure.column)
    if measure.resolution == "count":
        column = np.where(column < 0.0, np.nan, column)
    return np.abs(column) if measure.distance else column


def _rows(measure: Measure, recording: Recording) -> NDArray[np.bool_]:
    cycles = recording.cycles
    held = cycles.where("outcome", "held")
    if measure.rows == "held":
        return held
    dropped = cycles.where("outcome", "dropped")
    if measure.rows == "gripped":
        return held | dropped
    return held | dropped | cycles.where("outcome", "missed")


def _leak_common(measure: Measure, side: Recordings, values: SideValues) -> tuple[float, float]:
    """Standard uncertainties of the leak that do not shrink with n, the mean over recordings weighted by cycles."""
    low = high = 0.0
    for position, recording in enumerate(side):
        share = float(np.mean(values.log == position))
        quantity = leak_of(measure, recording)
        if measure.column == "decay_rate_kpa_s" and recording.leak_common_u is not None:
            low, high = low + share * recording.leak_common_u, high + share * recording.leak_common_u
        elif isinstance(quantity, Estimate):
            low += share * (quantity.value - quantity.lower) / _Z95
            high += share * (quantity.upper - quantity.value) / _Z95
        elif isinstance(quantity, Bound):
            median = float(np.median(values.values))
            if quantity.status == "lower_bound":
                low, high = low + share * max(0.0, median - quantity.limit) / _Z95, np.inf
            else:
                low, high = np.inf, high + share * max(0.0, quantity.limit - median) / _Z95
    return low, high


def _day_scatter(side: SideValues, options: CompareOptions) -> float:
    """Standard deviation of the side's level by days: assumed for few logs, as seen where three or more tell more."""
    from scipy.special import stdtrit

    logs = np.unique(side.log)
    assumed = options.day_share * abs(float(np.median(side.values))) / np.sqrt(len(logs))
    if len(logs) < 3:
        return float(assumed)
    medians = np.array([np.median(side.values[side.log == k]) for k in logs])
    spread = float(np.std(medians, ddof=1)) / np.sqrt(len(logs))
    return float(max(assumed, spread * stdtrit(len(logs) - 1, 0.975) / _Z95))


def _shared(side: SideValues, both: float, *, low: float = 0.0, high: float = 0.0) -> SideValues:
    """The side with further independent uncertainties that all values share."""
    return replace(
        side,
        common_low=float(np.sqrt(side.common_low**2 + both**2 + low**2)),
        common_high=float(np.sqrt(side.common_high**2 + both**2 + high**2)),
    )
