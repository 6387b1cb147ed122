"""Is the first cause right, and does a confidence mean what it says? Simulated stations with known faults.

pytest tests/accuracy/test_cause_accuracy.py -m accuracy -s            some twenty logs
pytest tests/accuracy/test_cause_accuracy.py -m full -s                six of every fault, and of every pair of faults
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pytest
from segment.made_traces import table_of

from tracekit.model.finding import Finding
from tracekit.model.station import Settings, Station, StationFacts
from tracekit.pipeline import diagnose
from tracekit.simulate import random_scenario, simulate
from tracekit.simulate.draw_scenario import HEALTHY, baseline_of, random_combo
from tracekit.simulate.scenario import Scenario

NAMES = ("time_s", "pressure_kpa", "supply", "release", "part_present")
ANSWERS: Mapping[str, frozenset[str]] = {
    "cup_leak_orifice": frozenset({"leak_steady"}),
    "porous_part": frozenset({"leak_steady", "leak_part_dependent"}),
    "part_dependent_leak": frozenset({"leak_part_dependent"}),
    "clogged_filter": frozenset({"flow_restricted"}),
    "clogged_silencer": frozenset({"exhaust_restricted"}),
    "low_supply_pressure": frozenset({"supply_pressure_low"}),
    "supply_dips": frozenset({"supply_pressure_dips"}),
    "sticking_supply_valve": frozenset({"supply_valve_slow"}),
    "leaking_check_valve": frozenset({"check_valve_leak"}),
    "weak_release": frozenset({"release_weak"}),
    "drops_sudden": frozenset({"collision_or_peel"}),
    "missed_picks": frozenset({"part_not_presented"}),
    "sensor_zero_drift": frozenset({"sensor_zero_shift"}),
    "sensor_noisy": frozenset({"sensor_noisy"}),
    "sensor_stuck": frozenset({"sensor_stuck"}),
    "switch_chatter": frozenset({"hysteresis_too_small", "supply_on_below_reset", "set_point_too_high"}),
    "supply_valve_short_cycling": frozenset({"supply_band_too_narrow", "supply_short_cycling"}),
    "setpoint_too_high": frozenset({"set_point_too_high"}),
    "setpoint_too_low": frozenset({"set_point_too_low"}),
}
"""Codes that answer what was done to the station."""
REPAIRABLE = ("cause", "setting", "sensor")
BANDS = (0.0, 0.5, 0.7, 0.9, 1.0)
SEED = 41_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """One log: what was done, what is to be repaired first by the diagnosis, its rivals, and its confidence."""

    label: str
    first: str | None
    rivals: tuple[str, ...]
    confidence: float
    with_baseline: bool

    @property
    def healthy(self) -> bool:
        """Nothing was done to the station."""
        return self.label in HEALTHY

    @property
    def exact(self) -> bool:
        """The first finding answers the fault."""
        return self.first in ANSWERS.get(self.label, frozenset())

    @property
    def right(self) -> bool:
        """The first finding, or a rival that it names, answers the fault."""
        return self.first is not None and bool({self.first, *self.rivals} & ANSWERS.get(self.label, frozenset()))


def station_of(scenario: Scenario) -> Station:
    """The station file that somebody would have written for this station."""
    spec = scenario.station
    facts = StationFacts(volume_ml=spec.volumes.generator_ml + spec.volumes.cup_ml, ambient_kpa=spec.air.ambient_kpa)
    saving = spec.saving
    settings = Settings(
        set_point_kpa=spec.switch.set_point_kpa,
        reset_point_kpa=spec.switch.reset_point_kpa,
        supply_off_kpa=None if saving is None else saving.supply_off_kpa,
        supply_on_kpa=None if saving is None else saving.supply_on_kpa,
    )
    return Station(station=facts, settings=settings)


def log_of(scenario: Scenario):
    """A simulated log as an Arrow table."""
    log = simulate(scenario)
    return table_of({name: np.asarray(getattr(log, name)) for name in NAMES if name in log.names})


def judged(label: str, seed: int, *, with_baseline: bool) -> Judged:
    """Simulate and diagnose one log."""
    scenario = random_scenario(label, seed, 1 + seed % 3)
    baseline = log_of(baseline_of(scenario)) if with_baseline else None
    result = diagnose(log_of(scenario), station=station_of(scenario), baseline=baseline).stations[0]
    listed: list[Finding] = [f for f in result.findings if f.kind in REPAIRABLE and f.severity != "info"]
    if not listed:
        return Judged(label=label, first=None, rivals=(), confidence=0.0, with_baseline=with_baseline)
    first = listed[0]
    return Judged(
        label=label,
        first=first.code,
        rivals=first.alternatives,
        confidence=first.confidence,
        with_baseline=with_baseline,
    )


@pytest.fixture(
    scope="module",
    params=[
        pytest.param(1, id="short", marks=pytest.mark.accuracy),
        pytest.param(6, id="long", marks=[pytest.mark.accuracy, pytest.mark.full]),
    ],
)
def logs(request) -> Iterator[list[Judged]]:
    """Every fault and as many healthy logs as make a fifth, every other one with a baseline; printed at the end."""
    each = request.param
    labels = [*ANSWERS, *HEALTHY * 2] * each
    found = [judged(label, SEED + k, with_baseline=k % 2 == 0) for k, label in enumerate(labels)]
    yield found
    show(found)


def show(logs: list[Judged]) -> None:
    """The table: what was missed, how often the first cause is right, and how far confidences can be trusted."""
    faulty, healthy = [j for j in logs if not j.healthy], [j for j in logs if j.healthy]
    print(f"\n{len(faulty)} logs with a fault, {len(healthy)} healthy")
    print(f"{'':<24}{'all':>6}{'with a baseline':>18}{'without':>10}")
    for name, some in (("right", "right"), ("exact", "exact")):
        print(f"first cause {name:<12}" + _split(faulty, some))
    print(f"codes in the first set  {np.mean([1 + len(j.rivals) for j in faulty if j.first]):>6.2f}")
    print(f"false alarms            {sum(j.first is not None for j in healthy):>6}")
    print(f"Brier score             {brier(logs):>6.3f}")
    print(f"{'confidence':<16}{'logs':>5}{'mean':>8}{'right':>8}")
    for low, high in pairwise(BANDS):
        some = [j for j in logs if j.first and low <= j.confidence < high]
        if some:
            mean, right = np.mean([j.confidence for j in some]), np.mean([j.exact for j in some])
            print(f"{low:.1f} to {high:.1f}      {len(some):>5}{mean:>8.2f}{right:>8.2f}")
    for j in faulty:
        if not j.right:
            print(f"  missed: {j.label} -> {j.first} {j.confidence:.2f} {j.rivals}")


def _split(logs: list[Judged], what: str) -> str:
    """Share of logs for which a property holds: of all, with a baseline, and without."""
    shares = [
        float(np.mean([getattr(j, what) for j in some])) if some else float("nan")
        for some in (logs, [j for j in logs if j.with_baseline], [j for j in logs if not j.with_baseline])
    ]
    return f"{shares[0]:>6.2f}{shares[1]:>18.2f}{shares[2]:>10.2f}"


def brier(logs: list[Judged]) -> float:
    """Mean squared difference of the first confidence and whether it was right (Brier 1950), over logs that name one."""
    named = [j for j in logs if j.first]
    return float(np.mean([(j.confidence - j.exact) ** 2 for j in named]))


PAIRS = (
    ("clogged_filter", "weak_release"), ("cup_leak_orifice", "supply_dips"), ("sensor_zero_drift", "clogged_filter"),
    ("part_dependent_leak", "drops_sudden"), ("low_supply_pressure", "missed_picks"),
    ("leaking_check_valve", "sticking_supply_valve"), ("clogged_silencer", "sensor_zero_drift"),
    ("weak_release", "supply_dips"), ("cup_leak_orifice", "weak_release"), ("clogged_silencer", "missed_picks"),
)  # fmt: skip
"""Two faults that one log can show at once. Left out are those of which the first hides the second whatever it is:
a supply that is never cut any more hides a check valve, picks that all miss hide drops, a drive that weakens a small
leak."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoJudged:
    """One log with two faults: what was done, what is named above info, which of the faults is missing."""

    labels: tuple[str, str]
    named: tuple[str, ...]
    missing: tuple[str, ...]
    first_right: bool
    extra: int


