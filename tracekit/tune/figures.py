"""What is shown of the fitted model: each quantity with its interval."""

from collections.abc import Mapping
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tracekit.model.cycle import StationData
from tracekit.model.estimate import Bound, Estimate, Quantity, Withheld
from tracekit.model.result import LeakResult
from tracekit.tune.coasts import coasts_of, recharges_of
from tracekit.tune.intervals import estimate, of_median
from tracekit.tune.station_model import FittedStation

Floats = NDArray[np.float64]

_LEAST = 3
_ROBUST = 1.17  # standard error of 1.4826 times the median deviation, times √n, of Gaussian values
_FORMS = {"hole": "through a hole", "porous": "through pores", "undecided": "hole or pores, undecided"}
_NOT_SHOWN = "the log does not show it"


def model_figures(data: StationData, leak: LeakResult, model: FittedStation) -> Mapping[str, Quantity]:
    """Name and value of everything that the model is made of, in the order of a pick."""
    cycles, held = data.cycles, data.cycles.where("outcome", "held")
    step = data.sensor.sample_interval_s / np.sqrt(12.0)
    quantum = data.sensor.quantisation_kpa / np.sqrt(12.0)

    def column(name: str, unit: str, own: float) -> Quantity:
        return _median(cycles.floats(name)[held], unit, "median over held cycles", own)

    recharges = recharges_of(data, held)
    coasts = coasts_of(data, held)
    first = coasts.first & np.isfinite(coasts.turn_kpa)
    peaks = cycles.floats("peak_vacuum_kpa")[held]
    found: dict[str, Quantity] = {
        "response_delay_s": column("response_delay_s", "s", step),
        "open_cup_vacuum_kpa": column("open_cup_vacuum_kpa", "kPa", quantum),
        "evacuation_time_s": column("evacuation_time_s", "s", step),
        "pump_time_constant_s": column("pump_time_constant_s", "s", step),
        "ultimate_vacuum_kpa": column("ultimate_vacuum_kpa", "kPa", quantum),
        "weakest_vacuum_kpa": _bound(
            model.facts.reach_low, "lower_bound", "kPa", len(model.rows), "what all but the weakest 5 % reach"
        ),
        "overshoot_kpa": _over(data, coasts.turn_kpa[first], "supply_off", 1.0, quantum),
        "delay_off_s": _delay_off(data, coasts.turn_kpa[first], model, step),
        "decay_rate_kpa_s": leak.decay_rate,
        "wall_exchange_s": _rough(
            leak.wall_time_constant_s,
            0.4,
            "s",
            len(model.rows),
            "gas and wall, fitted with the leak; known to some 40 %",
        ),
        "delay_on_s": _median(recharges.turn_s, "s", "supply-on command to the turn of the vacuum", step),
        "undershoot_kpa": _over(data, recharges.turn_kpa, "supply_on", -1.0, quantum),
        "recharge_time_s": _median(recharges.duration_s, "s", "median over recharges", step),
        "deepest_dip_kpa": _bound(
            model.facts.dip, "upper_bound", "kPa", len(model.rows), "what 95 % of the holds stay within"
        ),
        "cycle_scatter_kpa": _scatter(peaks[np.isfinite(peaks)]),
        "noise_kpa": column("noise_kpa", "kPa", quantum / 10.0),
        "noise_time_s": _noise_time(data),
    }
    return found


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


def _over(data: StationData, turn: Floats, name: str, sign: float, own: float) -> Quantity:
    setting = data.settings.get(name)
    if setting is None or setting.value_kpa is None:
        return Withheld("the threshold in force is not known")
    beyond = sign * (turn - setting.value_kpa)
    return _median(beyond, "kPa", f"beyond {name} in force", float(np.hypot(own, setting.spread_kpa)))


def _delay_off(data: StationData, turn: Floats, model: FittedStation, own: float) -> Quantity:
    """Supply-off command to the turn of the vacuum: each overshoot over the speed of the rise there [s]."""
    off = data.settings["supply_off"].value_kpa if "supply_off" in data.settings else None
    if off is None:
        return Withheld("the threshold in force is not known")
    speed = max(float(np.median(model.rise.speed(np.array([off])))), 1e-3)
    return _median((turn - off) / speed, "s", "overshoot over the speed of the rise at supply_off", own)


def _scatter(peaks: Floats) -> Quantity:
    """Robust standard deviation of the peak vacuum between cycles [kPa]."""
    n = len(peaks)
    if n < 2 * _LEAST:
        return Withheld(_NOT_SHOWN)
    spread = 1.4826 * float(np.median(np.abs(peaks - np.median(peaks))))
    half = 1.96 * _ROBUST * spread / np.sqrt(n)
    return estimate(spread, half, "kPa", n, "of the peak vacuum, from its median deviation")


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
