"""From a case to its findings: severity, order, chances, alternatives, onset."""

from dataclasses import replace

import numpy as np
import pyarrow as pa
import pytest
from segment.made_traces import (
    KNOWN,
    PLAIN,
    SAVING,
    Piece,
    blow_off,
    coast,
    evacuate,
    hold,
    idle,
    recharge,
    table_of,
    trace_of,
)

from tracekit.judge.case import Case
from tracekit.judge.effects import compare
from tracekit.judge.features import choose_bands, make_features
from tracekit.judge.findings import drop_severity
from tracekit.judge.onset import find_onset
from tracekit.judge.verdict import judge
from tracekit.model.finding import CODES
from tracekit.model.station import Limit, Settings, Station
from tracekit.options.judge import JudgeOptions
from tracekit.pipeline import measure

OPTIONS = JudgeOptions()
FALL = Piece(seconds=0.05, to=5.0, supply=1)
LOSS = (idle(), evacuate(), hold(0.5), FALL, replace(FALL, seconds=0.3), blow_off())
EMPTY = (idle(), evacuate(0.8, to=12.0, tau_s=0.05), blow_off())


def saving_with(slope_kpa_s: float) -> tuple[Piece, ...]:
    """One pick with two coasts of that slope out of 70 kPa."""
    low = 70.0 - 0.8 * slope_kpa_s
    down, back = coast(to=low), recharge()
    return (
        idle(),
        evacuate(0.3, to=72.0),
        coast(0.3, 69.5),
        back,
        down,
        back,
        down,
        back,
        coast(0.4, 69.0),
        blow_off(),
    )


def table(pieces, **more) -> pa.Table:
    return table_of(trace_of(pieces, noise=0.03, **more))


def case_of(pieces, station: Station | None = None, baseline=None) -> Case:
    file = station or Station(settings=KNOWN)
    log = measure(table(pieces), file)
    healthy = None if baseline is None else measure(table(baseline, seed=2), file)
    return Case(
        data=log.stations[0], leak=log.leaks[0], station=file, layout=log.layout, facts=log.facts,
        baseline=None if healthy is None else healthy.stations[0],
        baseline_leak=None if healthy is None else healthy.leaks[0],
    )  # fmt: skip


def outcome_case(case: Case, dropped: int = 0, missed: int = 0, cycles: int = 200) -> Case:
    """The same case with so many dropped and missed cycles among so many."""
    codes = np.zeros(cycles, np.int64)
    codes[:dropped] = 1
    codes[dropped : dropped + missed] = 2
    rows = {name: np.resize(values, cycles) for name, values in case.data.cycles.data.items()}
    cycles_table = replace(case.data.cycles, data={**rows, "outcome": codes})
    return replace(case, data=replace(case.data, cycles=cycles_table))


@pytest.fixture(scope="module")
def plain() -> Case:
    """A healthy station without air saving."""
    return case_of(PLAIN * 12)


@pytest.mark.parametrize(
    ("dropped", "missed", "cycles", "expected"),
    [
        (0, 0, 200, "minor"),
        (1, 0, 200, "major"),  # any part fell
        (2, 0, 200, "major"),  # exactly 1 % is not more than 1 %
        (2, 0, 150, "critical"),  # more than 1 %
        (3, 0, 1000, "critical"),  # three times
        (0, 5, 200, "major"),  # picks fail
    ],
)
def test_severity(plain, dropped: int, missed: int, cycles: int, expected: str) -> None:
    """Critical over 1 % or three drops, major for any drop or missed pick that the cause explains, else minor."""
    case = outcome_case(plain, dropped, missed, cycles)
    assert drop_severity(case, ("part_dropped", "part_missed")) == expected
    assert drop_severity(case, ()) == "minor"


def test_healthy_is_quiet(plain) -> None:
    """A healthy log has no finding above info, and "none of these" is the likeliest."""
    found = judge(plain, OPTIONS)
    assert [f.code for f in found.findings if f.severity != "info"] == []
    assert found.causes[0].code == "none of these"


def test_chances(plain) -> None:
    """Chances sum to one, are ordered, and each has a line for or against it."""
    for case in (plain, case_of((*PLAIN * 6, *LOSS * 4, *PLAIN * 2))):
        chances = judge(case, OPTIONS).causes
        values = [c.chance for c in chances]
        np.testing.assert_allclose(sum(values), 1.0)
        assert values == sorted(values, reverse=True)
        assert all(c.reason for c in chances)
        assert {c.code for c in chances} - {"none of these"} <= CODES.keys()
        assert all((c.test is not None) == (c.repair is not None) == (c.code in CODES) for c in chances)


def test_collisions() -> None:
    """Sudden losses of sound holds are a collision, critical from three on, and explain the drops."""
    found = judge(case_of((*PLAIN * 6, *LOSS * 4, *PLAIN * 4)), OPTIONS)
    first = found.findings[0]
    assert (first.code, first.severity) == ("collision_or_peel", "critical")
    assert first.explains == ("part_dropped",)
    assert first.cycles == (6, 7, 8, 9)
    np.testing.assert_allclose(first.share, 4 / 14)
    symptom = next(f for f in found.findings if f.code == "part_dropped")
    assert (symptom.kind, symptom.severity) == ("symptom", "critical")
    assert first.next_steps


def test_parts_not_presented() -> None:
    """Picks at open-cup vacuum tell that no part was there: major, since picks fail."""
    found = judge(case_of((*PLAIN * 6, *EMPTY * 3, *PLAIN * 4)), OPTIONS)
    assert (found.findings[0].code, found.findings[0].severity) == ("part_not_presented", "major")


