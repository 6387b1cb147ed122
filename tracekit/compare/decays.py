"""Rates of two decays made on purpose, long coasts with the supply closed, on a cup closed by a plate.

The pressure is put into the variable in which a decay through a hole is a straight line: dΨ = dp / ω(p / p_a), with ω
the subsonic factor of ISO 6358. While the flow is choked Ψ is the pressure itself. What warms because gas flows in is
taken off first: to first order the gas is warmer than the wall by 0.4 τ r √(p/p_a) / p, τ its exchange with the wall.
"""


import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.cycle import StationData
from tracekit.options.compare import VolumeOptions
from tracekit.physics.flow import laminar_factor, subsonic_factor

Floats = NDArray[np.float64]

_FEWEST_BINS = 6
_FORMS = (0.2, 0.35, 0.5)
_STEPS = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class Decay:
    """The deliberate decays of one log.

    rate_kpa_s      mean over coasts of the choked-equivalent rate, with its standard uncertainty
    vacuum_low_kpa, vacuum_high_kpa   span of vacuum that the coasts cover
    absolute_kpa    absolute pressures of the bins used
    coasts          number of coasts
    """

    rate_kpa_s: float
    rate_u_kpa_s: float
    vacuum_low_kpa: float
    vacuum_high_kpa: float
    absolute_kpa: Floats
    coasts: int


def decay_of(
    data: StationData, critical_ratio: float, tau_s: float, options: VolumeOptions, most_ratio: float = 0.9
) -> Decay | None:
    """The choked-equivalent rate of a log's long coasts, None where there is no usable one.

    critical_ratio  b of the hole through which most air enters [unitless]
    tau_s           exchange of heat between gas and wall [s]
    most_ratio      absolute over ambient pressure up to which a coast is used, where enough of it lies below
    """
    coasts = [_cut(coast, most_ratio * data.ambient_kpa, 0.9 * data.ambient_kpa) for coast in _coasts(data, options)]
    fits = [_fit(coast, data, critical_ratio, tau_s) for coast in coasts if coast is not None]
    if not fits:
        return None
    slopes, errors = np.array([f[0] for f in fits]), np.array([f[1] for f in fits])
    pressures = np.concatenate([f[2] for f in fits])
    n = len(slopes)
    by_noise = float(np.sqrt(np.mean(errors**2) / n))
    by_scatter = float(np.std(slopes, ddof=1) / np.sqrt(n)) if n > 2 else 0.0
    return Decay(
        rate_kpa_s=float(np.mean(slopes)),
        rate_u_kpa_s=max(by_noise, by_scatter),
        vacuum_low_kpa=float(data.ambient_kpa - pressures.max()),
        vacuum_high_kpa=float(data.ambient_kpa - pressures.min()),
        absolute_kpa=pressures,
        coasts=n,
    )


def carried(own: Decay, other: Decay, ambient_kpa: float, critical_ratio: float) -> tuple[float, float]:
    """Factor that carries the own leak's rate to the pressures of the other decay, and its standard uncertainty.

    The own leak may be a hole or pores; its form is not known, so the mean over the forms is taken.
    """
    factors = []
    for form in (*_FORMS, None):
        first, second = (
            float(np.mean(_own_form(p, ambient_kpa, form) / _hole(p, ambient_kpa, critical_ratio)))
            for p in (own.absolute_kpa, other.absolute_kpa)
        )
        factors.append(second / first)
    middle = (min(factors) + max(factors)) / 2.0
    return middle, (max(factors) - min(factors)) / np.sqrt(12.0)


def _coasts(data: StationData, options: VolumeOptions) -> list[tuple[Floats, Floats]]:
    """Time and absolute pressure [s, kPa] of each coast's bins after the settling time, the sensor's zero taken off."""
    coast = data.periods.where("kind", "coast")
    starts, idle = data.periods.floats("start_s"), data.cycles.floats("idle_vacuum_kpa")
    usual = float(np.median(idle[np.isfinite(idle)])) if np.isfinite(idle).any() else 0.0
    bins = data.bins
    found = []
    for period in np.flatnonzero(coast):
        kept = (bins.period == period) & (bins.time_s > starts[period] + options.settle_s)
        if int(kept.sum()) < _FEWEST_BINS:
            continue
        zero = idle[int(bins.cycle[kept][0])]
        absolute = data.ambient_kpa + bins.pressure_kpa[kept] + (zero if np.isfinite(zero) else usual)
        found.append((bins.time_s[kept], absolute))
    return found


def _cut(coast: tuple[Floats, Floats], wished_kpa: float, most_kpa: float) -> tuple[Floats, Floats] | None:
    """The coast below `wished_kpa` absolute, else below `most_kpa`; None where the air is nearly all back."""
    time, absolute = coast
    for limit in (wished_kpa, most_kpa):
        inside = absolute < limit
        if int(inside.sum()) >= _FEWEST_BINS:
            return time[inside], absolute[inside]
    return None


def _fit(
    coast: tuple[Floats, Floats], data: StationData, critical_ratio: float, tau_s: float
) -> tuple[float, float, Floats]:
    """Slope of Ψ over time, its standard error, and the pressures used."""
    time, absolute = coast
    rough = float(np.polyfit(time, absolute, 1)[0])
    cooled = absolute - 0.4 * tau_s * rough * np.sqrt(absolute / data.ambient_kpa)
    straight = _straightened(cooled, data.ambient_kpa, critical_ratio)
    moved = time - time.mean()
    slope = float(np.sum(moved * straight) / np.sum(moved**2))
    rest = straight - straight.mean() - slope * moved
    error = float(np.sqrt(np.sum(rest**2) / max(1, len(rest) - 2) / np.sum(moved**2)))
    return slope, error, absolute


def _straightened(absolute: Floats, ambient_kpa: float, critical_ratio: float) -> Floats:
    """Ψ [kPa]: the pressure while the flow is choked, stretched by 1/ω beyond; by Simpson's rule on a fine grid."""
    grid = np.linspace(0.0, float(absolute.max()), _STEPS)
    middle = (grid[1:] + grid[:-1]) / 2.0
    inverse = [1.0 / _hole(p, ambient_kpa, critical_ratio) for p in (grid[:-1], middle, grid[1:])]
    parts = (inverse[0] + 4.0 * inverse[1] + inverse[2]) / 6.0 * np.diff(grid)
    return np.interp(absolute, grid, np.r_[0.0, np.cumsum(parts)])


def _hole(absolute: Floats, ambient_kpa: float, critical_ratio: float) -> Floats:
    return np.maximum(subsonic_factor(absolute / ambient_kpa, critical_ratio), 1e-3)


def _own_form(absolute: Floats, ambient_kpa: float, form: float | None) -> Floats:
    """Flow of the own leak over its flow into perfect vacuum: a hole of that critical ratio, or pores (None)."""
    ratio = absolute / ambient_kpa
    return laminar_factor(ratio) if form is None else subsonic_factor(ratio, form)
