"""Do intervals hold when a recording is not as an estimator assumes? One run of a station, recorded in troubled ways.

Every station is simulated once without noise and its log is then recorded again and again: well, and with each trouble.
The leak rate (of the log, of its cycles, as a flow), the time to the set point and the noise are held against the truth;
what else the model of a station shows, against the same picks recorded at 1 kHz without noise. Estimates that are
withheld or only bounded are counted apart. Run with `-m accuracy -s`; the long form with `-m "accuracy and full" -s`.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from tracekit import pipeline
from tracekit.compare.counts import exact_limits
from tracekit.model.estimate import Bound, Estimate, Quantity
from tracekit.model.result import StationResult
from tracekit.model.station import Station
from tracekit.read.station_file import parse_station
from tracekit.simulate.draw_scenario import random_scenario
from tracekit.simulate.faults import apply_faults
from tracekit.simulate.log import COARSE_STEP_S, _starts
from tracekit.simulate.recorder import Recording, quantise, record
from tracekit.simulate.run import run
from tracekit.simulate.scenario import Scenario
from tracekit.simulate.schedule import healthy_schedule
from tracekit.simulate.station_text import station_text
from tracekit.simulate.truth import build_truth
from tracekit.tune.tuning import tune_station

pytestmark = pytest.mark.accuracy

KINDS = ("healthy_airsave", "cup_leak_orifice", "porous_part", "leaking_check_valve")
CYCLES = 20
COVERED = 0.9
SEEN = ("response_delay_s", "open_cup_vacuum_kpa", "pump_time_constant_s", "ultimate_vacuum_kpa", "overshoot_kpa", "undershoot_kpa",
        "delay_off_s", "delay_on_s", "recharge_time_s", "cycle_scatter_kpa")  # fmt: skip
KNOWN = ("decay rate", "decay rate of cycles", "leak flow", "evacuation_time_s", "noise_kpa")


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """How a run is recorded. `noise` is white, slow (neighbours alike for 30 ms), hum (50 Hz) or tails (Student, 2.5)."""

    rate_hz: float = 200.0
    noise: str = "white"
    sigma_kpa: float = 0.08
    step_kpa: float = 0.1
    missing: float = 0.0
    stamps_off: float = 0.0
    spikes_per_s: float = 0.0
    late_s: float = 0.0


WELL = Trouble(rate_hz=1000.0, sigma_kpa=0.0, step_kpa=0.0)
TROUBLES = {
    "none": Trouble(),
    "slow noise": Trouble(noise="slow", sigma_kpa=0.15),
    "hum": Trouble(noise="hum", sigma_kpa=0.15),
    "spikes of 6 kPa": Trouble(spikes_per_s=2.0),
    "a fifth missing": Trouble(missing=0.2),
    "steps of 0.5 kPa": Trouble(sigma_kpa=0.05, step_kpa=0.5),
    "stamps off by 40 %": Trouble(stamps_off=0.4),
    "10 Hz": Trouble(rate_hz=10.0),
    "heavy tails": Trouble(noise="tails", sigma_kpa=0.1),
}


def noise_of(trouble: Trouble, time_s: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Noise at the samples [kPa]."""
    n = len(time_s)
    if trouble.noise == "hum":
        return trouble.sigma_kpa * np.sqrt(2.0) * np.sin(2 * np.pi * 50.03 * time_s)
    if trouble.noise == "tails":
        return trouble.sigma_kpa * rng.standard_t(2.5, n)
    drawn = rng.standard_normal(n)
    if trouble.noise == "slow":
        keep = np.exp(-1.0 / trouble.rate_hz / 0.03)
        weights = keep ** np.arange(int(8 * 0.03 * trouble.rate_hz) + 1)
        drawn = np.convolve(drawn, weights / np.sqrt((weights**2).sum()))[:n]
    return trouble.sigma_kpa * drawn


def spread_of(trouble: Trouble) -> float:
    """What the noise of single samples is, steps included [kPa]: of their second differences, by their mean size.

    That is the standard deviation where noise is white and normal; for hum and heavy tails no other figure is the right
    one. Slow noise is asked for whole, though its differences are small.
    """
    if trouble.noise in ("white", "slow"):
        return float(np.hypot(trouble.sigma_kpa, trouble.step_kpa / np.sqrt(12.0)))
    drawn = noise_of(trouble, np.arange(0.0, 300.0, 1.0 / trouble.rate_hz), np.random.default_rng(5))
    bend = np.diff(quantise(drawn, trouble.step_kpa), 2) / np.sqrt(6.0)
    return float(np.mean(np.abs(bend)) * np.sqrt(np.pi / 2.0))