def test_order_of_findings() -> None:
    """What can be repaired stands first, then symptoms, then the recording; confidences are probabilities."""
    case = case_of((*PLAIN * 6, *LOSS * 3, *EMPTY * 2, *PLAIN * 3))
    inverted = replace(case, data=replace(case.data, wiring=replace(case.data.wiring, supply_on_level=0)))
    kinds = [f.kind for f in judge(inverted, OPTIONS).findings]
    place = {"cause": 0, "setting": 0, "sensor": 0, "symptom": 1, "recording": 2}
    assert [place[k] for k in kinds] == sorted(place[k] for k in kinds)
    assert {"cause", "symptom", "recording"} <= set(kinds)
    assert all(0.0 < f.confidence <= 0.99 for f in judge(inverted, OPTIONS).findings)


def test_recording_is_never_above_info(plain) -> None:
    """What is wrong with the recording alone is no fault of the station."""
    turned = replace(plain, data=replace(plain.data, wiring=replace(plain.data.wiring, supply_on_level=0)))
    found = judge(turned, OPTIONS).findings
    assert [(f.code, f.severity) for f in found if f.kind == "recording"] == [("channel_inverted", "info")]


def test_leak_against_a_baseline() -> None:
    """A leak that grew since the baseline is named with its rivals, with both values as evidence."""
    case = case_of(saving_with(8.0) * 14, baseline=saving_with(1.0) * 14)
    found = judge(case, OPTIONS)
    first = found.findings[0]
    leaks = {"leak_steady", "check_valve_leak", "release_valve_leak"}
    assert first.code in leaks
    assert set(first.alternatives) <= leaks
    shown = next(e for e in first.evidence if e.measure == "decay_rate_kpa_s")
    assert shown.reference is not None
    assert shown.value > 3.0 * shown.reference
    assert shown.reference_source == "baseline"
    assert first.severity == "minor"


def test_a_rival_is_told_once() -> None:
    """A cause named as a rival of the first is no finding of its own beside it."""
    case = case_of(saving_with(8.0) * 14, baseline=saving_with(1.0) * 14)
    found = judge(case, replace(OPTIONS, rival=1.01, rival_evidence=1e9, rival_least=0.01)).findings
    first = found[0]
    assert first.alternatives
    assert not {f.code for f in found} & set(first.alternatives)


def test_limit_of_the_station_file() -> None:
    """A leak over the limit of the station file has at least the severity that the file gives."""
    limits = {"decay_rate_kpa_s": Limit(max=2.0, severity="critical")}
    file = Station(settings=KNOWN, limits=limits)
    first = judge(case_of(saving_with(8.0) * 14, file, saving_with(1.0) * 14), OPTIONS).findings[0]
    assert first.severity == "critical"
    high = Station(settings=KNOWN, limits={"decay_rate_kpa_s": Limit(max=50.0, severity="critical")})
    assert judge(case_of(saving_with(8.0) * 14, high, saving_with(1.0) * 14), OPTIONS).findings[0].severity == "minor"


def test_onset() -> None:
    """A change inside the log is found at its first cycle, and the cycles before it serve as reference."""
    case = case_of((*saving_with(1.0) * 14, *saving_with(8.0) * 12))
    bands = choose_bands((case.data,))
    features = make_features(case.data, case.leak, bands)
    assert find_onset(features, OPTIONS) == 14
    comparison = compare(features, None, OPTIONS)
    assert comparison.source == "earlier cycles"
    assert np.flatnonzero(comparison.reference).tolist() == list(range(14))
    assert comparison.effects["decay"].z > 4.0
    leaks = [f for f in judge(case, OPTIONS).findings if f.code in ("leak_steady", "check_valve_leak")]
    assert leaks
    assert {f.onset_cycle for f in leaks} == {14}


def test_no_onset_in_a_steady_log(plain) -> None:
    """A log that does not change has no onset and, without a baseline, no reference."""
    features = make_features(plain.data, plain.leak, choose_bands((plain.data,)))
    assert find_onset(features, OPTIONS) is None
    assert compare(features, None, OPTIONS).source == "none"


def test_stuck_sensor_silences_causes() -> None:
    """Where the reading does not move nothing else is said above info."""
    columns = trace_of(PLAIN * 14, noise=0.03)
    pressure = columns["pressure_kpa"].copy()
    pressure[1060 : 1060 + 250 * 6] = pressure[1060]
    file = Station(settings=KNOWN)
    log = measure(table_of({**columns, "pressure_kpa": pressure}), file)
    case = Case(data=log.stations[0], leak=log.leaks[0], station=file, layout=log.layout, facts=log.facts)
    found = [f for f in judge(case, OPTIONS).findings if f.severity != "info" and f.kind != "symptom"]
    assert [f.code for f in found] == ["sensor_stuck"]


def test_order_of_settings_is_critical() -> None:
    """A supply that resumes below the reset point can let a part fall: critical."""
    file = Station(settings=Settings(set_point_kpa=68.0, reset_point_kpa=66.0))
    columns = trace_of(SAVING * 14, noise=0.03)
    vacuum = -columns["pressure_kpa"]
    columns["part_present"] = ((vacuum > 66.0) & (columns["release"] == 0)).astype(np.int64)
    log = measure(table_of(columns), file)
    case = Case(data=log.stations[0], leak=log.leaks[0], station=file, layout=log.layout, facts=log.facts)
    first = judge(case, OPTIONS).findings[0]
    assert (first.code, first.severity) == ("supply_on_below_reset", "critical")
    assert "switch_chatter" in first.explains
