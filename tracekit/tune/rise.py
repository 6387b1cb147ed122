"""When each cycle's vacuum reaches a level: recorded crossings, carried on along the suction curve."""


import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.cycle import StationData

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_GAP_S = 0.1  # a release this soon after the last supply-off belongs to it


@dataclass(frozen=True, slots=True, kw_only=True)
class Rise:
    """Crossing times of some cycles.

    level     (m,) levels in rising order [kPa]
    time      (n, m) time from the supply command of the last try to that level [s], NaN where never reached
    ultimate  (n,) vacuum that the evacuation tends to [kPa]
    steep     (n,) time per unit of bent level over the last recorded stretch: the time constant there [s]
    """

    level: Floats
    time: Floats
    ultimate: Floats
    steep: Floats

    def at(self, levels: Floats) -> Floats:
        """Time to each of `levels` (k,), shape (n, k) [s]; infinite at and beyond the ultimate vacuum.

        Between crossings the curve is exponential towards the ultimate vacuum; beyond the last one it goes on with
        the time constant of the last stretch.
        """
        return np.stack([self._one(float(v)) for v in levels], axis=1)

    def speed(self, levels: Floats) -> Floats:
        """Speed of vacuum at each of `levels` (k,), shape (n, k) [kPa/s]; 0 at and beyond the ultimate vacuum."""
        with np.errstate(invalid="ignore", divide="ignore"):
            speed = 1.0 / (self.at(levels + 0.5) - self.at(levels - 0.5))
        return np.asarray(np.where(np.isfinite(speed), speed, 0.0))

    def last_level(self) -> Floats:
        """Highest level recorded per cycle, shape (n,) [kPa]; 0 where none."""
        return _last_level(self.level, self.time)

    def _one(self, level: float) -> Floats:
        before = self._knot(self.level <= level, last=True)
        after = self._knot(self.level > level, last=False)
        y = self._bend(np.full(len(self.ultimate), level))
        with np.errstate(invalid="ignore", divide="ignore"):
            inside = before[1] + (after[1] - before[1]) * (y - before[0]) / (after[0] - before[0])
            beyond = before[1] + self.steep * (y - before[0])
        out = np.where(np.isfinite(after[1]), inside, beyond)
        return np.asarray(np.where(level >= self.ultimate, np.inf, out))

    def _bend(self, level: Floats) -> Floats:
        """The level as a straight line sees it: −ln(1 − level/ultimate)."""
        return np.asarray(-np.log(np.maximum(1.0 - level / self.ultimate, 1e-9)))

    def _knot(self, among: NDArray[np.bool_], *, last: bool) -> tuple[Floats, Floats]:
        """Bent level and time of the nearest recorded crossing among some levels; the start of the rise stands in."""
        usable = np.isfinite(self.time) & among[None, :]
        index = usable.shape[1] - 1 - np.argmax(usable[:, ::-1], axis=1) if last else np.argmax(usable, axis=1)
        row = np.arange(len(index))
        found = usable[row, index] if usable.shape[1] else np.zeros(len(index), bool)
        level = np.where(found, self.level[index], 0.0)
        time = np.where(found, self.time[row, index], 0.0 if last else np.nan)
        return self._bend(level), time


def rise_of(data: StationData, rows: Ints) -> Rise:
    """Crossing times of the cycles `rows`, from the grid of levels, the set point and the first cut of the supply."""
    cycles = data.cycles
    point, off = (_setting(data, n) for n in ("set_point", "supply_off"))
    level, time = list(data.levels_kpa), [data.rise_s[rows, i] for i in range(len(data.levels_kpa))]
    if np.isfinite(point):
        level.append(point)
        time.append(cycles.floats("evacuation_time_s")[rows])
    if data.air_saving and np.isfinite(off):
        time = [np.where(v >= off, np.nan, t) for v, t in zip(level, time, strict=True)]
        level.append(off)
        time.append(_first_cut(data, rows))
    order = np.argsort(level, kind="stable")
    values = np.asarray(level, np.float64)[order]
    times = np.stack([time[i] for i in order], axis=1) if len(order) else np.zeros((len(rows), 0))
    ultimate, monotone = ultimates(data, rows), _monotone(times)
    return Rise(level=values, time=monotone, ultimate=ultimate, steep=_steep(values, monotone, ultimate))


def _first_cut(data: StationData, rows: Ints) -> Floats:
    """Supply command to the first supply-off before the release [s], NaN where there is none."""
    edges, start = data.edges, data.timing["try_s"]
    off = edges.where("signal", "supply") & (edges.codes("value") == 0)
    owner, time = edges.codes("cycle")[off], edges.floats("time_s")[off]
    release = data.timing["release_s"][owner]
    inside = (time > start[owner]) & ~(time > release - _GAP_S)
    first = np.full(len(data.cycles), np.inf)
    np.minimum.at(first, owner[inside], time[inside])
    return np.where(np.isfinite(first), first - start, np.nan)[rows]


def _last_level(level: Floats, time: Floats) -> Floats:
    return np.asarray(np.max(np.where(np.isfinite(time), level[None, :], 0.0), axis=1, initial=0.0))


def _steep(level: Floats, time: Floats, ultimate: Floats) -> Floats:
    """Time per unit of bent level over the last 12 kPa recorded, the median where a cycle shows too little [s]."""
    near = np.isfinite(time) & (level[None, :] >= _last_level(level, time)[:, None] - 12.0)
    bent = -np.log(np.maximum(1.0 - level[None, :] / ultimate[:, None], 1e-9))
    n = near.sum(axis=1)
    x, t = np.where(near, bent, 0.0), np.where(near, time, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean_x, mean_t = x.sum(axis=1) / n, t.sum(axis=1) / n
        dx = np.where(near, bent - mean_x[:, None], 0.0)
        slope = (dx * np.where(near, time - mean_t[:, None], 0.0)).sum(axis=1) / np.square(dx).sum(axis=1)
    good = (n >= 2) & np.isfinite(slope) & (slope > 0.0)
    usual = float(np.median(slope[good])) if good.any() else 0.1
    return np.asarray(np.where(good, slope, usual))


def _monotone(times: Floats) -> Floats:
    """Crossing times that never fall with rising level."""
    best = np.fmax.accumulate(times, axis=1) if times.size else times
    return np.asarray(np.where(np.isfinite(times), best, np.nan))


def ultimates(data: StationData, rows: Ints) -> Floats:
    """Where suction of each cycle tends [kPa], the usual place where a cycle shows none; always above the cycle's peak.

    However far past the recorded vacuum: good for the times of a rise, not for what can be reached.
    """
    ultimate = data.timing.get("tends_to_kpa", data.cycles.floats("ultimate_vacuum_kpa"))[rows]
    peak = data.cycles.floats("peak_vacuum_kpa")[rows]
    usual = np.nanmedian(ultimate) if np.isfinite(ultimate).any() else np.nanmax(peak, initial=0.0) * 1.05
    value = np.where(np.isfinite(ultimate), ultimate, usual)
    return np.asarray(np.maximum(value, np.nan_to_num(peak) + 0.3))


def _setting(data: StationData, name: str) -> float:
    found = data.settings.get(name)
    return float("nan") if found is None or found.value_kpa is None else found.value_kpa
