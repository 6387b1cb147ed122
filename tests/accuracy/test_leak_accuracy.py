"""Does the leak rate hold? Simulated stations with known truth, drawn and turned into corners, with a printed table.

Short form, five logs: pytest tests/accuracy/test_leak_accuracy.py -m "accuracy and not full" -s
Full form, all kinds at all corners: pytest tests/accuracy/test_leak_accuracy.py -m "accuracy and full" -s
"""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from recordings import GIVEN, SIMULATED

from tracekit.model.estimate import Estimate
from tracekit.model.result import BudgetLine
from tracekit.pipeline import measure
from tracekit.read.station_file import load_station
from tracekit.simulate.draw_scenario import random_scenario
from tracekit.simulate.log import simulate
from tracekit.simulate.scenario import Scenario
from tracekit.simulate.station_text import station_text

RECORDED = SIMULATED
LABELS = (
    "cup_leak_orifice", "porous_part", "growing_leak", "part_dependent_leak", "leaking_check_valve",
    "healthy_airsave", "supply_valve_short_cycling",
)  # fmt: skip
HARD = ("motion_dips", "sensor_slow", "low_supply_pressure", "sensor_noisy", "supply_dips", "clogged_filter")
"""Kinds whose coasts hold what the estimator does not model; tried as drawn."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """One log: truth and what was found of it; `value` is None where it was withheld or only bounded."""

    name: str
    kind: str
    true: float
    value: Estimate | None
    cycles_inside: float
    path: str | None
    mechanism: str
    budget: tuple[BudgetLine, ...] = ()


def sensor(**changes: float) -> Callable[[Scenario], Scenario]:
    """A corner of the pressure sensor."""
    return lambda s: replace(s, station=replace(s.station, sensor=replace(s.station.sensor, **changes)))


def recorder(**changes: float) -> Callable[[Scenario], Scenario]:
    """A corner of the recorder."""
    return lambda s: replace(s, station=replace(s.station, recorder=replace(s.station.recorder, **changes)))


def walls(generator_s: float, cup_s: float, convection: float) -> Callable[[Scenario], Scenario]:
    """A corner of the exchange of heat with the walls."""

    def turned(s: Scenario) -> Scenario:
        space = replace(s.station.volumes, wall_time_s=(generator_s, cup_s), convection=convection)
        return replace(s, station=replace(s.station, volumes=space))

    return turned


def motion(dip_kpa: float, dip_s: float) -> Callable[[Scenario], Scenario]:
    """A corner of what acceleration costs."""
    return lambda s: replace(
        s, station=replace(s.station, sequencer=replace(s.station.sequencer, dip_kpa=dip_kpa, dip_s=dip_s))
    )


def weather(temperature_c: float) -> Callable[[Scenario], Scenario]:
    """A corner of the gas temperature."""
    return lambda s: replace(s, station=replace(s.station, air=replace(s.station.air, temperature_c=temperature_c)))


def ejector(**changes: float) -> Callable[[Scenario], Scenario]:
    """A corner of the suction curve."""
    return lambda s: replace(s, station=replace(s.station, ejector=replace(s.station.ejector, **changes)))


CORNERS: dict[str, Callable[[Scenario], Scenario]] = {
    "as drawn": lambda s: s,
    "gain +0.6 %": sensor(gain_error=0.006),
    "gain -0.6 %": sensor(gain_error=-0.006),
    "sensor lag 20 ms": sensor(lag_s=0.020),
    "steps of 0.01 kPa": sensor(step_kpa=0.01),
    "steps of 0.5 kPa": sensor(step_kpa=0.5),
    "slow coloured noise": sensor(coloured_share=1.0, noise_time_s=0.02),
    "noise of 0.15 kPa, 30 ms long": sensor(coloured_share=1.0, noise_time_s=0.03, noise_kpa=0.15),
    "noise of 0.4 kPa": sensor(noise_kpa=0.4),
    "spikes": sensor(spikes_per_s=0.5, spike_kpa=6.0),
    "20 Hz": recorder(rate_hz=20.0),
    "50 Hz": recorder(rate_hz=50.0),
    "1 kHz": recorder(rate_hz=1000.0),
    "2 kHz": recorder(rate_hz=2000.0),
    "a fifth of the samples missing": recorder(missing_share=0.2),
    "fast walls": walls(0.05, 0.05, 0.0),
    "slow walls, convection": walls(0.5, 0.5, 1.5),
    "unequal walls": walls(0.05, 0.4, 0.6),
    "strong motion": motion(1.2, 0.4),
    "no motion": motion(0.0, 0.2),
    "short motion": motion(0.8, 0.1),
    "38 degrees": weather(38.0),
    "suction bends much": ejector(bend=0.45),
    "suction stops at once": ejector(lag_off_s=0.002),
    "suction fades slowly": ejector(lag_off_s=0.04),
}


def hurried(dip_kpa: float, dip_s: float) -> Callable[[Scenario], Scenario]:
    """Motion at both ends of a hold that leaves 0.1 s with nothing moving."""

    def turned(s: Scenario) -> Scenario:
        machine = replace(
            s.station.sequencer, dip_kpa=dip_kpa, dip_s=dip_s, transport_s=2.0 * dip_s + 0.1, transport_scatter_s=0.01,
            settle_s=0.03,
        )  # fmt: skip
        return replace(s, station=replace(s.station, sequencer=machine))

    return turned


HURRIED: dict[str, Callable[[Scenario], Scenario]] = {
    "motion of 0.4 kPa, 0.1 s apart": hurried(0.4, 0.3),
    "motion of 1.2 kPa, 0.1 s apart": hurried(1.2, 0.2),
    "motion of 3 kPa, 0.1 s apart": hurried(3.0, 0.3),
}


def found_of(log: Path, station: Path, truth: dict[str, Any], name: str) -> Held | None:
    """Measures one log and holds it against its truth; None without coasts or with fewer than five held cycles."""
    data = (measured := measure(str(log), load_station(station))).stations[0]
    leak, facts = measured.leaks[0], truth["station"]
    scale = facts["ambient_temperature_k"] / 293.15 / facts["volume_m3"] / 1e3
    start, pairs = data.cycles.floats("start_s"), []
    for cycle in truth["cycles"]:
        near = int(np.argmin(np.abs(start - cycle["supply_on_s"]))) if len(start) else -1
        if near >= 0 and cycle["outcome"] == "held" and abs(start[near] - cycle["supply_on_s"]) < 0.1:
            pairs.append((near, cycle["leak"]["q60_total"] * scale))
    if len(pairs) < 5 or not facts["air_saving"]:
        return None
    rows, true = np.array([p[0] for p in pairs]), np.array([p[1] for p in pairs])
    rated = np.isfinite(leak.rate[rows])
    inside = (leak.rate_lower[rows] <= true) & (true <= leak.rate_upper[rows])
    paths = {c["leak"]["mechanism"] for c in truth["cycles"] if c["outcome"] == "held"}
    return Held(
        name=name, kind=str(truth["scenario"]), true=float(np.median(true)), mechanism=leak.mechanism,
        value=leak.decay_rate if isinstance(leak.decay_rate, Estimate) else None,
        cycles_inside=float(inside[rated].mean()) if rated.sum() >= 5 else float("nan"),
        path={"orifice": "hole", "porous": "porous"}.get(next(iter(paths))) if len(paths) == 1 else None,
        budget=leak.budget,
    )  # fmt: skip


def simulated(label: str, seed: int, corner: str, folder: Path) -> Held | None:
    """One drawn station, turned into a corner, recorded, measured."""
    scenario = (CORNERS | HURRIED)[corner](random_scenario(label, seed, 1 + seed % 3))
    if scenario.station.saving is None:
        return None
    log = simulate(replace(scenario, cycles=min(scenario.cycles, 30)))
    path, station = log.write(folder), folder / "station.toml"
    station.write_text(station_text(log.truth))
    return found_of(path, station, log.truth, f"{label} {seed} {corner}")


def figures(logs: Sequence[Held]) -> dict[str, tuple[float, int]]:
    """Every figure of the table with the number of logs behind it."""
    given = [h for h in logs if h.value is not None]
    big, middle = ([h for h in given if a < h.true <= b] for a, b in ((1.5, 1e9), (0.3, 1.5)))
    small = [h for h in given if h.true <= 0.3]
    decided = [h for h in logs if h.path and h.true > 1.5 and h.mechanism != "undecided"]

    def errors(group: list[Held], relative: bool) -> list[float]:
        return [abs(h.value.value - h.true) / (h.true if relative else 1.0) for h in group if h.value]

    def quantile(values: list[float], share: float) -> float:
        return float(np.quantile(values, share)) if values else float("nan")

    def mean(values: list[float]) -> float:
        known = [v for v in values if np.isfinite(v)]
        return float(np.mean(known)) if known else float("nan")

    off = [(h.value.value - h.true) / h.true for h in big if h.value]

    above = [h for h in logs if h.true > 0.3]
    return {
        "above 1.5 kPa/s: median relative error": (quantile(errors(big, True), 0.5), len(big)),
        "above 1.5 kPa/s: p95 of it": (quantile(errors(big, True), 0.95), len(big)),
        "above 1.5 kPa/s: bias (median)": (quantile(off, 0.5), len(big)),
        "above 1.5 kPa/s: spread (half of 16 to 84 %)": (
            0.5 * (quantile(off, 0.84) - quantile(off, 0.16)), len(big),
        ),
        "above 1.5 kPa/s: median relative width": (
            quantile([(h.value.upper - h.value.lower) / h.true for h in big if h.value], 0.5), len(big),
        ),
        "0.3 to 1.5 kPa/s: median relative error": (quantile(errors(middle, True), 0.5), len(middle)),
        "below 0.3 kPa/s: median error, kPa/s": (quantile(errors(small, False), 0.5), len(small)),
        "below 0.3 kPa/s: p90 of it, kPa/s": (quantile(errors(small, False), 0.9), len(small)),
        "interval of a log covers": (
            mean([float(h.value.lower <= h.true <= h.value.upper) for h in given if h.value]), len(given),
        ),
        "intervals of the cycles cover": (mean([h.cycles_inside for h in logs]), len(logs)),
        "withheld above 0.3 kPa/s": (mean([float(h.value is None) for h in above]), len(above)),
        "mechanism right where decided": (mean([float(h.mechanism == h.path) for h in decided]), len(decided)),
    }  # fmt: skip


def show_shares(logs: Sequence[Held]) -> None:
    """Prints what each source adds to the variance of the leaks above 1.5 kPa/s, as a mean share, and its median size."""
    shares: dict[str, list[tuple[float, float]]] = {}
    for held in (h for h in logs if h.value is not None and h.true > 1.5):
        whole = sum(line.u_kpa_s**2 for line in held.budget)
        for line in held.budget:
            shares.setdefault(line.source, []).append((line.u_kpa_s**2 / whole, line.u_kpa_s / held.true))
    for source, pairs in sorted(shares.items(), key=lambda item: -float(np.mean([p[0] for p in item[1]]))):
        share, size = float(np.mean([p[0] for p in pairs])), float(np.median([p[1] for p in pairs]))
        print(f"  {source:<46}{share:>9.2f}{100.0 * size:>8.2f} %")


def cover_of_kinds(logs: Sequence[Held]) -> dict[str, tuple[float, int]]:
    """Coverage by the cycles' intervals in every kind, with its logs."""
    kinds = {h.kind: [x.cycles_inside for x in logs if x.kind == h.kind and np.isfinite(x.cycles_inside)] for h in logs}
    return {kind: (float(np.mean(found)), len(found)) for kind, found in kinds.items() if found}


