"""A change of leak between two logs of a station that never coasts, from the vacuum that its evacuation tends to."""

import math
from dataclasses import replace

import numpy as np

from tracekit.frozen import dataclass
from tracekit.measure.leak_bins import Floats, zero_readings
from tracekit.measure.leak_rules import DECAY_ON_PURPOSE
from tracekit.model.cycle import StationData
from tracekit.model.estimate import Estimate, Quantity, Withheld
from tracekit.model.result import BudgetLine, LeakChange
from tracekit.options.leak import LeakOptions
from tracekit.physics.decay import rate_of_ultimate_kpa_s

DEFAULTS = LeakOptions()
MEDIAN_FACTOR = 1.2533
COVERAGE = 1.96
SEEN, EXTRAPOLATED = 0, 1
"""Codes of the column `ultimate_extrapolated`."""
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


def leak_change(now: StationData, baseline: StationData, options: LeakOptions = DEFAULTS) -> LeakChange | Withheld:
    """Change of leak of a station without coasts against a baseline, as isothermal dp/dt.

    A leak of slope s raises the pressure at which the evacuation ends by s·τ, so that Δs ≈ Δp_u/τ. The true ratio was
    found between 0.84 and 1.44 on simulated stations, because the suction curve bends; that is in the interval, and
    so are both ambients: a gauge sensor's ultimate vacuum moves with the weather, and the generator's strength with
    its supply. Withheld where either log has coasts (then the rates themselves are to be compared), where a log has
    too few ultimate vacua of the kind that the other has (seen, or extrapolated in both), or where τ or the vacuum of
    the open cup has changed, so that supply or exhaust must have changed with it.
    """
    if now.air_saving or baseline.air_saving:
        return Withheld("A log has coasts: compare the leak rates themselves.")
    baseline, now = _at_one_site(baseline, now, options)
    pairs = [_of_one_kind(baseline, now, kind, options) for kind in (SEEN, EXTRAPOLATED)]
    pair = next((p for p in pairs if p is not None), None)
    if pair is None:
        return Withheld(_no_pair(baseline, now, options))
    before, after = pair
    tau = 0.5 * (before.tau_s + after.tau_s)
    apart = abs(after.tau_s - before.tau_s)
    if apart > options.change_tau_share * tau + 2.0 * float(np.hypot(before.tau_u_s, after.tau_u_s)):
        return Withheld(
            "The time constant of the evacuation has changed with the ultimate vacuum: supply or exhaust may be behind "
            f"it, and the change of leak cannot be told apart. {DECAY_ON_PURPOSE}"
        )
    if _weaker(now.usual_open_kpa, baseline.usual_open_kpa, options):
        return Withheld(
            "The vacuum of the open cup has fallen as well: supply or exhaust is behind it, and the change of leak "
            f"cannot be told apart. {DECAY_ON_PURPOSE}"
        )
    rise = after.pressure_kpa - before.pressure_kpa * (now.ambient_kpa / baseline.ambient_kpa)
    return _change(rise, tau, before, after, _budget(rise, tau, (before, after), (baseline, now), options), options)


def _of_one_kind(
    baseline: StationData, now: StationData, kind: int, options: LeakOptions
) -> tuple[_Ultimate, _Ultimate] | None:
    """Both logs by cycles whose ultimate vacuum was seen, or by such as it was extrapolated for; None where too few.

    A bent suction curve ends elsewhere than its extrapolation: the one must not be held against the other.
    """
    before, after = (_ultimate(d, kind, options) for d in (baseline, now))
    return None if before is None or after is None else (before, after)


def _no_pair(baseline: StationData, now: StationData, options: LeakOptions) -> str:
    """Why no ultimate vacua can be compared."""
    some = [{k for k in (SEEN, EXTRAPOLATED) if _ultimate(d, k, options) is not None} for d in (baseline, now)]
    if all(some):
        return (
            "One log shows the vacuum that the evacuation tends to, the other was cut before and only lets it be "
            f"extrapolated: a bent suction curve ends elsewhere, so the two cannot be compared. {DECAY_ON_PURPOSE}"
        )
    return (
        f"Fewer than {options.change_cycles} held cycles of a log show the vacuum that their evacuation tends to. "
        f"{DECAY_ON_PURPOSE}"
    )


