"""When no setting may be suggested: what must be repaired or known first."""

from collections.abc import Mapping

from tracekit.model.cycle import StationData
from tracekit.model.finding import Finding
from tracekit.options.tune import TuneOptions
from tracekit.tune.known import Known

# Causes that change neither evacuation, hold nor decay of a healthy pick, so that settings can be chosen beside them.
_HARMLESS = ("release_weak", "part_not_presented")
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


def repair_first(findings: tuple[Finding, ...]) -> str | None:
    """What must be repaired before settings make sense, or None."""
    for finding in findings:
        if finding.severity == "info" or finding.kind not in ("cause", "sensor") or finding.code in _HARMLESS:
            continue
        return _FIRST.get(finding.code, f"Repair first: {finding.title}")
    return None


def unknown(data: StationData, known: Mapping[str, Known], options: TuneOptions) -> str | None:
    """What the log lacks for any suggestion, or None."""
    held = int(data.cycles.where("outcome", "held").sum())
    if held < options.least_held:
        return f"Only {held} held cycles; record {options.least_held} or more"
    if "set_point" not in known or "reset_point" not in known:
        return "The settings in force are not known; put them into the station file"
    return None