def judged_pair(labels: tuple[str, str], seed: int) -> TwoJudged:
    """Simulate and diagnose one log with two faults against its baseline."""
    scenario = random_combo(labels, seed, 2 + seed % 2)
    baseline = log_of(baseline_of(scenario))
    result = diagnose(log_of(scenario), station=station_of(scenario), baseline=baseline).stations[0]
    listed = [f for f in result.findings if f.kind in REPAIRABLE and f.severity != "info"]
    named = tuple(f.code for f in listed)
    wanted = ANSWERS[labels[0]] | ANSWERS[labels[1]]
    return TwoJudged(
        labels=labels,
        named=named,
        missing=tuple(label for label in labels if not ANSWERS[label] & set(named)),
        first_right=bool(listed) and bool({listed[0].code, *listed[0].alternatives} & wanted),
        extra=sum(code not in wanted for code in named),
    )


@pytest.fixture(
    scope="module",
    params=[
        pytest.param(2, id="few"),
        pytest.param(len(PAIRS), id="short", marks=pytest.mark.accuracy),
        pytest.param(6 * len(PAIRS), id="long", marks=[pytest.mark.accuracy, pytest.mark.full]),
    ],
)
def pairs(request) -> Iterator[list[TwoJudged]]:
    """Each pair some times, or the first of them; printed at the end with what was not seen."""
    found = [judged_pair(PAIRS[k % len(PAIRS)], 3 * SEED + k) for k in range(request.param)]
    yield found
    print(f"\n{len(found)} logs with two faults")
    print(f"first cause right       {np.mean([j.first_right for j in found]):>6.2f}")
    print(f"both named              {np.mean([not j.missing for j in found]):>6.2f}")
    print(f"codes that answer none  {np.mean([j.extra for j in found]):>6.2f}")
    for j in found:
        if j.missing:
            print(f"  {' + '.join(j.labels)}: {', '.join(j.missing)} not seen; named {', '.join(j.named) or 'nothing'}")