def _at_one_site(baseline: StationData, now: StationData, options: LeakOptions) -> tuple[StationData, StationData]:
    """Both logs with what is known of the ambient of either: an unknown altitude is the same for both.

    It then cancels in the difference, and only the weather between the two days is left.
    """
    if max(baseline.ambient_u_kpa, now.ambient_u_kpa) <= options.change_weather_kpa:
        return baseline, now
    known = min((now, baseline), key=lambda data: data.ambient_u_kpa)
    weather = options.change_weather_kpa
    return (
        replace(baseline, ambient_kpa=known.ambient_kpa, ambient_u_kpa=weather),
        replace(now, ambient_kpa=known.ambient_kpa, ambient_u_kpa=0.0),
    )


def leak_change_without_coasts(now: StationData, baseline: StationData, *, options: LeakOptions = DEFAULTS) -> Quantity:
    """The change of `leak_change` alone [kPa/s]."""
    found = leak_change(now, baseline, options)
    return found if isinstance(found, Withheld) else found.change


def _weaker(open_kpa: float, before_kpa: float, options: LeakOptions) -> bool:
    """True where the open cup's vacuum has fallen, which a leak does not do; False where it is not known."""
    fall = before_kpa - open_kpa
    return bool(fall > options.change_open_kpa and fall > options.change_open_share * before_kpa)


def _change(
    rise: float, tau: float, before: _Ultimate, after: _Ultimate, budget: tuple[BudgetLine, ...], options: LeakOptions
) -> LeakChange:
    """The record, from the rise of the ultimate pressure [kPa] and the time constant [s]."""
    value = options.change_ratio * float(rate_of_ultimate_kpa_s(rise, tau))
    half = COVERAGE * float(np.sqrt(sum(line.u_kpa_s**2 for line in budget)))
    still = COVERAGE * float(np.sqrt(sum(line.u_kpa_s**2 for line in budget[:-1])))
    estimate = Estimate(
        value=value, lower=value - half, upper=value + half, unit="kPa/s", n=min(before.n, after.n), method=METHOD
    )
    return LeakChange(
        change=estimate, rise_kpa=rise, time_constant_s=tau, smallest_kpa_s=still, how=DECAY_ON_PURPOSE, budget=budget
    )


def _budget(
    rise: float, tau: float, ultimates: tuple[_Ultimate, _Ultimate], logs: tuple[StationData, StationData],
    options: LeakOptions,
) -> tuple[BudgetLine, ...]:  # fmt: skip
    """Standard uncertainties of the change [kPa/s]; the last one grows with the change, the others are there without.

    The supply's own changes from day to day move the ultimate pressure as a leak does, by `change_supply_share` of the
    vacuum per log.
    """
    scale = options.change_ratio / tau
    scatter = math.hypot(*(u.vacuum_u_kpa for u in ultimates))
    weather = math.hypot(*((1.0 - u.floor_share) * d.ambient_u_kpa for u, d in zip(ultimates, logs, strict=True)))
    depth = float(np.mean([d.ambient_kpa - u.pressure_kpa for u, d in zip(ultimates, logs, strict=True)]))
    zero, supply = (float(np.sqrt(2.0)) * u for u in (options.zero_u_kpa, options.change_supply_share * depth))
    u_tau = math.hypot(*(u.tau_u_s for u in ultimates)) / (2.0 * tau)
    ratio = float(np.hypot(options.change_ratio_u / options.change_ratio, u_tau))
    return (
        BudgetLine(source="scatter of the ultimate vacuum", u_kpa_s=scale * scatter, common=False),
        BudgetLine(source="ambient pressure, or the weather between the logs", u_kpa_s=scale * weather, common=True),
        BudgetLine(source="sensor zero", u_kpa_s=scale * zero, common=True),
        BudgetLine(source="supply from day to day", u_kpa_s=scale * supply, common=True),
        BudgetLine(source="bend of the suction curve", u_kpa_s=scale * abs(rise) * ratio, common=True),
    )


def _ultimate(data: StationData, kind: int, options: LeakOptions) -> _Ultimate | None:
    """Medians over the held cycles of a log of one kind, or None where there are too few."""
    cycles = data.cycles
    vacuum = data.timing.get("tends_to_kpa", cycles.floats("ultimate_vacuum_kpa")) - np.nan_to_num(
        _steady(zero_readings(cycles.floats("idle_vacuum_kpa"), options))
    )
    tau = cycles.floats("pump_time_constant_s")
    use = cycles.where("outcome", "held") & np.isfinite(vacuum) & np.isfinite(tau)
    use &= (cycles.codes("ultimate_extrapolated") == SEEN) == (kind == SEEN)
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
