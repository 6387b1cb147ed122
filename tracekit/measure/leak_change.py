"""A change of leak between two logs of a station that never coasts, from the vacuum that its evacuation tends to."""

from dataclasses import dataclass

import numpy as np

from tracekit.measure.leak_bins import Floats, zero_readings
from tracekit.model.cycle import StationData
from tracekit.model.estimate import Estimate, Quantity, Withheld
from tracekit.options.leak import LeakOptions
from tracekit.physics.decay import rate_of_ultimate_kpa_s

DEFAULTS = LeakOptions()
MEDIAN_FACTOR = 1.2533
METHOD = "rise of the ultimate pressure over the time constant of the evacuation, if the supply is unchanged"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ultimate:
    """Ultimate pressure of a log, absolute, corrected for the sensor's zero, and its evacuation [kPa, s].

    floor_share  ultimate over ambient pressure;  vacuum_u_kpa  standard error of the median;  n  cycles
    """

    pressure_kpa: float
    floor_share: float
    vacuum_u_kpa: float
    tau_s: float
    tau_u_s: float
    n: int


def leak_change_without_coasts(now: StationData, baseline: StationData, *, options: LeakOptions = DEFAULTS) -> Quantity:
    """Change of leak against a baseline, as isothermal dp/dt [kPa/s]; positive where the leak has grown.

    A leak of slope s raises the pressure at which the evacuation ends by s·τ, so that Δs ≈ Δp_u/τ. The true ratio was
    found between 0.84 and 1.44 on simulated stations, because the suction curve bends; that is in the interval, and
    so are both ambients: a gauge sensor's ultimate vacuum moves with the weather. Withheld where a log has too few
    ultimate vacua, or where τ has changed, so that supply or exhaust must have changed with it.
    """
    before, after = (_ultimate(d, options) for d in (baseline, now))
    if before is None or after is None:
        return Withheld(
            f"Fewer than {options.change_cycles} held cycles of a log show the vacuum that their evacuation tends to."
        )
    tau = 0.5 * (before.tau_s + after.tau_s)
    apart = abs(after.tau_s - before.tau_s)
    if apart > options.change_tau_share * tau + 2.0 * float(np.hypot(before.tau_u_s, after.tau_u_s)):
        return Withheld(
            "The time constant of the evacuation has changed with the ultimate vacuum: supply or exhaust may be behind "
            "it, and the change of leak cannot be told apart."
        )
    rise = after.pressure_kpa - before.pressure_kpa * (now.ambient_kpa / baseline.ambient_kpa)
    value = options.change_ratio * float(rate_of_ultimate_kpa_s(rise, tau))
    weather = [(1.0 - u.floor_share) * d.ambient_u_kpa for u, d in ((before, baseline), (after, now))]
    u_rise = float(np.sqrt(before.vacuum_u_kpa**2 + after.vacuum_u_kpa**2 + np.sum(np.square(weather))))
    u_zero = float(np.sqrt(2.0)) * options.zero_u_kpa
    u_tau = float(np.hypot(before.tau_u_s, after.tau_u_s)) / (2.0 * tau)
    own = options.change_ratio * float(np.hypot(u_rise, u_zero)) / tau
    scale = abs(value) * float(np.hypot(options.change_ratio_u / options.change_ratio, u_tau))
    half = 1.96 * float(np.hypot(own, scale))
    return Estimate(
        value=value, lower=value - half, upper=value + half, unit="kPa/s", n=min(before.n, after.n), method=METHOD
    )


def _ultimate(data: StationData, options: LeakOptions) -> _Ultimate | None:
    """Medians over the held cycles of a log, or None where there are too few."""
    cycles = data.cycles
    vacuum = cycles.floats("ultimate_vacuum_kpa") - np.nan_to_num(
        _steady(zero_readings(cycles.floats("idle_vacuum_kpa"), options))
    )
    tau = cycles.floats("pump_time_constant_s")
    use = cycles.where("outcome", "held") & np.isfinite(vacuum) & np.isfinite(tau)
    if np.count_nonzero(use) < options.change_cycles:
        return None
    middle = float(np.median(vacuum[use]))
    pressure = data.ambient_kpa - middle
    return _Ultimate(
        pressure_kpa=pressure,
        floor_share=pressure / data.ambient_kpa,
        vacuum_u_kpa=_median_u(vacuum[use]),
        tau_s=float(np.median(tau[use])),
        tau_u_s=_median_u(tau[use]),
        n=int(np.count_nonzero(use)),
    )


def _steady(idle_kpa: Floats) -> float:
    """Median idle reading of a log [kPa], NaN where there is none."""
    known = idle_kpa[np.isfinite(idle_kpa)]
    return float(np.median(known)) if len(known) else float("nan")


def _median_u(values: Floats) -> float:
    """Standard error of a median, from the robust spread of the values."""
    spread = 1.4826 * float(np.median(np.abs(values - np.median(values))))
    return MEDIAN_FACTOR * spread / float(np.sqrt(len(values)))
