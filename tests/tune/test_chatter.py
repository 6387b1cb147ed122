"""An output that toggles: how often and why."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from tests.tune import tuned_stations as stations
from tracekit.options.tune import TuneOptions
from tracekit.pipeline import diagnose
from tracekit.simulate.scenario import Fault, Saving, Switch
from tracekit.tune.chatter import chatter_of
from tracekit.tune.known import known_settings

SPEC = stations.StationSpec()


def found(made):
    result = stations.diagnosed(made)
    return chatter_of(result.data, known_settings(result.data, TuneOptions()))


def noisy(seed=5):
    """Noise over too small a hysteresis, at a vacuum where the hold lingers."""
    switch = Switch(set_point_kpa=84.2, reset_point_kpa=84.0)
    sensor = replace(SPEC.sensor, noise_kpa=0.3, coloured_share=0.8)
    return stations.scenario(stations.spec(saving=None, switch=switch, sensor=sensor), cycles=14, seed=seed)


def pulsing(seed=5):
    """A ripple of the supply wider than the hysteresis."""
    switch = Switch(set_point_kpa=84.4, reset_point_kpa=84.0)
    fault = Fault(label="supply_pulsation", size={"amplitude_kpa": 1.0, "hz": 6.0})
    return stations.scenario(stations.spec(saving=None, switch=switch), cycles=14, seed=seed, faults=(fault,))


def moving(seed=5):
    """Dips with the motion that reach the reset point."""
    sequencer = replace(SPEC.sequencer, dip_kpa=6.0)
    switch = Switch(set_point_kpa=82.5, reset_point_kpa=81.5)
    return stations.scenario(stations.spec(saving=None, switch=switch, sequencer=sequencer), cycles=14, seed=seed)


def ordered(seed=5):
    """supply_on under the reset point."""
    return replace(stations.FALLING, seed=seed, cycles=14)


def leaky(seed=5):
    """supply_on just over the reset point, and a loss that falls through it before the supply works."""
    volumes = replace(SPEC.volumes, residual_leak_kpa_s=45.0)
    switch, saving = Switch(set_point_kpa=60.0, reset_point_kpa=57.2), Saving(supply_off_kpa=68.0, supply_on_kpa=57.6)
    recorder = replace(SPEC.recorder, rate_hz=500.0)
    return stations.scenario(
        stations.spec(volumes=volumes, switch=switch, saving=saving, recorder=recorder), cycles=14, seed=seed
    )


@pytest.mark.parametrize(("make", "cause"), [
    (noisy, "noise"), (pulsing, "pulsation"), (moving, "motion"), (ordered, "order"), (leaky, "leak"),
])  # fmt: skip
@pytest.mark.parametrize("seed", [5, 6, 7])
def test_cause_is_told(make, cause, seed):
    """Each cause made in the simulator is told by name."""
    assert found(make(seed)).cause == cause


def test_edges_that_no_pressure_explains():
    """An output that drops for one sample at full vacuum is laid to cable or recorder."""
    log = stations.logged(stations.PLAIN)
    present = log.part_present.copy()
    held = np.flatnonzero(present)
    middle = held[len(held) // 40 :: len(held) // 20]
    present[middle] = 0
    frame = pd.DataFrame({"time_s": log.time_s, "pressure_kpa": log.pressure_kpa, "supply": log.supply, "release": log.release, "part_present": present})
    result = diagnose(frame, station=stations.filed(stations.PLAIN)).stations[0]
    assert chatter_of(result.data, known_settings(result.data, TuneOptions())).cause == "artefact"


def test_frequency_is_that_of_the_ripple():
    """Chatter that follows a ripple of 6 Hz has its frequency, within 2 % or one count."""
    estimate = found(pulsing()).frequency_hz
    assert estimate.value == pytest.approx(6.0, rel=0.02) or estimate.lower <= 6.0 <= estimate.upper


def test_a_quiet_output_has_no_chatter():
    """A station whose output comes on once and goes off once per hold has none."""
    assert found(stations.HEALTHY) is None
