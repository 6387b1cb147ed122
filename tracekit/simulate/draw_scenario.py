"""Random scenarios: every label of the trade's faults, healthy ones, pairs, series, two faults at once."""

from dataclasses import replace

import numpy as np

from tracekit.errors import UsageError, message, nearest
from tracekit.simulate.cases import CASES, NEEDS_SAVING, adapted, sized_fault
from tracekit.simulate.draw import draw_station, log_uniform
from tracekit.simulate.scenario import Fault, Scenario, StationSpec
from tracekit.simulate.settings_cases import TURNED

HEALTHY = ("healthy_airsave", "healthy_plain")
FROM_THE_START = (
    "sensor_clipped",
    "growing_leak",
    "supply_dips",
    "drops_sudden",
    "drops_gradual",
    "missed_picks",
    "part_dependent_leak",
)
CHANGES = ("leak_fixed", "leak_partly_fixed", "nothing_done", "leak_worse", "leak_fixed_other_weather")


def random_labels() -> tuple[str, ...]:
    """What `random_scenario` can draw."""
    return (*HEALTHY, *(label for label, _ in CASES), *(label for label, _ in TURNED))


def random_scenario(label: str, seed: int, severity: int = 2) -> Scenario:
    """A station drawn by `seed` with one fault (or the pair that belongs together) of that label.

    `severity` is 1 mild, 2 clear, 3 heavy. Raises UsageError for another label or severity.
    """
    if label not in random_labels():
        raise UsageError(message("scenario", f'label "{label}"', "a known one", nearest(label, random_labels())))
    if severity not in (1, 2, 3):
        raise UsageError(message("scenario", f"severity {severity}", "1, 2 or 3", "Choose one."))
    rng = np.random.default_rng([seed, random_labels().index(label)])
    saving = label == "healthy_airsave" or label in NEEDS_SAVING or (label != "healthy_plain" and rng.random() < 0.75)
    station = draw_station(rng, saving)
    cycles = int(rng.integers(20, 101)) if station.recorder.rate_hz < 900.0 else int(rng.integers(20, 41))
    scenario = Scenario(
        name=label, seed=seed, severity=severity, start=_date(rng), cycles=cycles, station=adapted(label, station, rng)
    )
    if label in HEALTHY:
        return scenario
    if label in dict(TURNED):
        station, faults = dict(TURNED)[label](scenario.station, rng, severity)
        return replace(scenario, station=station, faults=faults)
    fault = sized_fault(label, scenario.station, rng, severity)
    return replace(scenario, faults=(_timed(fault, cycles, rng),))


def baseline_of(scenario: Scenario) -> Scenario:
    """The same station healthy, on another day: own seed, slightly other weather."""
    rng = np.random.default_rng([scenario.seed, 99])
    station = _another_day(scenario.station, rng)
    return replace(
        scenario,
        name="baseline",
        seed=scenario.seed + 7_000_003,
        cycles=int(rng.integers(30, 70)),
        station=station,
        faults=(),
        marks={},
    )


def random_combo(labels: tuple[str, str], seed: int, severity: int = 2) -> Scenario:
    """Two faults at once on one station; both labels from the list of single faults."""
    first = random_scenario(labels[0], seed, severity)
    rng = np.random.default_rng([seed, 77])
    station = adapted(labels[1], first.station, rng)
    second = _timed(sized_fault(labels[1], station, rng, severity), first.cycles, rng)
    return replace(first, name="combo", station=station, faults=(*first.faults, second))