def show(title: str, found: dict[str, tuple[float, int]]) -> None:
    """Prints a table."""
    print(f"\n{title}")
    for name, (value, count) in found.items():
        print(f"  {name:<46}{value:>9.4g}{count:>6}")


def drawn(corner: str, labels: Sequence[str], seeds: Sequence[int], folder: Path) -> list[Held]:
    """The logs of a corner that coast and can be held against a truth."""
    tried = [simulated(k, s, corner, folder / f"{k}{s}") for k in labels for s in seeds]
    return [h for h in tried if h is not None]


SHORT = ("gain +0.6 %", "steps of 0.01 kPa", "50 Hz", "slow walls, convection", "strong motion")


@pytest.mark.accuracy
def test_one_log_of_some_corners(tmp_path: Path) -> None:
    """One station at each of five corners, kinds in turn: all intervals but one hold, and those of nearly all cycles."""
    logs = []
    for label, corner in zip(LABELS, SHORT, strict=False):
        tried = (simulated(label, s, corner, tmp_path / f"{label}{s}") for s in range(20, 30))
        logs.append(next(h for h in tried if h is not None))
    found = figures(logs)
    show("one log of some corners", found)
    assert found["interval of a log covers"][0] >= 0.8
    assert found["intervals of the cycles cover"][0] >= 0.88