def troubled(plain: Recording, trouble: Trouble, seed: int) -> pa.Table:
    """The canonical columns of a recording without noise, as this recorder would have written them."""
    rng = np.random.default_rng([seed, 3])
    pressure = plain.pressure_kpa + noise_of(trouble, plain.time_s, rng)
    hit = rng.random(len(pressure)) < trouble.spikes_per_s / trouble.rate_hz
    pressure = pressure + hit * rng.choice([-6.0, 6.0], len(pressure))
    time = plain.time_s + trouble.stamps_off / trouble.rate_hz * rng.uniform(-1.0, 1.0, len(pressure))
    kept = rng.random(len(pressure)) >= trouble.missing
    columns = {"time_s": time, "pressure_kpa": np.round(quantise(pressure, trouble.step_kpa), 5), "supply": plain.supply,
               "release": plain.release, "part_present": plain.part_present}  # fmt: skip
    return pa.table({name: pa.array(values[kept]) for name, values in columns.items()})


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One station's picks: what happened, its station file, and how it is recorded without noise at a rate."""

    scenario: Scenario
    truth: Mapping[str, Any]
    station: Station
    trace: Any
    schedule: Any

    def recorded(self, trouble: Trouble, seed: int) -> pa.Table:
        """The log of one recorder."""
        spec = self.scenario.station
        spec = replace(spec, recorder=replace(spec.recorder, rate_hz=trouble.rate_hz))
        return troubled(record(self.trace, spec, self.schedule, np.random.default_rng(1)), trouble, seed)


def ran(kind: str, seed: int) -> Run:
    """A drawn station that saves air, run once without noise."""
    drawn = next(s for n in range(50) if (s := random_scenario(kind, seed + 1000 * n, 2)).station.saving is not None)
    spec = drawn.station
    sensor = replace(spec.sensor, noise_kpa=0.0, step_kpa=0.0, spikes_per_s=0.0, gain_error=0.0, low_kpa=-110.0)
    recorder = replace(spec.recorder, jitter_s=0.0, missing_share=0.0, gaps=0, digital_late_s=0.0, supply_signal="valve", release_logged=True)
    scenario = replace(drawn, cycles=CYCLES, station=replace(spec, sensor=sensor, recorder=recorder))
    first, second = np.random.default_rng([seed, 0]), np.random.default_rng([seed, 1])
    schedule = apply_faults(scenario, healthy_schedule(scenario, first), first)
    trace = run(scenario.station, schedule, _starts(scenario, schedule), COARSE_STEP_S, second)
    truth = build_truth(scenario, schedule, trace)
    return Run(scenario=scenario, truth=truth, station=parse_station(station_text(truth), "station.toml"), trace=trace, schedule=schedule)


def estimates(result: StationResult, station: Station) -> dict[str, Quantity]:
    """Everything with an interval that a log of one station shows, but cycle by cycle."""
    tuning = tune_station(result, station)
    shown = {} if tuning.fitted is None else tuning.fitted.figures
    flow, _ = pipeline.leak_flows(result.leak, station, result.data)
    return {**shown, "decay rate": result.leak.decay_rate, "leak flow": flow}


def truths(made: Run, trouble: Trouble, well: Mapping[str, Quantity]) -> dict[str, float]:
    """What each estimate ought to hold."""
    facts = made.truth["station"]
    held = [c for c in made.truth["cycles"] if c["outcome"] == "held" and c["true_setpoint_s"] is not None]
    flow = float(np.median([c["leak"]["q60_total"] for c in held])) * facts["ambient_temperature_k"] / 293.15
    known = {
        "decay rate": flow / facts["volume_m3"] / 1e3,
        "leak flow": flow,
        "evacuation_time_s": float(np.median([c["true_setpoint_s"] - c["last_try_s"] for c in held])),
        "noise_kpa": spread_of(trouble),
    }
    return known | {name: found.value for name in SEEN if isinstance(found := well.get(name), Estimate)}


def holds(found: Quantity | None, true: float) -> str:
    """Given and holding, given and not holding, bounded rightly or wrongly, withheld."""
    if isinstance(found, Estimate):
        return "holds" if found.lower - 1e-9 <= true <= found.upper + 1e-9 else "fails"
    if isinstance(found, Bound):
        right = found.limit <= true if found.status == "lower_bound" else true <= found.limit
        return "bound" if right else "wrong bound"
    return "withheld"


