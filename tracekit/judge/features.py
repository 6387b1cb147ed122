"""What the ranking looks at: one number per cycle and measure, the same for a log and its baseline."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.judge.motion import late_fall_kpa
from tracekit.judge.sawtooth import with_fast_falls
from tracekit.model.cycle import Bins, StationData
from tracekit.model.result import LeakResult
from tracekit.options.judge import JudgeOptions
from tracekit.options.measure import MeasureOptions
from tracekit.signal.bands import Bands, choose_bands
from tracekit.signal.pieces import whole_runs
from tracekit.signal.range_end import cut_cycles

__all__ = ["Bands", "Features", "choose_bands", "make_features"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
_ENOUGH = 8
"""Cycles from which on a spread is worth anything."""
_STEADY_REST = 0.3
"""A vacuum that decays keeps its relative spread; a reading with less than this share of it is no rest of it."""


_LEFT_KPA = 0.3
"""Vacuum left at the end of the release command that is no noise (common practice, no source)."""
_ZERO_MOST_KPA = 15.0
"""A reading at rest above it is vacuum that is left, not the zero of a sensor (common practice, no source)."""
AT_THE_TOP = (
    "ultimate", "ultimate_fit", "ultimate_any", "extrapolated", "start", "fast_fall", "overshoot", "run_on", "dip",
    "peak", "noise",
)  # fmt: skip
"""Measures taken where vacuum is deepest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Features:
    """Per-cycle measures by name, arrays of shape (n_cycles,), NaN where a cycle does not show them.

    floor is the smallest difference that the recording can show in each, from sampling and quantisation.
    at_least marks blow-offs that the end of the command cut short: they took at least so long.
    decay_noise is the standard deviation of `decay` by noise alone, NaN where not known [kPa/s].
    decay_doubt is the standard uncertainty that all rates of the log share [kPa/s].
    """

    values: Mapping[str, Floats]
    floor: Mapping[str, float]
    held: Bools
    at_least: Bools
    decay_noise: Floats
    decay_doubt: float = 0.0


def _time_at(times: Floats, levels: Floats, wanted: Floats) -> Floats:
    """Crossing time of each cycle's own level, by a straight line between levels of the grid, shape (n_cycles,) [s]."""
    step = levels[1] - levels[0]
    place = np.clip((wanted - levels[0]) / step, 0.0, len(levels) - 1.001)
    low = np.nan_to_num(place).astype(np.int64)
    share = place - low
    row = np.arange(len(times))
    exact = share < 1e-9
    above = np.where(exact, times[row, low], times[row, low + 1])
    # a level just over the last one passed is carried on from the two below it
    before = times[row, np.maximum(low - 1, 0)]
    above = np.where(np.isfinite(above), above, np.where(share < 0.3, 2.2 * times[row, low] - 1.2 * before, np.nan))
    return np.asarray(np.where(exact, times[row, low], times[row, low] + share * (above - times[row, low])), np.float64)


def _between(times: Floats, levels: Floats, first: float, last: float, zero: Floats) -> Floats:
    """Time from one level to another above each cycle's zero, NaN where either is not passed [s]."""
    gap = _time_at(times, levels, last + zero) - _time_at(times, levels, first + zero)
    return np.where(gap > 0, gap, np.nan)


def _blow_off(data: StationData, bands: Bands, zero: Floats) -> tuple[Floats, Bools]:
    """Time between two levels of the blow-off [s]; where the lower is never reached, marked, the least that it took."""
    levels, fall = data.levels_kpa, data.fall_s
    time = _between(fall, levels, bands.fall_high, bands.fall_low, zero)
    start = _time_at(fall, levels, bands.fall_high + zero)
    given = _given_s(data)
    left = data.cycles.floats("residual_vacuum_kpa") > bands.fall_low
    hung = np.where(np.isfinite(start), given - start, given)
    # vacuum that outlasts the command falls for another reason: the part left, or the next pick began
    time = np.where(start > given, np.nan, time)
    cut_short = ~np.isfinite(time) & left & (hung > 0)
    return np.where(cut_short, hung, time), cut_short


def _given_s(data: StationData) -> Floats:
    """Length of each release command, NaN where there is none [s]."""
    given = data.timing["release_end_s"] - data.timing["release_s"]
    return np.where(given > 0.0, given, np.nan)


