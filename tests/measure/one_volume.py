"""A station of one gas volume, integrated in mass and energy here, and the record that its log would become.

It shares no code with the package's physics or measures: evacuation by a pump, coasts between two thresholds, a leak
through a hole or pores, walls at ambient temperature. All cycles run in parallel.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracekit.model.cycle import Bins, SensorFacts, SettingInForce, StationData, Strip, Wiring
from tracekit.model.tables import CYCLES, EDGES, OUTCOMES, PERIOD_KINDS, PERIODS, SIGNALS, Column, make_table

Floats = NDArray[np.float64]
STEP_S = 2e-4
BIN_S = 0.012
SUPPLY, RELEASE, PRESENT = 0, 1, 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Plant:
    """What a test sets. `rates` is the isothermal dp/dt at 60 kPa of vacuum of every cycle [kPa/s].

    What is in the volume enters a smaller one as vacuum grows: dp/dt grows by `shrink_1_kpa` per kPa beyond 60.
    The wall exchange takes τ·√x, or what goes with another power of x and is the same at x = 0.4; `sensor_s` is the
    sensor's lag.
    """

    rates: tuple[float, ...]
    form: str = "hole"
    critical_ratio: float = 0.3
    tau_s: float = 0.12
    wall_power: float = 0.5
    sensor_s: float = 0.0
    pump_s: float = 0.09
    shrink_1_kpa: float = 0.0
    ambient_kpa: float = 100.0
    set_point_kpa: float = 55.0
    supply_off_kpa: float = 72.0
    supply_on_kpa: float = 62.0
    hold_s: float = 1.6
    noise_kpa: float = 0.05
    quantisation_kpa: float = 0.01
    idle_kpa: float = 0.0
    burst_kpa_s: float = 0.0
    unlogged_recharge: bool = False
    reaches: tuple[bool, ...] = ()
    seed: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class _Run:
    """Vacuum of every step and cycle, and the commands as (cycle, time, value)."""

    vacuum: Floats
    supply: list[tuple[int, float, int]]
    present_s: Floats


def flow(plant: Plant, pressure: Floats) -> Floats:
    """Leak flow over its flow at 60 kPa of vacuum."""

    def raw(x: Floats) -> Floats:
        if plant.form == "porous":
            return 1.0 - x**2
        beyond = np.clip((x - plant.critical_ratio) / (1.0 - plant.critical_ratio), 0.0, 1.0)
        return np.sqrt(1.0 - beyond**2)

    ref = np.array([(plant.ambient_kpa - 60.0) / plant.ambient_kpa])
    return np.asarray(raw(np.minimum(pressure / plant.ambient_kpa, 1.0)) / raw(ref)[0])


def _run(plant: Plant) -> _Run:
    """Integrates pressure and temperature of all cycles, with a controller that saves air."""
    n, steps = len(plant.rates), round((plant.hold_s + 0.5) / STEP_S)
    rate, ambient = np.array(plant.rates), plant.ambient_kpa
    cut = np.where(np.array(plant.reaches or (True,) * n), plant.supply_off_kpa, 1e9)
    pressure, warmth = np.full(n, ambient), np.ones(n)
    on, present, started = np.ones(n, bool), np.full(n, np.nan), np.zeros(n)
    vacuum, commands = np.empty((steps, n)), [(k, 0.0, 1) for k in range(n)]
    for k in range(steps):
        time, now = k * STEP_S, ambient - pressure
        vacuum[k] = now
        present = np.where(np.isnan(present) & (now >= plant.set_point_kpa), time, present)
        switch = np.where(on, now >= cut, now <= plant.supply_on_kpa)
        commands += [(int(c), time, int(not on[c])) for c in np.flatnonzero(switch)]
        started = np.where(switch, time, started)
        on = on ^ switch
        drawing = np.where(on, time - started > 0.008, (time - started <= 0.012) & (started > 0.0))
        suction = drawing * np.maximum(pressure - 0.12 * ambient, 0.0) / plant.pump_s
        moving = (time - present > 0.05) & (time - present < 0.25)
        leak = rate * flow(plant, pressure) + plant.burst_kpa_s * moving
        leak = leak / (1.0 - plant.shrink_1_kpa * (now - 60.0))
        law = 0.4**0.5 * (pressure / ambient / 0.4) ** plant.wall_power
        wall = (1.0 / warmth - 1.0) / (plant.tau_s * law) * pressure
        content = pressure / warmth + STEP_S * (leak - suction / warmth)
        pressure = pressure + STEP_S * (1.4 * (leak - suction) + wall)
        warmth = pressure / content
    return _Run(vacuum=vacuum, supply=commands, present_s=present)


def station(plant: Plant, context: tuple[str, ...] = ()) -> StationData:
    """The log of a plant as the record that measures take; `context` names a value of a column per cycle."""
    run, rng = _run(plant), np.random.default_rng(plant.seed)
    n, period = len(plant.rates), plant.hold_s + 1.0
    start = 0.5 + period * np.arange(n)
    end = start + plant.hold_s
    sensed = _lagging(run.vacuum, plant.sensor_s) + plant.idle_kpa
    rows, bins, edges = [], [], []
    for cycle in range(n):
        marks = [(t, v) for c, t, v in run.supply if c == cycle and t < plant.hold_s]
        edges += [(cycle, start[cycle] + t, SUPPLY, v) for t, v in marks]
        edges += [(cycle, start[cycle] + run.present_s[cycle], PRESENT, 1), (cycle, end[cycle], RELEASE, 1)]
        shown = [marks[0], *_shown(marks[1:], plant)]
        stops = [*(t for t, _ in shown[1:]), plant.hold_s]
        for (begin, value), stop in zip(shown, stops, strict=True):
            kind = ("evacuate" if begin == 0.0 else "recharge") if value else "coast"
            rows.append((cycle, PERIOD_KINDS.index(kind), start[cycle] + begin, start[cycle] + stop))
            bins += _bins(sensed[:, cycle], begin, stop, (cycle, len(rows) - 1, start[cycle]), plant, rng)
    return _record(plant, start, end, run, (rows, bins, edges), context)


def _lagging(vacuum: Floats, lag_s: float) -> Floats:
    """What a sensor of first order shows of the vacuum of every step and cycle."""
    out = vacuum.copy()
    for k in range(1, len(out) if lag_s else 0):
        out[k] = out[k - 1] + (vacuum[k] - out[k - 1]) * STEP_S / lag_s
    return out


def _shown(marks: list[tuple[float, int]], plant: Plant) -> list[tuple[float, int]]:
    """Commands that the recorder sees: the first recharge is missing where it was too short for it."""
    return [marks[0], *marks[3:]] if plant.unlogged_recharge and len(marks) > 3 else marks


def _bins(
    vacuum: Floats, begin: float, stop: float, where: tuple[int, int, float], plant: Plant, rng: np.random.Generator
) -> list[tuple[float, ...]]:
    """Means over bins of one period with the recorder's noise and steps: cycle, period, time, pressure, samples."""
    count, per_bin = max(1, int((stop - begin) / BIN_S)), 6
    out = []
    for k in range(count):
        times = begin + (stop - begin) * (k + (np.arange(per_bin) + 0.5) / per_bin) / count
        index = np.minimum((times / STEP_S).astype(int), len(vacuum) - 1)
        read = -vacuum[index] + plant.noise_kpa * rng.normal(size=per_bin)
        read = np.round(read / plant.quantisation_kpa) * plant.quantisation_kpa
        out.append((where[0], where[1], where[2] + float(times.mean()), float(read.mean()), per_bin))
    return out


