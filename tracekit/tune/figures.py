"""What is shown of the fitted model: each quantity with its interval."""

from collections.abc import Mapping
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.cycle import StationData
from tracekit.model.estimate import Bound, Estimate, Quantity, Withheld
from tracekit.model.result import LeakResult
from tracekit.options.figures import FigureOptions
from tracekit.tune.coasts import coasts_of, recharges_of
from tracekit.tune.intervals import estimate, of_median
from tracekit.tune.station_model import FittedStation

Floats = NDArray[np.float64]

_LEAST = 3
_ROBUST = 1.17  # standard error of 1.4826 times the median deviation, times √n, of Gaussian values
_FORMS = {"hole": "through a hole", "porous": "through pores", "undecided": "hole or pores, undecided"}
_NOT_SHOWN = "the log does not show it"
_PASSED = "samples are too far apart to show where the vacuum turns"


def model_figures(data: StationData, leak: LeakResult, model: FittedStation) -> Mapping[str, Quantity]:
    """Name and value of everything that the model is made of, in the order of a pick."""
    cycles, held = data.cycles, data.cycles.where("outcome", "held")
    shared = _shared(data, model, FigureOptions())

    def column(name: str, unit: str, own: float) -> Quantity:
        return _median(cycles.floats(name)[held], unit, "median over held cycles", own)

    recharges = recharges_of(data, held)
    coasts = coasts_of(data, held)
    first = coasts.first & np.isfinite(coasts.turn_kpa)
    peaks = cycles.floats("peak_vacuum_kpa")[held]
    found: dict[str, Quantity] = {
        "response_delay_s": column("response_delay_s", "s", shared.step_s),
        "open_cup_vacuum_kpa": column("open_cup_vacuum_kpa", "kPa", shared.level_kpa),
        "evacuation_time_s": column("evacuation_time_s", "s", shared.step_s),
        "pump_time_constant_s": column("pump_time_constant_s", "s", shared.step_s),
        "ultimate_vacuum_kpa": column("ultimate_vacuum_kpa", "kPa", shared.ultimate_kpa),
        "weakest_vacuum_kpa": _bound(
            model.facts.reach_low, "lower_bound", "kPa", len(model.rows), "what all but the weakest 5 % reach"
        ),
        "overshoot_kpa": _over(data, coasts.turn_kpa[first], "supply_off", 1.0, shared),
        "delay_off_s": _delay_off(data, coasts.turn_kpa[first], shared),
        "decay_rate_kpa_s": leak.decay_rate,
        "wall_exchange_s": _rough(
            leak.wall_time_constant_s,
            0.4,
            "s",
            len(model.rows),
            "gas and wall, fitted with the leak; known to some 40 %",
        ),
        "delay_on_s": _median(recharges.turn_s, "s", "supply-on command to the turn of the vacuum", shared.turn_s),
        "undershoot_kpa": _over(data, recharges.turn_kpa, "supply_on", -1.0, shared),
        "recharge_time_s": _median(recharges.duration_s, "s", "median over recharges", shared.step_s),
        "deepest_dip_kpa": _bound(
            model.facts.dip, "upper_bound", "kPa", len(model.rows), "what 95 % of the holds stay within"
        ),
        "cycle_scatter_kpa": _scatter(peaks[np.isfinite(peaks)], shared.peak_kpa),
    }
    time = _noise_time(data)
    noise = column("noise_kpa", "kPa", shared.quantum_kpa / 10.0)
    return {**found, "noise_kpa": _noise(noise, time, shared, data.sensor.sample_interval_s), "noise_time_s": time}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shared:
    """Standard uncertainties that all cycles of a recording share, and the speed of the rise at supply_off.

    step_s        half a sample, of times at commands
    turn_s        of the turn of a falling vacuum: noise hides it while vacuum hardly falls
    quantum_kpa   the recorder's step
    level_kpa     of a level read off an extreme
    ultimate_kpa  of an extrapolated end
    peak_kpa      that a peak's scatter may owe to the recorder: noise, step, and samples beside the peak
    turn_seen     samples are close enough to show a turn
    speed_kpa_s   speed of the rise at supply_off, 0 where that is unknown
    """

    step_s: float
    turn_s: float
    quantum_kpa: float
    level_kpa: float
    ultimate_kpa: float
    peak_kpa: float
    turn_seen: bool
    speed_kpa_s: float


