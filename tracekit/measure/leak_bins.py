"""The bins of a station's cycles as the leak estimator needs them: absolute pressure, coasts, distances to events."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.cycle import StationData
from tracekit.options.leak import LeakOptions
from tracekit.signal.segments import range_index
from tracekit.signal.standing import standing

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

LOWEST_KPA = 1.0
CLIPPED_SHARE = 0.02
OF_BINS = (
    "time_s", "pressure_kpa", "log_pressure", "samples", "step_s", "free", "coast", "since_cut_s", "since_present_s",
    "until_end_s", "clipped", "stepped", "boost",
)  # fmt: skip
"""Fields of a history that hold one value per bin and do not change when cycles are left out."""
FEWEST_BINS = 30
"""Fewest bins whose scatter tells more than the samples' noise."""
NORMAL_MEDIAN = 0.6745
"""Median of the absolute value of a standard normal variable."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Timeline:
    """What is needed of every cycle of the log, shape (n_cycles,); NaN where unknown.

    zero_kpa     sensor's zero as vacuum, smoothed over cycles [kPa]
    present_s    part present first on, else set point reached, at the earliest where edges come late [s]
    end_s        end of the hold: drop, last supply-off or release command, whatever comes first, likewise [s]
    floor_kpa    a vacuum below this is a loss of grip [kPa]
    rated        held or dropped, with at least one coast, and a reading that moves
    held         outcome held, likewise: that a stuck reading shows no decay tells nothing of how large it is
    """

    zero_kpa: Floats
    present_s: Floats
    end_s: Floats
    floor_kpa: Floats
    rated: Bools
    held: Bools
    coasts: Ints


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """Bins of some cycles, from supply-on to the end of the last coast, sorted by time, shape (n_bins,).

    rows             (n_chosen,) rows of the cycles table, ascending
    cycle            place in `rows`
    pressure_kpa     absolute pressure [kPa]
    log_pressure     u = ln(P/p_a) [unitless]
    step_s           time since the bin before in the same cycle [s]
    free             gas flows through or rests: it has the temperature of the ambient and no memory
    coast            number of the coast, -1 outside coasts
    since_cut_s      time since the supply was cut [s], in coasts
    since_present_s  time since part present came on [s]
    until_end_s      time until the end of the hold or a loss of grip [s]
    clipped          the sensor's range may cut the reading, or the coast may be over already where edges come late
    stepped          the pressure steps up in mid-coast, as lips open for a moment
    boost            factor on the wall exchange by which cold gas takes heat faster [unitless]
    """

    rows: Ints
    cycle: Ints
    time_s: Floats
    pressure_kpa: Floats
    log_pressure: Floats
    samples: Floats
    step_s: Floats
    free: Bools
    coast: Ints
    since_cut_s: Floats
    since_present_s: Floats
    until_end_s: Floats
    clipped: Bools
    stepped: Bools
    boost: Floats
    ambient_kpa: float

    @property
    def coasts(self) -> int:
        """Number of coasts."""
        return int(self.coast.max(initial=-1)) + 1


def timeline(data: StationData, options: LeakOptions) -> Timeline:
    """Facts of every cycle, from the tables."""
    cycles = data.cycles
    n = len(cycles)
    on = _first_edge(data, "part_present", n)
    release = _first_edge(data, "release", n)
    held, dropped = cycles.where("outcome", "held"), cycles.where("outcome", "dropped")
    moves = ~_standing(data)
    coasts = np.bincount(data.periods.codes("cycle")[data.periods.where("kind", "coast")], minlength=n)
    return Timeline(
        zero_kpa=_zero(zero_readings(cycles.floats("idle_vacuum_kpa"), options), options.zero_cycles),
        present_s=np.where(np.isfinite(on), on, cycles.floats("hold_start_s")) - data.late_s,
        end_s=np.fmin(np.fmin(cycles.floats("hold_end_s"), release), cycles.floats("end_s")) - data.late_s,
        floor_kpa=_floor(data, options),
        rated=(held | dropped) & (coasts > 0) & moves,
        held=held & moves,
        coasts=coasts.astype(np.int64),
    )


def _standing(data: StationData) -> Bools:
    """Cycles whose reading does not move: their coasts show no decay, whatever leaks."""
    if len(data.reading_range_kpa) != len(data.cycles):
        return np.zeros(len(data.cycles), np.bool_)
    return standing(data.reading_range_kpa, data.sensor.quantisation_kpa)


def _first_edge(data: StationData, signal: str, n: int) -> Floats:
    """First time in each cycle at which a digital comes on, NaN where it does not."""
    edges = data.edges
    on = edges.where("signal", signal) & (edges.codes("value") == 1) & (edges.codes("cycle") >= 0)
    first = np.full(n, np.nan)
    first[edges.codes("cycle")[on][::-1]] = edges.floats("time_s")[on][::-1]
    return first


def zero_readings(idle_kpa: Floats, options: LeakOptions) -> Floats:
    """Idle readings that may be the sensor's zero, NaN elsewhere.

    A part that hangs on after a weak release leaves vacuum in the idle reading; that is no zero.
    """
    return np.where(np.abs(idle_kpa) <= options.zero_most_kpa, idle_kpa, np.nan)


def _zero(idle_kpa: Floats, width: int) -> Floats:
    """Zero smoothed by a running median over `width` cycles; 0 where no cycle has one."""
    known = np.isfinite(idle_kpa)
    if not known.any():
        return np.zeros(len(idle_kpa))
    filled = np.interp(np.arange(len(idle_kpa)), np.flatnonzero(known), idle_kpa[known])
    padded = np.pad(filled, width // 2, mode="edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=1), np.float64)


def _floor(data: StationData, options: LeakOptions) -> Floats:
    """Vacuum below which the grip counts as lost, per cycle."""
    reset, off = (np.asarray(data.cycle_settings[k], np.float64) for k in ("reset_point", "supply_off"))
    floor = np.where(np.isfinite(reset), options.lost_share * reset, 0.6 * off)
    return np.where(np.isfinite(floor), floor, 0.0)


def gather(data: StationData, line: Timeline, chosen: Bools) -> History:
    """The bins of the chosen cycles (mask over cycles), with everything that the fits ask of them."""
    bins, rows = data.bins, np.flatnonzero(chosen)
    keep = _remembered(data, rows)
    period = bins.period[keep].astype(np.int64)
    cycle, time = bins.cycle[keep].astype(np.int64), bins.time_s[keep]
    coasting, free = _kinds(data, period)
    opens = np.concatenate([[True], period[1:] != period[:-1]])
    over = (time > data.periods.floats("end_s")[period] - data.late_s) if data.late_s else np.zeros(len(time), bool)
    first = np.concatenate([[True], cycle[1:] != cycle[:-1]])
    pressure = np.maximum(data.ambient_kpa + bins.pressure_kpa[keep] + line.zero_kpa[cycle], LOWEST_KPA)
    return History(
        rows=rows,
        cycle=(np.cumsum(chosen) - 1)[cycle],
        time_s=time,
        pressure_kpa=pressure,
        log_pressure=np.log(pressure / data.ambient_kpa),
        samples=bins.samples[keep].astype(np.float64),
        step_s=np.where(first, 0.0, np.diff(time, prepend=time[:1])),
        free=free | first,
        coast=np.where(coasting, np.cumsum(coasting & opens) - 1, -1),
        since_cut_s=_told(time - data.periods.floats("start_s")[period]),
        since_present_s=_told(time - line.present_s[cycle]),
        until_end_s=_told(
            _end(cycle, time, coasting & (data.ambient_kpa - pressure < line.floor_kpa[cycle]), line) - time
        ),
        clipped=_clipped(data, bins.pressure_kpa[keep]) | over,
        stepped=np.zeros(len(time), bool),
        boost=np.ones(len(time)),
        ambient_kpa=data.ambient_kpa,
    )


def only(history: History, chosen: Bools) -> History:
    """The bins of some of a history's cycles, mask over its rows, shape (n_chosen,)."""
    kept = chosen[history.cycle]
    return replace(
        history, rows=history.rows[chosen], cycle=(np.cumsum(chosen) - 1)[history.cycle[kept]],
        **{name: getattr(history, name)[kept] for name in OF_BINS},
    )  # fmt: skip