def _record(
    plant: Plant, start: Floats, end: Floats, run: _Run, parts: tuple[list, list, list], context: tuple[str, ...]
) -> StationData:
    """Tables and facts of the log."""
    rows, bins, edges = (np.array(p, np.float64) for p in parts)
    n = len(start)
    ids = {"log_id": np.zeros(n, int), "station": np.zeros(n, int), "cycle": np.arange(n)}
    known = {"log_id": ("0",), "station": ("Glazing 1",)}
    columns, more = CYCLES, {}
    if context:
        columns = (*CYCLES, Column("context_recipe", "category", "", "context carried from the log"))
        known["context_recipe"] = tuple(dict.fromkeys(context))
        more["context_recipe"] = np.array([known["context_recipe"].index(c) for c in context])
    cycles = make_table(
        columns,
        {
            **ids, **more, "start_s": start, "end_s": end + 1.0,
            "outcome": np.full(n, OUTCOMES.index("held")), "hold_start_s": start + run.present_s, "hold_end_s": end,
            "idle_vacuum_kpa": np.full(n, plant.idle_kpa), "coasts": np.bincount(
                rows[rows[:, 1] == PERIOD_KINDS.index("coast"), 0].astype(int), minlength=n
            ),
        },
        known,
    )  # fmt: skip
    own = {k: np.zeros(len(rows), int) for k in ("log_id", "station")}
    periods = make_table(
        PERIODS,
        {**own, "cycle": rows[:, 0], "kind": rows[:, 1], "start_s": rows[:, 2], "end_s": rows[:, 3]},
        known,
    )
    edge_ids = {k: np.zeros(len(edges), int) for k in ("log_id", "station")}
    signals = np.array([SIGNALS.index(("supply", "release", "part_present")[int(s)]) for s in edges[:, 2]])
    marks = make_table(
        EDGES, {**edge_ids, "cycle": edges[:, 0], "time_s": edges[:, 1], "signal": signals, "value": edges[:, 3]}, known
    )
    return StationData(
        station="Glazing 1", cycles=cycles, periods=periods, edges=marks, excerpts=(), notes=(),
        bins=Bins(
            cycle=bins[:, 0].astype(np.int32), period=bins[:, 1].astype(np.int32), time_s=bins[:, 2],
            pressure_kpa=bins[:, 3], samples=bins[:, 4].astype(np.int32),
        ),
        strip=Strip(time_s=start, lowest_kpa=-run.vacuum.max(axis=0), highest_kpa=np.zeros(n)),
        sensor=_sensor(plant, run), wiring=Wiring(
            supply_on_level=1, release_on_level=1, present_on_level=1, evidence={}
        ),
        settings={
            k: SettingInForce(value_kpa=v, source="edges") for k, v in _settings(plant).items()
        },
        cycle_settings={k: np.full(n, v) for k, v in _settings(plant).items()},
        air_saving=bool((cycles.codes("coasts") > 0).any()), ambient_kpa=plant.ambient_kpa, ambient_u_kpa=0.1,
        ambient_source="station file", temperature_c=20.0, temperature_u_c=1.0,
    )  # fmt: skip


def _settings(plant: Plant) -> dict[str, float]:
    """Settings in force by name."""
    return {
        "set_point": plant.set_point_kpa, "reset_point": plant.set_point_kpa - 4.0,
        "supply_off": plant.supply_off_kpa, "supply_on": plant.supply_on_kpa,
    }  # fmt: skip


def _sensor(plant: Plant, run: _Run) -> SensorFacts:
    """Facts of sensor and recorder."""
    return SensorFacts(
        sample_interval_s=BIN_S / 6.0, noise_kpa=float(np.hypot(plant.noise_kpa, plant.quantisation_kpa / 12**0.5)),
        quantisation_kpa=plant.quantisation_kpa, spike_share=0.0, range_low_kpa=-float(run.vacuum.max()),
        range_high_kpa=0.0, clipped_low_share=0.0, clipped_high_share=0.0, stuck_cycles=0,
    )  # fmt: skip