def _shared(data: StationData, model: FittedStation, options: FigureOptions) -> _Shared:
    interval, noise = data.sensor.sample_interval_s, data.sensor.noise_kpa
    step, quantum = interval / np.sqrt(12.0), data.sensor.quantisation_kpa / np.sqrt(12.0)
    cycles, setting = data.cycles, data.settings.get("supply_off")
    off = None if setting is None else setting.value_kpa
    speed = 0.0 if off is None else float(np.median(model.rise.speed(np.array([off]))))
    bin_s = max(options.bin_s, interval)
    in_bins = float(np.hypot(noise * np.sqrt(min(interval / bin_s, 1.0)), quantum))
    falls = max(float(np.median(model.rate)), 0.1)
    way = cycles.floats("ultimate_vacuum_kpa") - cycles.floats("peak_vacuum_kpa")
    left = float(np.median(way[np.isfinite(way)])) if np.isfinite(way).any() else 0.0
    level = float(np.hypot(quantum, options.level_noise * noise))
    return _Shared(
        step_s=float(step),
        turn_s=float(np.hypot(np.hypot(step, bin_s / np.sqrt(12.0)), min(in_bins / falls, options.turn_seen_s))),
        quantum_kpa=float(quantum),
        level_kpa=level,
        ultimate_kpa=float(np.hypot(level, options.ultimate_share * max(left, 0.0))),
        peak_kpa=float(np.hypot(np.hypot(quantum, noise), speed * step if off is not None else 0.0)),
        turn_seen=interval <= options.turn_seen_s,
        speed_kpa_s=speed,
    )


def _noise(found: Quantity, time: Quantity, shared: _Shared, interval_s: float) -> Quantity:
    """Noise of single samples: neighbours tell the least of it where it lasts, the most where they are far apart."""
    lasts = time.value if isinstance(time, Estimate) else 0.0
    if not isinstance(found, Estimate):
        return found
    if not shared.turn_seen:
        why = "between samples so far apart the vacuum itself moves"
        return Bound(status="upper_bound", limit=found.upper, unit=found.unit, n=found.n, method=why)
    if lasts <= FigureOptions().alike * interval_s:
        return found
    why = "neighbouring samples are alike: the noise is larger than their differences tell"
    return Bound(status="lower_bound", limit=found.lower, unit=found.unit, n=found.n, method=why)


def leak_law(leak: LeakResult) -> str:
    """The form of the leak in words, group by group where rates fall into groups."""
    if len(leak.groups) < 2:
        return _FORMS.get(leak.mechanism, leak.mechanism)
    parts = []
    for group in leak.groups:
        rate = group.decay_rate_kpa_s
        speed = f", {rate.value:.2g} kPa/s" if isinstance(rate, Estimate) else ""
        form = _FORMS.get(group.mechanism, group.mechanism)
        parts.append(f"{group.label or 'unnamed'} ({len(group.cycles)} cycles{speed}): {form}")
    return "; ".join(parts)


def _median(values: Floats, unit: str, method: str, own: float) -> Quantity:
    shown = values[np.isfinite(values)]
    return of_median(shown, unit, method, float(own)) if len(shown) >= _LEAST else Withheld(_NOT_SHOWN)


def _rough(value: float, share: float, unit: str, n: int, method: str) -> Quantity:
    """A figure known to a share of itself."""
    return estimate(value, share * abs(value), unit, n, method) if np.isfinite(value) else Withheld(_NOT_SHOWN)