def _fast_fall(data: StationData) -> Floats:
    """Vacuum lost between 30 and 130 ms after the first supply-off of each hold, beyond the later slope [kPa]."""
    n = len(data.cycles)
    kind = data.periods.codes("kind")
    coast = data.periods.categories["kind"].index("coast")
    bins = data.bins
    cycle_of = data.periods.codes("cycle")
    first = np.full(n, -1, np.int64)
    rows = np.flatnonzero(kind == coast)
    if not len(rows) or not len(bins.time_s):
        return np.full(n, np.nan)
    cycles, place = np.unique(cycle_of[rows], return_index=True)
    first[cycles] = rows[place]
    start = np.where(first >= 0, data.periods.floats("start_s")[np.maximum(first, 0)], np.nan)
    end = np.where(first >= 0, data.periods.floats("end_s")[np.maximum(first, 0)], np.nan)
    at = [np.interp(start + delay, bins.time_s, -bins.pressure_kpa) for delay in (0.03, 0.13, 0.16, 0.26)]
    early = at[0] - at[1]
    late = at[2] - at[3]
    return np.where(end - start > 0.28, early - late, np.nan)


def _over_pressure(data: StationData, zero: Floats) -> Floats:
    """How far over ambient the blow-off comes, nothing where vacuum is left when its command ends, (n_cycles,) [kPa].

    What a blow-off reaches that was cut off on its way tells when it was cut off, not what it blows against.
    """
    left = data.cycles.floats("residual_vacuum_kpa") - zero
    with np.errstate(invalid="ignore"):
        return np.where(left > _LEFT_KPA, 0.0, data.timing["over_kpa"] + zero)


def _hung_on(data: StationData) -> Bools:
    """Cycles before which a part still hung on: vacuum was left after the release, and the idle reading is its rest."""
    left = data.cycles.floats("residual_vacuum_kpa")
    idle = data.cycles.floats("idle_vacuum_kpa")
    before = np.concatenate([[np.nan], left[:-1]])
    with np.errstate(invalid="ignore"):
        hung = np.asarray((before > 6.0) & (idle > 1.5) & (before > idle + 2.0), np.bool_)
    # the rest of what was left varies as that did; a reading that does not is an offset
    if hung.sum() >= _ENOUGH and _relative_spread(idle[hung]) < _STEADY_REST * _relative_spread(before[hung]):
        return np.zeros(len(hung), np.bool_)
    return hung


def _noise_ln(noise_kpa: Floats, data: StationData) -> Floats:
    """Logarithm of a noise; what a reading that rests on a step or two shows below a step's own error is chance."""
    return np.log(np.maximum(noise_kpa, max(data.sensor.quantisation_kpa / np.sqrt(12.0), 1e-3)))


def _relative_spread(values: Floats) -> float:
    """Half the range of the middle two thirds over the median."""
    low, middle, high = np.quantile(values, (1.0 / 6.0, 0.5, 5.0 / 6.0))
    return float((high - low) / (2.0 * middle))


def response_from_open_cup(data: StationData) -> bool:
    """Whether the onset of the response was looked for on the way to the open-cup vacuum, as `measure` decides it."""
    return bool(data.usual_open_kpa > MeasureOptions().onset_least_kpa)


def _after_other(held: Bools) -> Bools:
    """Cycles after a pick that was not held, and the first: gas and cup come from another state than usual."""
    return np.concatenate([[True], ~held[:-1]])[: len(held)]


def _before_release(data: StationData) -> Floats:
    """Vacuum at the end of suction, from which a blow-off starts [kPa]."""
    if not len(data.bins.time_s):
        return np.full(len(data.cycles), np.nan)
    quit_s = data.timing["quit_s"]
    return np.where(np.isfinite(quit_s), np.interp(quit_s - 0.01, data.bins.time_s, -data.bins.pressure_kpa), np.nan)


def deepest_dip(data: StationData) -> Floats:
    """How far vacuum falls at most under the straight line from start to end of any stretch of the hold [kPa].

    A dip that recovers shows, by as much as it does; the saw-tooth of air saving and a step that stays do not.
    """
    names = data.periods.categories["kind"]
    wanted = np.isin(data.periods.codes("kind"), [names.index("steady"), names.index("coast")])
    start_s = data.periods.floats("start_s")
    out = np.full(len(data.cycles), np.nan)
    for some in whole_runs(data.bins.period):
        period = data.bins.period[some]
        settled = wanted[period] & (data.bins.time_s[some] - start_s[period] > 0.08)
        _note_dips(data.bins, some.start + np.flatnonzero(settled), out)
    return out