def _told(distance_s: Floats) -> Floats:
    """Distances between times, without the last bits of the times: a window must not begin by them."""
    return np.round(distance_s, 7)


def _kinds(data: StationData, period: Ints) -> tuple[Bools, Bools]:
    """Per bin whether it belongs to a coast, and whether its gas flows through or rests, from its period."""
    kind, names = data.periods.codes("kind")[period], data.periods.categories["kind"]
    resting = [names.index(k) for k in ("idle", "open", "release") if k in names]
    return np.asarray(kind == names.index("coast")), np.isin(kind, resting)


def _remembered(data: StationData, rows: Ints) -> Ints:
    """Bins of the chosen cycles that a coast can depend on: where gas flows or rests, only the last before others."""
    bins = data.bins
    if not len(rows):
        return rows
    row = rows.astype(bins.cycle.dtype)
    here, _ = range_index(np.searchsorted(bins.cycle, row, "left"), np.searchsorted(bins.cycle, row, "right"))
    _, free = _kinds(data, bins.period[here].astype(np.int64))
    cycle = bins.cycle[here]
    same = np.append(cycle[1:] == cycle[:-1], False)
    return np.asarray(here[~free | (same & np.append(~free[1:], False))])


def _clipped(data: StationData, pressure_kpa: Floats) -> Bools:
    """Bins whose readings may lie at the end of the sensor's range, where a log shows such an end."""
    sensor = data.sensor
    if sensor.clipped_low_share < CLIPPED_SHARE:
        return np.zeros(len(pressure_kpa), bool)
    return np.asarray(pressure_kpa < sensor.range_low_kpa + max(sensor.quantisation_kpa, 2.0 * sensor.noise_kpa, 0.05))