@pytest.mark.accuracy
def test_holds_full_of_motion_are_withheld_or_wide(tmp_path: Path) -> None:
    """With 0.1 s between the motions of a hold no value is given that is off by a fifth, and the intervals hold."""
    logs = []
    for number, corner in enumerate(HURRIED):
        logs += drawn(corner, LABELS[:3], [300 + 10 * number, 400 + 10 * number], tmp_path / str(number))
    found = figures(logs)
    show("holds full of motion", found)
    assert all(abs(h.value.value / h.true - 1.0) < 0.2 for h in logs if h.value is not None and h.true > 0.3)
    assert not found["interval of a log covers"][0] < 0.88
    assert found["intervals of the cycles cover"][0] >= 0.88
    assert found["withheld above 0.3 kPa/s"][0] > 0.5


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[Held]]:
    """Drawn stations of all kinds at every corner, by corner."""
    folder, out = tmp_path_factory.mktemp("leak"), {}
    for number, corner in enumerate(CORNERS):
        labels = (*LABELS, *HARD) if corner == "as drawn" else LABELS
        out[corner] = drawn(corner, labels, [40 + 2 * number, 41 + 2 * number], folder / str(number))
        show(corner, figures(out[corner]))
        show_shares(out[corner])
        show("cycles' intervals cover, by kind", cover_of_kinds(out[corner]))
    return out


