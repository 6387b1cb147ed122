"""Is a leak of the printed detection limit listed nine times in ten? Healthy stations, then the same with such a leak.

pytest tests/accuracy/test_detect_accuracy.py -m "accuracy and not full" -s    three stations
pytest tests/accuracy/test_detect_accuracy.py -m full -s                       thirty
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pytest
from accuracy.test_cause_accuracy import log_of, station_of

from tracekit.model.result import StationResult
from tracekit.pipeline import diagnose
from tracekit.simulate import random_scenario
from tracekit.simulate.draw_scenario import baseline_of
from tracekit.simulate.scenario import Fault

CODE = "leak_steady"
CYCLES = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """One station: its limit [kPa/s], whether a leak of that size was listed, first or as a rival, and one of a third."""

    seed: int
    limit: float
    listed: bool
    third_listed: bool


def is_listed(result: StationResult) -> bool:
    """The leak is a finding above info, or named beside one as a rival that cannot be told from it."""
    above = [f for f in result.findings if f.kind == "cause" and f.severity != "info"]
    return any(f.code == CODE or CODE in f.alternatives for f in above)


def tried(seed: int) -> Tried | None:
    """The limit of a healthy log, and leaks of that size and of a third of it in the same station; None without one."""
    scenario = random_scenario("healthy_airsave", seed)
    recorder = replace(scenario.station.recorder, rate_hz=min(scenario.station.recorder.rate_hz, 200.0))
    scenario = replace(scenario, cycles=CYCLES, station=replace(scenario.station, recorder=recorder))
    station, baseline = station_of(scenario), log_of(replace(baseline_of(scenario), cycles=CYCLES))
    healthy = diagnose(log_of(scenario), station=station, baseline=baseline).stations[0]
    limit = next(d.smallest for d in healthy.detectable if d.code == CODE)
    if limit is None:
        return None
    found = []
    for number, size in enumerate((limit, limit / 3.0)):
        leak = Fault(label="cup_leak_orifice", kind="cup", size={"rate_kpa_s": size, "b": 0.35})
        log = log_of(replace(scenario, seed=seed + 500 * (number + 1), faults=(leak,)))
        found.append(is_listed(diagnose(log, station=station, baseline=baseline).stations[0]))
    return Tried(seed=seed, limit=limit, listed=found[0], third_listed=found[1])


def show(stations: Sequence[Tried]) -> None:
    """Prints a line per station and the shares."""
    for one in stations:
        print(
            f"  {one.seed:>6}  limit {one.limit:7.3f} kPa/s  listed {one.listed!s:5}  a third of it {one.third_listed}"
        )
    at, below = (sum(values) for values in ([s.listed for s in stations], [s.third_listed for s in stations]))
    median = float(np.median([s.limit for s in stations]))
    print(f"  listed at the limit {at}, at a third of it {below} of {len(stations)}; median limit {median:.2f} kPa/s")


def stations_from(first: int, count: int) -> list[Tried]:
    """So many stations that have a limit."""
    found: list[Tried] = []
    for seed in range(first, first + 2 * count):
        one = tried(seed) if len(found) < count else None
        found += [one] if one is not None else []
    return found


@pytest.mark.accuracy
@pytest.mark.parametrize(
    ("count", "least"), [pytest.param(3, 2, id="short"), pytest.param(30, 24, id="long", marks=pytest.mark.full)]
)
def test_leaks_of_the_printed_limit_are_listed(count: int, least: int) -> None:
    """Nine in ten are asked for; fewer than 24 of 30 come by chance once in 40 times then. A third is mostly missed."""
    stations = stations_from(71_000, count)
    show(stations)
    assert len(stations) == count
    assert sum(s.listed for s in stations) >= least
    assert sum(s.third_listed for s in stations) <= count // 2
