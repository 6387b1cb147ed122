"""The vectorised segmentation agrees with a plain walk over the samples."""

import numpy as np
import pytest
from segment import cycle_twin
from segment.made_traces import measured

from tracekit.simulate import Scenario, simulate
from tracekit.simulate.scenario import Fault, Saving, Sequencer, StationSpec

NAMES = ("time_s", "pressure_kpa", "supply", "release", "part_present")
LEAK = Fault(label="cup_leak_orifice", kind="cup", size={"rate_kpa_s": 4.0, "b": 0.35})
SCENARIOS = {
    "air saved": Scenario(name="a", cycles=10, seed=3, faults=(LEAK,), station=StationSpec(sequencer=Sequencer(transport_s=3.0))),
    "narrow band": Scenario(name="b", cycles=8, seed=4, faults=(LEAK,), station=StationSpec(saving=Saving(supply_off_kpa=68.0, supply_on_kpa=66.0))),
    "no saving": Scenario(name="c", cycles=10, seed=5, station=StationSpec(saving=None)),
}  # fmt: skip


@pytest.mark.parametrize("name", SCENARIOS)
def test_walk_over_samples(name: str) -> None:
    """Starts, tries, releases, outcomes, switches, output edges and air time are those of a plain walk."""
    log = simulate(SCENARIOS[name])
    columns = {k: np.asarray(getattr(log, k)) for k in NAMES}
    data = measured(columns)
    walked = cycle_twin.walk(columns)
    time = columns["time_s"] - columns["time_s"][0]
    vacuum = (-columns["pressure_kpa"]).tolist()
    cycles = data.cycles
    np.testing.assert_allclose(cycles.floats("start_s"), [time[w.start] for w in walked], atol=1e-9)
    assert cycles.codes("attempts").tolist() == [w.tries for w in walked]
    np.testing.assert_allclose(data.timing["release_s"], [time[w.release] for w in walked], atol=1e-9)
    assert cycles.texts("outcome") == [cycle_twin.outcome(w) for w in walked]
    assert cycles.codes("output_edges").tolist() == [w.output_edges for w in walked]
    np.testing.assert_allclose(cycles.floats("supply_on_time_s"), [w.on_time for w in walked], atol=1e-9)
    cut = data.settings["supply_off"].value_kpa
    tolerance = 2.5 * data.sensor.noise_kpa + 0.1
    switches = [cycle_twin.switches(w, vacuum, cut, tolerance) for w in walked]
    assert cycles.codes("supply_switches").tolist() == switches
    assert (name == "no saving") == (sum(switches) == 0)


def test_walk_agrees_with_the_truth() -> None:
    """The walk itself finds the starts that the simulator commanded."""
    log = simulate(SCENARIOS["narrow band"])
    walked = cycle_twin.walk({k: np.asarray(getattr(log, k)) for k in NAMES})
    starts = [c["supply_on_s"] for c in log.truth["cycles"]]
    np.testing.assert_allclose([log.time_s[w.start] for w in walked], starts, atol=0.011)