def _note_dips(bins: Bins, keep: Ints, out: Floats) -> None:
    """Note the deepest dip of the bins at `keep`, whole stretches of them, in the cycles' `out`, in place."""
    if not len(keep):
        return
    period, time, vacuum = bins.period[keep], bins.time_s[keep], -bins.pressure_kpa[keep]
    first = np.concatenate([[0], np.flatnonzero(np.diff(period)) + 1])
    last = np.append(first[1:], len(keep)) - 1
    owner = np.repeat(np.arange(len(first)), last - first + 1)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = (time - time[first][owner]) / (time[last] - time[first])[owner]
    line = vacuum[first][owner] + np.nan_to_num(share) * (vacuum[last] - vacuum[first])[owner]
    deepest = np.maximum.reduceat(np.minimum(line - vacuum, highest_yet(vacuum, owner) - vacuum), first)
    np.fmax.at(out, bins.cycle[keep][first], deepest)


def highest_yet(values: Floats, owner: NDArray[np.int64]) -> Floats:
    """Highest value from each on to the end of its stretch; `owner` numbers the stretches upwards."""
    apart = 2.0 * float(np.ptp(values)) + 1.0
    lifted = values - apart * owner
    return np.asarray(np.maximum.accumulate(lifted[::-1])[::-1] + apart * owner, np.float64)