def test_two_faults_at_once(pairs) -> None:
    """Of two faults the first is right nearly always, both are named in half of the logs, others seldom."""
    assert np.mean([j.first_right for j in pairs]) >= 0.8
    assert np.mean([not j.missing for j in pairs]) >= 0.5
    assert np.mean([j.extra for j in pairs]) <= 0.5


def test_first_cause(logs) -> None:
    """The first cause, or a rival that it names, is right in 75 of 100 logs of any severity, in 80 with a baseline."""
    faulty = [j for j in logs if not j.healthy]
    assert np.mean([j.right for j in faulty]) >= 0.75
    assert np.mean([j.right for j in faulty if j.with_baseline]) >= 0.8


def test_false_alarms(logs) -> None:
    """A healthy station gets a finding above info in at most one of twenty logs, or once where fewer were tried."""
    healthy = [j for j in logs if j.healthy]
    assert sum(j.first is not None for j in healthy) <= max(1, len(healthy) // 20)


@pytest.mark.accuracy
@pytest.mark.full
@pytest.mark.parametrize(("with_baseline", "most"), [(True, 0.01), (False, 0.02)])
def test_three_hundred_healthy_stations(with_baseline: bool, most: float) -> None:
    """At most one in a hundred healthy logs gets a finding above info with a baseline, two without."""
    found = [judged(HEALTHY[k % 2], 2 * SEED + k, with_baseline=with_baseline) for k in range(300)]
    alarms = [f"{j.label} -> {j.first} {j.confidence:.2f}" for j in found if j.first]
    print(f"\n300 healthy logs, baseline {with_baseline}: {len(alarms)} false alarms {alarms}")
    assert len(alarms) <= most * len(found)


def test_calibration(logs) -> None:
    """Confidences beat a coin, and of findings at 0.9 and more at least eight in ten are right."""
    assert brier(logs) < 0.2
    sure = [j.exact for j in logs if j.first and j.confidence >= 0.9]
    assert sure
    assert np.mean(sure) >= 0.8
