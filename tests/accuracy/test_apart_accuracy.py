"""Table over logs of a simulator that shares nothing with the package's own."""

import pytest
from apart.suite import Case, cases, make

import tracekit

ACCEPTED = {
    "hysteresis_too_small": {"hysteresis_too_small", "supply_on_below_reset", "set_point_too_high"},
    "supply_on_below_reset": {"supply_on_below_reset", "hysteresis_too_small"},
    "set_point_too_high": {"set_point_too_high", "supply_off_unreachable"},
    "sensor_clipped": {"sensor_clipped", "supply_off_unreachable"},
}
REPAIRABLE = {"cause", "setting", "sensor"}


def _judged(case: Case, seed: int) -> tuple[float, float, bool]:
    """Start errors of the cycles (worst, s), the chance given to the first finding, and whether it is right."""
    log, base, truth = make(case, seed)
    found = tracekit.diagnose(log, baseline=base).station()
    starts = found.data.cycles.floats("start_s")
    true = [c["supply_on_s"] for c in truth["cycles"]]
    worst = max(abs(starts[: len(true)] - true)) if len(starts) == len(true) else float("inf")
    listed = [f for f in found.findings if f.kind in REPAIRABLE and str(f.severity) != "info"]
    if not case.faults:
        return worst, listed[0].confidence if listed else 0.0, not listed
    want = set().union(*(ACCEPTED.get(f, {f}) for f in case.faults))
    first = {listed[0].code, *listed[0].alternatives} if listed else set()
    return worst, listed[0].confidence if listed else 0.0, bool(first & want)


def _table(chosen: list[Case], seed: int) -> float:
    right = []
    for case in chosen:
        worst, confidence, good = _judged(case, seed)
        right.append(good)
        print(f"{case.name:48s} start {worst:6.3f} s  first {confidence:4.2f}  {'right' if good else 'WRONG'}")
    share = sum(right) / len(right)
    print(f"right: {share:.2f} of {len(right)}")
    return share


@pytest.mark.accuracy
@pytest.mark.full
def test_first_causes_of_another_simulator_with_a_baseline() -> None:
    """One log per cause, each with the healthy log beside it."""
    assert _table([c for c in cases("faults") if c.baseline], 11) >= 0.8


@pytest.mark.accuracy
@pytest.mark.full
def test_healthy_logs_of_another_simulator_are_quiet() -> None:
    """Waits, product changes, coarse and slow loggers, warming: no repair is listed."""
    assert _table(cases("healthy"), 11) >= 0.85
