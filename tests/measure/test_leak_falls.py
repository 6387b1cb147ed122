"""A leak whose teeth have a few samples each: its least size, and the noise that is none of its corners."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from segment.made_traces import measured, table_of

from tracekit.measure.leak_falls import least_leak
from tracekit.model.cycle import StationData
from tracekit.model.estimate import Bound
from tracekit.options.leak import LeakOptions
from tracekit.pipeline import diagnose
from tracekit.signal.falls import fall_rate_kpa_s
from tracekit.simulate import SimulatedLog, random_scenario, simulate

NAMES = ("time_s", "pressure_kpa", "supply", "release", "part_present")
OPTIONS = LeakOptions()
INTERVAL_S = 0.01


def leaky_log(rate_kpa_s: float, rate_hz: float, signal: str = "valve") -> SimulatedLog:
    """Twenty picks of one station with a hole, as a recorder of that rate sees them."""
    scenario = random_scenario("cup_leak_orifice", 880_001, 2)
    fault = replace(scenario.faults[0], size={"rate_kpa_s": rate_kpa_s, "b": 0.4})
    recorder = replace(scenario.station.recorder, rate_hz=rate_hz, supply_signal=signal)
    return simulate(replace(scenario, cycles=20, faults=(fault,), station=replace(scenario.station, recorder=recorder)))


@pytest.mark.parametrize("rate_hz", [10.0, 20.0])
def test_teeth_of_a_few_samples_bound_the_leak(rate_hz: float) -> None:
    """Some three or five samples a tooth: no rate, but a leak, a lower bound of it, and a sensor that is sound."""
    result = diagnose(table_of({name: getattr(leaky_log(40.0, rate_hz), name) for name in NAMES})).stations[0]
    found = result.leak.decay_rate
    assert isinstance(found, Bound)
    assert found.status == "lower_bound"
    assert 8.0 < found.limit < 40.0
    codes = {f.code: f.confidence for f in result.findings}
    assert codes["leak_steady"] > 0.5
    assert "sensor_noisy" not in codes


def test_noise_of_a_slow_log_is_none_of_its_corners() -> None:
    """Of the log and of the cycles, the noise is that of the sensor, a tenth of a kPa, and not of teeth of 7 kPa."""
    log = leaky_log(40.0, 10.0)
    data = measured({name: np.asarray(getattr(log, name)) for name in NAMES})
    assert data.sensor.noise_kpa < 0.3
    assert np.nanmax(data.cycles.floats("noise_kpa")) < 0.3


def made(falls_kpa: list[float], seconds: float) -> StationData:
    """One hold for each fall, with two coasts of it, each ended by a recharge."""
    count = 4 * len(falls_kpa)
    coast = np.arange(count) % 2 == 0
    end = (seconds + INTERVAL_S) * np.arange(1, count + 1)
    columns = {
        "start_s": end - seconds - INTERVAL_S, "end_s": end, "vacuum_start_kpa": np.full(count, 70.0),
        "vacuum_end_kpa": 70.0 - np.where(coast, np.repeat(falls_kpa, 4), 0.0),
    }  # fmt: skip
    codes = {"kind": np.where(coast, 0, 1), "cycle": np.repeat(np.arange(len(falls_kpa)), 4)}
    periods = SimpleNamespace(
        codes=codes.__getitem__, floats=columns.__getitem__, categories={"kind": ("coast", "recharge")}
    )

    sensor = SimpleNamespace(sample_interval_s=INTERVAL_S)

    class Cycles:
        def __len__(self) -> int:
            return len(falls_kpa)

        def floats(self, _name: str) -> np.ndarray:
            return np.full(len(falls_kpa), 70.0)

    return SimpleNamespace(periods=periods, cycles=Cycles(), ambient_kpa=100.0, sensor=sensor)


def test_a_bound_leaves_out_what_gas_adds() -> None:
    """Falls of 8 kPa in 0.1 s: 80 kPa/s, less warming, over 1.4, and less through pores at 60 than at 70 kPa."""
    data = made([8.0] * 6, 0.1)
    np.testing.assert_allclose(fall_rate_kpa_s(data), 80.0, rtol=1e-9)
    bound = least_leak(data, OPTIONS)
    assert bound is not None
    assert bound.limit == pytest.approx((80.0 - 5.0) / 1.4 * (1.0 - 0.4**2) / (1.0 - 0.3**2))
    assert bound.n == 6


def test_few_or_slow_falls_bound_nothing() -> None:
    """Four holds, falls of 10 kPa/s as warming gas makes them, or slow holds among fast ones."""
    assert least_leak(made([8.0] * 4, 0.1), OPTIONS) is None
    assert least_leak(made([1.0] * 6, 0.1), OPTIONS) is None
    assert least_leak(made([8.0] * 4 + [0.5] * 2, 0.1), OPTIONS) is None