@pytest.mark.accuracy
@pytest.mark.full
def test_figures_over_all_corners(many: dict[str, list[Held]]) -> None:
    """Over all corners the figures asked of the estimator hold."""
    found = figures([h for logs in many.values() for h in logs])
    show("all corners", found)
    show_shares([h for logs in many.values() for h in logs])
    assert found["above 1.5 kPa/s: median relative error"][0] <= 0.025
    assert found["above 1.5 kPa/s: p95 of it"][0] <= 0.10
    assert found["interval of a log covers"][0] >= 0.93
    assert found["intervals of the cycles cover"][0] >= 0.92
    assert not found["mechanism right where decided"][0] < 0.95


@pytest.mark.accuracy
@pytest.mark.full
def test_no_corner_breaks_the_intervals(many: dict[str, list[Held]]) -> None:
    """At the worst corner four intervals in five still hold, and none is empty of logs."""
    by_corner = {corner: figures(logs)["interval of a log covers"] for corner, logs in many.items()}
    worst = min(by_corner, key=lambda corner: by_corner[corner][0])
    print(f"\nworst corner: {worst}, {by_corner[worst][0]:.2f} of {by_corner[worst][1]} logs")
    assert by_corner[worst][0] >= 0.8
    assert min(count for _, count in by_corner.values()) >= 5


@pytest.mark.accuracy
@pytest.mark.full
def test_no_kind_breaks_the_intervals_of_the_cycles(many: dict[str, list[Held]]) -> None:
    """In every kind of log, whatever its coasts hold beside a leak, the cycles' intervals cover at least 88 %."""
    found = cover_of_kinds([h for logs in many.values() for h in logs])
    show("cycles' intervals cover, by kind, all corners", found)
    assert min(value for value, count in found.values() if count >= 2) >= 0.88


@pytest.mark.accuracy
@pytest.mark.full
@pytest.mark.skipif(not GIVEN, reason="TRACEKIT_RECORDINGS is not set")
@pytest.mark.skipif(bool(GIVEN) and not RECORDED.is_dir(), reason="TRACEKIT_RECORDINGS holds no simulated logs")
def test_figures_on_recordings_of_another_simulator(tmp_path: Path) -> None:
    """On logs whose physics was written apart the figures asked of the estimator hold."""
    logs = []
    for file in sorted(RECORDED.glob("*/truth.json")):
        truth = json.loads(file.read_text())
        if "station" not in truth or file.parent.name.startswith("volume_"):
            continue
        station = tmp_path / f"{file.parent.name}.toml"
        plain = {"name": "S", "supply_signal": "valve", "release_logged": True}
        station.write_text(station_text({**truth, "station": {**plain, **truth["station"]}}))
        held = found_of(file.parent / "log.parquet", station, truth, file.parent.name)
        logs += [held] if held is not None else []
    found = figures(logs)
    show("recordings of another simulator", found)
    assert found["above 1.5 kPa/s: median relative error"][0] <= 0.015
    assert found["above 1.5 kPa/s: p95 of it"][0] <= 0.07
    assert found["above 1.5 kPa/s: median relative width"][0] <= 0.10
    assert found["interval of a log covers"][0] >= 0.93
    assert found["intervals of the cycles cover"][0] >= 0.93
    assert found["withheld above 0.3 kPa/s"][0] <= 0.15