def _end(cycle: Ints, time: Floats, lost: Bools, line: Timeline) -> Floats:
    """End of the hold per bin, or the time at which the vacuum in a coast is lost, whatever comes first."""
    end = np.where(np.isfinite(line.end_s), line.end_s, np.inf)
    end[cycle[lost][::-1]] = np.fmin(end[cycle[lost][::-1]], time[lost][::-1])
    return np.asarray(end[cycle])


def break_at_falls(history: History, cut_s: float, bin_noise_kpa: Floats) -> History:
    """The same history with the time since the cut counted anew wherever the pressure falls inside a coast.

    A coast's pressure can only rise. Where it falls by more than noise (`bin_noise_kpa`, shape (n_bins,)), the supply
    came on for a time too short for the recorder. Noise that is not white leaves more in a bin's mean than the samples'
    noise says, and a coast cut at its lowest readings would rise from there: the bins' own scatter counts too.
    """
    fall = -np.diff(history.pressure_kpa, prepend=history.pressure_kpa[:1])
    same = np.diff(history.coast, prepend=-2) == 0
    more = scatter_of(history, (history.coast >= 0) & (history.since_cut_s > cut_s), bin_noise_kpa)
    limit = 5.0 * more * np.hypot(bin_noise_kpa, np.concatenate([bin_noise_kpa[:1], bin_noise_kpa[:-1]]))
    fell = same & (history.coast >= 0) & (history.since_cut_s > cut_s) & (fall > limit)
    if not fell.any():
        return history
    last = np.maximum.accumulate(np.where(fell, np.arange(len(fell)), -1))
    within = (last >= 0) & (history.coast[last] == history.coast)
    since = np.where(within, history.time_s - history.time_s[last], history.since_cut_s)
    return replace(history, since_cut_s=np.minimum(since, history.since_cut_s))


def scatter_of(history: History, use: Bools, bin_noise_kpa: Floats) -> float:
    """Scatter of the bins' means by their second differences, over what their noise says; at least 1."""
    inside = np.flatnonzero(use[2:] & use[:-2] & (history.coast[2:] == history.coast[:-2])) + 1
    if len(inside) < FEWEST_BINS:
        return 1.0
    p, var = history.pressure_kpa, np.square(bin_noise_kpa)
    bend = p[inside + 1] - 2.0 * p[inside] + p[inside - 1]
    sigma = np.sqrt(var[inside + 1] + 4.0 * var[inside] + var[inside - 1])
    return max(1.0, float(np.median(np.abs(bend) / sigma)) / NORMAL_MEDIAN)


def cut_delay_s(history: History, interval_s: float, options: LeakOptions) -> float:
    """From the supply-off command to where a coast is a coast: the pooled pressure minimum and a settling time.

    The pressure goes on falling after the command until valve and generator have stopped, in 10–60 ms, and until a slow
    sensor has followed. What has settled for longer than that goes on settling for half as long again.
    """
    width = max(0.010, interval_s)
    early = (history.coast >= 0) & (history.since_cut_s < options.settle_most_s)
    coast, pressure = history.coast[early], history.pressure_kpa[early]
    start = np.full(history.coasts, np.nan)
    start[coast[::-1]] = pressure[::-1]
    place, ends = _places((history.since_cut_s[early] / width).astype(np.int64), 0.5 * history.coasts)
    if not len(ends):
        return width + max(options.settle_s, options.settle_samples * interval_s)
    fall = pressure - start[coast]
    middle = np.array([np.median(fall[place == k]) for k in range(len(ends))])
    # what falls again after it has risen is a recharge that the recorder missed
    risen = np.flatnonzero(middle > np.minimum.accumulate(middle) + options.settle_rise_kpa)
    lowest = float(ends[int(np.argmin(middle[: risen[0]] if len(risen) else middle))]) * width
    more = options.settle_share * max(lowest - options.settle_usual_s, 0.0)
    return lowest + more + max(options.settle_s, options.settle_samples * interval_s)


def _places(place: Ints, least: float) -> tuple[Ints, Ints]:
    """Places of bins joined with those after them until each holds more than `least`, and where each ends.

    Bins grow longer along a coast, so that late places are met by a few coasts only. What is left at the end is
    numbered beyond the last.
    """
    count, label, ends, held = np.bincount(place), [], list[int](), 0
    for number, many in enumerate(count.tolist()):
        label.append(len(ends))
        held += many
        if held > least:
            ends.append(number + 1)
            held = 0
    return np.array(label, np.int64)[place], np.array(ends, np.int64)