def _bound(value: float, status: Literal["lower_bound", "upper_bound"], unit: str, n: int, method: str) -> Quantity:
    if not np.isfinite(value):
        return Withheld(_NOT_SHOWN)
    return Bound(status=status, limit=value, unit=unit, n=n, method=method)


def _over(data: StationData, turn: Floats, name: str, sign: float, shared: _Shared) -> Quantity:
    setting = data.settings.get(name)
    if setting is None or setting.value_kpa is None:
        return Withheld("the threshold in force is not known")
    if not shared.turn_seen:
        return Withheld(_PASSED)
    beyond = sign * (turn - setting.value_kpa)
    return _median(beyond, "kPa", f"beyond {name} in force", float(np.hypot(shared.level_kpa, setting.spread_kpa)))


def _delay_off(data: StationData, turn: Floats, shared: _Shared) -> Quantity:
    """Supply-off command to the turn of the vacuum: each overshoot over the speed of the rise there [s]."""
    off = data.settings["supply_off"].value_kpa if "supply_off" in data.settings else None
    if off is None:
        return Withheld("the threshold in force is not known")
    speed = max(shared.speed_kpa_s, 1e-3)
    own = float(np.hypot(shared.step_s, shared.level_kpa / speed))
    return _median((turn - off) / speed, "s", "overshoot over the speed of the rise at supply_off", own)


def _scatter(peaks: Floats, own: float) -> Quantity:
    """Robust standard deviation of the peak vacuum between cycles [kPa]; the recorder may add or hide `own` of it."""
    n = len(peaks)
    if n < 2 * _LEAST:
        return Withheld(_NOT_SHOWN)
    spread = 1.4826 * float(np.median(np.abs(peaks - np.median(peaks))))
    half = 1.96 * _ROBUST * spread / np.sqrt(n)
    lower = float(np.sqrt(max(max(spread - half, 0.0) ** 2 - own**2, 0.0)))
    upper = float(np.hypot(spread + half, own))
    return Estimate(
        value=spread, lower=lower, upper=upper, unit="kPa", n=n, method="of the peak vacuum, from its median deviation"
    )


def _noise_time(data: StationData) -> Quantity:
    """Correlation time of the noise of neighbouring samples, from recorded holds."""
    values = [v for e in data.excerpts if (v := _one_noise_time(e.time_s, -e.pressure_kpa, e.present)) is not None]
    if len(values) < _LEAST:
        return Withheld(_NOT_SHOWN)
    middle = float(np.median(values))
    if middle <= data.sensor.sample_interval_s * 1.001:
        why = "neighbouring samples are independent"
        return Bound(status="upper_bound", limit=data.sensor.sample_interval_s, unit="s", n=len(values), method=why)
    half = 1.96 * float(np.std(values, ddof=1)) / np.sqrt(len(values))
    return Estimate(
        value=middle, lower=max(middle - half, 0.0), upper=middle + half, unit="s", n=len(values),
        method="correlation of neighbouring samples in holds",
    )  # fmt: skip


def _one_noise_time(time: Floats, vacuum: Floats, present: NDArray[np.int8]) -> float | None:
    """Time constant of first-order noise in the later half of one hold [s], None where too few samples."""
    on = np.flatnonzero(present > 0)
    if len(on) < 64:
        return None
    part = slice(int(on[len(on) // 2]), int(on[-1]))
    t, v = time[part], vacuum[part]
    x = np.linspace(-1.0, 1.0, len(v))
    rest = v - np.polynomial.Polynomial.fit(x, v, 5)(x)
    power = float(np.dot(rest, rest))
    if power <= 0.0:
        return None
    correlation = float(np.dot(rest[1:], rest[:-1])) / power
    step = float(np.median(np.diff(t)))
    return step if correlation <= 0.05 else float(-step / np.log(min(correlation, 0.99)))
