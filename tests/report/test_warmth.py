"""Gas warming taken out of a trace, against a gas simulated step by step."""

from dataclasses import replace

import numpy as np
import pytest
import stories
from stories import Play

from tracekit.report.warmth import without_warming

AMBIENT, TAU, LEAK = 101.3, 0.15, 3.0
WALL_K, HEAT_RATIO = 293.15, 1.4


def gas(times, suction):
    """Absolute pressure of air in a rigid vessel with warm walls, by small steps of mass and energy [kPa].

    `suction` is true while a generator draws towards 25 kPa; otherwise air leaks in at LEAK kPa/s, isothermal.
    """
    pressure, kelvin = AMBIENT, WALL_K
    step, out = 1e-4, []
    clock = 0.0
    for t in times:
        while clock < t:
            drawn = (pressure - 25.0) / 0.06 if suction(clock) else 0.0
            entering = 0.0 if suction(clock) else LEAK
            content = pressure / kelvin
            warmth = (WALL_K - kelvin) / (TAU * np.sqrt(pressure / AMBIENT)) * content
            content_change = (entering / WALL_K) - drawn / kelvin
            energy_change = HEAT_RATIO * (entering - drawn) + warmth
            pressure += step * energy_change
            content += step * content_change
            kelvin = pressure / content
            clock += step
        out.append(pressure)
    return np.array(out)


def test_the_slope_left_is_that_of_the_isothermal_leak():
    """After a fast evacuation the raw slope is far too steep; without warming it is the planted one within 4 %."""
    data = stories.data_of(Play(cycles=2))
    times = np.arange(0.0, 2.5, 0.01)
    absolute = gas(times, lambda t: 0.5 < t < 0.8)
    kinds = ("idle", "evacuate", "coast")
    edges = (0.0, 0.5, 0.8, 2.5)
    period = np.searchsorted(edges, times, side="right") - 1
    names = list(data.periods.categories["kind"])
    periods = replace(
        data.periods,
        data={**data.periods.data, "kind": np.array([names.index(k) for k in kinds], np.int32)},
    )
    bins = replace(
        data.bins, cycle=np.zeros(250, np.int32), period=period.astype(np.int32), time_s=times,
        pressure_kpa=absolute - AMBIENT, samples=np.full(250, 2, np.int32),
    )  # fmt: skip
    cycles = data.cycles.with_columns(idle_vacuum_kpa=np.zeros(2))
    data = replace(data, bins=bins, periods=periods, cycles=cycles, ambient_kpa=AMBIENT)
    leak = replace(stories.leak_of(stories.data_of(Play(cycles=2))), wall_time_constant_s=TAU, rate=np.full(2, LEAK))
    cleaned = without_warming(data, leak)
    early = (times > 0.82) & (times < 1.2)
    raw = np.polyfit(times[early], absolute[early], 1)[0]
    left = np.polyfit(times[early], cleaned[early], 1)[0]
    assert raw > 1.5 * LEAK
    assert left == pytest.approx(LEAK, rel=0.04)


def test_without_a_time_constant_nothing_is_taken_out():
    """No time constant, no correction."""
    data = stories.data_of(Play(cycles=3))
    assert without_warming(data, stories.leak_of(data)) is None


def test_some_cycles_are_as_in_the_whole():
    """Only the bins of the cycles asked for and of those before them are worked on, to the same figures."""
    result = stories.result(Play(cycles=9))
    leak = replace(result.leak, wall_time_constant_s=TAU)
    whole = without_warming(result.data, leak)
    some = without_warming(result.data, leak, np.array([2, 6]))
    asked = np.isin(result.data.bins.cycle, (2, 6))
    np.testing.assert_allclose(some[asked], whole[asked], rtol=1e-9)
    assert np.isnan(some[~np.isin(result.data.bins.cycle, (1, 2, 5, 6))]).all()