def random_pair(change: str, seed: int) -> tuple[Scenario, Scenario]:
    """A recording before and one after something was done to a leaking station.

    `change` is one of `CHANGES`. Raises UsageError for another.
    """
    if change not in CHANGES:
        raise UsageError(message("pair", f'change "{change}"', "a known one", nearest(change, CHANGES)))
    rng = np.random.default_rng([seed, 55])
    station = draw_station(rng, True)
    rate = log_uniform(rng, 2.0, 7.0)
    left = {"leak_fixed": 0.0, "leak_partly_fixed": 0.45, "nothing_done": 1.0, "leak_worse": 1.6}.get(change, 0.0)
    later = _another_day(station, rng)
    if change == "leak_fixed_other_weather":
        later = replace(later, air=replace(later.air, ambient_kpa=later.air.ambient_kpa - 2.5))
    made: list[Scenario] = []
    for role, spec, share in (("before", station, 1.0), ("after", later, left)):
        leak = Fault(label="cup_leak_orifice", kind="cup", size={"rate_kpa_s": rate * share, "b": 0.35})
        marks = {
            "pair": {"role": role, "change": change, "id": f"pair_{seed}", "really_changed": change != "nothing_done"}
        }
        marks["pair"] |= {"leak_rate_before": 1000.0 * rate, "leak_rate_after": 1000.0 * rate * left}
        faults = (leak,) if share > 0.0 else ()
        made.append(
            Scenario(
                name="before_after",
                seed=seed + len(made),
                start=_date(rng),
                cycles=50,
                station=spec,
                faults=faults,
                marks=marks,
            )
        )
    return made[0], made[1]


def random_series(seed: int, days: int = 6, law: str = "linear") -> tuple[Scenario, ...]:
    """Logs of one station on `days` days over which a leak grows, linearly or exponentially, from nothing."""
    rng = np.random.default_rng([seed, 33])
    station, end = draw_station(rng, True), log_uniform(rng, 3.0, 9.0)
    station = replace(
        station, recorder=replace(station.recorder, rate_hz=min(max(station.recorder.rate_hz, 50.0), 500.0))
    )
    made: list[Scenario] = []
    for day in range(days):
        share = day / max(days - 1, 1)
        rate = end * share if law == "linear" else 0.1 * (end / 0.1) ** share - 0.1
        fault = Fault(label="growing_leak", kind=law, size={"start_kpa_s": rate, "end_kpa_s": rate, "b": 0.35})
        series = {"index": day, "count": days, "day": 7.0 * day, "fraction": share, "id": f"series_{seed}"}
        made.append(
            Scenario(
                name=f"growing_leak_{law}",
                seed=seed + day,
                start=f"2031-{4 + day // 4:02d}-{1 + 7 * (day % 4):02d}T06:10:00",
                cycles=40,
                station=_another_day(station, rng),
                faults=(fault,) if rate > 0.0 else (),
                marks={"series": series},
            )
        )
    return tuple(made)


def _timed(fault: Fault, cycles: int, rng: np.random.Generator) -> Fault:
    """The fault from the start, or in four of ten logs from somewhere in the second to fifth tenth."""
    if fault.label == "sensor_stuck":
        onset = int(cycles * rng.uniform(0.2, 0.6))
        end = min(onset + int(rng.integers(5, 15)), cycles) if fault.kind == "link" else None
        return replace(fault, onset_cycle=onset, end_cycle=end)
    if fault.label in FROM_THE_START or rng.random() < 0.6:
        return fault
    return replace(fault, onset_cycle=int(cycles * rng.uniform(0.2, 0.5)))


def _another_day(station: StationSpec, rng: np.random.Generator) -> StationSpec:
    """Weather, zero and supply a little different."""
    air, sensor = station.air, station.sensor
    return replace(
        station,
        air=replace(
            air,
            ambient_kpa=air.ambient_kpa + float(rng.normal(0.0, 0.5)),
            temperature_c=air.temperature_c + float(rng.normal(0.0, 1.5)),
        ),
        sensor=replace(sensor, offset_kpa=sensor.offset_kpa + float(rng.normal(0.0, 0.05))),
        supply=replace(station.supply, pressure_kpa=station.supply.pressure_kpa + float(rng.normal(0.0, 3.0))),
    )


def _date(rng: np.random.Generator) -> str:
    month, day, hour, minute = (int(rng.integers(low, high)) for low, high in ((1, 13), (1, 28), (5, 22), (0, 60)))
    return f"2031-{month:02d}-{day:02d}T{hour:02d}:{minute:02d}:00"
