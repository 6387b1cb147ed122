"""A change of leak without coasts, on tables with planted ultimate vacua."""

from dataclasses import replace

import numpy as np

from tests.measure.one_volume import Plant, station
from tracekit.measure.leak_change import leak_change_without_coasts
from tracekit.model.cycle import StationData
from tracekit.model.estimate import Estimate, Withheld

PLAIN = station(Plant(rates=(1.0,) * 20, reaches=(False,) * 20))


def log(ultimate_kpa: float, tau_s: float = 0.2, *, ambient_kpa: float = 100.0, idle_kpa: float = 0.0) -> StationData:
    """A log whose cycles tend to a vacuum, with a little scatter."""
    rng = np.random.default_rng(2)
    cycles = PLAIN.cycles.with_columns(
        ultimate_vacuum_kpa=ultimate_kpa + 0.02 * rng.normal(size=20), pump_time_constant_s=np.full(20, tau_s),
        idle_vacuum_kpa=np.full(20, idle_kpa),
    )  # fmt: skip
    return replace(PLAIN, cycles=cycles, ambient_kpa=ambient_kpa)


def change(now: StationData, before: StationData) -> Estimate:
    """The change, which must be an estimate."""
    found = leak_change_without_coasts(now, before)
    assert isinstance(found, Estimate)
    return found


def test_a_planted_change_is_covered() -> None:
    """Two kPa less ultimate vacuum at τ = 0.2 s mean some 10 kPa/s; true ratios of 0.84–1.44 lie in the interval."""
    found = change(log(82.0), log(84.0))
    for ratio in (0.84, 1.0, 1.44):
        assert found.lower <= ratio * 10.0 <= found.upper
    assert found.lower > 0.0


def test_no_change_includes_zero_and_says_how_wide() -> None:
    """The same vacuum twice gives an interval about zero."""
    found = change(log(84.0), log(84.0))
    assert found.lower < 0.0 < found.upper
    assert abs(found.value) < 0.1


def test_weather_is_no_leak() -> None:
    """A station whose ultimate pressure is a fixed share of ambient shows no change when the ambient rises."""
    found = change(log(0.84 * 103.0, ambient_kpa=103.0), log(0.84 * 100.0))
    assert abs(found.value) < 0.1


def test_unknown_ambient_widens() -> None:
    """An ambient known to ±5 kPa in each log makes the interval several times as wide."""
    now, before = log(82.0), log(84.0)
    vague = change(replace(now, ambient_u_kpa=5.0), replace(before, ambient_u_kpa=5.0))
    sure = change(now, before)
    assert vague.upper - vague.lower > 2.0 * (sure.upper - sure.lower)


def test_a_zero_shift_is_taken_off() -> None:
    """A sensor that reads 1 kPa more at rest and under vacuum shows no change."""
    assert abs(change(log(85.0, idle_kpa=1.0), log(84.0)).value) < 0.1


def test_a_slower_evacuation_is_not_called_a_leak() -> None:
    """Where τ has grown by half, supply or exhaust may be behind it, and the change is withheld."""
    found = leak_change_without_coasts(log(80.0, tau_s=0.3), log(84.0))
    assert isinstance(found, Withheld)
    assert "supply or exhaust" in found.reason


def test_too_few_cycles_are_withheld() -> None:
    """Without ultimate vacua there is nothing to compare."""
    found = leak_change_without_coasts(PLAIN, log(84.0))
    assert isinstance(found, Withheld)
    assert "Fewer than 5" in found.reason
