"""When no setting may be suggested: what must be repaired or known first."""

from collections.abc import Mapping

import numpy as np

from tracekit.model.cycle import StationData
from tracekit.model.estimate import Estimate
from tracekit.model.finding import Finding
from tracekit.model.result import LeakResult
from tracekit.model.station import Station
from tracekit.model.tuning import Known
from tracekit.options.tune import TuneOptions
from tracekit.physics.air import L_MIN_ANR_PER_ML_KPA_S
from tracekit.tune.facts import closed_picks

# Causes that change neither evacuation, hold nor decay of a healthy pick, so that settings can be chosen beside them.
_HARMLESS = ("release_weak", "part_not_presented")
_THRESHOLDS = (
    "set_point_too_high", "set_point_too_low", "hysteresis_too_small", "supply_on_below_reset",
    "supply_band_too_narrow", "supply_off_unreachable",
)  # fmt: skip
_FIRST: Mapping[str, str] = {
    "leak_steady": "Repair the leak first; settings for a leaking station hide it",
    "leak_part_dependent": "Deal with the leaking parts first",
    "check_valve_leak": "Repair the check valve first",
    "release_valve_leak": "Repair the release valve first",
    "flow_restricted": "Clear the filter or hose first; the sensor reads too deep before it",
    "exhaust_restricted": "Clean silencer or generator first",
    "supply_pressure_low": "Restore the supply pressure first",
    "supply_pressure_dips": "Steady the supply pressure first",
    "supply_pulsation": "Steady the supply pressure first",
    "supply_valve_slow": "Repair the supply valve first",
    "supply_valve_passing": "Repair the supply valve first",
    "collision_or_peel": "Find out what tears the parts off first; no setting prevents it",
    "motion_dips": "Smooth the motion first; the vacuum dips with it",
    "sensor_zero_shift": "Set the zero of the sensor first; every threshold moves with it",
    "sensor_noisy": "Quiet the sensor first",
    "sensor_stuck": "Free the sensor first; its reading does not move",
    "sensor_slow": "Clear the sensor's port first",
    "sensor_clipped": "Change the sensor's range first; its reading is cut off",
}


_LEAKY = "See first whether so large a leak is usual here; settings for a leaking station hide it"


def repair_first(findings: tuple[Finding, ...]) -> str | None:
    """What must be repaired before settings make sense, or None."""
    for finding in findings:
        if finding.severity == "info" or finding.kind not in ("cause", "sensor") or finding.code in _HARMLESS:
            continue
        return _FIRST.get(finding.code, f"Repair first: {finding.title}")
    codes = {f.code for f in findings if f.severity != "info"}
    if "supply_short_cycling" in codes and not codes & set(_THRESHOLDS):
        return "The band is not narrow, yet recharges follow fast: find the leak first"
    return None


def unknown(data: StationData, known: Mapping[str, Known], options: TuneOptions) -> str | None:
    """What the log lacks for any suggestion, or None."""
    closed = int(closed_picks(data).sum())
    if closed < options.least_held:
        return f"Only {closed} pick{'' if closed == 1 else 's'} with a part; record {options.least_held} or more"
    if "set_point" not in known or "reset_point" not in known:
        return "The settings in force are not known; put them into the station file"
    if _changed(data, known["set_point"]):
        return "The set point changed within this log; record again with one setting"
    return None


def _changed(data: StationData, point: Known) -> bool:
    """Whether picks contradict the set point in force: vacuum well over it, and the output never came on."""
    peak = data.cycles.floats("peak_vacuum_kpa")
    margin = 2.0 + 3.0 * float(np.nan_to_num(data.sensor.noise_kpa))
    silent = data.cycles.where("outcome", "missed") & ~(data.timing["has_output_on"] > 0.0)
    return int((silent & (peak > point.high + margin)).sum()) >= 2


def setting_faults(findings: tuple[Finding, ...]) -> tuple[str, ...]:
    """Codes of settings that a finding above info calls wrong and that a threshold can put right."""
    return tuple(f.code for f in findings if f.severity != "info" and f.code in _THRESHOLDS)


def leak_first(leak: LeakResult, station: Station, faults: tuple[str, ...], options: TuneOptions) -> str | None:
    """A leak too large to tune around, whatever it is called; an order that lets parts fall is put right before it."""
    rate = leak.decay_rate
    if not isinstance(rate, Estimate) or "supply_on_below_reset" in faults:
        return None
    volume = station.station.volume_ml
    flow = L_MIN_ANR_PER_ML_KPA_S * (volume or 0.0) * rate.lower
    if flow > options.leaky_l_min or (volume is None and rate.lower > options.leaky_kpa_s):
        return _LEAKY
    return None