def cycles_hold(made: Run, result: StationResult) -> list[str]:
    """The same for the rate of every held cycle."""
    facts, leak, start = made.truth["station"], result.leak, result.data.cycles.floats("start_s")
    scale, words = facts["ambient_temperature_k"] / 293.15 / facts["volume_m3"] / 1e3, []
    for cycle in made.truth["cycles"]:
        near = int(np.argmin(np.abs(start - cycle["supply_on_s"])))
        if cycle["outcome"] == "held" and abs(start[near] - cycle["supply_on_s"]) < 0.2:
            true = cycle["leak"]["q60_total"] * scale
            inside = leak.rate_lower[near] <= true <= leak.rate_upper[near]
            words.append(("holds" if inside else "fails") if np.isfinite(leak.rate[near]) else "withheld")
    return words


def tried(seeds: range, kinds: tuple[str, ...] = KINDS) -> dict[tuple[str, str], Counter[str]]:
    """Words by trouble and estimate, over drawn stations."""
    found: dict[tuple[str, str], Counter[str]] = {}
    for kind in kinds:
        for seed in seeds:
            made = ran(kind, seed)
            well = estimates(diagnosed(made, WELL, seed), made.station)
            for name, trouble in TROUBLES.items():
                result = diagnosed(made, trouble, seed)
                shown = estimates(result, made.station)
                for what, true in truths(made, trouble, well).items():
                    word = holds(shown.get(what), true)
                    found.setdefault((name, what), Counter())[word] += 1
                    if word in ("fails", "wrong bound"):
                        print(f"  {kind} {seed}, {name}: {what} true {true:.4g}, {told(shown[what])}")
                found.setdefault((name, "decay rate of cycles"), Counter()).update(cycles_hold(made, result))
    return found


def told(found: Quantity) -> str:
    """An estimate or bound in one line."""
    if isinstance(found, Estimate):
        return f"found {found.value:.4g} ({found.lower:.4g} to {found.upper:.4g})"
    return f"{found.status} {found.limit:.4g}" if isinstance(found, Bound) else found.reason


def diagnosed(made: Run, trouble: Trouble, seed: int) -> StationResult:
    """The diagnosis of one recording."""
    return pipeline.diagnose(made.recorded(trouble, seed), station=made.station).stations[0]


def share(counts: Counter[str]) -> tuple[int, int]:
    """Claims that hold, and claims made: intervals and bounds."""
    right = counts["holds"] + counts["bound"]
    return right, right + counts["fails"] + counts["wrong bound"]


def table(found: Mapping[tuple[str, str], Counter[str]]) -> None:
    """Print the share that holds with the claims made, and how often an estimate is withheld."""
    names = [n for n in (*KNOWN, *SEEN) if any(n == what for _, what in found)]
    width = max(len(n) for n in names)
    print("\n" + " " * width + "".join(f"{t:>20}" for t in TROUBLES))
    for what in names:
        cells = []
        for trouble in TROUBLES:
            counts = found.get((trouble, what), Counter())
            right, made = share(counts)
            cells.append(f"{right}/{made}, {counts['withheld']} withh.")
        print(f"{what:<{width}}" + "".join(f"{c:>20}" for c in cells))


def pooled(found: Mapping[tuple[str, str], Counter[str]], what: str) -> Counter[str]:
    """One estimate over all troubles."""
    return sum((c for (_, name), c in found.items() if name == what), Counter())


def check(found: Mapping[tuple[str, str], Counter[str]], names: tuple[str, ...]) -> None:
    """No trouble makes an estimate hold less often than nine times in ten, as far as the exact interval tells."""
    table(found)
    weak = []
    for (trouble, what), counts in found.items():
        right, made = share(counts)
        if what in names and made and exact_limits(right, made, 0.025)[1] < COVERED:
            weak.append(f"{what} with {trouble}: {right} of {made}")
    assert weak == []


def test_intervals_hold_under_trouble_short() -> None:
    """Two stations, every trouble: no estimate surely fails more often than once in ten (short form)."""
    check(tried(range(60, 61), KINDS[:2]), (*KNOWN, *SEEN))


@pytest.mark.full
def test_intervals_hold_under_trouble() -> None:
    """Stations of all kinds, every trouble: each estimate holds nine times in ten, over all troubles and with each."""
    found = tried(range(60, 64))
    check(found, (*KNOWN, *SEEN))
    for what in KNOWN:
        right, made = share(pooled(found, what))
        assert right >= COVERED * made, what