def _closed(data: StationData) -> Bools:
    """Cycles that are compared: held ones; where those are few, also picks given up with the cup closed on a part."""
    held = data.cycles.where("outcome", "held")
    late = held[-max(len(held) // 3, 1) :]  # what is compared is how the log ends
    if min(held.mean(), late.mean()) >= 0.5:
        return held
    closed = data.cycles.floats("peak_vacuum_kpa") > 0.7 * data.usual_peak_kpa
    return np.asarray(held | data.cycles.where("outcome", "missed") & closed, np.bool_)


def run_on_s(values: Mapping[str, Floats]) -> Floats:
    """How long vacuum rises on after the cut at the speed that it had before, shape (n_cycles,) [s]."""
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(values["top"] > 0.0, values["overshoot"] / values["top"], np.nan), np.float64)


def _in_range(data: StationData, values: Mapping[str, Floats]) -> Mapping[str, Floats]:
    """Measures at the top; a reading cut off by the range tells nothing about the vacuum beyond it."""
    cut = cut_cycles(data)
    return {name: np.where(cut, np.nan, values[name]) for name in AT_THE_TOP}


def _blow_start_s(data: StationData, level_kpa: Floats) -> Floats:
    """When a blow-off has come down to a level after its command, NaN for picks that were given up [s].

    Those are let go in a sequence of their own, with the supply off for longer or shorter before.
    """
    start_s = _time_at(data.fall_s, data.levels_kpa, level_kpa)
    return np.where(data.cycles.where("outcome", "missed"), np.nan, start_s)


def _zero(at_rest: Floats) -> Floats:
    """What the sensor reads for nothing in every cycle [kPa]: its reading at rest, else the log's usual one."""
    usual = float(np.nanmedian(at_rest)) if np.isfinite(at_rest).any() else 0.0
    return np.where(np.isfinite(at_rest), at_rest, usual)


def make_features(data: StationData, leak: LeakResult, bands: Bands) -> Features:
    """Per-cycle measures of one log."""
    cycles = data.cycles
    held = _closed(data)
    column = cycles.floats
    seen = cycles.codes("ultimate_extrapolated") == 0
    at_zero = bands.ends_at_zero
    rise, levels = data.rise_s, data.levels_kpa
    hung = _hung_on(data)
    idle = np.where(hung, np.nan, column("idle_vacuum_kpa"))
    left = np.nan_to_num(idle) > _ZERO_MOST_KPA
    odd_start = hung | left | _after_other(held)
    zero = _zero(np.where(left, np.nan, idle))
    blow, at_least = _blow_off(data, bands, zero)
    # what was reached can be reached, wherever the fit of an evacuation in two steps ends
    tends_to = data.timing.get("tends_to_kpa", column("ultimate_vacuum_kpa"))
    ultimate = np.maximum(tends_to, np.where(seen, -np.inf, column("peak_vacuum_kpa"))) - zero
    values = {
        "decay": with_fast_falls(leak.rate, data, JudgeOptions()),
        "rise": np.where(odd_start, np.nan, np.log(_between(rise, levels, bands.rise_low, bands.rise_high, zero))),
        "top": (bands.top_high - bands.top_low) / _between(rise, levels, bands.top_low, bands.top_high, zero),
        "open": column("open_cup_vacuum_kpa") - zero,
        "response": column("response_delay_s"),
        "ultimate": np.where(seen, column("ultimate_vacuum_kpa") - zero, np.nan),
        "ultimate_fit": np.where(seen, np.nan, ultimate),
        "ultimate_any": ultimate,
        "extrapolated": np.maximum(tends_to - column("peak_vacuum_kpa"), 0.0),
        "start": _before_release(data) - zero,
        "blow": np.log(blow),
        "blow_start": _blow_start_s(data, bands.fall_high + zero),
        # over-pressure at the end of the release is no vacuum left: `over` tells of it
        "residual": np.maximum(column("residual_vacuum_kpa") - zero, 0.0),
        "over": np.where(at_zero, np.nan, _over_pressure(data, zero)),
        "idle": idle,
        "early": data.timing.get("idle_rise_kpa", np.full(len(cycles), np.nan)),
        "noise": _noise_ln(column("noise_kpa"), data),
        "noise_off": _noise_ln(data.timing.get("idle_noise_kpa", np.full(len(cycles), np.nan)), data),
        "fast_fall": _fast_fall(data),
        "overshoot": column("peak_vacuum_kpa") - data.cycle_settings["supply_off"],
        "cut": data.cycle_settings["supply_off"] - zero,
        "dip": np.fmax(deepest_dip(data), late_fall_kpa(data)),
        "peak": column("peak_vacuum_kpa"),
        "release": column("release_time_s"),
        "command": np.log(_given_s(data)),
        "overlap": data.timing["overlap_s"],
    }
    values |= _in_range(data, {**values, "run_on": run_on_s(values)})
    noise = leak.rate_noise if len(leak.rate_noise) else np.full(len(cycles), np.nan)
    doubt = float(np.sqrt(sum(line.u_kpa_s**2 for line in leak.budget if line.common)))
    return Features(
        values=values, floor=_floors(data, values), held=held, at_least=at_least, decay_noise=noise, decay_doubt=doubt
    )  # fmt: skip


def _between_samples(time_ln: Floats, interval_s: float) -> float:
    """Error of the logarithm of a time between two levels: a straight line between samples cuts the bend of the curve.

    An exponential curve lies up to Δt²/8τ off it, and two levels are about a time constant apart.
    """
    seen = time_ln[np.isfinite(time_ln)]
    return 0.125 * float((interval_s / np.exp(np.median(seen))) ** 2) if len(seen) else 0.0


def _floors(data: StationData, values: Mapping[str, Floats]) -> Mapping[str, float]:
    """Smallest difference that the recording can show in each measure."""
    interval = data.sensor.sample_interval_s
    step, noise = data.sensor.quantisation_kpa, data.sensor.noise_kpa
    small = max(step / 2, 0.02)
    top = values["top"]
    top_speed = float(np.nanmedian(top)) if np.isfinite(top).any() else 50.0
    return {
        "decay": 0.05,
        "rise": max(0.004, _between_samples(values["rise"], interval)),
        "top": max(0.005 * top_speed, 0.2),
        "open": small,
        "response": max(0.25 * interval, 0.0005),
        "ultimate": small,
        "ultimate_fit": max(small, 0.2),
        "ultimate_any": max(small, 0.2),
        "extrapolated": max(small, 0.2),
        "start": small,
        "blow": max(0.005, _between_samples(values["blow"], interval)),
        "blow_start": max(0.25 * interval, 0.0005),
        "residual": small,
        "over": small,
        "idle": small,
        "early": small,
        "noise": 0.05,
        "noise_off": 0.1,
        "fast_fall": max(small, noise / 3),
        "overshoot": small,
        "run_on": small / max(top_speed, 1.0),
        "cut": small,
        "peak": small,
        "dip": small,
        "release": max(0.25 * interval, 0.0005),
        "command": 0.02,
        "overlap": interval,
    }
